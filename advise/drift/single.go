package drift

import (
	"math"
	"slices"

	"thirdstop/assess/exposure"
)

// returned looks whether a frame that stands apart from a standing drift is just where
// everything was before it.
func (s State) returned(n *Seen) (State, []Finding, bool) {
	if s.Open == nil || len(n.All) == 0 {
		return s, nil, false
	}
	for _, r := range n.All {
		st := &s.Streams[s.stream(r.Region)]
		at := slices.IndexFunc(s.Open.Before, func(a Anchor) bool { return a.Region == r.Region })
		if at < 0 {
			continue
		}
		a := s.Open.Before[at]
		most := 3*st.sigma(s.Setup.Scatter, r.Sigma) + 2*math.Hypot(float64(a.Doubt), float64(r.Doubt))
		if math.Abs(float64(r.Value-a.At)) > most {
			return s, nil, false
		}
	}
	s.Held, s.Dark = nil, nil
	next, out := s.back(n, *s.Open)
	return next, out, true
}

// back closes an episode: what was off is where it was before. After a rest, that was heat.
func (s State) back(n *Seen, open Episode) (State, []Finding) {
	x := open.Said
	after := s.RestAt > x.Since && n.Number-s.RestAt <= 4
	light := -1
	if len(x.Candidates) > 0 && x.Candidates[0].What == OneLight {
		light = x.Candidates[0].Index
	}
	x.Frame, x.Steady, x.Retake, x.May = n.Number, false, false, OnlyTell
	x.Revision++
	if after && light >= 0 && x.Size < 0 && (x.Kind == Slope || x.Kind == Heat || x.Kind == Battery) {
		x.Kind, x.Sure = Heat, true
		// What was said last may lie many frames back: it sagged on until the rest.
		sagged := slices.DeleteFunc(s.plain(nil), func(f Seen) bool { return f.Number >= s.RestAt || f.Number < x.Since })
		if _, d, _ := s.series(newest(sagged, 3), x.Candidates[0], open.Before); len(d) > 0 {
			x.Size = exposure.Stops(min(mean(d), float64(x.Size))).Round()
		}
		s.Heated = slices.Clone(s.Heated)
		s.Heated[light] = true
	} else {
		x.Kind, x.Sure = Back, true
	}
	for i := range s.Streams {
		st := &s.Streams[i]
		st.restart(st.Base, 0)
		if at := slices.IndexFunc(open.Before, func(a Anchor) bool { return a.Region == st.Region }); at >= 0 {
			st.restart(open.Before[at].At, open.Before[at].Doubt)
		}
	}
	s.Open, s.Fresh = nil, n.Number-1
	return s, []Finding{x.worded(s, wording{rest: s.RestFor, back: true})}
}

// rested compares the frames after a rest with those before it: output that sagged
// through a run and comes back was heat, one that does not was something else. It reports false where there is nothing to
// say yet; what was seen is in the state all the same.
func (s State) rested(n Seen) (State, []Finding, bool) {
	open := *s.Open
	x := open.Said
	if s.RestAt <= x.Since || s.RestAt == open.Rested || n.Number < s.RestAt+2 || x.Size >= 0 ||
		len(x.Candidates) == 0 || x.Candidates[0].What != OneLight || x.Kind == Absent || x.Kind == Unclear {
		return s, nil, false
	}
	var before, after []Seen
	for _, f := range s.plain(nil) {
		switch {
		case f.Number >= s.RestAt:
			after = append(after, f)
		case f.Number >= x.Since:
			before = append(before, f)
		}
	}
	before = newest(before, 3)
	if len(before) < 2 || len(after) < 2 {
		return s, nil, false
	}
	open.Rested = s.RestAt
	c := x.Candidates[0]
	_, d0, sd := s.series(before, c, open.Before)
	_, d1, _ := s.series(after, c, open.Before)
	if len(d0) == 0 || len(d1) == 0 {
		return s, nil, false
	}
	rise := mean(d1) - mean(d0)
	enough := max(-float64(x.Size)/2, 2.5*sd*math.Sqrt(1/float64(len(d0))+1/float64(len(d1))))
	switch {
	case rise >= enough:
		open.Said.Kind = Heat
		open.Said.Size = exposure.Stops(mean(d0)).Round()
		s.Open = &open
		if mean(d1) > -float64(worth)/2 {
			next, out := s.back(&n, open)
			return next, out, true
		}
		s.settleAt(after)
	case x.Kind == Slope && (s.lowsOf(c.Index) >= 2 || s.worked(c.Index)):
		open.Said.Kind, open.Kept = Battery, true
		s.Open = &open
	default:
		open.Kept = true
		s.Open = &open
		return s, nil, false
	}
	next, out := s.say(&n, true)
	return next, out, true
}

