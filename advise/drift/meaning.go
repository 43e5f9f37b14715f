package drift

import (
	"math"
	"slices"

	"thirdstop/assess/exposure"
)

// Episode is a drift that stands: the finding as last said, and where the regions were before it.
type Episode struct {
	Said    Finding  `json:"said"`
	Before  []Anchor `json:"before"`
	Alarm   int      `json:"alarm"`   // frame of the newest signal
	Rested  int      `json:"rested"`  // RestAt that was looked at already
	Decided bool     `json:"decided"` // step or slope
	Kept    bool     `json:"kept"`    // did not come back after a rest
	Room    Verdict  `json:"room"`    // of a frame of the room alone: was it the room's light?
}

// Anchor is where a region was held before an episode.
type Anchor struct {
	Region string         `json:"region"`
	At     exposure.Stops `json:"at_stops"`
	Doubt  exposure.Stops `json:"doubt_stops"`
}

func (s State) anchors() []Anchor {
	out := make([]Anchor, 0, len(s.Streams))
	for _, st := range s.Streams {
		out = append(out, Anchor{Region: st.Region, At: st.Centre, Doubt: st.Doubt})
	}
	return out
}

// changes is the mean of some frames against where the regions were before.
func (s State) changes(frames []Seen, before []Anchor) []change {
	var out []change
	for _, a := range before {
		i := s.stream(a.Region)
		if i < 0 || !s.Streams[i].Witnessed && len(s.Streams[i].Warm) < warmFrames {
			continue
		}
		var sum, vars, n float64
		var last Residual
		for _, f := range frames {
			for _, r := range f.All {
				if r.Region == a.Region {
					sum += float64(r.Value - a.At)
					vars += math.Pow(s.Streams[i].sigma(s.Setup.Scatter, r.Sigma), 2)
					n++
					last = r
				}
			}
		}
		if n == 0 {
			continue
		}
		fixed := math.Hypot(float64(a.Doubt), float64(last.Doubt))
		if !s.Streams[i].Witnessed {
			fixed = math.Hypot(fixed, poseSigma)
		}
		out = append(out, change{by: exposure.Stops(sum / n), sigma: exposure.Stops(math.Hypot(math.Sqrt(vars)/n, fixed)), shares: last.Shares, shareSigmas: last.ShareSigmas, sitter: !s.Streams[i].Witnessed})
	}
	return out
}

// plain is the frames that count, the newest last, with one more at the end.
func (s State) plain(n *Seen) []Seen {
	var out []Seen
	for _, f := range s.Seen {
		if !f.Odd && f.Number > s.Fresh {
			out = append(out, f)
		}
	}
	if n != nil {
		out = append(out, *n)
	}
	return out
}

func newest(frames []Seen, n int) []Seen { return frames[max(0, len(frames)-n):] }

// settleAt holds the regions against where some frames put them.
func (s *State) settleAt(frames []Seen) {
	for _, c := range s.anchors() {
		i := s.stream(c.Region)
		var v []float64
		var sigma float64
		for _, f := range frames {
			for _, r := range f.All {
				if r.Region == c.Region {
					v = append(v, float64(r.Value))
					sigma = s.Streams[i].sigma(s.Setup.Scatter, r.Sigma)
				}
			}
		}
		if len(v) > 0 {
			s.Streams[i].restart(exposure.Stops(median(v)), exposure.Stops(1.25*sigma/math.Sqrt(float64(len(v)))))
		}
	}
}

// settleBack holds the regions against their predictions again.
func (s *State) settleBack() {
	for i := range s.Streams {
		st, doubt := &s.Streams[i], exposure.Stops(0)
		if !st.Witnessed {
			doubt = poseSigma / 2
		}
		st.restart(st.Base, doubt)
	}
}

