package rig

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"thirdstop/assess/exposure"
)

// two is a rig of two lights and two regions of which hardly anything is known.
func two() Spec {
	s := Spec{Lights: 2, Regions: 2}
	for l := range 2 {
		for r := range 2 {
			s.Priors = append(s.Priors, Prior{Of: Param{l, r}, Mean: 0, Sigma: 20})
		}
	}
	for r := range 2 {
		s.Priors = append(s.Priors, Prior{Of: Param{Ambient, r}, Mean: -30, Sigma: 0.1}) // a dark room
	}
	return s
}

func set(gain float64, power ...float64) Setting {
	s := Setting{Gain: exposure.Stops(gain), Shutter: 1.0 / 125}
	for _, p := range power {
		s.Power = append(s.Power, exposure.Stops(p))
		s.Off = append(s.Off, p < -90) // -99 stands for a light that is off
	}
	return s
}

func seen(levels ...float64) []Measured {
	var out []Measured
	for _, v := range levels {
		out = append(out, Measured{OK: true, Value: exposure.Stops(v), Sigma: 0.01})
	}
	return out
}

func near(t *testing.T, what string, got exposure.Stops, want, tolerance float64) {
	t.Helper()
	if math.Abs(float64(got)-want) > tolerance {
		t.Errorf("%s = %.4f, want %.4f +- %.4f", what, float64(got), want, tolerance)
	}
}

// alone is a model taught by one frame of each light alone.
func alone(first, second []Measured) Fit { return aloneModel(first, second).Fit() }

func aloneModel(first, second []Measured) Model {
	m := Model{Spec: two()}
	m = m.With(Observation{Setting: set(0, 0, -99), Levels: first})
	return m.With(Observation{Setting: set(0, -99, 0), Levels: second})
}

// Lights that reach the same region add in linear light. Source of the sums: derived from
// that law, log2(1 + 2^d), as tabulated for equal, -1, -2, -3, -1/2 and -1/3 stop.
func TestLightsAdd(t *testing.T) {
	for _, tc := range []struct{ under, sum float64 }{{0, 1}, {-1, 0.585}, {-2, 0.322}, {-3, 0.170}, {-0.5, 0.772}, {-1.0 / 3, 0.843}} {
		f := alone(seen(-3, -3), seen(-3+tc.under, -3))
		near(t, "two lights, the second under by "+exposure.Stops(tc.under).Signed(), f.Predict(set(0, 0, 0))[0].Value+3, tc.sum, 0.006)
	}
}

// A stop of aperture is a stop of power: 1/16 at f/4 and 1/4 at f/8 give the same
// level, for P/N^2 is 1/256 in both (common practice; derived).
func TestApertureAndPowerAreOneCurrency(t *testing.T) {
	f := alone(seen(-3, -4), seen(-5, -3))
	gain := func(n exposure.FNumber) float64 {
		g, _ := exposure.Gain(100, n)
		return float64(g)
	}
	a := f.Predict(set(gain(4), -4, -4))
	b := f.Predict(set(gain(8), -2, -2))
	for r := range a {
		near(t, "1/16 at f/4 against 1/4 at f/8", a[r].Value, float64(b[r].Value), 1e-9)
	}
}

// Key 800 and fill 200 footcandles on the face: 4:1 by each light alone, 5:1 by
// key and fill against fill. Source: the worked example under "Lighting ratio",
// Wikipedia, in its older (source) and newer (additive) convention.
func TestLightingRatioBothConventions(t *testing.T) {
	f := alone(seen(math.Log2(800)-12, 0), seen(math.Log2(200)-12, 0))
	shares := f.Shares(set(0, 0, 0), 0)
	if r := shares[0] / shares[1]; math.Abs(r-4) > 0.05 {
		t.Errorf("key to fill by source is %.3f:1, want 4:1", r)
	}
	if r := (shares[0] + shares[1]) / shares[1]; math.Abs(r-5) > 0.05 {
		t.Errorf("key and fill to fill is %.3f:1, want 5:1", r)
	}
}

