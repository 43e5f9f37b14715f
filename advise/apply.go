package advise

import (
	"fmt"
	"slices"

	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

// Apply is the whole of advising: from what is known and one thing that
// happened to what is known next. The state it is given stays as it was.
func Apply(s State, in Input) (State, []Output) {
	s.Seq++
	var out []Output
	switch {
	case in.Session != nil:
		s, out = s.session(*in.Session)
	case in.Plan != nil:
		s, out = s.planned(*in.Plan)
	case in.Frame != nil:
		s, out = s.frame(in) // decides about advice itself: a late frame changes none
		return s.Remembered(in.Frame.Number), out
	case in.Broken != nil:
		return s, []Output{in.Broken.event()} // whatever was advised stands as it is
	case in.Adjusted != nil:
		s, out = s.adjusted(in)
	case in.Reference != nil:
		s, out = s.referred(*in.Reference)
	case in.Marked != nil:
		s, out = s.shownByHand(*in.Marked)
	case in.Answer != nil:
		s, out = s.answered(*in.Answer)
	case in.NotNow != nil:
		if in.NotNow.Advice == s.Advice.Number && s.Advice.Status == Adjust {
			s.putAside = s.Advice.Adjustments
			out = append(out, event("not_now", Event{Frame: s.Advice.Frame, Text: "Put aside: " + textsOf(s.putAside) + "."}))
		}
	case in.Sitter != nil:
		s.Sitter, s.heldHere, s.putAside = in.Sitter.Ref, false, nil
		s.anotherSitter()
		s.Marks.Backdrop, s.Marks.Face = nil, nil            // they were drawn round this one
		for _, r := range []int{sitterRegion, crownRegion} { // another head
			s.model, s.taught = withoutRegion(s.model, r), withoutRegion(s.taught, r)
		}
		out = append(out, event("sitter", Event{Ref: in.Sitter.Ref, Text: "Another sitter."}))
		if s.Reference != nil {
			s.Reference = nil
			out = append(out, event("reference", Event{Text: "The white reference lapsed with the sitter; declare it again on the next frame."}))
		}
	case in.Baseline != nil:
		text := fmt.Sprintf("Frame %d is the baseline.", in.Baseline.Frame)
		if !s.based(in.Baseline.Frame) {
			text += " It lies too far back to hold frames against its light; the next ones are taken for it."
		}
		out = append(out, event("baseline", Event{Frame: in.Baseline.Frame, Text: text}))
	case in.Swap != nil:
		s, out = s.swapped(*in.Swap)
	case in.Walk != nil:
		s, out = s.walked(*in.Walk)
	case in.Bracket != nil:
		s, out = s.bracketAsked(*in.Bracket)
	case in.Curve != nil:
		s, out = s.curved(*in.Curve)
	case in.Earlier != nil:
		s, out = s.earlier(*in.Earlier)
	case in.Metered != nil:
		out = s.metered(*in.Metered)
	case in.Note != nil:
		out = append(out, event("note", Event{Ref: in.Note.Ref, Text: "A note."}))
	}
	return s.keptUp(in).decide(in.At, out)
}

func event(kind string, e Event) Output {
	e.Kind = kind
	return Output{Event: &e}
}

// event is the line of the shoot log about a broken file, whose name stands beside it.
func (b Broken) event() Output {
	text := "A file could not be read: " + b.Why + "."
	if b.Frame > 0 {
		text = fmt.Sprintf("A file of frame %d could not be read: %s. What was read of the frame before stands.", b.Frame, b.Why)
	}
	return event("damaged", Event{Frame: b.Frame, Ref: b.File, Text: text})
}

func (s State) session(in Session) (State, []Output) {
	s.Phase = in.Phase
	if in.Phase == Ended && s.Plan != nil {
		s.noteMissed()
		s.Drift = s.drifting()
	}
	text := map[Phase]string{
		Begun:   "The shoot begins.",
		Resumed: fmt.Sprintf("The shoot goes on; %s so far.", count(s.FrameCount, "frame")),
		Paused:  "thirdstop stops watching; the shoot can go on where it is.",
		Ended:   fmt.Sprintf("The shoot ends after %s.", count(s.FrameCount, "frame")),
	}[in.Phase]
	return s, []Output{event("session", Event{Text: text})}
}

func (s State) planned(in PlanText) (State, []Output) {
	if in.Text == "" {
		s.Plan, s.PlanText, s.PlanName, s.Lights, s.Reflectors = nil, "", "", nil, nil
		s.forget()
		return s, []Output{event("plan", Event{Text: "The light plan was taken away."})}
	}
	p, faults := plan.Parse(in.Name, []byte(in.Text))
	if len(faults) > 0 {
		// What records inputs checks them first, so this is an old record under newer rules of
		// reading: the plan before stays.
		return s, []Output{event("plan", Event{Text: "The light plan could not be read, so the one before stays: " + faults[0].String()})}
	}
	before := s.Plan
	if before != nil && before.Backdrop.Colour != p.Backdrop.Colour && sameRig(withBackdrop(*before, p.Backdrop), p) && s.taught.Known() {
		s = s.anotherBackdrop(*before, p)
		before = &p
	}
	s.Plan, s.PlanText, s.PlanName, s.guides = &p, in.Text, in.Name, in.Guides
	lights := make([]LightState, len(p.Lights))
	for i, l := range p.Lights {
		lights[i] = lightState(l)
	}
	same := before != nil && sameRig(*before, p)
	if same {
		// An edit of targets or camera: how the lights stand and what was learned of them holds.
		for i := range lights {
			lights[i].Off = s.Lights[i].Off
			if before.Lights[i].Direction == p.Lights[i].Direction { // else the edit says where it stands
				lights[i].Bearing = s.Lights[i].Bearing
			}
			if before.Lights[i].Power == p.Lights[i].Power {
				was := s.Lights[i].withPower(s.Lights[i].Power, p.Lights[i])
				was.Bearing = lights[i].Bearing
				lights[i] = was
			}
		}
	} else {
		s.forget()
		s.references = nil
		for _, l := range lights {
			s.references = append(s.references, distance{l.Group, l.Distance})
		}
		for _, m := range p.Reflectors {
			s.references = append(s.references, distance{m.Group, m.Distance})
		}
	}
	s.Lights = lights
	if !same || len(s.Reflectors) != len(p.Reflectors) {
		s.Reflectors = nil
		for _, m := range p.Reflectors {
			s.Reflectors = append(s.Reflectors, reflectorState(m))
		}
	}
	if s.FrameCount == 0 {
		s.FNumber, s.ISO, s.Shutter = p.Camera.FNumber, p.Camera.ISO, p.Camera.Shutter
	}
	if s.TStops = p.Camera.TStops; s.TStops { // no file records it
		s.FNumber = p.Camera.FNumber
	}
	s.pending, s.putAside, s.heldHere = nil, nil, false
	s = s.reteach()
	return s, []Output{event("plan", Event{Text: fmt.Sprintf("Light plan with %s.", count(len(p.Lights), "light"))})}
}

// forget drops what was learned of the lights.
func (s *State) forget() {
	s.model, s.taught, s.pending, s.recent, s.tentative, s.Question = rig.Model{}, rig.Model{}, nil, nil, nil, nil
	s.lastSet, s.putAside, s.heldHere, s.absent = rig.Setting{}, nil, false, nil
	s.unlit, s.doubt, s.recheck, s.apart, s.offered, s.presumed, s.firm, s.slept, s.restore, s.passed = nil, nil, false, nil, nil, "", nil, nil, nil, nil
	s.watch.drop()
	s.Drift = s.drifting()
	s.Walk, s.Match = nil, nil
}

// sameRig tells whether two plans speak of the same lights in the same places, so
// that what was learned under one holds under the other.
func sameRig(a, b plan.Plan) bool {
	if len(a.Lights) != len(b.Lights) || a.Backdrop != b.Backdrop || !slices.Equal(a.Reflectors, b.Reflectors) {
		return false
	}
	for i := range a.Lights {
		x, y := a.Lights[i], b.Lights[i]
		if x.Role != y.Role || x.Group != y.Group || x.Modifier != y.Modifier || x.Distance != y.Distance || x.Zoom != y.Zoom || x.Scale != y.Scale {
			return false
		}
	}
	return true
}

func lightState(l plan.Light) LightState {
	st := LightState{Group: l.Group, Role: string(l.Role), Name: l.Name(), Distance: l.Distance,
		Click: l.Scale.Click, Least: l.Least, Most: l.Most, Modifier: l.Modifier, Zoom: l.Zoom}
	if l.Direction.Known {
		d := Degrees(l.Direction.Degrees).Normal()
		st.Bearing = &d
	}
	for d := l.Least; d <= l.Most; d += max(l.Scale.Click, 1) {
		st.Settings = append(st.Settings, l.Scale.Format(d))
	}
	return st.withPower(l.Power, l)
}

func (l LightState) withPower(d exposure.Dial, as plan.Light) LightState {
	l.Power, l.PowerText = d, as.Scale.Format(d)
	return l
}

// light finds a light of the plan by its group letter.
func (s State) light(group string) (int, bool) {
	for i, l := range s.Lights {
		if l.Group == group {
			return i, true
		}
	}
	return 0, false
}

func (s State) setPower(i int, d exposure.Dial) State {
	s.Lights = slices.Clone(s.Lights)
	s.Lights[i] = s.Lights[i].withPower(d, s.Plan.Lights[i])
	return s
}

func (s State) adjusted(in Input) (State, []Output) {
	a := *in.Adjusted
	if k, ok := s.reflector(a.Group); ok {
		return s.reflectorAdjusted(k, a)
	}
	i, ok := s.light(a.Group)
	if !ok || s.Plan == nil {
		return s, nil // refused before it was recorded; an old record under another plan
	}
	recheck := s.recheck
	s.slept = slices.DeleteFunc(slices.Clone(s.slept), func(x slept) bool { return x.group == a.Group })
	if s.restore != nil && s.restore.group == a.Group {
		s.restore = nil
	}
	s, out := s.replaced(i, a)
	l := s.Lights[i]
	if a.Off != nil && *a.Off != l.Off {
		s.Lights = slices.Clone(s.Lights)
		s.Lights[i].Off = *a.Off
		word := "on"
		if *a.Off {
			word = "off"
		}
		out = append(out, event("adjusted", Event{Group: l.Group, Text: fmt.Sprintf("%s: switched %s.", l.Name, word)}))
	}
	if a.Distance != nil && *a.Distance != l.Distance {
		s.Lights = slices.Clone(s.Lights)
		s.Lights[i].Distance = *a.Distance
		out = append(out, event("adjusted", Event{Group: l.Group, Text: fmt.Sprintf("%s: moved from %s to %s.", l.Name, l.Distance, *a.Distance)}))
		if !(l.Distance > 0) {
			// Where it stood before is not known, so what it gave there says nothing of here.
			s.references = slices.Clone(s.references)
			for k := range s.references {
				if s.references[k].group == l.Group {
					s.references[k].at = *a.Distance
				}
			}
			s.model, s.taught = rig.Model{}, rig.Model{}
			s.watch.drop()
		} else if s.taught.Known() {
			s = s.matching(out[len(out)-1].Event.Text)
		}
	}
	if a.To != l.Power {
		s = s.setPower(i, a.To)
		s.recent = append(slices.Clone(s.recent), change{group: l.Group, from: l.Power, to: a.To, at: in.At})
		out = append(out, event("adjusted", Event{Group: l.Group, Text: fmt.Sprintf("%s: %s, set %s.", l.Name,
			powerWords(s.Plan.Lights[i].Scale, a.To-l.Power), s.Lights[i].PowerText)}))
	}
	s.pending = slices.DeleteFunc(slices.Clone(s.pending), func(p Adjustment) bool { return p.Group == a.Group })
	s.putAside, s.apart = nil, nil
	if q := s.Question; q != nil && q.Group == a.Group && s.watch.Base > 0 && s.assumed() && a.To != l.Power {
		s.restore = &change{group: a.Group, from: l.Power, to: a.To, at: in.At} // it was not meant
	}
	if q := s.Question; q != nil && (q.Group == a.Group || q.Group == "") || recheck {
		// Told because it was asked: so the newest frame was lit.
		was := s.tentative
		s.Question, s.tentative = nil, nil
		if (was == nil || !was.asked) && s.lastSet.Power != nil && a.Distance == nil {
			s.lastSet.Power, s.lastSet.Off = slices.Clone(s.lastSet.Power), slices.Clone(s.lastSet.Off)
			s.lastSet.Power[i], s.lastSet.Off[i] = s.Lights[i].Power.Stops()+s.base(s.Lights[i]), s.Lights[i].Off
			s.recent, s.untaught = nil, false
			s = s.reteach()
			s.watch.explained()
			s.Drift = s.drifting()
		}
	}
	if s.Lights[i].Power != l.Power && a.Distance == nil && len(s.recent) > 0 {
		if told, ok := s.toldNow(); ok {
			return told, out
		}
	}
	return s, out
}

func (s State) referred(in Reference) (State, []Output) {
	s.Reference = in.Box
	s.putAside, s.recheck = nil, false
	s.watch.loosen(whiteRegion, cardSigma)
	text := "White reference declared."
	if in.Box == nil {
		text = "White reference taken back."
	}
	if s.taught.Spec.Lights > 0 {
		if s.Question != nil && (s.assumed() || s.tentative == nil) {
			s.untaught = false
			s = s.unanswered() // no further frame can be held against those that it rests on
			s = s.reteach()
		}
		// Another white is another region: what was learned of the old one does not hold.
		s.model, s.taught, s.firm = withoutRegion(s.model, whiteRegion), withoutRegion(s.taught, whiteRegion), nil
	}
	return s, []Output{event("reference", Event{Frame: in.Frame, Text: text})}
}

func withoutRegion(m rig.Model, region int) rig.Model {
	m.Seen = slices.Clone(m.Seen)
	for i := range m.Seen {
		m.Seen[i].Levels = slices.Clone(m.Seen[i].Levels)
		m.Seen[i].Levels[region] = rig.Measured{}
	}
	return m
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
