package advise

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"thirdstop/advise/drift"
	"thirdstop/assess/exposure"
)

// findings takes what the detectors found of a frame into the state, says what is new in it, and
// marks the frames that were off.
func (s State) findings(frame int, found []drift.Finding, told []Output) (State, []Output) {
	w := &s.watch
	stands := make([]drift.Finding, 0, len(w.Stands)+len(found))
	for _, x := range w.Stands {
		if w.stands(x, frame) && !slices.ContainsFunc(found, func(y drift.Finding) bool { return y.ID == x.ID }) {
			stands = append(stands, x)
		}
	}
	single := false
	for _, x := range found {
		was := slices.IndexFunc(w.Stands, func(y drift.Finding) bool { return y.ID == x.ID })
		fresh := was < 0 || newsIn(w.Stands[was], x)
		if x.Kind != drift.Back {
			stands = append(stands, x)
		}
		asked := s.Question != nil && s.Question.Frame == frame
		noLight := !slices.ContainsFunc(x.Candidates, func(c drift.Cause) bool { return c.What == drift.OneLight })
		switch x.Kind {
		case drift.Step, drift.Unclear:
			fresh = fresh && !asked // the question says so, and an answer helps more
		case drift.AllLights, drift.Ambient:
			if asked && noLight && (s.tentative == nil || !s.tentative.asked) { // it is no dial that was turned
				told = slices.DeleteFunc(told, func(o Output) bool { return o.Question != nil })
				s.Question, s.tentative = nil, nil
				s.asked--
			}
			fresh = fresh && (!asked || noLight)
		case drift.FiredEarly:
			single = true
			if asked { // it is no dial that was turned
				told = slices.DeleteFunc(told, func(o Output) bool { return o.Question != nil })
				s.Question, s.tentative = nil, nil
				s.asked--
			}
		case drift.OddFrame:
			single = true
			fresh = fresh && !asked
		case drift.Absent:
			single = true
			fresh = fresh && !slices.Contains(s.absent, x.Group)
		}
		if x.Witnessed && (was < 0 || w.Stands[was].Kind != x.Kind) && slices.Contains([]drift.Kind{drift.Step, drift.AllLights, drift.Unclear}, x.Kind) {
			s = s.followed(x)
			w = &s.watch
		}
		if fresh {
			told = append(told, event(kindOf(x), Event{Frame: frame, Group: x.Group, Text: x.Text + " " + x.Remedy}))
		}
	}
	w.Stands = stands
	if single && w.Base > 0 { // one odd frame says nothing of the light
		s.taught, s.untaught = s.model, false
	}
	s.noteMissed()
	s.Drift = s.drifting()
	s.mark()
	return s, told
}

// kindOf is the kind of a finding's line in the shoot log.
func kindOf(x drift.Finding) string {
	switch x.Kind {
	case drift.LoadNear, drift.LoadOver:
		return "load"
	case drift.Back:
		return "drift_over"
	}
	return "drift"
}

// newsIn tells whether a finding says something that its last revision did not.
func newsIn(was, now drift.Finding) bool {
	return len(now.Candidates) == 1 && len(was.Candidates) > 1 && now.Kind == drift.AllLights || was.Kind != now.Kind || was.Group != now.Group || was.Steady != now.Steady && now.May == drift.ChangeLight ||
		math.Abs(float64(now.Size-was.Size)) >= 0.2
}

// stands tells whether something that was found before still holds after a further frame.
func (w *watching) stands(x drift.Finding, frame int) bool {
	d := w.Drift
	switch {
	case d.Open != nil && d.Open.Said.ID == x.ID, d.Dark != nil && d.Dark.ID == x.ID, d.Held != nil && d.Held.ID == x.ID:
		return true
	case x.Kind == drift.LoadNear || x.Kind == drift.LoadOver:
		i := slices.IndexFunc(d.Setup.Lights, func(l drift.Light) bool { return l.Group == x.Group })
		return i >= 0 && d.Loads[i].Said > 0
	case x.Kind == drift.DarkBand:
		return d.Band != nil && d.Band.ID == x.ID
	case x.Kind == drift.ColourOnly:
		return d.Cast != nil && d.Cast.Said.ID == x.ID
	case x.Kind == drift.Heat || x.Kind == drift.Battery:
		return frame-x.Frame < tiredFrames
	}
	return false
}

// tiredFrames is how long a tired flash is spoken of after its last low frame.
const tiredFrames = 20

