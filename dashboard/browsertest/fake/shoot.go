package fake

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/plan"
	"thirdstop/advise/shoot"
	"thirdstop/assess/exposure"
)

// Shoot implements dashboard.Shoot. Its methods may be called by many goroutines.
type Shoot struct {
	mu       sync.Mutex
	now      func() time.Time
	snap     *shoot.Snapshot
	events   []shoot.Event
	words    map[string]string
	receipts map[string]shoot.Receipt
	requests []shoot.Request
	watchers map[chan struct{}]bool
	wide     bool
	overtake func(*advise.State) []advise.Event
}

// New begins a shoot without a plan and without a frame.
func New(now func() time.Time) *Shoot {
	s := &Shoot{now: now, words: map[string]string{}, receipts: map[string]shoot.Receipt{}, watchers: map[chan struct{}]bool{}}
	s.snap = &shoot.Snapshot{ID: "alder-quay", Began: now(), At: now(), State: advise.State{Seq: 1, Phase: advise.Begun}}
	s.snap.State.Advice = advise.Advice{Number: 1, Status: advise.NoPlan, Headline: "Measuring only", Reason: "Three answers are enough for advice to begin."}
	s.Change(func(st *advise.State) []advise.Event {
		return []advise.Event{{Kind: "session", Text: "The shoot began."}}
	})
	return s
}

// Wide makes the pictures lie instead of stand.
func (s *Shoot) Wide() { s.wide = true }

// Snapshot implements dashboard.Shoot.
func (s *Shoot) Snapshot() *shoot.Snapshot {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.snap
}

// Watch implements dashboard.Shoot.
func (s *Shoot) Watch() (<-chan struct{}, func()) {
	c := make(chan struct{}, 1)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.watchers[c] = true
	return c, func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		delete(s.watchers, c)
	}
}

// Events implements dashboard.Shoot.
func (s *Shoot) Events(after uint64, limit int) ([]shoot.Event, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	i := slices.IndexFunc(s.events, func(e shoot.Event) bool { return e.Number > after })
	if i < 0 {
		return nil, nil
	}
	return slices.Clone(s.events[i:min(i+limit, len(s.events))]), nil
}

// Words implements dashboard.Shoot.
func (s *Shoot) Words(ref string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.words[ref]
}

// Overtake lets a change come in just before the next request, so that it is stale.
func (s *Shoot) Overtake(f func(*advise.State) []advise.Event) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.overtake = f
}

// Requests are those that took effect, in order.
func (s *Shoot) Requests() []shoot.Request {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.requests)
}

// Change makes the next state by a function and records the events it gives.
func (s *Shoot) Change(f func(st *advise.State) []advise.Event) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.change(advise.Actor{}, f)
}

// Trouble sets the standing troubles and the sentence on recording.
func (s *Shoot) Trouble(recording string, list ...shoot.Trouble) {
	s.mu.Lock()
	defer s.mu.Unlock()
	next := *s.snap
	next.Recording, next.Troubles = recording, list
	s.publish(&next)
}

// Preview sets what the preview of the file tells that is being measured, nil for none.
func (s *Shoot) Preview(p *shoot.Provisional) {
	s.mu.Lock()
	defer s.mu.Unlock()
	next := *s.snap
	next.Provisional = p
	s.publish(&next)
}

func (s *Shoot) change(by advise.Actor, f func(st *advise.State) []advise.Event) {
	next := *s.snap
	next.State.Lights = slices.Clone(next.State.Lights)
	next.State.Reflectors = slices.Clone(next.State.Reflectors)
	next.State.Advice.Adjustments = slices.Clone(next.State.Advice.Adjustments)
	next.State.Frames = slices.Clone(next.State.Frames)
	next.State.Seq++
	for _, e := range f(&next.State) {
		next.LastEvent++
		s.events = append(s.events, shoot.Event{Number: next.LastEvent, At: s.now(), By: by, State: next.State.Seq, Event: e, Words: s.words[e.Ref]})
	}
	s.publish(&next)
}