// worked tells that a light was used hard enough for a battery or heat to matter:
// at a third of its limit or more.
func (s State) worked(light int) bool {
	limit := s.Setup.Lights[light].Limit
	return limit > 0 && s.Loads[light].Hard >= limit/3
}

func (s State) lowsOf(light int) int {
	n := 0
	for _, l := range s.Lows {
		if l.Light == light && l.Frame > s.Last-tiredOver {
			n++
		}
	}
	return n
}

func mean(v []float64) float64 {
	var sum float64
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// unlit looks whether one light is missing from a frame altogether. Such a frame is
// told at once and teaches the detectors nothing.
func (s State) unlit(n *Seen) (State, []Finding, bool) {
	changes := s.changes([]Seen{*n}, s.anchors())
	all := s.causes(n.Off, changes)
	near := alike(all)
	if slices.ContainsFunc(near, func(c Cause) bool { return !c.Gone }) {
		return s, nil, false
	}
	// What is left without a light lies in the dark, where model and curve are poor: a fall this deep needs no fit.
	deep := slices.ContainsFunc(changes, func(c change) bool { return c.by <= -deepFall })
	if len(near) == 0 || unexplained(all, len(changes)) && !deep {
		return s, nil, false
	}
	next, out := s.missing(n, near)
	return next, out, true
}

// deepFall is a fall from one frame to the next that hardly anything but a light that did not fire makes (common practice, no source).
const deepFall exposure.Stops = 1.5

// missing tells of a light that did not light a frame; near are the lights it may have been.
func (s State) missing(n *Seen, near []Cause) (State, []Finding) {
	n.Odd = true
	s.Held = nil
	best := near[0]
	var d Dark
	if s.Dark != nil && s.Dark.Cause.Group == best.Group {
		d = *s.Dark
	} else {
		s.NextID++
		d = Dark{ID: s.NextID, Since: n.Number, Cause: best}
	}
	d.Count++
	s.mark(n.Number, Absent, best.Group, best.Size)
	var out []Finding
	if d.Count == 1 || d.Count == 3 {
		d.Said++
		x := Finding{ID: d.ID, Revision: d.Said, Kind: Absent, Frame: n.Number, Since: d.Since, Group: best.Group, Candidates: slices.Clone(near),
			Size: best.Size, Sigma: best.Sigma, Sure: len(near) == 1, Witnessed: s.witnessed(n), May: OnlyTell, Retake: true}
		if s.early(n, best.Index) {
			x.Wait = s.wait(n, best.Index)
		}
		out = append(out, x.worded(s, wording{count: d.Count}))
	}
	s.Dark = &d
	if d.Count > 1 {
		return s, out // asleep rather than tired
	}
	next, more := s.low(n, best.Index)
	return next, append(out, more...)
}

// dark takes in a frame of which it is known that a light did not fire: it says nothing of how the others stand.
func (s State) dark(n *Seen, light int) (State, []Finding) {
	l := s.Setup.Lights[light]
	return s.missing(n, []Cause{{What: OneLight, Group: l.Group, Name: l.Name, Index: light, Size: -5, Gone: true}})
}

// litAgain closes what unlit opened.
func (s State) litAgain(n *Seen) (State, []Finding) {
	d := *s.Dark
	s.Dark = nil
	if d.Count < 2 {
		return s, nil
	}
	x := Finding{ID: d.ID, Revision: d.Said + 1, Kind: Back, Frame: n.Number, Since: d.Since, Group: d.Cause.Group, Candidates: []Cause{d.Cause},
		Sure: true, Witnessed: s.witnessed(n), May: OnlyTell}
	return s, []Finding{x.worded(s, wording{back: true})}
}

// witnessed tells whether a frame has a witness at all.
func (s State) witnessed(n *Seen) bool {
	return slices.ContainsFunc(n.All, func(r Residual) bool { return r.Witnessed })
}

// oddFrame tells of a frame that stands apart, and holds it back until the next one comes.
func (s State) oddFrame(n *Seen, side int, witnessed bool) (State, []Finding) {
	n.Odd = true
	s.Dark = nil
	changes := s.changes([]Seen{*n}, s.anchors())
	all := s.causes(n.Off, changes)
	s.NextID++
	s.Held = &Held{Seen: *n, Side: side, ID: s.NextID}
	x := Finding{ID: s.NextID, Revision: 1, Kind: OddFrame, Frame: n.Number, Since: n.Number, Witnessed: witnessed, May: OnlyTell, Retake: true}
	if !x.Witnessed {
		x.May = CardCheck
	}
	var more []Finding
	if !unexplained(all, len(changes)) {
		x.Candidates = slices.Clone(alike(all))
		best := x.Candidates[0]
		x.Group, x.Size, x.Sigma, x.Sure = best.Group, best.Size, best.Sigma, len(x.Candidates) == 1
		if best.What == OneLight && best.Size < 0 {
			if s.early(n, best.Index) {
				x.Kind, x.Wait = FiredEarly, s.wait(n, best.Index)
			}
			if best.Gone {
				x.Kind = Absent
			}
			s, more = s.low(n, best.Index)
		}
	} else {
		for _, c := range changes {
			if math.Abs(float64(c.by)) > math.Abs(float64(x.Size)) {
				x.Size, x.Sigma = c.by.Round(), c.sigma.Round()
			}
		}
	}
	s.mark(n.Number, x.Kind, x.Group, x.Size)
	return s, append([]Finding{x.worded(s, wording{rest: n.Rest})}, more...)
}

const (
	shortPause  = 0.8 // of the usual pause: short
	shortAlways = 4.0 // seconds: short where no usual pause is known (common practice, no source)
)

// early tells whether a frame followed so quickly that a flash may not have been ready.
func (s State) early(n *Seen, light int) bool {
	if n.Rest == 0 {
		return false
	}
	if slices.ContainsFunc(s.Lows, func(l Low) bool { return l.Light == light && l.Rest >= n.Rest && l.Frame > s.Last-50 }) && n.Rest < 0.9*median(s.Good) {
		return true
	}
	if len(s.Good) < 5 {
		return n.Rest <= shortAlways
	}
	return n.Rest < shortPause*median(s.Good)
}

// wait is the pause to leave: the shortest that has been enough and is longer than
// every one that was not, in whole seconds; where there is none, a second longer than the longest that was not.
func (s State) wait(n *Seen, light int) float64 {
	short := n.Rest
	for _, l := range s.Lows {
		if l.Light == light {
			short = max(short, l.Rest)
		}
	}
	enough := math.Inf(1)
	for _, g := range s.Good {
		if g > short {
			enough = min(enough, g)
		}
	}
	if math.IsInf(enough, 1) {
		return math.Ceil(short) + 1
	}
	return math.Ceil(enough)
}

// low counts frames that a light left low. Too many of them mean a tired flash:
// hot if it worked hard, else a battery.
func (s State) low(n *Seen, light int) (State, []Finding) {
	s.Lows = appendKeep(s.Lows, Low{Frame: n.Number, Light: light, Rest: n.Rest}, keepLows)
	if s.lowsOf(light) < tiredLows || s.Tired[light] {
		return s, nil
	}
	s.Tired = slices.Clone(s.Tired)
	s.Tired[light] = true
	s.NextID++
	l := s.Setup.Lights[light]
	x := Finding{ID: s.NextID, Revision: 1, Kind: Battery, Frame: n.Number, Since: n.Number, Group: l.Group, Witnessed: s.witnessed(n), May: OnlyTell,
		Candidates: []Cause{{What: OneLight, Group: l.Group, Name: l.Name, Index: light}}}
	if s.Heated[light] || s.worked(light) {
		x.Kind = Heat
	}
	for _, w := range s.Lows {
		if w.Light == light && w.Frame > s.Last-tiredOver {
			x.Since = min(x.Since, w.Frame)
		}
	}
	return s, []Finding{x.worded(s, wording{tired: true})}
}