// drifting is what stands, for everybody to see.
func (s State) drifting() Drifting {
	w := s.watch
	out := Drifting{Stands: []Drift{}, OffFrames: []OffFrames{}}
	for i := len(w.Stands) - 1; i >= 0; i-- {
		x := w.Stands[i]
		if slices.ContainsFunc(out.Stands, func(d Drift) bool { return d.Kind == string(x.Kind) && d.Group == x.Group }) {
			continue // said anew
		}
		d := Drift{ID: x.ID, Kind: string(x.Kind), Frame: x.Frame, Since: x.Since, Group: x.Group, Candidates: []string{},
			Size: x.Size, Sure: x.Sure, Steady: x.Steady, Witnessed: x.Witnessed, May: string(x.May), Text: x.Text, Remedy: x.Remedy, Caution: x.Caution}
		for _, c := range x.Candidates {
			d.Candidates = append(d.Candidates, c.Name)
		}
		if j, ok := s.light(x.Group); ok {
			d.Light = s.Lights[j].Name
		}
		out.Stands = append(out.Stands, d)
	}
	for _, m := range w.Drift.Marks {
		o := OffFrames{From: m.From, To: m.To, Kind: string(m.Kind), Group: m.Group, ThisSitter: w.Since > 0 && m.To >= w.Since}
		what := offWords[m.Kind]
		if i, ok := s.light(m.Group); ok {
			what = s.Lights[i].Name + " " + what
		}
		if m.Size != 0 && m.Kind != drift.Absent {
			what += ", " + signedStops(m.Size)
		}
		o.Text = fmt.Sprintf("Frame %d: %s", m.From, what)
		if m.To > m.From {
			o.Text = fmt.Sprintf("Frames %d to %d: %s", m.From, m.To, what)
		}
		out.OffFrames = append(out.OffFrames, o)
	}
	out.OffFrames = append(out.OffFrames, s.offTarget(out.OffFrames)...)
	slices.SortStableFunc(out.OffFrames, func(a, b OffFrames) int { return a.From - b.From })
	return out
}

// run is a run of frames.
type run struct{ From, To int }

// keepMissed is how many runs of frames are kept that missed a target.
const keepMissed = 500

// noteMissed notes the frames since the baseline that missed a target. Those that the state does not carry any more stand as they were.
func (s *State) noteMissed() {
	w := &s.watch
	if w.Base == 0 || len(s.Frames) == 0 {
		return
	}
	oldest := s.Frames[0].Number
	var out []run
	for _, r := range w.Missed {
		if r.To = min(r.To, oldest-1); r.To >= r.From {
			out = append(out, r)
		}
	}
	for _, f := range s.Frames {
		if f.Number <= w.Base || f.OnTarget || len(f.Expected) == 0 || f.Aside != "" || f.Walk != "" {
			continue
		}
		if n := len(out); n > 0 && out[n-1].To == f.Number-1 {
			out[n-1].To = f.Number
		} else {
			out = append(out, run{f.Number, f.Number})
		}
	}
	w.Missed = out[max(0, len(out)-keepMissed):]
}

// offTarget are the frames that missed a target though nothing drifted, told apart by whether their sitter still sits there.
func (s State) offTarget(marked []OffFrames) []OffFrames {
	w := s.watch
	var out []OffFrames
	for _, r := range w.Missed {
		from := r.From
		for f := r.From; f <= r.To+1; f++ {
			ends := f > r.To || slices.ContainsFunc(marked, func(o OffFrames) bool { return f >= o.From && f <= o.To })
			if (ends || f == w.Since) && f > from {
				o := OffFrames{From: from, To: f - 1, Kind: "off_target", ThisSitter: w.Since > 0 && from >= w.Since, Text: fmt.Sprintf("Frame %d: off target", from)}
				if o.To > o.From {
					o.Text = fmt.Sprintf("Frames %d to %d: off target", o.From, o.To)
				}
				out, from = append(out, o), f
			}
			if ends {
				from = f + 1
			}
		}
	}
	return out
}

// offWords says in a list why a frame was off.
var offWords = map[drift.Kind]string{
	drift.FiredEarly: "fired before it had recycled",
	drift.Absent:     "did not fire",
	drift.OddFrame:   "off in this frame alone",
	drift.Heat:       "sagged, too hot",
	drift.Battery:    "sagged, tired battery",
	drift.Step:       "changed at once",
	drift.Slope:      "changed slowly",
	drift.AllLights:  "everything alike: aperture, ISO or lens",
	drift.Ambient:    "the room's light",
	drift.Unclear:    "light changed, cause unclear",
	drift.ColourOnly: "colour changed",
	drift.DarkBand:   "a dark band, shutter faster than sync",
}

func signedStops(v exposure.Stops) string {
	word := "up "
	if v < 0 {
		word, v = "down ", -v
	}
	return word + strings.TrimPrefix(v.String(), "+")
}

