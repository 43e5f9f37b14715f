package shoot

import (
	"context"
	"crypto/rand"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"thirdstop/advise"
	"thirdstop/advise/plan"
	"thirdstop/advise/trail"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/legible"
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
		return Receipt{}, notRecorded{s.trail.Err()}
	}
	switch {
	case r.Seen == 0 || r.Seen == s.state.Seq:
	case r.Plan != nil && r.Seen >= s.planAt && r.Seen < s.state.Seq: // frames go on while a plan is written, and the plan is still the one it began from
	case r.Plan != nil && r.Seen < s.planAt:
		return Receipt{}, fmt.Errorf("%w: the light plan was changed after state %d, which you saw; read it again and put your change into it", ErrStale, r.Seen)
	default:
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
	defer s.show()
	first := r.Plan != nil && s.state.Plan == nil
	receipt, err := s.take(b)
	if err != nil {
		return Receipt{}, err
	}
	if r.Bracket != nil {
		s.learnWhenReady()
	}
	if r.Reference != nil || r.Marked != nil || first { // with a plan, what was measured without one advises at once
		// The declaration holds whatever comes of measuring again, which carries the request's id, too:
		// a repeat gets the receipt of both, also after a restart.
		if err := s.again(r.Client); err != nil {
			s.c.Log.Warn().Str("why", sentence(err)).Msg("the newest frame was not measured again")
			return receipt, nil
		}
		receipt.State, receipt.Event, receipt.At = s.state.Seq, s.lastEvent(), s.stateAt
	}
	return receipt, nil
}

// PlanFile hands over the text of a plan file, unless it is in force or this shoot was given the same text out of
// a file last: a plan that was changed on the page since then stays in force over a restart.
func (s *Shoot) PlanFile(ctx context.Context, by advise.Actor, name, text string) (handed bool, err error) {
	s.mu.Lock()
	same := s.planFile != nil && *s.planFile == text
	if s.planFile != nil && s.state.PlanText == text { // an edit on the page wrote the file
		s.planFile, same = &text, true
	}
	s.mu.Unlock()
	if same {
		return false, nil
	}
	_, err = s.Submit(ctx, Request{Client: planFileClient + rand.Text(), By: by, Plan: &advise.PlanText{Name: name, Text: text}})
	return err == nil, err
}

// PlanEdited tells whether the plan in force is another than the one that a file gave last: somebody changed
// it on the page.
func (s *Shoot) PlanEdited() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.planFile != nil && s.state.PlanText != *s.planFile
}

func refuse(format string, a ...any) error {
	return fmt.Errorf("%w: %s", ErrRefused, fmt.Sprintf(format, a...))
}

// check turns a request into an input, or says why it makes no sense.
func (s *Shoot) check(r Request) (inputBody, error) {
	var b inputBody
	set := 0
	for _, given := range []bool{r.Adjusted != nil, r.Reference != nil, r.Marked != nil, r.Answer != nil, r.NotNow != nil, r.Baseline != nil,
		r.Plan != nil, r.Earlier != nil, r.Metered != nil, r.Note != nil, r.Sitter != nil, r.Walk != nil, r.Swap != nil, r.Bracket != nil, r.End} {
		if given {
			set++
		}
	}
	if set != 1 { // before a text is put into the side file
		return b, refuse("a request must ask for exactly one thing, and this one asks for %d", set)
	}
	var err error
	switch {
	case r.Adjusted != nil:
		b.Input.Adjusted, err = s.checkAdjusted(*r.Adjusted)
	case r.Reference != nil:
		b.Input.Reference, err = r.Reference, s.checkReference(*r.Reference)
	case r.Marked != nil:
		b.Input.Marked, err = r.Marked, s.checkMarked(*r.Marked)
	case r.Answer != nil:
		b.Input.Answer = r.Answer
		if q := s.state.Question; q == nil || q.Number != r.Answer.Question {
			err = refuse("question %d is no longer open", r.Answer.Question)
		}
	case r.NotNow != nil:
		b.Input.NotNow = r.NotNow
		if a := s.state.Advice; a.Number != r.NotNow.Advice || a.Status != advise.Adjust {
			err = refuse("that advice is no longer shown")
		}
	case r.Baseline != nil:
		b.Input.Baseline = r.Baseline
		if !s.readable(r.Baseline.Frame) {
			err = refuse("frame %d has no reading, so it can't be the baseline; choose one of the newest %d", r.Baseline.Frame, advise.KeepFrames)
		}
	case r.Plan != nil:
		b.Input.Plan = r.Plan
		if r.Plan.Text != "" {
			p, faults := plan.Parse(r.Plan.Name, []byte(r.Plan.Text))
			if len(faults) > 0 {
				err = fmt.Errorf("%w: the light plan has faults:\n%w", ErrRefused, faults)
			}
			b.Input.Plan = s.withGuides(*r.Plan, p)
		}
	case r.Earlier != nil:
		b.Input.Earlier = r.Earlier
	case r.Metered != nil:
		b.Input.Metered = r.Metered
		if g := r.Metered.Group; g != "" && !slices.ContainsFunc(s.state.Lights, func(l advise.LightState) bool { return l.Group == g }) {
			err = refuse("no light of the plan has the group %q; the groups are %s", g, groups(s.state.Lights))
		}
	case r.Note != nil:
		b.Input.Note = &advise.Note{}
		b.Input.Note.Ref, b.Kept, err = s.keepWords(*r.Note, "a note", true)
	case r.Sitter != nil:
		b.Input.Sitter = &advise.Sitter{}
		b.Input.Sitter.Ref, b.Kept, err = s.keepWords(*r.Sitter, "a sitter's name or number", false)
	case r.Swap != nil:
		b.Input.Swap, err = r.Swap, s.checkSwap(*r.Swap)
	case r.Bracket != nil:
		b.Input.Bracket, err = r.Bracket, s.checkBracket(*r.Bracket)
	case r.Walk != nil:
		b.Input.Walk, err = r.Walk, s.checkWalk(*r.Walk)
	case r.End:
		b.Input.Session = &advise.Session{Phase: advise.Ended, Version: s.c.Version}
	}
	return b, err
}

