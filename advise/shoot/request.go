package shoot

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"thirdstop/advise"
	"thirdstop/advise/plan"
	"thirdstop/advise/trail"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// MaxNote is the longest note, in characters.
const MaxNote = 2000

// Submit does what a person asks for: checked, recorded, in effect and shown
// when it returns. See [ErrStale], [ErrRefused] and [ErrNotRecorded].
func (s *Shoot) Submit(ctx context.Context, r Request) (Receipt, error) {
	if err := ctx.Err(); err != nil {
		return Receipt{}, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if r.Client != "" {
		if done, ok := s.clients[r.Client]; ok {
			done.Repeat = true
			return done, nil
		}
	}
	if s.trail.Err() != nil {
		return Receipt{}, fmt.Errorf("%w: %w", ErrNotRecorded, s.trail.Err())
	}
	if r.Seen != 0 && r.Seen != s.state.Seq {
		return Receipt{}, fmt.Errorf("%w: you saw state %d, and now it is %d; look again and repeat it if it still holds", ErrStale, r.Seen, s.state.Seq)
	}
	if s.state.Phase == advise.Ended && r.Note == nil {
		return Receipt{}, refuse("the shoot has ended; start thirdstop again to begin another")
	}
	b, err := s.check(r)
	if err != nil {
		return Receipt{}, err
	}
	b.Client, b.Input.By = r.Client, r.By
	if _, err := s.step(b); err != nil {
		return Receipt{}, err
	}
	receipt := Receipt{State: s.state.Seq, Event: s.lastEvent(), At: b.Input.At}
	if r.Reference != nil {
		// The declaration is recorded; that the frame is measured again is our own doing.
		if err := s.again(); err != nil {
			return receipt, err
		}
		receipt.State, receipt.Event = s.state.Seq, s.lastEvent()
	}
	receipt.At = s.Snapshot().At
	return receipt, nil
}

func refuse(format string, a ...any) error {
	return fmt.Errorf("%w: %s", ErrRefused, fmt.Sprintf(format, a...))
}

// check turns a request into an input, or says why it makes no sense.
func (s *Shoot) check(r Request) (inputBody, error) {
	var b inputBody
	set := 0
	is := func(given bool) bool {
		if given {
			set++
		}
		return given
	}
	var err error
	if is(r.Adjusted != nil) {
		b.Input.Adjusted, err = s.checkAdjusted(*r.Adjusted)
	}
	if is(r.Reference != nil) {
		b.Input.Reference, err = r.Reference, s.checkReference(*r.Reference)
	}
	if is(r.Answer != nil) {
		b.Input.Answer = r.Answer
		if q := s.state.Question; q == nil || q.Number != r.Answer.Question {
			err = refuse("question %d is no longer open", r.Answer.Question)
		}
	}
	if is(r.NotNow != nil) {
		b.Input.NotNow = r.NotNow
		if a := s.state.Advice; a.Number != r.NotNow.Advice || a.Status != advise.Adjust {
			err = refuse("that advice is no longer shown")
		}
	}
	if is(r.Baseline != nil) {
		b.Input.Baseline = r.Baseline
		if !slices.ContainsFunc(s.state.Frames, func(f advise.FrameState) bool { return f.Number == r.Baseline.Frame && f.Reading != nil }) {
			err = refuse("frame %d has no reading, so it can't be the baseline; choose one of the newest %d", r.Baseline.Frame, advise.KeepFrames)
		}
	}
	if is(r.Plan != nil) {
		b.Input.Plan = r.Plan
		if r.Plan.Text != "" {
			if _, faults := plan.Parse(r.Plan.Name, []byte(r.Plan.Text)); len(faults) > 0 {
				err = fmt.Errorf("%w: the light plan has faults:\n%w", ErrRefused, faults)
			}
		}
	}
	if is(r.Note != nil) {
		b.Input.Note = &advise.Note{}
		b.Input.Note.Ref, b.Kept, err = s.keepWords(*r.Note, "a note")
	}
	if is(r.Sitter != nil) {
		b.Input.Sitter = &advise.Sitter{}
		b.Input.Sitter.Ref, b.Kept, err = s.keepWords(*r.Sitter, "a sitter's name or number")
	}
	if is(r.End) {
		b.Input.Session = &advise.Session{Phase: advise.Ended, Version: s.c.Version}
	}
	if err == nil && set != 1 {
		err = refuse("a request must ask for exactly one thing, and this one asks for %d", set)
	}
	return b, err
}

func (s *Shoot) keepWords(text, what string) (string, []trail.Ref, error) {
	text = strings.TrimSpace(text)
	if text == "" || utf8.RuneCountInString(text) > MaxNote {
		return "", nil, refuse("%s must have 1 to %d characters", what, MaxNote)
	}
	ref, err := s.keep(text)
	return ref.ID, []trail.Ref{ref}, err
}

// checkAdjusted fills in where the light stands now, so that the record is absolute.
func (s *Shoot) checkAdjusted(a advise.Adjusted) (*advise.Adjusted, error) {
	i := slices.IndexFunc(s.state.Lights, func(l advise.LightState) bool { return strings.EqualFold(l.Group, a.Group) })
	if i < 0 {
		return nil, refuse("no light of the plan has the group %q; the groups are %s", a.Group, groups(s.state.Lights))
	}
	l := s.state.Lights[i]
	a.Group, a.From = l.Group, l.Power
	if a.To < l.Least || a.To > l.Most || (a.To-l.Least)%max(l.Click, 1) != 0 {
		scale := s.state.Plan.Lights[i].Scale
		return nil, refuse("%s can't be set to %s; it goes from %s to %s in clicks of %s", l.Name, scale.Format(a.To),
			scale.Format(l.Least), scale.Format(l.Most), scale.FormatChange(l.Click))
	}
	if d := a.Distance; d != nil && !(*d >= 0.1 && *d <= exposure.Metres(200)) {
		return nil, refuse("%s can't stand at %s; give a distance of 0.1 to 200 m", l.Name, *d)
	}
	if a.To == l.Power && (a.Off == nil || *a.Off == l.Off) && (a.Distance == nil || *a.Distance == l.Distance) {
		return nil, refuse("%s already stands at %s", l.Name, l.PowerText)
	}
	return &a, nil
}

func groups(lights []advise.LightState) string {
	var all []string
	for _, l := range lights {
		all = append(all, l.Group)
	}
	if len(all) == 0 {
		return "none yet: there is no plan"
	}
	return strings.Join(all, ", ")
}

func (s *Shoot) checkReference(r advise.Reference) error {
	if r.Box == nil {
		if s.state.Reference == nil {
			return refuse("no white reference is declared")
		}
		return nil
	}
	if err := checkBox(*r.Box); err != nil {
		return err
	}
	if !slices.ContainsFunc(s.state.Frames, func(f advise.FrameState) bool { return f.Number == r.Frame && f.Reading != nil }) {
		return refuse("frame %d is not one of the newest %d that could be read; declare the white reference on a newer one", r.Frame, advise.KeepFrames)
	}
	return nil
}

// smallestBox is the least edge of a box in parts of the frame: some twenty
// pixels at 2 megapixels, under which a reference is a glint.
const smallestBox = 0.01

func checkBox(b assess.Box) error {
	ok := b.X0 >= 0 && b.Y0 >= 0 && b.X1 <= 1 && b.Y1 <= 1 && b.X1-b.X0 >= smallestBox && b.Y1-b.Y0 >= smallestBox
	if !ok { // also for numbers that are none
		return refuse("the box must lie inside the frame, in fractions of it, and be at least %g wide and high", smallestBox)
	}
	return nil
}