func (s *Shoot) publish(next *shoot.Snapshot) {
	next.At = s.now()
	s.snap = next
	for c := range s.watchers {
		select {
		case c <- struct{}{}:
		default:
		}
	}
}

// Submit implements dashboard.Shoot.
func (s *Shoot) Submit(_ context.Context, r shoot.Request) (shoot.Receipt, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if first, ok := s.receipts[r.Client]; ok {
		first.Repeat = true
		return first, nil
	}
	if f := s.overtake; f != nil {
		s.overtake = nil
		s.change(advise.Actor{}, f)
	}
	if r.Seen != 0 && r.Seen != s.snap.State.Seq {
		return shoot.Receipt{}, fmt.Errorf("%w: you saw state %d, it is %d", shoot.ErrStale, r.Seen, s.snap.State.Seq)
	}
	if err := s.refuse(r); err != nil {
		return shoot.Receipt{}, err
	}
	s.change(r.By, func(st *advise.State) []advise.Event { return s.apply(st, r) })
	s.requests = append(s.requests, r)
	receipt := shoot.Receipt{State: s.snap.State.Seq, Event: s.snap.LastEvent, At: s.now()}
	s.receipts[r.Client] = receipt
	return receipt, nil
}

func (s *Shoot) refuse(r shoot.Request) error {
	st := &s.snap.State
	switch {
	case r.NotNow != nil && r.NotNow.Advice != st.Advice.Number:
		return fmt.Errorf("%w: advice %d is no longer the current one", shoot.ErrRefused, r.NotNow.Advice)
	case r.Answer != nil && (st.Question == nil || st.Question.Number != r.Answer.Question):
		return fmt.Errorf("%w: question %d is over", shoot.ErrRefused, r.Answer.Question)
	}
	return nil
}

func (s *Shoot) apply(st *advise.State, r shoot.Request) []advise.Event {
	switch {
	case r.Adjusted != nil:
		return adjust(st, r.Adjusted)
	case r.Earlier != nil:
		st.Earlier = r.Earlier
		return []advise.Event{{Kind: "rebuild", Text: "The light of an earlier shoot is built again."}}
	case r.Reference != nil:
		st.Reference = r.Reference.Box
		text := "The white reference was declared."
		if st.Reference == nil {
			text = "The white reference was taken back."
		}
		return []advise.Event{{Kind: "reference", Frame: r.Reference.Frame, Text: text}}
	case r.Marked != nil:
		next, out := advise.Apply(*st, advise.Input{At: s.now(), Marked: r.Marked})
		st.Marks = next.Marks
		return events(out)[:1]
	case r.Answer != nil:
		st.Question = nil
		return []advise.Event{{Kind: "adjusted", Text: "The question was answered."}}
	case r.NotNow != nil:
		st.Advice = advise.Advice{Number: st.Advice.Number + 1, Frame: st.Advice.Frame, Status: advise.Hold, Headline: "Hold", Reason: "The advice was put aside until something changes."}
		return []advise.Event{{Kind: "note", Text: "The advice was put aside."}}
	case r.Baseline != nil:
		st.Baseline = r.Baseline.Frame
		return []advise.Event{{Kind: "baseline", Frame: r.Baseline.Frame, Text: fmt.Sprintf("Frame %d is the baseline.", r.Baseline.Frame)}}
	case r.Plan != nil:
		return setPlan(st, r.Plan)
	case r.Walk != nil || r.Swap != nil || r.Bracket != nil:
		next, out := advise.Apply(*st, advise.Input{At: s.now(), Walk: r.Walk, Swap: r.Swap, Bracket: r.Bracket})
		next.Seq = st.Seq
		*st = next
		return events(out)
	case r.Metered != nil:
		return []advise.Event{{Kind: "meter", Text: "Hand meter, all lights: " + r.Metered.FNumber.String() + "."}}
	case r.Note != nil:
		ref := fmt.Sprintf("note-%d", st.Seq)
		s.words[ref] = *r.Note
		return []advise.Event{{Kind: "note", Ref: ref, Text: "Note:"}}
	case r.Sitter != nil:
		ref := fmt.Sprintf("sitter-%d", st.Seq)
		s.words[ref] = *r.Sitter
		st.Sitter = ref
		return []advise.Event{{Kind: "sitter", Ref: ref, Text: "Next sitter:"}}
	case r.End:
		st.Phase = advise.Ended
		return []advise.Event{{Kind: "session", Text: "The shoot ended."}}
	}
	return nil
}

