package advise

import (
	"fmt"
	"math"
	"slices"
	"time"

	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

// A hypothesis is one way the lights may have stood for a frame.
type hypothesis struct {
	set    rig.Setting
	moves  []move // against the recorded state
	undone bool   // the frame was taken before a recorded adjustment
	absent int    // index of the light that did not fire, plus one
	past   bool   // advice that other advice took the place of was followed: less likely than what was shown last
	cost   float64
}

type move struct {
	light int
	to    exposure.Dial
	late  bool // takes a recorded adjustment back
}

// Costs are chi-squares. One hypothesis must beat another by this much to count as
// the better one (a likelihood ratio of e^2).
const clearly = 4.0

// settle decides which settings lit the frame: those recorded, those advised, or those before
// an adjustment that was recorded while the frame was under way.
func (s State) settle(at time.Time, frame int, gain exposure.Stops, shutter exposure.Shutter, seen [regionCount]rig.Measured) (State, rig.Setting, []Output, bool) {
	now := s.setting(gain, shutter)
	keep := slices.DeleteFunc(slices.Clone(s.recent), func(c change) bool { return at.Sub(c.at) > underWay })
	// What was recorded since the frame before this one.
	told := slices.DeleteFunc(slices.Clone(s.recent), func(c change) bool { return !c.at.After(s.lastAt) })
	s.lastAt = at
	offered := s.offered
	s.recent, s.bumped, s.offered = nil, "", nil
	fit := s.model.Fit()
	base := fit.Predict(now)
	silent := s.silences(fit, base, now, seen)
	s, silent = s.heard(silent)
	if !s.model.Known() && len(silent) == 0 {
		return s, now, nil, true
	}
	all := append(s.hypotheses(now, keep, offered), silent...)
	for i := range all {
		all[i].cost = s.surprise(fit, base, all[i].set, seen)
		if s.denied(fit, all[i], seen) {
			all[i].cost += denial
		}
		if all[i].past {
			all[i].cost += clearly / 4
		}
	}
	best := 0
	for i := range all {
		if all[i].cost < all[best].cost {
			best = i
		}
	}
	for i := range all {
		if i != best && all[i].cost < all[best].cost+clearly && all[i].undone != all[best].undone {
			// It could lie on either side of an adjustment: it teaches nothing.
			s.recent = keep
			return s, now, nil, false
		}
	}
	best = s.preferred(all, best, at, told, seen)
	if i := all[best].absent; i > 0 {
		l := s.Lights[i-1]
		s.absent, s.recent = []string{l.Group}, keep
		out := []Output{event("absent", Event{Frame: frame, Group: l.Group, Text: fmt.Sprintf("%s did not light frame %d.", l.Name, frame)})}
		s, out = s.unlitAgain(i-1, frame, out)
		return s, all[best].set, out, true
	}
	if !s.model.Known() {
		return s, now, nil, true // how the lights stand for the first frame is taken from the record
	}
	for i, p := range s.pending {
		k, ok := s.light(p.Group)
		if ok && s.Question == nil && seen[ownRegion(s.Lights[k])].AtLeast && slices.ContainsFunc(told, func(c change) bool { return c.group == p.Group }) &&
			slices.ContainsFunc(all[best].moves, func(m move) bool { return m.light == k && !m.late }) {
			// What was recorded may have been done long ago, and what was advised thereupon not at all: under clipping both look alike.
			s, q := s.askWhetherTurned(frame, i)
			return s, now, []Output{q}, false
		}
	}
	var out []Output
	for _, m := range all[best].moves {
		l := s.Lights[m.light]
		if m.late {
			continue
		}
		seenIn := fmt.Sprintf("seen in frame %d", frame)
		if k := ownRegion(l); all[0].cost-all[best].cost < clearly/2 && (!seen[k].OK || seen[k].AtLeast) {
			seenIn = fmt.Sprintf("taken as done, frame %d can't show it", frame)
		}
		s = s.setPower(m.light, m.to)
		s.pending = slices.DeleteFunc(slices.Clone(s.pending), func(p Adjustment) bool { return p.Group == l.Group })
		if s.Question != nil && s.Question.Group == l.Group {
			s.Question, s.tentative = nil, nil
		}
		if s.presumed == l.Group && !seen[ownRegion(l)].AtLeast {
			s.presumed = "" // from here on frames tell
		}
		out = append(out, event("followed", Event{Frame: frame, Group: l.Group, Text: fmt.Sprintf("%s: %s, set %s; %s.",
			l.Name, powerWords(s.Plan.Lights[m.light].Scale, m.to-l.Power), s.Lights[m.light].PowerText, seenIn)}))
	}
	if all[best].undone {
		s.recent = keep
		return s, all[best].set, out, true
	}
	if (s.assumed() || s.Question != nil && s.Question.Group == "") && s.backAgain(fit, all[best].set, seen) {
		s.Question, s.tentative = nil, nil
		out = append(out, event("back", Event{Frame: frame, Text: fmt.Sprintf("In frame %d the light is back where it was; nothing is asked any more.", frame)}))
		return s, all[best].set, out, true
	}
	if s.assumed() {
		return s, all[best].set, out, false
	}
	if !s.comparable() {
		return s, all[best].set, out, true
	}
	if s.Question != nil { // one at a time
		return s, all[best].set, out, true
	}
	s, more, explained := s.unexplained(frame, fit, all[best].set, seen)
	return s, all[best].set, append(out, more...), explained
}

// denial is added to the chi-square of what a frame plainly denies.
const denial = 100.0

// denied tells whether a region stayed where it was, or went the other way, although a light that is set for it
// was turned in this account of the frame.
func (s State) denied(fit rig.Fit, h hypothesis, seen [regionCount]rig.Measured) bool {
	n := len(s.model.Seen)
	if n == 0 || len(h.moves) == 0 {
		return false
	}
	last := s.model.Seen[n-1]
	change := fit.Change(last.Setting, h.set)
	for _, m := range h.moves {
		k := ownRegion(s.Lights[m.light])
		if k != crownRegion && !m.late && !seen[k].OK && s.passedOver(m) {
			return true // a frame that can't show it is no sign that what was passed over was done
		}
		if m.late || k == crownRegion || s.Lights[m.light].Role == string(plan.Fill) || !seen[k].OK || seen[k].AtLeast || !last.Levels[k].OK || last.Levels[k].AtLeast {
			continue
		}
		want := float64(change[k].Value)
		by := float64(seen[k].Value - last.Levels[k].Value)
		if s.stayed(fit, h, m, k, exposure.Stops(by)) {
			return true
		}
		if want < 0 {
			want, by = -want, -by
		}
		if want -= 2 * float64(change[k].Sigma); want > deniedFrom && by < want*deniedPart {
			return true
		}
	}
	return false
}

// deniedFrom is the least change of a region, in stops, whose absence denies that a light was turned: under it scatter decides.
// deniedPart is the part of what was surely foretold that must show: a curve that is a third off leaves more (derived here).
const (
	deniedFrom = 0.15
	deniedPart = 0.4
)

// preferred settles what the frame alone leaves open. Advice that was out long
// enough to be followed counts as followed, as much of it as can be seen, if the frame does not speak against it. What
// clipping hides is asked about instead. But whoever recorded how a light stands
// since the frame before has told how this one was lit: then the record holds unless the frame clearly says otherwise.
func (s State) preferred(all []hypothesis, best int, at time.Time, told []change, seen [regionCount]rig.Measured) int {
	whole := 0
	for _, past := range []bool{false, true} { // advice of before that asked for more is no better account of the frame
		for i := range all {
			if all[i].past != past || all[i].undone || s.hides(all[i], seen) {
				continue
			}
			if n, m := len(all[i].moves), len(all[whole].moves); n > m && !past || n == m && n > 0 && all[i].cost < all[whole].cost {
				whole = i
			}
		}
	}
	choice := 0
	if at.Sub(s.advisedAt) >= handTime && !s.overrules(all[whole], told) {
		choice = whole
	}
	if all[choice].cost < all[best].cost+clearly && !all[best].undone {
		return choice
	}
	return best
}

// hides tells whether clipping hides one of the turns: it was to be turned down, and its region clips as before. Who was asked
// about it and did not say no in three frames has turned it.
func (s State) hides(h hypothesis, seen [regionCount]rig.Measured) bool {
	return slices.ContainsFunc(h.moves, func(m move) bool {
		l := s.Lights[m.light]
		k := ownRegion(l)
		return !m.late && m.to < l.Power && k != crownRegion && seen[k].AtLeast && l.Group != s.presumed
	})
}

// overrules tells whether a way the lights may have stood goes against a record that was just made of one of them.
func (s State) overrules(h hypothesis, told []change) bool {
	return slices.ContainsFunc(h.moves, func(m move) bool {
		return slices.ContainsFunc(told, func(c change) bool { return c.group == s.Lights[m.light].Group })
	})
}

// handTime is what it takes to read an adjustment and turn a dial, at the least (common practice, no source).
const handTime = 4 * time.Second

// surprise is how badly a setting explains what was seen. What a step of the
// dial is predicted to do is allowed an error of its own, for the curve.
func (s State) surprise(fit rig.Fit, base []rig.Level, set rig.Setting, seen [regionCount]rig.Measured) float64 {
	o := rig.Observation{Setting: set, Levels: slices.Clone(seen[:]), Count: 1}
	for k, p := range fit.Predict(set) {
		step := 0.15 * float64(p.Value-base[k].Value)
		o.Levels[k].Sigma = exposure.Stops(math.Hypot(min(float64(o.Levels[k].Sigma), 0.2), step))
	}
	return s.model.Surprise(o)
}

// comparable tells whether a change between frames must have a cause: not where
// the camera or its flash set something by themselves.
func (s State) comparable() bool {
	for _, w := range s.warnings() {
		switch w.Code {
		case "not_manual", "auto_flash", "auto_iso", "no_exposure":
			return false
		}
	}
	return true
}

// hypotheses lists the ways the lights may have stood, the recorded one first.
func (s State) hypotheses(now rig.Setting, recent []change, offered []Adjustment) []hypothesis {
	var moves []move
	for _, p := range s.pending {
		if i, ok := s.light(p.Group); ok && p.To != s.Lights[i].Power {
			moves = append(moves, move{light: i, to: p.To})
		}
	}
	for _, c := range recent {
		if i, ok := s.light(c.group); ok && !slices.ContainsFunc(moves, func(m move) bool { return m.light == i }) {
			moves = append(moves, move{light: i, to: c.from, late: true})
		}
	}
	moves = moves[:min(len(moves), 6)]
	out := make([]hypothesis, 1<<len(moves))
	for k := range out {
		h := hypothesis{set: now}
		h.set.Power = slices.Clone(now.Power)
		for b, m := range moves {
			if k>>b&1 == 0 {
				continue
			}
			h.moves = append(h.moves, m)
			h.set.Power[m.light] = m.to.Stops() + s.base(s.Lights[m.light])
			h.undone = h.undone || m.late
		}
		out[k] = h
	}
	// Advice that others took the place of before the frame was taken: one light of it at a time, with whatever else was done.
	for _, p := range offered {
		i, ok := s.light(p.Group)
		if !ok || p.To == s.Lights[i].Power || len(out) > mostHypotheses/2 || slices.ContainsFunc(recent, func(c change) bool { return c.group == p.Group }) {
			continue
		}
		for _, h := range out {
			if slices.ContainsFunc(h.moves, func(m move) bool { return m.light == i }) {
				continue
			}
			h.moves, h.past = append(slices.Clone(h.moves), move{light: i, to: p.To}), true
			h.set.Power = slices.Clone(h.set.Power)
			h.set.Power[i] = p.To.Stops() + s.base(s.Lights[i])
			out = append(out, h)
		}
	}
	return out
}

// mostHypotheses bounds what is tried for one frame.
const mostHypotheses = 64
