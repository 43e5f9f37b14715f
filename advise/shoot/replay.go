package shoot

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"thirdstop/advise"
	"thirdstop/advise/trail"
)

// Difference is an input to which today's rules give other outputs than were recorded.
type Difference struct {
	Record   uint64          // of the input
	Rules    string          // that the outputs were recorded under
	Recorded json.RawMessage // outputs, as recorded; [] where none were
	Now      json.RawMessage // outputs, by today's rules
}

// Replayed is what a replay found.
type Replayed struct {
	Inputs  int
	Frames  int
	Rules   []string // versions of the rules it was recorded under, in order of their first record
	Differs []Difference
	Other   int  // of these, under rules other than today's: expected, and the record stands
	Open    bool // the last input's outputs are not recorded: a crash, or it is being written
}

// Replay applies all recorded inputs again and holds what comes of them against
// what was recorded. Under the same rules version there must be no difference.
func Replay(dir string) (Replayed, error) {
	var out Replayed
	p := player{}
	for r, err := range trail.Read(dir) {
		if errors.Is(err, trail.ErrUnfinished) {
			break
		}
		if err != nil {
			return out, err
		}
		in, err := p.play(r)
		if err != nil {
			return out, err
		}
		if in != nil {
			out.Inputs++
			if !slices.Contains(out.Rules, r.Rules) {
				out.Rules = append(out.Rules, r.Rules)
			}
		}
	}
	out.Frames, out.Differs, out.Open = p.state.FrameCount, p.differs, p.open != 0
	for _, d := range out.Differs {
		if d.Rules != advise.Rules {
			out.Other++
		}
	}
	return out, nil
}

// player applies records one after another.
type player struct {
	state    advise.State
	outputs  []advise.Output // of the newest input
	open     uint64          // record of the newest input, while outputs that it has were not met; 0 otherwise
	rules    string          // of that input
	of       uint64          // input of the newest output record
	recorded json.RawMessage // its outputs
	same     bool            // and they are p.outputs
	differs  []Difference
}

// play takes one record; it returns the input if the record is one.
func (p *player) play(r trail.Record) (*inputBody, error) {
	switch r.Kind {
	case inputKind:
		if err := p.settle(); err != nil {
			return nil, err
		}
		var b inputBody
		if err := decodeBody(r, &b); err != nil {
			return nil, err
		}
		p.state, p.outputs = advise.Apply(p.state, b.Input)
		p.open, p.rules = 0, r.Rules
		if len(p.outputs) > 0 {
			p.open = r.Seq
		}
		return &b, nil
	case outputKind:
		var b struct {
			Of      uint64          `json:"of"`
			Outputs json.RawMessage `json:"outputs"`
		}
		if err := decodeBody(r, &b); err != nil {
			return nil, err
		}
		now, err := p.now()
		if err != nil {
			return nil, err
		}
		p.of, p.recorded = b.Of, b.Outputs
		p.same = b.Of == p.open && bytes.Equal(now, b.Outputs)
		if !p.same {
			p.differs = append(p.differs, Difference{Record: b.Of, Rules: r.Rules, Recorded: b.Outputs, Now: now})
		}
		p.open = 0
	}
	return nil, nil
}

// now is what today's rules put out for the newest input.
func (p *player) now() (json.RawMessage, error) {
	if len(p.outputs) == 0 {
		return json.RawMessage("[]"), nil
	}
	return encode(p.outputs)
}

// recordedOutputs are those of the newest output record.
func (p *player) recordedOutputs() ([]advise.Output, error) {
	if p.same {
		return p.outputs, nil
	}
	var out []advise.Output
	if err := json.Unmarshal(p.recorded, &out); err != nil {
		return nil, fmt.Errorf("the outputs of record %d can't be read: %w", p.of, err)
	}
	return out, nil
}

// settle notes an input without recorded outputs that another input follows: under
// other rules it may have had none, and under the same ones they are missing, because
// opening a shoot adds what a crash left out.
func (p *player) settle() error {
	if p.open == 0 {
		return nil
	}
	now, err := p.now()
	if err != nil {
		return err
	}
	p.differs = append(p.differs, Difference{Record: p.open, Rules: p.rules, Recorded: json.RawMessage("[]"), Now: now})
	p.open = 0
	return nil
}