// Single-light frames tell the coefficients exactly, and everything follows from them.
func TestSingleLightFramesTellAll(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for range 50 {
		u := func() float64 { return -6 * rng.Float64() }
		a, b := []float64{u(), u()}, []float64{u(), u()}
		f := alone(seen(a...), seen(b...))
		p, q := -4*rng.Float64(), -4*rng.Float64()
		for r, got := range f.Predict(set(0, p, q)) {
			near(t, "both lights, turned", got.Value, math.Log2(math.Exp2(a[r]+p)+math.Exp2(b[r]+q)), 0.02)
			if got.Sigma > 0.08 {
				t.Errorf("a rig whose lights were seen alone is predicted with sigma %.3f, want at most 0.08", float64(got.Sigma))
			}
		}
	}
}

// A clipped frame bounds from below and an unclipped one then decides.
func TestClippedFramesBound(t *testing.T) {
	m := Model{Spec: Spec{Lights: 1, Regions: 1, Priors: []Prior{{Of: Param{0, 0}, Mean: -3, Sigma: 3}, {Of: Param{Ambient, 0}, Mean: -30, Sigma: 0.1}}}}
	clipped := []Measured{{OK: true, Value: 0, Sigma: 0.1, AtLeast: true}}
	m = m.With(Observation{Setting: set(0, 0), Levels: clipped})
	p := m.Fit().Predict(set(0, 0))[0]
	if p.Value < 0 || p.Sigma < 0.5 {
		t.Errorf("after a clipped frame the level is %.2f +- %.2f, want at least 0 and not sure", float64(p.Value), float64(p.Sigma))
	}
	m = m.With(Observation{Setting: set(0, -2), Levels: seen(-1.6)})
	p = m.Fit().Predict(set(0, 0))[0]
	near(t, "level at the clipped setting, once measured two stops lower", p.Value, 0.4, 0.05)
	if p.Sigma > 0.1 {
		t.Errorf("its sigma is %.2f, want at most 0.1", float64(p.Sigma))
	}
}

// The gradient of the fit's cost, against differences.
func TestGradient(t *testing.T) {
	m := Model{Spec: two()}
	m = m.With(Observation{Setting: set(0.3, -1, -2), Levels: seen(-1, -2)})
	m = m.With(Observation{Setting: set(0.3, -3, -2), Levels: []Measured{{OK: true, Value: -0.5, Sigma: 0.2, AtLeast: true}, {}}})
	x := []float64{-1, -0.7, 0.3, -2, -29, -31}
	n := len(x)
	h, g := make([]float64, n*n), make([]float64, n)
	m.normal(x, h, g)
	at := func(x []float64) float64 { return m.normal(x, make([]float64, n*n), make([]float64, n)) }
	for i := range x {
		up, down := slices.Clone(x), slices.Clone(x)
		up[i] += 1e-5
		down[i] -= 1e-5
		if want := (at(up) - at(down)) / 2e-5; math.Abs(g[i]-want) > 1e-4*(1+math.Abs(want)) {
			t.Errorf("the cost's slope by coefficient %d is %g, differences give %g", i, g[i], want)
		}
	}
}

