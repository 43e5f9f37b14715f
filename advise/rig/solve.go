package rig

import (
	"math"
	"slices"

	"thirdstop/assess/exposure"
)

// Target is where a region's level should lie. The zero value judges nothing.
type Target struct {
	Judged    bool
	Low, High exposure.Stops
	Aim       exposure.Stops // between Low and High: where to go when a light is turned at all
	UpperOnly bool           // Low and Aim do not count
	Holds     bool           // must keep its detail: where not every target can be met, being over this one weighs most
	// The slacks say how far outside a level may lie before it is worth a turn
	// of a dial: half a click and the flashes' scatter.
	SlackLow, SlackHigh exposure.Stops
}

// Miss is how far a level lies outside the target with its slack: over 0 when
// it is too high, under 0 when too low, 0 inside.
func (t Target) Miss(level exposure.Stops) exposure.Stops {
	switch {
	case !t.Judged:
		return 0
	case level > t.High+t.SlackHigh:
		return level - t.High - t.SlackHigh
	case !t.UpperOnly && level < t.Low-t.SlackLow:
		return level - t.Low + t.SlackLow
	}
	return 0
}

// off is how far a level lies from the aim, in half widths of the target.
func (t Target) off(level exposure.Stops) float64 {
	if !t.Judged || t.UpperOnly && level <= t.Aim {
		return 0
	}
	return float64(level-t.Aim) / math.Max(float64(t.High-t.Low)/2, 0.1)
}

// Range is what a light's dial can do.
type Range struct {
	Now, Least, Most, Click exposure.Dial
	Base                    exposure.Stops // what the light gives above its dial: Setting.Power = Base + dial
	Fixed                   bool           // not to be touched: off, or held by a person
}

func (r Range) settings() []exposure.Dial {
	var all []exposure.Dial
	for d := r.Least; d <= r.Most; d += max(r.Click, 1) {
		all = append(all, d)
	}
	return all
}

// Solution is a set of dial settings and what they would show.
type Solution struct {
	Dials   []exposure.Dial // per light; Range.Now for those not touched
	Touched int
	Met     bool    // every judged region lies inside its target and slack
	Levels  []Level // predicted, per region
}

// Solve looks for the smallest set of lights to turn, in their own clicks and
// ranges, that brings every judged region inside its target at once. Among
// sets of one size the settings nearest the aims win, then the ones of less power.
// Where no set does it, the settings come as near as they can and Met is false.
func (f Fit) Solve(set Setting, ranges []Range, targets []Target) Solution {
	s := search{fit: f, set: set, ranges: ranges, targets: targets}
	s.prepare()
	now := make([]exposure.Dial, len(ranges))
	for l, r := range ranges {
		now[l] = r.Now
	}
	if s.miss(now) == 0 {
		return s.solution(now)
	}
	var free []int
	for l, r := range ranges {
		if !r.Fixed {
			free = append(free, l)
		}
	}
	for size := 1; size <= len(free); size++ {
		s.found = false
		subsets(free, size, func(lights []int) { s.try(lights, slices.Clone(now)) })
		if s.found {
			return s.solution(s.best)
		}
	}
	return s.solution(s.nearest(now, free))
}

type search struct {
	fit      Fit
	set      Setting
	ranges   []Range
	targets  []Target
	settings [][]exposure.Dial
	coef     [][]float64 // per light, per region: linear light at dial 0
	ambient  []float64   // per region
	found    bool
	best     []exposure.Dial
	bestCost float64
	bestPow  float64
}

func (s *search) prepare() {
	sp := s.fit.spec
	s.settings = make([][]exposure.Dial, sp.Lights)
	s.coef = make([][]float64, sp.Lights)
	s.ambient = make([]float64, sp.Regions)
	gain := s.set.Gain.Factor()
	for l, r := range s.ranges {
		s.settings[l] = r.settings()
		s.coef[l] = make([]float64, sp.Regions)
		for k := range s.coef[l] {
			if !s.set.Off[l] {
				s.coef[l][k] = gain * math.Exp2(s.fit.x[sp.index(Param{l, k})]+float64(r.Base))
			}
		}
	}
	for k := range s.ambient {
		s.ambient[k] = gain * float64(s.set.Shutter) * math.Exp2(s.fit.x[sp.index(Param{Ambient, k})])
	}
}

func (s *search) levels(dials []exposure.Dial) []exposure.Stops {
	out := make([]exposure.Stops, len(s.ambient))
	for k := range out {
		sum := s.ambient[k]
		for l, d := range dials {
			sum += float64(s.coef[l][k] * d.Fraction())
		}
		out[k] = exposure.Stops(math.Log2(math.Max(sum, math.SmallestNonzeroFloat64)))
	}
	return out
}

// miss is the sum of squared misses, in thousandths of a stop squared, so that
// the last bits of a sum decide nothing.
func (s *search) miss(dials []exposure.Dial) float64 {
	var sum float64
	for k, y := range s.levels(dials) {
		m := math.Round(float64(s.targets[k].Miss(y)) * 1000)
		if m > 0 && s.targets[k].Holds {
			m *= holdsWeight
		}
		sum += float64(m * m)
	}
	return sum
}

// holdsWeight is how much more a stop over a target that must hold counts than any other miss.
const holdsWeight = 8

// cost is how far the judged regions lie from their aims, rounded for the same reason.
func (s *search) cost(levels []exposure.Stops) float64 {
	var sum float64
	for k, y := range levels {
		d := math.Round(s.targets[k].off(y)*1000) / 1000
		sum += float64(d * d)
	}
	return math.Round(sum*1e6) / 1e6
}