// shifted says what a signal means. count is how many frames the change goes
// back, at a guess; id is of an odd frame that turned out to be its first.
func (s State) shifted(n *Seen, alarms []int, count, id int) (State, []Finding) {
	witnessed := false
	for _, i := range alarms {
		witnessed = witnessed || s.Streams[i].Witnessed
	}
	s.Lows = slices.DeleteFunc(slices.Clone(s.Lows), func(l Low) bool { return id != 0 && l.Frame >= n.Number-1 })
	frames := s.plain(n)
	recent := newest(frames, min(count, 4))
	if s.Open != nil {
		open := *s.Open
		changes := s.changes(recent, open.Before)
		if !slices.ContainsFunc(changes, func(c change) bool {
			return math.Abs(float64(c.by)) > max(float64(worth)/2, 2.5*float64(c.sigma))
		}) {
			return s.back(n, open)
		}
		if now := alike(open.Room.left(s.causes(n.Off, changes))); len(open.Said.Candidates) > 0 && slices.ContainsFunc(now, func(c Cause) bool {
			was := open.Said.Candidates[0]
			return c.What == was.What && c.Group == was.Group
		}) {
			if s.resting(n, open) {
				return s, nil // the frames after a rest say whether it was heat
			}
			open.Alarm = n.Number
			open.Said.Witnessed = open.Said.Witnessed || witnessed
			open.Said.Steady = false
			s.settleAt(recent)
			s.Open = &open
			return s.say(n, true)
		}
	}
	told := 1 // as an odd frame
	if id == 0 {
		s.NextID++
		id, told = s.NextID, 0
	}
	since := newest(frames, count)[0].Number
	if s.Open != nil {
		s.Fresh = max(s.Fresh, min(s.Open.Alarm, since)-1) // what lies before left from elsewhere
	}
	s.Open = &Episode{Before: s.anchors(), Alarm: n.Number, Said: Finding{ID: id, Revision: told, Since: since, Witnessed: witnessed}}
	s, out := s.say(n, true)
	s.settleAt(recent)
	if !witnessed {
		for _, i := range alarms {
			s.Streams[i].Muted = true
		}
	}
	return s, out
}

// resting tells that a sag is just being looked at after a rest.
func (s State) resting(n *Seen, open Episode) bool {
	return open.Said.Size < 0 && open.Said.Kind != Absent && s.RestAt > open.Said.Since && s.RestAt != open.Rested && n.Number <= s.RestAt+2
}

// say works out the standing episode anew from all its frames, and tells of it if
// it must, or if that changed what it is.
func (s State) say(n *Seen, must bool) (State, []Finding) {
	open := *s.Open
	was := open.Said
	x := was
	frames := s.plain(nil)
	if len(frames) == 0 || frames[len(frames)-1].Number != n.Number {
		frames = s.plain(n)
	}
	// Some frames from before the onset show where it left from, unless an older episode lies there.
	first := slices.IndexFunc(frames, func(f Seen) bool { return f.Number >= was.Since })
	first = max(0, first-12)
	frames = frames[first:]
	var form shape
	var at, d []float64
	var all []Cause
	var regions int
	since := was.Since
	for range 2 { // once with the detector's onset, then with the shape's
		onset := max(0, slices.IndexFunc(frames, func(f Seen) bool { return f.Number >= since }))
		changes := s.changes(frames[onset:], open.Before)
		if all, regions = open.Room.left(s.causes(n.Off, changes)), len(changes); len(all) == 0 {
			return s, nil
		}
		x.Candidates = s.ordered(alike(all), was, form)
		var sd float64
		if at, d, sd = s.series(frames, x.Candidates[0], open.Before); len(d) == 0 {
			return s, nil
		}
		form = stepOrRamp(d, max(sd, 0.01))
		since = int(at[form.start])
	}
	best := x.Candidates[0]
	decided := form.lead >= 4
	if !must && !decided && x.Steady == was.Steady {
		return s, nil // not clearer than it was
	}
	x.Frame = n.Number
	x.Size, x.Sigma = exposure.Stops(form.now).Round(), exposure.Stops(form.sigma).Round()
	x.Since = int(at[form.start])
	x.Group = best.Group
	x.PerFrame, x.SlopeLow, x.SlopeHigh = 0, 0, 0
	if form.ramp {
		if l, ok := TheilSen(at[form.start:], d[form.start:], 1.96); ok {
			x.PerFrame, x.SlopeLow, x.SlopeHigh = exposure.Stops(l.Slope).Round(), exposure.Stops(l.Low).Round(), exposure.Stops(l.High).Round()
		}
	}
	x.Kind = s.kind(x, best, form, unexplained(all, regions), open.Kept)
	x.Sure = decided && len(x.Candidates) == 1 && x.Kind != Unclear
	x.May = x.may()
	x.Retake = false
	if !must && x.Kind == was.Kind && x.Sure == was.Sure && x.Group == was.Group && x.Steady == was.Steady {
		return s, nil
	}
	x.Revision++
	x = x.worded(s, wording{kept: open.Kept, rest: s.RestFor})
	s.relabel(was, x)
	s.markSince(x, at, form)
	// The onset stays the detector's: the shape's start moves about, and what it cuts off is lost.
	open.Said, open.Decided = x, decided
	open.Said.Since = min(was.Since, x.Since)
	if x.Kind == Heat && best.What == OneLight {
		s.Heated = slices.Clone(s.Heated)
		s.Heated[best.Index] = true
	}
	s.Open = &open
	return s, []Finding{x}
}

