package advise

import (
	"math"
	"slices"

	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

const (
	// tells is how many standard deviations of a frame a turn must be foretold to move its light's own region, so that the
	// region tells whether it was made. With less, what was advised counts as done (derived here).
	tells = 3
	// late is by how much a turn must explain a frame better than none, as chi-square, after earlier frames showed
	// that the advice was passed over: most who don't turn a light at once don't turn it at all, and scatter gets a
	// new chance with every frame. That is a likelihood ratio of e^4.5.
	late = 9.0
	// farOther is by how many stops other lights must have been turned along with one for their spill to matter.
	farOther = 1
)

// stayed tells whether a region, which lies by stops from where the frames before the newest have it, rather is where it would
// be had its own light not been turned than where this account of the frame foretells it. Held against
// frames of nearly one level far less shows than in the level itself. It reports false where scatter, and what the
// other lights did, are too wide to tell.
func (s State) stayed(fit rig.Fit, h hypothesis, m move, region int, by exposure.Stops) bool {
	last := s.model.Seen[len(s.model.Seen)-1]
	without := h.set
	without.Power = slices.Clone(h.set.Power)
	without.Power[m.light] = s.Lights[m.light].Power.Stops() + s.base(s.Lights[m.light])
	with, none := fit.Change(last.Setting, h.set)[region], fit.Change(last.Setting, without)[region]
	want, seen := float64(with.Value-none.Value), float64(by-none.Value)

	own := math.Max(float64(s.scatterOf(region)), float64(s.watch.Drift.Scatter(regionNames[region]))) // without a bound: here more doubt is the safe side
	v := math.Max(s.frameVar(region), own*own+math.Pow(float64(measuring[region]), 2)) * (1 + 1/float64(max(last.Count, 1)))
	v += math.Pow(float64(none.Sigma), 2) + math.Pow(stepError*float64(none.Value), 2)
	if region == whiteRegion && s.watch.Another {
		v += cardSigma * cardSigma
	}
	passed := s.passedOver(m)
	if want*want < tells*tells*v && !(passed && math.Abs(want) >= float64(askLeast)) {
		return false
	}
	turned := math.Pow(seen-want, 2) / (v + math.Pow(float64(with.Sigma), 2) + math.Pow(stepError*want, 2))
	need := 0.0
	if mostTurned(last.Setting, without) > farOther {
		need = -clearly // what the others spill on this region is known by guesses, and may have hidden the turn
	}
	if passed { // whoever did turn it, and scatter hides it, is asked
		need = late
	}
	return seen*seen/v-turned < need
}

// passedOver tells whether an earlier frame showed that a light had not been turned this way as was advised, by more or by less,
// though there was time.
func (s State) passedOver(m move) bool {
	l := s.Lights[m.light]
	return slices.ContainsFunc(s.passed, func(a Adjustment) bool { return a.Group == l.Group && (a.To > a.From) == (m.to > l.Power) })
}

// passOver notes the advice that had time to be followed before the newest frame, and was not, as far as the frame can tell. Of a light that stands
// otherwise since, what was passed over before says nothing more.
func (s *State) passOver(seen [regionCount]rig.Measured) {
	s.passed = slices.DeleteFunc(slices.Clone(s.passed), func(a Adjustment) bool {
		i, ok := s.light(a.Group)
		return !ok || s.Lights[i].Power != a.From
	})
	for _, p := range s.pending {
		i, ok := s.light(p.Group)
		if !ok || s.Lights[i].Power != p.From {
			continue
		}
		if y := seen[ownRegion(s.Lights[i])]; !y.OK || y.AtLeast || slices.ContainsFunc(s.passed, func(a Adjustment) bool { return a.Group == p.Group && (a.To > a.From) == (p.To > p.From) }) {
			continue
		}
		s.passed = append(s.passed, p)
	}
}
