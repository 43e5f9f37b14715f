package shoot

import (
	"errors"
	"iter"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/trail"
)

// Step is one recorded input with what came of it.
type Step struct {
	Record  uint64 // of the input
	Hash    string // of the input's line in the trail
	At      time.Time
	Rules   string // it was recorded under
	Input   advise.Input
	Kept    []trail.Ref     // the texts the input refers to
	Outputs []advise.Output // as recorded; by today's rules where a crash left them out
	State   advise.State    // after it, by today's rules
	Differs bool            // today's rules give other outputs
	Head    trail.Head      // of the newest record that was read for this step
}

// Steps reads a shoot from its beginning, as it was recorded. The advice is the
// recorded one; the state beside it follows today's rules, and Differs says where these part. It
// ends in silence before an unfinished last line, which is being written or was never
// acknowledged, and with an error at any damage.
func Steps(dir string) iter.Seq2[Step, error] {
	return func(yield func(Step, error) bool) {
		p := player{}
		var open *Step // waits for its outputs
		close := func() bool {
			if open == nil {
				return true
			}
			s := *open
			open = nil
			return yield(s, nil)
		}
		for r, err := range trail.Read(dir) {
			if errors.Is(err, trail.ErrUnfinished) {
				break
			}
			if err == nil && r.Kind == inputKind && !close() {
				return
			}
			var in *inputBody
			if err == nil {
				p.differs = nil
				in, err = p.play(r)
			}
			if err != nil {
				if close() {
					yield(Step{}, err)
				}
				return
			}
			head := trail.Head{Seq: r.Seq, Hash: r.Hash()}
			switch {
			case in != nil:
				open = &Step{Record: r.Seq, Hash: head.Hash, At: r.At, Rules: r.Rules, Input: in.Input, Kept: in.Kept,
					Outputs: p.outputs, State: p.state, Head: head}
			case r.Kind == outputKind && open != nil && p.of == open.Record:
				if open.Outputs, err = p.recordedOutputs(); err != nil {
					yield(Step{}, err)
					return
				}
				open.Head, open.Differs = head, !p.same
			}
		}
		close()
	}
}
