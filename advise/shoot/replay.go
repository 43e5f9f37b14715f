package shoot

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/trail"
)

// Replayed is what a replay found.
type Replayed struct {
	Inputs  int
	Frames  int
	Rules   []string // versions of the rules it was recorded under
	Differs []Difference
	Other   int // of these, under rules other than today's: expected, and the record stands
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
		in, _, err := p.play(r)
		if err != nil {
			return out, err
		}
		if in != nil {
			out.Inputs++
			if len(out.Rules) == 0 || out.Rules[len(out.Rules)-1] != r.Rules {
				out.Rules = append(out.Rules, r.Rules)
			}
		}
	}
	p.settle()
	out.Frames, out.Differs = p.state.FrameCount, p.differs
	for _, d := range out.Differs {
		if d.Rules != advise.Rules {
			out.Other++
		}
	}
	return out, nil
}

// player applies records one after another.
type player struct {
	state   advise.State
	outputs []advise.Output // of the newest input
	open    uint64          // record of the newest input, while its outputs were not met; 0 otherwise
	rules   string          // of that input
	differs []Difference
}

// play takes one record; it returns the input if the record is one.
func (p *player) play(r trail.Record) (*inputBody, time.Time, error) {
	switch r.Kind {
	case inputKind:
		p.settle()
		b, err := decodeInput(r)
		if err != nil {
			return nil, r.At, err
		}
		p.state, p.outputs = advise.Apply(p.state, b.Input)
		p.open, p.rules = 0, r.Rules
		if len(p.outputs) > 0 {
			p.open = r.Seq
		}
		return &b, r.At, nil
	case outputKind:
		var b struct {
			Of      uint64          `json:"of"`
			Outputs json.RawMessage `json:"outputs"`
		}
		if err := json.Unmarshal(r.Body, &b); err != nil {
			return nil, r.At, fmt.Errorf("record %d: its body can't be read: %w", r.Seq, err)
		}
		now, err := json.Marshal(p.outputs)
		if err != nil {
			return nil, r.At, err
		}
		if b.Of != p.open || !bytes.Equal(now, b.Outputs) {
			p.differs = append(p.differs, Difference{Record: b.Of, Rules: r.Rules, Recorded: b.Outputs, Now: now})
		}
		p.open = 0
	}
	return nil, r.At, nil
}

// settle notes an input whose outputs were never recorded although another
// record follows: under other rules it may have had none.
func (p *player) settle() {
	if p.open == 0 {
		return
	}
	now, err := json.Marshal(p.outputs)
	if err == nil && p.rules != advise.Rules {
		p.differs = append(p.differs, Difference{Record: p.open, Rules: p.rules, Recorded: json.RawMessage("[]"), Now: now})
	}
	p.open = 0
}