// readable tells whether a frame is among those that the state carries, with a reading.
func (s *Shoot) readable(frame int) bool {
	return slices.ContainsFunc(s.state.Frames, func(f advise.FrameState) bool { return f.Number == frame && f.Reading != nil })
}

func (s *Shoot) keepWords(text, what string, severalLines bool) (string, []trail.Ref, error) {
	text = strings.TrimSpace(text)
	if text == "" || utf8.RuneCountInString(text) > MaxNote {
		return "", nil, refuse("%s must have 1 to %d characters", what, MaxNote)
	}
	if fault := legible.Fault(text, severalLines); fault != "" {
		return "", nil, refuse("%s %s", what, fault)
	}
	ref, err := s.keep(text)
	return ref.ID, []trail.Ref{ref}, err
}

// checkAdjusted fills in where the light stands now, so that the record is absolute.
func (s *Shoot) checkAdjusted(a advise.Adjusted) (*advise.Adjusted, error) {
	if k := slices.IndexFunc(s.state.Reflectors, func(m advise.ReflectorState) bool { return strings.EqualFold(m.Group, a.Group) }); k >= 0 {
		return checkReflector(s.state.Reflectors[k], a)
	}
	if a.Turned != nil {
		return nil, refuse("only a reflector is turned away by an angle; where a light points is not reckoned with")
	}
	i := slices.IndexFunc(s.state.Lights, func(l advise.LightState) bool { return strings.EqualFold(l.Group, a.Group) })
	if i < 0 {
		return nil, refuse("no light of the plan has the group %q; the groups are %s", a.Group, groups(s.state.Lights))
	}
	l := s.state.Lights[i]
	a.Group, a.From = l.Group, l.Power
	if a.To != l.Power && (a.To < l.Least || a.To > l.Most || (a.To-l.Least)%max(l.Click, 1) != 0) {
		scale := s.state.Plan.Lights[i].Scale
		return nil, refuse("%s can't be set to %s; it goes from %s to %s in clicks of %s", l.Name, scale.Format(a.To),
			scale.Format(l.Least), scale.Format(l.Most), scale.FormatChange(l.Click))
	}
	if d := a.Distance; d != nil && !(*d >= 0.1 && *d <= exposure.Metres(200)) {
		return nil, refuse("%s can't stand at %s; give a distance of 0.1 to 200 m", l.Name, *d)
	}
	if err := checkPlace(l, &a); err != nil {
		return nil, err
	}
	if a.Bearing == nil && a.Modifier == nil && a.Zoom == nil && a.To == l.Power && (a.Off == nil || *a.Off == l.Off) && (a.Distance == nil || *a.Distance == l.Distance) {
		return nil, refuse("%s already stands at %s", l.Name, l.PowerText)
	}
	return &a, nil
}