// mark puts on every frame that is kept whether it was off.
func (s *State) mark() {
	marks := s.watch.Drift.Marks
	for i, f := range s.Frames {
		at := slices.IndexFunc(marks, func(m drift.Mark) bool { return f.Number >= m.From && f.Number <= m.To })
		switch {
		case at < 0 && f.Off == "":
		case at < 0:
			s.Frames[i].Off = ""
		default:
			s.Frames[i].Off = string(marks[at].Kind)
		}
	}
}

// LoadsAt is how hard every light is worked at a time, against the limit that the plan gives from
// its maker's manual. Lights without a limit are left out.
func (s State) LoadsAt(at time.Time) []Load {
	out := []Load{}
	d := s.watch.Drift
	for i, l := range d.Setup.Lights {
		if !(l.Limit > 0) || i >= len(s.Lights) {
			continue
		}
		x := Load{Group: l.Group, Light: l.Name, PerMinute: float64(d.Loads[i].Per(l.Limit, at)), Limit: float64(l.Limit)}
		x.Left, _ = d.Loads[i].Left(l.Limit, s.Lights[i].Power, at)
		out = append(out, x)
	}
	return out
}

// driftWarnings are the warnings that go with an advice. Beside something to turn none says to turn nothing.
func (s State) driftWarnings(a Advice) []Warning {
	var out []Warning
	for _, x := range s.Drift.Stands {
		if (s.Question != nil || s.recheck) && slices.Contains([]string{string(drift.OddFrame), string(drift.Step), string(drift.AllLights), string(drift.Unclear)}, x.Kind) {
			continue // one thing at a time
		}
		if x.Kind == string(drift.DarkBand) || x.Kind == string(drift.Absent) && slices.Contains(s.absent, x.Group) {
			continue // the advice itself says so
		}
		text := x.Text
		if a.Status != Adjust || !slices.Contains([]string{string(drift.OddFrame), string(drift.FiredEarly), string(drift.AllLights)}, x.Kind) && x.May != string(drift.CardCheck) {
			text += " " + x.Remedy
		}
		out = append(out, Warning{Code: "drift_" + x.Kind, Text: text})
	}
	return out
}

// heed keeps an advice from making up with a dial for what a dial does not mend, or not now.
func (s State) heed(a Advice) Advice {
	if a.Status != Adjust && a.Status != Hold || s.watch.Base == 0 || s.Question != nil {
		return a
	}
	if slices.ContainsFunc(a.Expected, func(e Expected) bool { return e.Region == WhitePeak && e.AtLeast }) {
		return a // what clips is lost: that does not wait
	}
	within := s.heldHere && a.Frame > s.watch.Since // the first frame of a sitter belongs to the break
	for i := len(s.watch.Stands) - 1; i >= 0; i-- {
		x := s.watch.Stands[i]
		up := slices.ContainsFunc(a.Adjustments, func(t Adjustment) bool { return t.To > t.From && t.Group == x.Group })
		switch {
		case !x.Witnessed:
			continue
		case x.Retake && x.Frame == a.Frame:
			a.Headline = fmt.Sprintf("Take frame %d again", x.Frame)
			a.Reason = x.Text + " " + x.Remedy
		case a.Status != Adjust:
			continue
		case (x.Kind == drift.Heat || x.Kind == drift.Battery) && up:
			a.Headline, a.Reason = lightName(s, x.Group)+": no more power", x.Text+" "+x.Remedy
		case x.Kind == drift.AllLights && len(x.Candidates) == 1: // else it may as well be a light, and that is advised on
			a.Headline, a.Reason = "Look at aperture, ISO and lens", x.Text+" "+x.Remedy
		case x.May == drift.ChangeLight && (within || !x.Steady && a.Frame-x.Frame < unsteadyFrames):
			when := "once it has stopped changing"
			if within {
				when = "at the break between sitters"
			}
			a.Headline = "Look at " + lightName(s, x.Group)
			a.Reason = x.Text + " " + x.Remedy + " What its dial can make up for is offered " + when + "."
		default:
			continue
		}
		a.Status, a.Adjustments, a.Ways = Look, []Adjustment{}, []Way{}
		a.Guess, a.AtLeast = false, false
		for k := range a.Expected {
			a.Expected[k].Then, a.Expected[k].ThenSigma, a.Expected[k].ThenText = 0, 0, ""
		}
		return a
	}
	return a
}

// unsteadyFrames is how long a drift is waited for: then what can be made up for is offered, however it moves.
const unsteadyFrames = 20

func lightName(s State, group string) string {
	if i, ok := s.light(group); ok {
		return s.Lights[i].Name
	}
	return "the lights"
}

func sayBaseline(frame int) string {
	return fmt.Sprintf("Frame %d is the baseline: every target holds. Drift is told from here on.", frame)
}
