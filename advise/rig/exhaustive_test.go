package rig

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"thirdstop/assess/exposure"
)

// exhaustive is the solver's obvious twin: it tries every setting of every light, and keeps the fewest lights
// turned, then the nearest to the aims, then the least power.
func exhaustive(s *search, now []exposure.Dial) (best []exposure.Dial, touched int, cost float64) {
	dials := slices.Clone(now)
	touched, cost = math.MaxInt, math.Inf(1)
	pow := math.Inf(1)
	var walk func(l int)
	walk = func(l int) {
		if l < len(dials) {
			if s.ranges[l].Fixed {
				walk(l + 1)
				return
			}
			for _, d := range s.settings[l] {
				dials[l] = d
				walk(l + 1)
			}
			dials[l] = now[l]
			return
		}
		if s.miss(dials) > 0 {
			return
		}
		n, p := 0, 0.0
		for i, d := range dials {
			if d != now[i] {
				n++
			}
			p += d.Fraction()
		}
		p = math.Round(p * 1e6)
		c := s.cost(s.levels(dials))
		if n < touched || n == touched && (c < cost || c == cost && p < pow) {
			best, touched, cost, pow = slices.Clone(dials), n, c, p
		}
	}
	walk(0)
	return best, touched, cost
}

// On 100 random rigs of one to four lights the solver turns as few lights as the best of all settings does, and comes as
// near to the aims; it finds a way wherever there is one, and none where there is none.
func TestSolverAgreesWithTheExhaustiveOptimum(t *testing.T) {
	met, excess := 0, 0
	for seed := range uint64(100) {
		rng := rand.New(rand.NewPCG(seed, 77))
		lights := 1 + int(seed%4)
		spec := Spec{Lights: lights, Regions: 3}
		f := Fit{spec: spec, x: make([]float64, spec.params()), cov: make([]float64, spec.params()*spec.params())}
		for i := range f.x {
			f.x[i] = -7 * rng.Float64()
		}
		for l := range lights {
			f.x[l*3+l%3] = -0.5 + rng.Float64() // each has a region of its own
		}
		for r := range 3 {
			f.x[lights*3+r] = -3
		}
		click, least := exposure.Third, -5*exposure.Stop // 16 settings: all 65536 of four lights can be tried
		if lights < 3 {
			click, least = exposure.Tenth, -8*exposure.Stop
		}
		set := Setting{Shutter: 1.0 / 125}
		ranges := make([]Range, lights)
		now := make([]exposure.Dial, lights)
		for l := range ranges {
			d := least + exposure.Dial(rng.IntN(int(-least/click)+1))*click
			now[l], ranges[l] = d, Range{Now: d, Least: least, Click: click}
			set.Power, set.Off = append(set.Power, d.Stops()), append(set.Off, false)
		}
		targets := make([]Target, 3)
		for r := range min(lights, 3) {
			aim := exposure.Stops(-1 - 3*rng.Float64())
			targets[r] = Target{Judged: true, Low: aim - 0.2, High: aim + 0.2, Aim: aim, SlackLow: 0.1, SlackHigh: 0.1, Holds: r == 1, UpperOnly: seed%7 == 3 && r == 2}
		}
		s := search{fit: f, set: set, ranges: ranges, targets: targets}
		s.prepare()
		best, touched, cost := exhaustive(&s, now)
		got := f.Solve(set, ranges, targets)
		if got.Met != (best != nil) {
			t.Errorf("seed %d: the solver says met %v, and of all settings %v does it", seed, got.Met, best)
			continue
		}
		if best == nil {
			continue
		}
		met++
		if s.miss(now) == 0 {
			continue // nothing to turn: it says hold
		}
		excess += got.Touched - touched
		if c := s.cost(s.levels(got.Dials)); got.Touched != touched || c > cost+1e-9 {
			t.Errorf("seed %d: the solver turns %d lights to %v (cost %.6f), the best is %d to %v (%.6f)", seed, got.Touched, got.Dials, c, touched, best, cost)
		}
	}
	t.Logf("%d of 100 rigs can be met; excess adjustments %d", met, excess)
	if met < 50 {
		t.Errorf("only %d rigs can be met: the test says little", met)
	}
}
