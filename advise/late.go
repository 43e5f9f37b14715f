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

// run lists the frames of late under one record of the lights, oldest first, without those that were off by themselves.
func (s State) run() []past {
	all := s.watch.Past
	first := len(all)
	for first > 0 && all[first-1].Set.Equal(all[len(all)-1].Set) {
		first--
	}
	return slices.DeleteFunc(slices.Clone(all[first:]), func(p past) bool {
		f := s.kept(p.Number)
		return f == nil || f.Reading == nil || slices.Contains([]drift.Kind{drift.Absent, drift.FiredEarly, drift.OddFrame}, drift.Kind(f.Off))
	})
}

func (s State) kept(number int) *FrameState {
	if i := slices.IndexFunc(s.Frames, func(f FrameState) bool { return f.Number == number }); i >= 0 {
		return &s.Frames[i]
	}
	return nil
}

// sideBySide is how many frames on either side of a change are held against each other.
const sideBySide = 3

// mean is what some frames show of a region: the mean where it did not clip, and a bound where it did.
func mean(frames []past, region int) (m rig.Measured, n int) {
	for _, p := range frames {
		switch y := p.Levels[region]; {
		case !y.OK || m.OK && m.AtLeast && !y.AtLeast:
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
	return m, n
}

// weigh holds frames against those before them: the chi-square if nothing changed in between, and if what was foretold did.
func (s State) weigh(before, after []past, change []rig.Level) (none, turned float64) {
	for _, k := range []int{backdropRegion, whiteRegion} {
		a, n := mean(before[max(0, len(before)-sideBySide):], k)
		b, m := mean(after[:min(sideBySide, len(after))], k)
		by := b.Value - a.Value
		if !a.OK || !b.OK || a.AtLeast && (b.AtLeast || by > 0) || b.AtLeast && by < 0 {
			continue // over the edge, nobody knows how far
		}
		own := math.Pow(float64(s.scatterOf(k)), 2) + math.Pow(float64(measuring[k]), 2)
		if k == backdropRegion {
			own += math.Pow(float64(coveredSigma), 2)
		}
		v := own * (1/float64(n) + 1/float64(m))
		g := gap{OK: true, By: by, Least: a.AtLeast || b.AtLeast}
		if g.Least {
			v += math.Pow(float64(edgeSigma), 2)
		}
		g.Sigma = exposure.Stops(math.Sqrt(v))
		x, _ := g.misfit(rig.Level{})
		y, _ := g.misfit(change[k])
		none, turned = none+x, turned+y
	}
	return none, turned
}

// toldLate looks whether what was recorded since the last frame had been done some frames ago. Then the newest frame looks like
// those before it, and one of them differs from its forerunners as the recorded turn foretells. The frames since are
// taken to have been lit as recorded, and what was in doubt since then is not.
func (s State) toldLate(frame int, now rig.Setting, r *assess.Reading) (State, []Output) {
	run := s.run()
	if len(run) < 2 || s.lastSet.Power == nil || !s.comparable() {
		return s, nil
	}
	old, set := run[0].Set, s.shifted(now, 1)
	if set.Equal(old) || set.Gain.Round() != old.Gain.Round() || set.Shutter != old.Shutter || len(set.Power) != len(old.Power) {
		return s, nil
	}
	from := s.model
	if s.firm != nil && s.firm.frame >= run[0].Number {
		from = s.firm.model
	}
	if !from.Known() || from.Spec.Lights != s.model.Spec.Lights {
		return s, nil
	}
	change := from.Fit().Change(old, set)
	seen := measuredRegions(s.Plan, r)
	s.watch.evened(&seen, areasOf(r))
	if none, turned := s.weigh(run, []past{{Levels: seen}}, change); turned < none+clearly {
		return s, nil
	}
	at, gain := 0, clearly
	for j := 1; j < len(run); j++ {
		if none, turned := s.weigh(run[:j], run[j:], change); turned <= mostMisfit && none-turned >= gain {
			at, gain = j, none-turned
		}
	}
	if at == 0 {
		return s, nil
	}
	s.model = s.told(s.without(from, old), run[:at], old)
	s.model = s.told(s.model, run[at:], set)
	s.firm, s.doubt, s.presumed = nil, nil, ""
	s.watch.Past = slices.Clone(s.watch.Past)
	for i := range s.watch.Past {
		if s.watch.Past[i].Number >= run[at].Number {
			s.watch.Past[i].Set = set
		}
	}
	s.watch.explained()
	s.Drift = s.drifting()
	return s, []Output{event("told_late", Event{Frame: frame, Text: fmt.Sprintf("What was recorded since the frame before had been done by frame %d already: the frames show it.", run[at].Number)})}
}

// followed makes the model that advises follow a change at once that the detectors found: a mean over the frames
// before and after it would lag behind for some frames, and advise for a light that never was.
func (s State) followed(x drift.Finding) State {
	run := s.run()
	at := slices.IndexFunc(run, func(p past) bool { return p.Number >= x.Since })
	if at < 0 || s.Question != nil || !s.model.Known() || s.newest() == nil || run[len(run)-1].Number != s.newest().Number {
		return s
	}
	old := run[0].Set
	s.model = s.told(s.without(s.model, old), run[:at], old)
	if !s.model.Known() {
		return s
	}
	var lights []int
	for _, c := range x.Candidates {
		if c.What != drift.OneLight {
			lights = nil
			break
		}
		lights = append(lights, c.Index)
	}
	s.firm = nil
	s = s.doubted(lights...)
	s.firm.frame = x.Since
	s.model = s.told(s.model, run[at:len(run)-1], old)
	s.taught, s.untaught = s.told(s.model, run[len(run)-1:], old), false
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

// without is a model without what it saw last, if that was under a setting of the frames of late.
func (s State) without(m rig.Model, old rig.Setting) rig.Model {
	if n := len(m.Seen); n > 0 && m.Seen[n-1].Setting.Equal(s.shifted(old, -1)) {
		return rig.Model{Spec: m.Spec, Seen: slices.Clone(m.Seen[:n-1])}
	}
	return m
}

// told is a model with frames of late, under a setting of theirs.
func (s State) told(m rig.Model, frames []past, set rig.Setting) rig.Model {
	set = s.shifted(set, -1)
	for _, p := range frames[max(0, len(frames)-sideBySide):] {
		seen := measuredRegions(s.Plan, s.kept(p.Number).Reading)
		m = m.With(rig.Observation{Setting: set, Levels: seen[:]})
	}
	return m
}
