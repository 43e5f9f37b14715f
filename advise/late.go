package advise

import (
	"fmt"
	"math"
	"slices"

	"thirdstop/advise/drift"
	"thirdstop/advise/rig"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// firm is the light model as it was before a change that nobody recorded put lights in doubt: what is recorded
// afterwards is held against it.
type firm struct {
	model rig.Model
	frame int // the first that showed the change, about
}

// doubted is the state after a change that nobody recorded, of one of some lights, or where none are named of anything.
func (s State) doubted(lights ...int) State {
	if s.firm == nil {
		s.firm = &firm{s.model, s.FrameCount}
	}
	s.model = s.loose(lights...)
	return s
}

// run lists the frames of late that the camera took alike, oldest first, without those that were off by themselves.
func (s State) run() []past {
	all := s.watch.Past
	first := len(all)
	for first > max(0, len(all)-lookBack) && alike(all[first-1].Set, all[len(all)-1].Set) {
		first--
	}
	return slices.DeleteFunc(slices.Clone(all[first:]), func(p past) bool {
		f := s.kept(p.Number)
		return f == nil || f.Reading == nil || slices.Contains([]drift.Kind{drift.Absent, drift.FiredEarly, drift.OddFrame}, drift.Kind(f.Off))
	})
}

// alike tells whether the camera stood alike for two settings of the same lights.
func alike(a, b rig.Setting) bool {
	return a.Gain.Round() == b.Gain.Round() && a.Shutter == b.Shutter && len(a.Power) == len(b.Power)
}

// undoubted is the light model without the doubts that came up in frames of late.
func (s State) undoubted(run []past) rig.Model {
	if s.firm != nil && s.firm.frame >= run[0].Number && s.firm.model.Spec.Lights == s.model.Spec.Lights {
		return s.firm.model
	}
	return s.model
}

// underOne is the end of a run under the setting of its newest frame.
func underOne(run []past) []past {
	first := len(run)
	for first > 0 && run[first-1].Set.Equal(run[len(run)-1].Set) {
		first--
	}
	return run[first:]
}

func (s State) kept(number int) *FrameState {
	if i := slices.IndexFunc(s.Frames, func(f FrameState) bool { return f.Number == number }); i >= 0 {
		return &s.Frames[i]
	}
	return nil
}

const (
	// lookBack is how many frames back a turn is looked for that was recorded afterwards.
	lookBack = 16
	// sideBySide is how many frames on either side of a change are held against each other.
	sideBySide = 3
)

// mean is what some frames show of a region, each taken to the setting that is given by what the model says of the way there: the
// mean where it did not clip, and a bound where it did. vague is the variance that the way there adds, in stops squared.
func mean(fit rig.Fit, frames []past, to rig.Setting, region int) (m rig.Measured, n int, vague float64) {
	for _, p := range frames {
		y := p.Levels[region]
		if !y.OK {
			continue
		}
		if !p.Set.Equal(to) {
			step := fit.Change(p.Set, to)[region]
			y.Value += step.Value
			vague = max(vague, math.Pow(float64(step.Sigma), 2)+math.Pow(stepError*float64(step.Value), 2))
		}
		switch {
		case m.OK && m.AtLeast && !y.AtLeast:
		case y.AtLeast && !(m.OK && m.AtLeast):
			m, n = y, 1
		case y.AtLeast:
			m.Value = max(m.Value, y.Value)
			n++
		default:
			n++
			m.OK = true
			m.Value += (y.Value - m.Value) / exposure.Stops(n)
		}
	}
	return m, n, vague
}

// weigh holds frames against those before them: the chi-square if nothing but what is recorded changed in between, and if what was
// foretold did.
func (s State) weigh(fit rig.Fit, before, after []past, change []rig.Level) (none, turned float64) {
	for _, k := range []int{backdropRegion, whiteRegion} {
		g := s.between(fit, before, after, k)
		if !g.OK {
			continue
		}
		x, _ := g.misfit(rig.Level{})
		y, _ := g.misfit(change[k])
		none, turned = none+x, turned+y
	}
	return math.Round(none*1000) / 1000, math.Round(turned*1000) / 1000
}

// between is what a region shows in frames beside what it showed in those before them.
func (s State) between(fit rig.Fit, before, after []past, k int) gap {
	to := before[len(before)-1].Set
	a, n, va := mean(fit, before[max(0, len(before)-sideBySide):], to, k)
	b, m, vb := mean(fit, after[:min(sideBySide, len(after))], to, k)
	by := b.Value - a.Value
	if !a.OK || !b.OK || a.AtLeast && (b.AtLeast || by > 0) || b.AtLeast && by < 0 {
		return gap{} // over the edge, nobody knows how far
	}
	v := s.frameVar(k)*(1/float64(n)+1/float64(m)) + va + vb
	g := gap{OK: true, By: by, Least: a.AtLeast || b.AtLeast}
	if g.Least {
		v += math.Pow(float64(edgeSigma), 2)
	}
	g.Sigma = exposure.Stops(math.Sqrt(v)).Round()
	g.By = g.By.Round()
	return g
}

// toldLate looks whether what was recorded since the last frame had been done some frames ago. Then the newest frame looks like
// those before it, and one of them differs from its forerunners as the recorded turn foretells. The frames since are
// taken to have been lit as recorded, and what was in doubt since then is not.
func (s State) toldLate(frame int, now rig.Setting, r *assess.Reading) (State, []Output) {
	run := s.run()
	if len(run) < 2 || s.lastSet.Power == nil || !s.comparable() {
		return s, nil
	}
	old, set := run[len(run)-1].Set, s.shifted(now, 1)
	if set.Equal(old) || !alike(set, old) {
		return s, nil
	}
	from := s.undoubted(run)
	if !from.Known() {
		return s, nil
	}
	fit := from.Fit()
	change := fit.Change(old, set)
	seen := measuredRegions(s.Plan, r)
	s.watch.evened(&seen, areasOf(r))
	if none, turned := s.weigh(fit, run[len(run)-1:], []past{{Levels: seen, Set: old}}, change); turned < none+clearly {
		return s, nil
	}
	// That it was turned is recorded, and that it was not turned now is plain: little is needed to say when.
	at := s.turnedAt(fit, run, change, clearly/4)
	if at == 0 {
		return s, nil
	}
	s = s.litAsTold(from, run, at, set)
	return s, []Output{event("told_late", Event{Frame: frame, Text: fmt.Sprintf("What was recorded since the frame before had been done by frame %d already: the frames show it.", run[at].Number)})}
}

// toldNow looks at once whether what was just recorded explains a change of late that lights were put in doubt for: then no
// frame need be waited for, and the advice does not reckon with a turn that was made long ago.
func (s State) toldNow() (State, bool) {
	run := s.run()
	if len(run) < 2 || s.firm == nil || s.firm.frame < run[0].Number || s.lastSet.Power == nil || run[len(run)-1].Number != s.FrameCount {
		return s, false
	}
	now := s.setting(s.gain(), s.Shutter)
	old, set := run[len(run)-1].Set, s.shifted(now, 1)
	if set.Equal(old) || !alike(set, old) || !s.firm.model.Known() {
		return s, false
	}
	from := s.undoubted(run)
	fit := from.Fit()
	at := s.turnedAt(fit, run, fit.Change(old, set), 2*clearly)
	if at == 0 {
		return s, false
	}
	clean := s.without(from, run)
	s = s.litAsTold(from, run, at, set) // from here on run stands as told
	s.taught = s.model
	s.model = s.told(clean, run[:len(run)-1])
	s.lastSet, s.recent, s.untaught = now, nil, false
	return s, true
}

// turnedAt is the index of the first frame of a run that shows a turn, 0 for none: where it explains best, and better by least, how the
// frames differ.
func (s State) turnedAt(fit rig.Fit, run []past, change []rig.Level, least float64) int {
	at := 0
	for j := 1; j < len(run); j++ {
		if none, turned := s.weigh(fit, run[:j], run[j:], change); turned <= mostMisfit && none-turned >= least {
			at, least = j, none-turned
		}
	}
	return at
}

// litAsTold takes the frames of a run from one on for lit as is recorded now, in the run as well. The light model knows all of it then.
func (s State) litAsTold(from rig.Model, run []past, at int, set rig.Setting) State {
	old := run[len(run)-1].Set
	s.model = s.without(from, run)
	for j := at; j < len(run); j++ {
		run[j].Set = asTold(run[j].Set, old, set)
	}
	s.model = s.told(s.model, run)
	s.firm, s.doubt, s.presumed = nil, nil, ""
	s.watch.Past = slices.Clone(s.watch.Past)
	for i, p := range s.watch.Past {
		if p.Number >= run[at].Number {
			s.watch.Past[i].Set = asTold(p.Set, old, set)
		}
	}
	s.watch.explained()
	s.Drift = s.drifting()
	return s
}

// asTold is a setting of an earlier frame with what was recorded later: from one setting to another.
func asTold(set, from, to rig.Setting) rig.Setting {
	set.Power, set.Off = slices.Clone(set.Power), slices.Clone(set.Off)
	for i := range set.Power {
		set.Power[i] = (set.Power[i] + to.Power[i] - from.Power[i]).Round()
		if from.Off[i] != to.Off[i] {
			set.Off[i] = to.Off[i]
		}
	}
	return set
}

// followed makes the model that advises follow a change at once that the detectors found: a mean over the frames
// before and after it would lag behind for some frames, and advise for a light that never was.
func (s State) followed(x drift.Finding) State {
	run := underOne(s.run())
	at := slices.IndexFunc(run, func(p past) bool { return p.Number >= x.Since })
	if at < 0 || s.Question != nil || !s.model.Known() || s.newest() == nil || run[len(run)-1].Number != s.newest().Number {
		return s
	}
	s.model = s.told(s.without(s.undoubted(run), run), run[:at])
	if !s.model.Known() {
		return s
	}
	var lights []int
	for _, c := range x.Candidates {
		if c.What == drift.OneLight { // the camera's settings are in its files
			lights = append(lights, c.Index)
		}
	}
	s.firm = nil
	s = s.doubted(lights...)
	s.firm.frame = x.Since
	s.model = s.told(s.model, run[at:len(run)-1])
	s.taught, s.untaught = s.told(s.model, run[len(run)-1:]), false
	return s
}

// shifted is a setting with the drifts that were made up for, or with -1 without them.
func (s State) shifted(set rig.Setting, by exposure.Stops) rig.Setting {
	set.Power = slices.Clone(set.Power)
	for i := range min(len(set.Power), len(s.watch.Shift)) {
		set.Power[i] = (set.Power[i] + by*s.watch.Shift[i]).Round()
	}
	return set
}

// without is a model without what it saw last, as far as that was under settings of some frames.
func (s State) without(m rig.Model, frames []past) rig.Model {
	n := len(m.Seen)
	for n > 0 && slices.ContainsFunc(frames, func(p past) bool { return m.Seen[n-1].Setting.Equal(s.shifted(p.Set, -1)) }) {
		n--
	}
	return rig.Model{Spec: m.Spec, Seen: slices.Clone(m.Seen[:n])}
}

// told is a model with frames of late.
func (s State) told(m rig.Model, frames []past) rig.Model {
	for _, p := range frames {
		seen := measuredRegions(s.Plan, s.kept(p.Number).Reading)
		m = m.With(rig.Observation{Setting: s.shifted(p.Set, -1), Levels: seen[:]})
	}
	return m
}
