package rig

import (
	"slices"

	"thirdstop/assess/exposure"
)

// Joint is what is known of all coefficients together: their log2 and the inverse of their covariance,
// by the order of the spec. It is read-only.
type Joint struct {
	mean, weight []float64
}

// Shift says that something was swapped: coefficients move by so much, all alike, give or take Sigma.
type Shift struct {
	Of    []Param
	By    exposure.Stops
	Sigma exposure.Stops // one standard deviation, the same for all of them at once
}

// All names every coefficient of some lights ([Ambient] among them, if wanted) in some regions.
func All(lights, regions []int) []Param {
	var out []Param
	for _, l := range lights {
		for _, r := range regions {
			out = append(out, Param{Light: l, Region: r})
		}
	}
	return out
}

// Swapped is the model after something was swapped: what is known of the rest stays, with
// everything that hangs together in it, and what was swapped moves and becomes less sure. Mean m and covariance C
// of the fit become m + sum of shifts, and C + sum of sigma^2 u u^T with u the shift's coefficients (derived here).
func (m Model) Swapped(shifts ...Shift) Model {
	f := m.Fit()
	n := m.Spec.params()
	mean, cov := slices.Clone(f.x), slices.Clone(f.cov)
	for _, s := range shifts {
		for _, p := range s.Of {
			a := m.Spec.index(p)
			mean[a] += float64(s.By)
			for _, q := range s.Of {
				cov[a*n+m.Spec.index(q)] += float64(s.Sigma) * float64(s.Sigma)
			}
		}
	}
	return Model{Spec: Spec{Lights: m.Spec.Lights, Regions: m.Spec.Regions, Passive: m.Spec.Passive, Joint: &Joint{mean: mean, weight: invertSymmetric(cov, n)}}}
}

// Known tells whether any frame has taught the model, before or after a swap.
func (m Model) Known() bool { return len(m.Seen) > 0 || m.Spec.Joint != nil }