// The solver against trying everything, on random rigs of three lights: it meets
// the targets whenever that can be done, with as few lights, and no further from the aims.
func TestSolverAgainstTryingEverything(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 1))
	reached := 0
	for round := range 150 {
		spec := Spec{Lights: 3, Regions: 2}
		f := Fit{spec: spec, x: make([]float64, spec.params()), cov: make([]float64, spec.params()*spec.params())}
		for i := range f.x {
			f.x[i] = -5 * rng.Float64()
		}
		for r := range 2 {
			f.x[spec.index(Param{Ambient, r})] = -20
		}
		ranges := make([]Range, 3)
		s := set(1, 0, 0, 0)
		for i := range ranges {
			ranges[i] = Range{Now: -exposure.Third * exposure.Dial(rng.IntN(13)), Least: -4 * exposure.Stop, Most: 0, Click: exposure.Third}
			s.Power[i] = ranges[i].Now.Stops()
		}
		low := -3 + 2*rng.Float64()
		targets := []Target{
			{Judged: true, Low: exposure.Stops(low), High: exposure.Stops(low + 0.4), Aim: exposure.Stops(low + 0.2), SlackLow: 0.1, SlackHigh: 0.1},
			{Judged: true, Low: -2, High: -1.6, Aim: -1.8, SlackLow: 0.2},
		}
		got := f.Solve(s, ranges, targets)
		touched, cost, ok := everything(f, s, ranges, targets)
		if got.Met != ok {
			t.Fatalf("round %d: solved %v, trying everything says %v", round, got.Met, ok)
		}
		if !ok {
			continue
		}
		reached++
		q := search{fit: f, set: s, ranges: ranges, targets: targets}
		q.prepare()
		if got.Touched != touched || touched > 0 && q.cost(q.levels(got.Dials)) > cost+1e-9 {
			t.Fatalf("round %d: %d lights and cost %.4f, trying everything finds %d and %.4f", round, got.Touched, q.cost(q.levels(got.Dials)), touched, cost)
		}
	}
	if reached < 30 {
		t.Fatalf("only %d of the rigs could be solved at all: the test says too little", reached)
	}
}

func everything(f Fit, s Setting, ranges []Range, targets []Target) (touched int, cost float64, ok bool) {
	q := search{fit: f, set: s, ranges: ranges, targets: targets}
	q.prepare()
	touched, cost = 99, math.Inf(1)
	d := make([]int, 3)
	for d[0] = range q.settings[0] {
		for d[1] = range q.settings[1] {
			for d[2] = range q.settings[2] {
				dials, n := make([]exposure.Dial, 3), 0
				for i, k := range d {
					dials[i] = q.settings[i][k]
					if dials[i] != ranges[i].Now {
						n++
					}
				}
				if q.miss(dials) > 0 {
					continue
				}
				c := q.cost(q.levels(dials))
				if ok = true; n < touched || n == touched && c < cost {
					touched, cost = n, c
				}
			}
		}
	}
	return touched, cost, ok
}

// Surprise prefers the setting that foretold a frame.
func TestSurpriseKnowsWhichSettingItWas(t *testing.T) {
	m := Model{Spec: two()}
	m = m.With(Observation{Setting: set(0, 0, -99), Levels: seen(-3, -4)})
	m = m.With(Observation{Setting: set(0, -99, 0), Levels: seen(-5, -3)})
	frame := seen(math.Log2(math.Exp2(-4)+math.Exp2(-5)), math.Log2(math.Exp2(-5)+math.Exp2(-3))) // the first light a stop down
	right := m.Surprise(Observation{Setting: set(0, -1, 0), Levels: frame})
	wrong := m.Surprise(Observation{Setting: set(0, 0, 0), Levels: frame})
	if right > wrong-10 {
		t.Errorf("the right setting surprises by %.1f, the wrong one by %.1f; want the right one clearly less", right, wrong)
	}
}

func BenchmarkSolveFourLightsTenths(b *testing.B) {
	spec := Spec{Lights: 4, Regions: 3}
	rng := rand.New(rand.NewPCG(2, 2))
	f := Fit{spec: spec, x: make([]float64, spec.params()), cov: make([]float64, spec.params()*spec.params())}
	for i := range f.x {
		f.x[i] = -6 * rng.Float64()
	}
	s, ranges := set(1, -1, -2, -3, -4), make([]Range, 4)
	for i := range ranges {
		ranges[i] = Range{Now: exposure.Dial(s.Power[i] * 30), Least: -8 * exposure.Stop, Click: exposure.Tenth}
	}
	// Targets that no setting meets, so that every size of set is tried.
	targets := []Target{{Judged: true, Low: -1, High: -0.9, Aim: -0.95}, {Judged: true, Low: -8, High: -7.9, Aim: -7.95}, {Judged: true, Low: -1, High: -0.9, Aim: -0.95}}
	for b.Loop() {
		f.Solve(s, ranges, targets)
	}
}
