package rig

import (
	"math"

	"thirdstop/assess/exposure"
)

// Change is by how much every region's level differs between two settings. Its sigma is
// that of the difference alone: what is not known of both alike falls out, so it
// is 0 between equal settings (linear propagation; derived here).
func (f Fit) Change(from, to Setting) []Level {
	out := make([]Level, f.spec.Regions)
	n, sources := f.spec.params(), f.spec.Lights+1
	at, a, b := make([]int, sources), make([]float64, sources), make([]float64, sources)
	for r := range out {
		was := f.spec.level(f.x, from, r, at, a)
		now := f.spec.level(f.x, to, r, at, b)
		var v float64
		for i, p := range at {
			for j, q := range at {
				v += (b[i] - a[i]) * (b[j] - a[j]) * f.cov[p*n+q]
			}
		}
		out[r] = Level{Value: exposure.Stops(now - was), Sigma: exposure.Stops(math.Sqrt(max(v, 0)))}
	}
	return out
}

// ShareSigmas are one standard deviation of every share of [Fit.Shares], from what is not known of
// the coefficients: a share moves by ln 2 times itself times what its own log2 coefficient differs from the mean of
// all, weighted by their shares (derived here).
func (f Fit) ShareSigmas(set Setting, region int) []float64 {
	sources := f.spec.Lights + 1
	at, share, out := make([]int, sources), make([]float64, sources), make([]float64, sources)
	f.spec.level(f.x, set, region, at, share)
	n := f.spec.params()
	for l := range out {
		by := func(i int) float64 {
			d := -share[i]
			if i == l {
				d++
			}
			return math.Ln2 * share[l] * d
		}
		var v float64
		for i, p := range at {
			for j, q := range at {
				v += by(i) * by(j) * f.cov[p*n+q]
			}
		}
		out[l] = min(math.Sqrt(max(v, 0)), 0.5) // a share lies between 0 and 1
	}
	return out
}