// try walks the settings of some lights and remembers the best that meets every
// target. The last light's settings are cut down to those that can: with the
// others fixed every region grows with it, so each region allows one interval.
func (s *search) try(lights []int, dials []exposure.Dial) {
	outer, last := lights[:len(lights)-1], lights[len(lights)-1]
	stride := 1
	for combos(s.settings, outer, stride) > 20000 {
		stride++
	}
	var walk func(i int)
	walk = func(i int) {
		if i < len(outer) {
			all := s.settings[outer[i]]
			for j := 0; j < len(all); j += stride {
				dials[outer[i]] = all[j]
				walk(i + 1)
			}
			return
		}
		lo, hi := s.interval(dials, last)
		for _, d := range s.settings[last] {
			if d < lo || d > hi {
				continue
			}
			dials[last] = d
			s.consider(dials)
		}
		dials[last] = s.ranges[last].Now
	}
	walk(0)
	if stride > 1 && s.found {
		s.polish(lights)
	}
}

func combos(settings [][]exposure.Dial, lights []int, stride int) int {
	n := 1
	for _, l := range lights {
		n *= (len(settings[l]) + stride - 1) / stride
	}
	return n
}

// interval bounds the dial of one light so that no region misses, give or take a thirtieth.
func (s *search) interval(dials []exposure.Dial, light int) (lo, hi exposure.Dial) {
	low, high := math.Inf(-1), math.Inf(1)
	for k, t := range s.targets {
		if !t.Judged {
			continue
		}
		rest := s.ambient[k]
		for l, d := range dials {
			if l != light {
				rest += float64(s.coef[l][k] * d.Fraction())
			}
		}
		c := s.coef[light][k]
		most := (t.High + t.SlackHigh).Factor() - rest
		if most <= 0 || c <= 0 {
			if most <= 0 {
				return 1, 0 // too bright without this light
			}
			if !t.UpperOnly && rest < (t.Low-t.SlackLow).Factor() {
				return 1, 0 // too dark, and this light adds nothing
			}
			continue
		}
		high = math.Min(high, math.Log2(most/c))
		if least := (t.Low - t.SlackLow).Factor() - rest; !t.UpperOnly && least > 0 {
			low = math.Max(low, math.Log2(least/c))
		}
	}
	limit := func(v float64) float64 { return math.Max(-1000, math.Min(1000, v)) }
	return exposure.Dial(math.Floor(limit(low) * float64(exposure.Stop))), exposure.Dial(math.Ceil(limit(high) * float64(exposure.Stop)))
}

func (s *search) consider(dials []exposure.Dial) {
	if s.miss(dials) > 0 {
		return
	}
	cost := s.cost(s.levels(dials))
	var pow float64
	for _, d := range dials {
		pow += d.Fraction()
	}
	pow = math.Round(pow * 1e6)
	if !s.found || cost < s.bestCost || cost == s.bestCost && pow < s.bestPow {
		s.found, s.best, s.bestCost, s.bestPow = true, slices.Clone(dials), cost, pow
	}
}

// polish moves single lights by clicks as long as that brings the aims nearer.
func (s *search) polish(lights []int) {
	for range 100 {
		before := s.bestCost
		from := slices.Clone(s.best)
		for _, l := range lights {
			for _, d := range s.settings[l] {
				trial := slices.Clone(from)
				trial[l] = d
				s.consider(trial)
			}
		}
		if s.bestCost == before {
			return
		}
	}
}

// nearest goes as near to the targets as the dials allow, one light at a time
// from several starts, and then takes back every turn that gained nothing.
func (s *search) nearest(now []exposure.Dial, free []int) []exposure.Dial {
	best, bestMiss := slices.Clone(now), s.miss(now)
	for _, start := range s.starts(now, free) {
		at := start
		for range 50 {
			before := s.miss(at)
			for _, l := range free {
				at = s.bestOf(at, l)
			}
			if s.miss(at) >= before {
				break
			}
		}
		if m := s.miss(at); m < bestMiss {
			best, bestMiss = at, m
		}
	}
	for _, l := range free {
		trial := slices.Clone(best)
		trial[l] = now[l]
		if s.miss(trial) <= bestMiss {
			best = trial
		}
	}
	return best
}

func (s *search) starts(now []exposure.Dial, free []int) [][]exposure.Dial {
	least, most := slices.Clone(now), slices.Clone(now)
	for _, l := range free {
		least[l], most[l] = s.ranges[l].Least, s.ranges[l].Most
	}
	return [][]exposure.Dial{slices.Clone(now), least, most}
}

func (s *search) bestOf(at []exposure.Dial, light int) []exposure.Dial {
	best, miss, cost := at, s.miss(at), s.cost(s.levels(at))
	for _, d := range s.settings[light] {
		trial := slices.Clone(at)
		trial[light] = d
		m := s.miss(trial)
		if c := s.cost(s.levels(trial)); m < miss || m == miss && c < cost {
			best, miss, cost = trial, m, c
		}
	}
	return best
}

func (s *search) solution(dials []exposure.Dial) Solution {
	set := s.set
	set.Power = slices.Clone(s.set.Power)
	out := Solution{Dials: dials, Met: s.miss(dials) == 0}
	for l, d := range dials {
		set.Power[l] = s.ranges[l].Base + d.Stops()
		if d != s.ranges[l].Now {
			out.Touched++
		}
	}
	out.Levels = s.fit.Predict(set)
	return out
}

// subsets calls f with every subset of the given size, in order.
func subsets(of []int, size int, f func([]int)) {
	var walk func(from int, chosen []int)
	walk = func(from int, chosen []int) {
		if len(chosen) == size {
			f(chosen)
			return
		}
		for i := from; i < len(of); i++ {
			walk(i+1, append(slices.Clone(chosen), of[i]))
		}
	}
	walk(0, nil)
}