// ordered puts the candidate that was named first before the others again, unless
// the frames speak against it by now: a name that changes with every frame helps nobody. What slopes was no camera setting.
func (s State) ordered(near []Cause, was Finding, form shape) []Cause {
	out := slices.Clone(near)
	first := 0
	if form.ramp && form.lead >= 4 {
		first = max(0, slices.IndexFunc(out, func(c Cause) bool { return c.What != Everything }))
	}
	if len(was.Candidates) > 0 {
		old := was.Candidates[0]
		for i, c := range out {
			if c.What == old.What && c.Group == old.Group && c.Chi <= out[0].Chi+apart/4 && !(form.ramp && form.lead >= 4 && c.What == Everything) {
				first = i
			}
		}
	}
	c := out[first]
	return slices.Insert(slices.Delete(out, first, first+1), 0, c)
}

// series is one cause's change frame by frame, with its median scatter.
func (s State) series(frames []Seen, c Cause, before []Anchor) (at, d []float64, sd float64) {
	var sds []float64
	for _, f := range frames {
		if v, e, ok := projected(c, s.changes([]Seen{f}, before)); ok {
			at, d, sds = append(at, float64(f.Number)), append(d, math.Round(v*1e4)/1e4), append(sds, e)
		}
	}
	return at, d, median(sds)
}

func (s State) kind(x Finding, best Cause, form shape, odd, kept bool) Kind {
	switch {
	case x.Kind == Heat || x.Kind == Battery:
		return x.Kind // shown by a rest
	case odd:
		return Unclear
	case best.What == Everything:
		return AllLights
	case best.What == Room:
		return Ambient
	case best.Gone && x.Size < -2:
		return Absent
	case form.ramp && x.Size < 0 && s.Heated[best.Index] && !kept:
		return Heat
	case form.ramp:
		return Slope
	}
	return Step
}

func (x Finding) may() May {
	switch {
	case !x.Witnessed:
		return CardCheck
	case (x.Kind == Step || x.Kind == Slope) && len(x.Candidates) == 1:
		return ChangeLight
	}
	return OnlyTell
}

// follow looks at a standing episode once more after each further frame.
func (s State) follow(n Seen) (State, []Finding) {
	if s.Open == nil || n.Odd {
		return s, nil
	}
	if x := s.Open.Said; x.Size < -markFrom || x.Size > markFrom {
		s.mark(n.Number, x.Kind, x.Group, x.Size)
	}
	if n.Number == s.Open.Alarm {
		return s, nil
	}
	next, out, ok := s.rested(n)
	if ok {
		return next, out
	}
	s = next
	if s.resting(&n, *s.Open) {
		return s, nil
	}
	if !s.Open.Decided && n.Number-s.Open.Alarm <= 15 {
		next, out := s.say(&n, false)
		if len(out) > 0 {
			return next, out
		}
		s = next
	}
	return s.steady(n)
}

const (
	steadyStep  = 5  // frames after which a step counts as steady
	steadySlope = 12 // frames without slope after which a slope does
)

// steady tells once that a drift has stopped changing, and holds the regions against where it stopped.
func (s State) steady(n Seen) (State, []Finding) {
	x := s.Open.Said
	if x.Steady || len(x.Candidates) == 0 {
		return s, nil
	}
	need := steadyStep
	if x.PerFrame != 0 {
		need = steadySlope
	}
	var frames []Seen
	for _, f := range s.plain(nil) {
		if f.Number >= x.Since {
			frames = append(frames, f)
		}
	}
	if len(frames) < need {
		return s, nil
	}
	frames = newest(frames, max(need, 8))
	at, d, _ := s.series(frames, x.Candidates[0], s.Open.Before)
	l, ok := TheilSen(at, d, 1.28)
	if !ok || (l.Low > 0 || l.High < 0) && math.Abs(l.Slope)*float64(len(d)) > float64(worth)/4 {
		return s, nil
	}
	s.settleAt(frames)
	open := *s.Open
	open.Said.Steady = true
	s.Open = &open
	return s.say(&n, true)
}

// markSince marks the frames of a drift that were off, back to the first.
func (s *State) markSince(x Finding, at []float64, form shape) {
	var off []int
	for i := form.start; i < len(at); i++ {
		by := form.now
		if form.ramp {
			by = form.per * float64(i-form.start+1)
		}
		if math.Abs(by) >= markFrom {
			off = append(off, int(at[i]))
		}
	}
	s.markAll(off, x.Kind, x.Group, x.Size)
}

// relabel gives the frames that were marked for a drift the name that it has now.
func (s *State) relabel(was, now Finding) {
	if was.Kind == "" || was.Kind == now.Kind && was.Group == now.Group {
		return
	}
	s.Marks = slices.Clone(s.Marks)
	for i := range s.Marks {
		if m := &s.Marks[i]; m.From >= was.Since && m.Kind == was.Kind && m.Group == was.Group {
			m.Kind, m.Group = now.Kind, now.Group
		}
	}
}
