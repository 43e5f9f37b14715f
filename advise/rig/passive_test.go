package rig

import (
	"math"
	"testing"

	"thirdstop/assess/exposure"
)

// reflecting is one flash over one region, and a panel that sends its light on.
func reflecting() Spec {
	s := Spec{Lights: 2, Regions: 1, Passive: []int{0}}
	for l := range 2 {
		s.Priors = append(s.Priors, Prior{Of: Param{l, 0}, Mean: 0, Sigma: 20})
	}
	s.Priors = append(s.Priors, Prior{Of: Param{Ambient, 0}, Mean: -30, Sigma: 0.1})
	return s
}

// What a panel sends on is told from its flash's own by a frame with it and one without, follows the
// flash's dial stop by stop, goes out with it, and falls off by the inverse square. Light adds: 1 and
// a quarter are log2(1.25) = 0.322 stop over 1 ("main + (-2)" of the table of sums of unequal lights, derived there).
func TestAPassiveLightFollowsItsFlash(t *testing.T) {
	m := Model{Spec: reflecting()}
	away := set(0, 0, -99)
	away.Power[1] = 0
	m = m.With(Observation{Setting: away, Levels: seen(-2)})
	m = m.With(Observation{Setting: set(0, 0, 0), Levels: seen(-2 + 0.322)})
	f := m.Fit()
	near(t, "flash and panel", f.Predict(set(0, 0, 0))[0].Value, -1.678, 0.01)
	near(t, "both a stop down on the one dial there is", f.Predict(set(0, -1, 0))[0].Value, -2.678, 0.01)
	double, _ := exposure.Falloff(1, 2)
	near(t, "the panel twice as far", f.Predict(set(0, 0, float64(double)))[0].Value, -2+math.Log2(1+1.0/16), 0.02)
	out := set(0, -99, 0)
	out.Power[0] = 0
	if v := f.Predict(out)[0].Value; v > -20 {
		t.Errorf("with its flash off the panel gives %.2f, want nothing but the room", float64(v))
	}
	share := f.Shares(set(0, 0, 0), 0)
	near(t, "the panel's share", exposure.Stops(share[1]), 0.2, 0.01)
}

// The solver turns the flash as if flash and panel were one light, and never the panel.
func TestTheSolverTurnsAPanelWithItsFlash(t *testing.T) {
	spec := reflecting()
	both := Fit{spec: spec, x: []float64{-2, -4, -30}, cov: make([]float64, 9)}
	one := Fit{spec: Spec{Lights: 1, Regions: 1}, x: []float64{math.Log2(math.Exp2(-2) + math.Exp2(-4)), -30}, cov: make([]float64, 4)}
	targets := []Target{{Judged: true, Low: -3.2, High: -2.8, Aim: -3, SlackLow: 0.1, SlackHigh: 0.1}}
	ranges := []Range{{Now: 0, Least: -6 * exposure.Stop, Most: 0, Click: exposure.Third}}
	a, b := both.Solve(set(0, 0, 0), ranges, targets), one.Solve(set(0, 0), ranges, targets)
	if !a.Met || a.Dials[0] != b.Dials[0] || len(a.Dials) != 1 {
		t.Fatalf("with a panel the flash is set to %v, and as one light of as much to %v", a, b)
	}
	near(t, "what is foretold", a.Levels[0].Value, float64(b.Levels[0].Value), 1e-9)
	gone := set(0, 0, -99)
	if c := both.Solve(gone, ranges, targets); c.Dials[0] <= a.Dials[0] {
		t.Errorf("with the panel away the flash is set to %v, want more than %v", c.Dials[0], a.Dials[0])
	}
}
