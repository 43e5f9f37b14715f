package rig

import (
	"math"
	"testing"

	"thirdstop/assess/exposure"
)

// taughtRig is two lights and two regions after frames of each alone and of both.
func taughtRig() (Model, Setting) {
	m := Model{Spec: Spec{Lights: 2, Regions: 2}}
	for l := range 2 {
		for r := range 2 {
			m.Spec.Priors = append(m.Spec.Priors, Prior{Of: Param{l, r}, Mean: -2, Sigma: 3})
		}
	}
	for r := range 2 {
		m.Spec.Priors = append(m.Spec.Priors, Prior{Of: Param{Ambient, r}, Mean: -3, Sigma: 2})
	}
	set := Setting{Shutter: 1.0 / 125, Power: []exposure.Stops{0, 0}, Off: []bool{false, false}}
	see := func(off []bool, a, b exposure.Stops) {
		s := set
		s.Off = off
		m = m.With(Observation{Setting: s, Levels: []Measured{{OK: true, Value: a, Sigma: 0.03}, {OK: true, Value: b, Sigma: 0.03}}})
	}
	see([]bool{true, true}, -9, -9)
	see([]bool{false, true}, -1, -4)
	see([]bool{false, false}, -0.7, -1.8)
	return m, set
}

// A swap of nothing changes nothing: levels and their doubts are those of the frames.
func TestSwappingNothingKeepsEverything(t *testing.T) {
	m, set := taughtRig()
	a, b := m.Fit().Predict(set), m.Swapped().Fit().Predict(set)
	for r := range a {
		if math.Abs(float64(a[r].Value-b[r].Value)) > 1e-3 || math.Abs(float64(a[r].Sigma-b[r].Sigma)) > 1e-3 {
			t.Errorf("region %d: %v ± %v became %v ± %v", r, a[r].Value, a[r].Sigma, b[r].Value, b[r].Sigma)
		}
	}
}

// A light that gives a stop more and a stop less surely moves what it lights alone by just that, less what the room adds, and
// the other light's frames stay as they were (derived here).
func TestASwapMovesItsOwnLightAlone(t *testing.T) {
	m, set := taughtRig()
	first, second := set, set
	first.Off, second.Off = []bool{false, true}, []bool{true, false}
	n := m.Swapped(Shift{Of: All([]int{0}, []int{0, 1}), By: 1, Sigma: 0.5})
	a, b := m.Fit().Predict(first), n.Fit().Predict(first)
	for r := range a {
		if d := float64(b[r].Value - a[r].Value); math.Abs(d-1) > 0.03 {
			t.Errorf("region %d of the swapped light moved by %.3f stop, want 1", r, d)
		}
		if want := math.Hypot(float64(a[r].Sigma), 0.5); math.Abs(float64(b[r].Sigma)-want) > 0.02 {
			t.Errorf("region %d is known to %v, want %.3f", r, b[r].Sigma, want)
		}
	}
	c, d := m.Fit().Predict(second), n.Fit().Predict(second)
	for r := range c {
		if math.Abs(float64(c[r].Value-d[r].Value)) > 1e-3 || math.Abs(float64(c[r].Sigma-d[r].Sigma)) > 1e-3 {
			t.Errorf("region %d of the other light went from %v ± %v to %v ± %v", r, c[r].Value, c[r].Sigma, d[r].Value, d[r].Sigma)
		}
	}
	if !n.Known() || (Model{Spec: Spec{Lights: 2, Regions: 2}}).Known() {
		t.Error("a swapped model is known, and one without frames is not")
	}
}
