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
	Clips     bool           // and it is lost already, as things stand
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
	s.settings = make([][]exposure.Dial, len(s.ranges))
	s.coef = make([][]float64, len(s.ranges))
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
	for l := sp.Lights - len(sp.Passive); l < sp.Lights; l++ { // what sends a flash's light on turns with its dial
		f := sp.of(l)
		for k := range s.coef[f] {
			if !s.set.Off[l] && !s.set.Off[f] {
				s.coef[f][k] += gain * math.Exp2(s.fit.x[sp.index(Param{l, k})]+float64(s.set.Power[l]+s.ranges[f].Base))
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
			sum += float64(s.coef[l][k] * fraction(d))
		}
		out[k] = exposure.Stops(math.Log2(math.Max(sum, math.SmallestNonzeroFloat64)))
	}
	return out
}

// miss is the sum of squared misses, in thousandths of a stop squared, so that
// the last bits of a sum decide nothing.
func (s *search) miss(dials []exposure.Dial) float64 {
	return s.missOf(s.levels(dials))
}

func (s *search) missOf(levels []exposure.Stops) float64 {
	var sum float64
	for k, y := range levels {
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

// try walks the settings of some lights and remembers the best that meets every target. Every region grows
// with every light, so a branch is left as soon as some region is too bright with the rest at their least, or too dark
// with the rest at their most. Where targets are so wide that too much is left to walk, only every second, fourth ...
// setting is tried, and the best is polished.
func (s *search) try(lights []int, dials []exposure.Dial) {
	for stride := 1; ; stride *= 2 {
		if !s.walk(lights, dials, stride) {
			continue
		}
		if stride > 1 && s.found {
			s.polish(lights)
		}
		return
	}
}

// mostSteps is how many settings one walk may look at before it takes longer strides.
const mostSteps = 16000

// walk reports false where it was given up.
func (s *search) walk(lights []int, dials []exposure.Dial, stride int) bool {
	n := len(s.ambient)
	low, high := make([]float64, n), make([]float64, n) // of the linear light, a thousandth wider than the target
	sums := make([][]float64, len(lights)+1)            // with the lights so far
	least, most := make([][]float64, len(lights)+1), make([][]float64, len(lights)+1)
	for i := range sums {
		sums[i], least[i], most[i] = make([]float64, n), make([]float64, n), make([]float64, n)
	}
	for k, t := range s.targets {
		low[k], high[k] = math.Inf(-1), math.Inf(1)
		if t.Judged {
			high[k] = (t.High + t.SlackHigh + 0.001).Factor()
			if !t.UpperOnly {
				low[k] = (t.Low - t.SlackLow - 0.001).Factor()
			}
		}
		sums[0][k] = s.ambient[k]
		for l, d := range dials {
			if !slices.Contains(lights, l) {
				sums[0][k] += float64(s.coef[l][k] * fraction(d))
			}
		}
		for i := len(lights) - 1; i >= 0; i-- {
			l := lights[i]
			all := s.settings[l]
			least[i][k] = least[i+1][k] + float64(s.coef[l][k]*fraction(all[0]))
			most[i][k] = most[i+1][k] + float64(s.coef[l][k]*fraction(all[len(all)-1]))
		}
	}
	steps := 0
	var step func(i int) bool
	step = func(i int) bool {
		if i == len(lights) {
			s.consider(dials)
			return true
		}
		l := lights[i]
		all, by := s.settings[l], stride
		if i == len(lights)-1 {
			by = 1 // the last one is cut down to what can be anyway
		}
	settings:
		for j := 0; j < len(all); j += by {
			if steps++; steps > mostSteps {
				return false
			}
			f := fraction(all[j])
			for k := range n {
				v := sums[i][k] + float64(s.coef[l][k]*f)
				sums[i+1][k] = v
				if v+least[i+1][k] > high[k]*(1+1e-9) {
					break settings // and brighter still with every further setting
				}
				if v+most[i+1][k] < low[k]*(1-1e-9) {
					continue settings
				}
			}
			dials[l] = all[j]
			if !step(i + 1) {
				return false
			}
		}
		dials[l] = s.ranges[l].Now
		return true
	}
	done := step(0)
	for _, l := range lights {
		dials[l] = s.ranges[l].Now
	}
	return done
}

// fraction is [exposure.Dial.Fraction] out of a table: it is asked for by the hundred thousand.
func fraction(d exposure.Dial) float64 {
	if d <= 0 && int(-d) < len(fractions) {
		return fractions[-d]
	}
	return d.Fraction()
}

var fractions = func() (t [12*int(exposure.Stop) + 1]float64) {
	for i := range t {
		t[i] = exposure.Dial(-i).Fraction()
	}
	return t
}()

func (s *search) consider(dials []exposure.Dial) {
	levels := s.levels(dials)
	if s.missOf(levels) > 0 {
		return
	}
	cost := s.cost(levels)
	if s.found && cost > s.bestCost {
		return
	}
	var pow float64
	for _, d := range dials {
		pow += fraction(d)
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
// from several starts, and then takes back every turn that gained next to nothing: where no setting is right, another click
// up today and down tomorrow helps nobody.
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
	worth := 0.0
	if judged := slices.DeleteFunc(slices.Clone(s.targets), func(t Target) bool { return !t.Judged }); len(judged) > 1 {
		worth = turnWorth // between targets that pull both ways; towards one alone every click counts
	}
	for _, l := range free {
		trial := slices.Clone(best)
		trial[l] = now[l]
		if m := s.miss(trial); math.Sqrt(m)-math.Sqrt(bestMiss) <= worth {
			best, bestMiss = trial, m
		}
	}
	return best
}

// turnWorth is by how much a turn must shorten the misses, in thousandths of a stop, where they can't be met (common practice, no source).
const turnWorth = 30

func (s *search) starts(now []exposure.Dial, free []int) [][]exposure.Dial {
	least, most := slices.Clone(now), slices.Clone(now)
	for _, l := range free {
		least[l], most[l] = s.ranges[l].Least, s.ranges[l].Most
	}
	return [][]exposure.Dial{slices.Clone(now), least, most}
}

func (s *search) bestOf(at []exposure.Dial, light int) []exposure.Dial {
	trial := slices.Clone(at)
	levels := s.levels(at)
	best, miss, cost := at[light], s.missOf(levels), s.cost(levels)
	for _, d := range s.settings[light] {
		trial[light] = d
		levels := s.levels(trial)
		m := s.missOf(levels)
		if m > miss {
			continue
		}
		if c := s.cost(levels); m < miss || c < cost {
			best, miss, cost = d, m, c
		}
	}
	trial[light] = best
	return trial
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
