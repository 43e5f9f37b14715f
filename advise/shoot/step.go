package shoot

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/trail"
	"thirdstop/assess/legible"
)

// step is the way of every input: stored and synced, applied, shown. The caller
// holds mu. Where storing fails nothing was applied.
func (s *Shoot) step(b inputBody) error {
	_, err := s.take(b)
	s.show()
	return err
}

// take stores and applies an input; the caller shows it, and holds mu.
func (s *Shoot) take(b inputBody) (Receipt, error) {
	b.Input.At = s.now()
	rec, err := s.trail.Append(inputKind, bodyVersion, advise.Rules, b.Input.At, b)
	if err != nil {
		s.notRecording(err)
		return Receipt{}, notRecorded{err}
	}
	// What takes effect is what was written, read back: a replay then can't see anything else.
	b = inputBody{}
	if err = decodeBody(rec, &b); err != nil {
		panic("shoot: an input that was just written can't be read back: " + err.Error())
	}
	before := s.state.Phase
	next, out := advise.Apply(s.state, b.Input)
	s.state, s.stateAt = next, b.Input.At
	s.remember(b)
	s.log(b, b.Input.At, out)
	if len(out) > 0 {
		// Outputs can be computed again, so they ride with the next input's sync.
		if _, err := s.trail.AppendUnsynced(outputKind, bodyVersion, advise.Rules, b.Input.At, outputBody{Of: rec.Seq, Outputs: out}); err != nil {
			s.notRecording(err) // the input itself is safe
			s.unmarkable = true
		}
	}
	receipt := Receipt{State: s.state.Seq, Event: s.lastEvent(), At: b.Input.At}
	if b.Client != "" {
		s.clients[b.Client] = receipt
	}
	if before != s.state.Phase {
		s.c.Log.Info().Str("shoot", s.id).Int("frames", s.state.FrameCount).Msg("shoot " + string(s.state.Phase))
	}
	return receipt, nil
}

// notRecording keeps the sentence that says why nothing is recorded any more.
func (s *Shoot) notRecording(err error) {
	if s.recording == "" && errors.Is(err, trail.ErrPoisoned) {
		s.recording = notRecorded{err}.Error()
		s.c.Log.Error().Str("why", sentence(err)).Msg("not recording")
	}
}

// mostTroubles is how many troubles are shown; of more, only how many.
const mostTroubles = 20

// show publishes the state. The caller holds mu.
func (s *Shoot) show() {
	keys := make([]string, 0, len(s.troubles))
	for k := range s.troubles {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	troubles := []Trouble{}
	for i, k := range keys {
		if i == mostTroubles {
			troubles = append(troubles, Trouble{"more", fmt.Sprintf("And %d more like these.", len(keys)-i)})
			break
		}
		troubles = append(troubles, s.troubles[k])
	}
	if short := s.room.shortage(); short != "" {
		troubles = append(troubles, Trouble{"room", short})
	}
	snap := Snapshot{ID: s.id, Began: s.began, State: s.state, At: s.stateAt, LastEvent: s.lastEvent(),
		Recording: s.recording, Troubles: troubles, Measuring: s.measuring, Latency: s.latency}
	if s.unrecorded != nil {
		snap.Unrecorded = &s.unrecorded.frame
	}
	if p := s.preview; p != nil && s.previewOf == s.state.Seq {
		snap.Provisional = p
	}
	s.shown.Store(&snap)
	s.watch.signal()
}

// showAgain publishes the state after something beside it changed.
func (s *Shoot) showAgain() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.closed {
		s.show()
	}
}

// log turns outputs into numbered lines of the shoot log. The caller holds mu.
func (s *Shoot) log(b inputBody, at time.Time, out []advise.Output) {
	s.eventsMu.Lock()
	defer s.eventsMu.Unlock()
	add := func(e advise.Event) {
		s.events = append(s.events, Event{Number: uint64(len(s.events) + 1), At: at, By: b.Input.By, State: s.state.Seq, Event: e})
	}
	for _, o := range out {
		switch {
		case o.Event != nil:
			add(*o.Event)
		case o.Question != nil:
			add(advise.Event{Kind: "question", Frame: o.Question.Frame, Group: o.Question.Group, Text: o.Question.Text})
		case o.Advice != nil && o.Advice.Status == advise.Adjust:
			for _, a := range o.Advice.Adjustments {
				add(advise.Event{Kind: "advice", Frame: o.Advice.Frame, Group: a.Group, Text: "Advice: " + a.Text + "."})
			}
		}
	}
}

func (s *Shoot) lastEvent() uint64 {
	s.eventsMu.RLock()
	defer s.eventsMu.RUnlock()
	return uint64(len(s.events))
}

// Events lists up to limit events with numbers over after, oldest first, with their words.
func (s *Shoot) Events(after uint64, limit int) ([]Event, error) {
	s.eventsMu.RLock()
	n := uint64(len(s.events))
	from := min(after, n)
	to := from + min(n-from, uint64(max(limit, 0)))
	out := slices.Clone(s.events[from:to])
	s.eventsMu.RUnlock()
	for i := range out {
		text := s.text(out[i].Ref)
		if out[i].Kind == "note" {
			out[i].Words = legible.Lines(text)
		} else {
			out[i].Words = legible.Line(text)
		}
	}
	return out, nil
}

// Words are the text behind a reference into the side file as it can be shown on one line, ""
// where it was erased.
func (s *Shoot) Words(ref string) string { return legible.Line(s.text(ref)) }

// text is what was kept, to the byte: a file is found by it.
func (s *Shoot) text(ref string) string {
	if ref == "" {
		return ""
	}
	s.refsMu.RLock()
	r, ok := s.refs[ref]
	s.refsMu.RUnlock()
	if !ok {
		return ""
	}
	text, err := s.trail.Text(r)
	if err != nil {
		return ""
	}
	return text
}

// notRecorded says that nothing changed, and why: an [ErrNotRecorded] with its
// cause. A poisoned trail's own sentence says it already.
type notRecorded struct{ cause error }

func (e notRecorded) Error() string {
	var stopped *trail.PoisonedError
	if errors.As(e.cause, &stopped) && stopped.Full() {
		return fullText(stopped)
	}
	if errors.Is(e.cause, trail.ErrPoisoned) {
		return e.cause.Error()
	}
	return ErrNotRecorded.Error() + ": " + e.cause.Error()
}

func (e notRecorded) Unwrap() []error { return []error{ErrNotRecorded, e.cause} }