// Step lets an input take effect as a real shoot would.
func (s *Shoot) Step(in advise.Input) {
	s.Change(func(st *advise.State) []advise.Event {
		in.At = s.now()
		next, out := advise.Apply(*st, in)
		next.Seq = st.Seq
		*st = next
		return events(out)
	})
}

func events(out []advise.Output) []advise.Event {
	var list []advise.Event
	for _, o := range out {
		if o.Event != nil {
			list = append(list, *o.Event)
		}
	}
	return list
}

func adjust(st *advise.State, a *advise.Adjusted) []advise.Event {
	text := ""
	for i := range st.Lights {
		l := &st.Lights[i]
		if l.Group != a.Group {
			continue
		}
		l.Power, l.PowerText = a.To, exposure.ThirdFractions.Format(a.To)
		if a.Off != nil {
			l.Off = *a.Off
		}
		if a.Distance != nil {
			l.Distance = *a.Distance
		}
		if a.Bearing != nil {
			l.Bearing = a.Bearing
		}
		if a.Modifier != nil {
			l.Modifier = *a.Modifier
		}
		text = fmt.Sprintf("%s is set to %s.", l.Name, l.PowerText)
		if l.Off {
			text = l.Name + " is off."
		}
	}
	for i := range st.Reflectors {
		m := &st.Reflectors[i]
		if m.Group != a.Group {
			continue
		}
		if a.Distance != nil {
			m.Distance = *a.Distance
		}
		if a.Bearing != nil {
			m.Bearing = a.Bearing
		}
		if a.Turned != nil {
			m.Angle = *a.Turned
		}
		if a.Off != nil {
			m.Away = *a.Off
		}
		text = m.Name + " was moved, turned or taken away."
	}
	left := slices.DeleteFunc(st.Advice.Adjustments, func(t advise.Adjustment) bool { return t.Group == a.Group && t.To == a.To })
	if len(left) < len(st.Advice.Adjustments) || st.Advice.Status == advise.Hold {
		st.Advice.Number++
		st.Advice.Adjustments = left
		if len(left) == 0 {
			st.Advice = advise.Advice{Number: st.Advice.Number, Status: advise.Waiting, Headline: "Take a frame", Reason: "The lights were changed since the last one."}
		}
	}
	return []advise.Event{{Kind: "adjusted", Group: a.Group, Text: text}}
}

func setPlan(st *advise.State, p *advise.PlanText) []advise.Event {
	st.PlanName, st.PlanText, st.Plan, st.Lights = p.Name, p.Text, nil, nil
	if p.Text == "" {
		st.Advice = advise.Advice{Number: st.Advice.Number + 1, Status: advise.NoPlan, Headline: "Measuring only"}
		return []advise.Event{{Kind: "plan", Text: "The light plan was taken away."}}
	}
	if parsed, faults := plan.Parse(p.Name, []byte(p.Text)); len(faults) == 0 {
		st.Plan = &parsed
		for _, l := range parsed.Lights {
			st.Lights = append(st.Lights, Light(strings.ToUpper(string(l.Role)[:1])+string(l.Role)[1:], l.Group, l.Power, 0, ""))
		}
	}
	st.Advice = advise.Advice{Number: st.Advice.Number + 1, Status: advise.Waiting, Headline: "Take a frame", Reason: "The light plan is new."}
	return []advise.Event{{Kind: "plan", Text: "The light plan is in use."}}
}
