package rig

import (
	"math/rand/v2"
	"testing"

	"thirdstop/assess/exposure"
)

// BenchmarkSolveWorst solves rigs of four lights in tenths one after another, two of three with targets out of reach, and
// tells the longest of them: what a frame may have to wait.
func BenchmarkSolveWorst(b *testing.B) {
	worst := 0.0
	for b.Loop() {
		for seed := range uint64(60) {
			f, s, ranges, targets := worstRig(seed)
			start := b.Elapsed()
			f.Solve(s, ranges, targets)
			worst = max(worst, (b.Elapsed()-start).Seconds()*1000)
		}
	}
	b.ReportMetric(worst, "ms-longest")
}

func worstRig(seed uint64) (Fit, Setting, []Range, []Target) {
	spec := Spec{Lights: 4, Regions: 4}
	rng := rand.New(rand.NewPCG(seed, 41))
	f := Fit{spec: spec, x: make([]float64, spec.params()), cov: make([]float64, spec.params()*spec.params())}
	for i := range f.x {
		f.x[i] = -6 * rng.Float64()
	}
	s, ranges := set(1, -1, -2, -3, -4), make([]Range, 4)
	for i := range ranges {
		ranges[i] = Range{Now: exposure.Dial(s.Power[i] * 30), Least: -8 * exposure.Stop, Click: exposure.Tenth}
	}
	targets := make([]Target, 4)
	for k := range 3 {
		aim := exposure.Stops(-6 * rng.Float64())
		width := exposure.Stops(0.05 + 0.5*rng.Float64())
		targets[k] = Target{Judged: true, Low: aim - width, High: aim + width, Aim: aim, SlackLow: 0.1, SlackHigh: 0.1, Holds: k == 1}
		if seed%3 > 0 && k == 2 { // no setting can
			targets[k].Low, targets[k].High, targets[k].Aim = -12, -11.9, -11.95
		}
	}
	return f, s, ranges, targets
}

// BenchmarkSurer is what is looked at after the solver: is a light more, turned along, worth it? Nothing is known well here, so
// that it looks at everything.
func BenchmarkSurer(b *testing.B) {
	worst := 0.0
	for b.Loop() {
		for seed := range uint64(60) {
			f, s, ranges, targets := worstRig(seed)
			n := f.spec.params()
			for i := range n {
				f.cov[i*n+i] = 1
			}
			sol := f.Solve(s, ranges, targets)
			start := b.Elapsed()
			f.Surer(s, ranges, targets, f.Cautious(s, ranges, targets, sol, func(int) bool { return false }))
			worst = max(worst, (b.Elapsed()-start).Seconds()*1000)
		}
	}
	b.ReportMetric(worst, "ms-longest")
}