// checkReflector looks at what is told of a reflector: it has no dial.
func checkReflector(m advise.ReflectorState, a advise.Adjusted) (*advise.Adjusted, error) {
	a.Group = m.Group
	if a.From != 0 || a.To != 0 || a.Modifier != nil || a.Zoom != nil {
		return nil, refuse("%s has no dial, modifier or zoom; it is moved, turned, taken away or put in place", m.Name)
	}
	if d := a.Distance; d != nil && !(*d >= 0.1 && *d <= exposure.Metres(200)) {
		return nil, refuse("%s can't stand at %s; give a distance of 0.1 to 200 m", m.Name, *d)
	}
	if d := a.Turned; d != nil && !(*d >= 0 && *d <= 90) {
		return nil, refuse("%s can't be turned away by %g°; give 0 to 90, 0 is where it gives most", m.Name, float64(*d))
	}
	if d := a.Bearing; d != nil {
		if !(*d >= -360 && *d <= 360) {
			return nil, refuse("%s can't stand at %g°; give -180 to 180, 0 is towards the camera and 90 at its right", m.Name, float64(*d))
		}
		n := d.Normal()
		a.Bearing = &n
	}
	if (a.Distance == nil || *a.Distance == m.Distance) && (a.Turned == nil || *a.Turned == m.Angle) && (a.Off == nil || *a.Off == m.Away) &&
		(a.Bearing == nil || m.Bearing != nil && *a.Bearing == *m.Bearing) {
		return nil, refuse("%s stands so already", m.Name)
	}
	return &a, nil
}

// checkPlace looks at what is told of a light's place, modifier and zoom, and drops what is so already.
func checkPlace(l advise.LightState, a *advise.Adjusted) error {
	if d := a.Bearing; d != nil {
		if !(*d >= -360 && *d <= 360) {
			return refuse("%s can't stand at %g°; give -180 to 180, 0 is towards the camera and 90 at its right", l.Name, float64(*d))
		}
		n := d.Normal()
		a.Bearing = &n
		if l.Bearing != nil && *l.Bearing == n {
			a.Bearing = nil
		}
	}
	if m := a.Modifier; m != nil {
		text := strings.TrimSpace(*m)
		if utf8.RuneCountInString(text) > advise.MostModifier || strings.ContainsFunc(text, unicode.IsControl) {
			return refuse("the modifier's name must be one line of at most %d characters", advise.MostModifier)
		}
		a.Modifier = &text
		if text == l.Modifier {
			a.Modifier = nil
		}
	}
	if z := a.Zoom; z != nil {
		if !(*z >= advise.ZoomRange[0] && *z <= advise.ZoomRange[1]) {
			return refuse("%s can't be zoomed to %g mm; give %g to %g", l.Name, float64(*z), float64(advise.ZoomRange[0]), float64(advise.ZoomRange[1]))
		}
		if *z == l.Zoom {
			a.Zoom = nil
		}
	}
	return nil
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
	if !s.readable(r.Frame) {
		return refuse("frame %d is not one of the newest %d that could be read; declare the white reference on a newer one", r.Frame, advise.KeepFrames)
	}
	return nil
}

// checkMarked looks whether a part that is shown can be where it is said to be.
func (s *Shoot) checkMarked(m advise.Marked) error {
	marks := s.state.Marks
	switch m.Part {
	case advise.BackdropPart, advise.FacePart, advise.WitnessPart, advise.EmptyPart:
	default:
		return refuse("there is no part %q to show; the parts are backdrop, face, witness and empty", m.Part)
	}
	if m.Back {
		if marks.Of(m.Part) == nil && (m.Part != advise.EmptyPart || marks.Empty == nil) {
			return refuse("nothing is shown by hand as %s, so there is nothing to take back", m.Part)
		}
		return nil
	}
	if !s.readable(m.Frame) {
		return refuse("frame %d is not one of the newest %d that could be read; show it on a newer one", m.Frame, advise.KeepFrames)
	}
	if m.Part == advise.EmptyPart {
		i := slices.IndexFunc(s.state.Frames, func(f advise.FrameState) bool { return f.Number == m.Frame })
		if r := s.state.Frames[i].Reading; r.Regions.Backdrop == nil {
			return refuse("no backdrop was found in frame %d; take a frame of the backdrop alone, filling it, and show that", m.Frame)
		}
		return nil
	}
	if m.Box == nil {
		return refuse("say where: a box is missing")
	}
	return checkBox(*m.Box)
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
