package drift

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
)

// nodes of the Gauss-Legendre rule; run lengths up to a million are right to five digits with 80.
const nodes = 100

// RunLength is the average number of values until a signal, for normal values that lie
// shift standard deviations off the target from the first one on, and sums that start
// at zero. It solves Page's integral equation by Gauss-Legendre quadrature (Page 1954; Goel & Wu 1971).
func (c Cusum) RunLength(shift float64) float64 {
	up, down := c.oneSided(math.Abs(shift), 0), c.oneSided(-math.Abs(shift), 0)
	if !(down > 0) { // beyond working precision
		return up
	}
	return 1 / (1/up + 1/down) // Kemp 1961: the sums can't both be near their limits
}

// HeadStart is RunLength with both sums starting at s0 standard deviations (fast
// initial response, Lucas & Crosier 1982, their formula for two sides).
func (c Cusum) HeadStart(shift, s0 float64) float64 {
	u0, d0 := c.oneSided(shift, 0), c.oneSided(-shift, 0)
	us, ds := c.oneSided(shift, s0), c.oneSided(-shift, s0)
	// A side that never signals, to working precision, leaves the other alone.
	const never = 1e12
	switch {
	case !(d0 > 0 && d0 < never):
		return us
	case !(u0 > 0 && u0 < never):
		return ds
	}
	return (us*d0 + ds*u0 - u0*d0) / (u0 + d0)
}

// oneSided solves L(s) = 1 + L(0) P(z <= k-s) + integral over 0..h of L(t) f(t-s+k) dt.
func (c Cusum) oneSided(shift, s0 float64) float64 {
	x, w := make([]float64, nodes), make([]float64, nodes)
	quad.Legendre{}.FixedLocations(x, w, 0, c.H)
	// Unknowns: L at the nodes, and L(0) as the last.
	n := nodes + 1
	a, b := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
	row := func(s float64) []float64 {
		r := make([]float64, n)
		for j := range x {
			r[j] = w[j] * density(x[j]-s+c.K-shift)
		}
		r[nodes] = cumulative(c.K - s - shift)
		return r
	}
	for i := range n {
		s := 0.0
		if i < nodes {
			s = x[i]
		}
		for j, v := range row(s) {
			a.Set(i, j, -v)
		}
		a.Set(i, i, a.At(i, i)+1)
		b.SetVec(i, 1)
	}
	var l mat.VecDense
	if err := l.SolveVec(a, b); err != nil {
		return math.Inf(1) // singular to working precision: no signal in any run that could be counted
	}
	sum := 1.0
	for j, v := range row(s0) {
		sum += v * l.AtVec(j)
	}
	return sum
}

// RunLength is the average number of values until the average leaves its asymptotic
// limits, for normal values shift standard deviations off from the first one on
// (integral equation, Crowder 1987).
func (e Ewma) RunLength(shift float64) float64 {
	h := e.L * math.Sqrt(e.Lambda/(2-e.Lambda))
	x, w := make([]float64, nodes), make([]float64, nodes)
	quad.Legendre{}.FixedLocations(x, w, -h, h)
	row := func(z float64) []float64 {
		r := make([]float64, nodes)
		for j := range x {
			r[j] = w[j] / e.Lambda * density((x[j]-(1-e.Lambda)*z)/e.Lambda-shift)
		}
		return r
	}
	a, b := mat.NewDense(nodes, nodes, nil), mat.NewVecDense(nodes, nil)
	for i := range x {
		for j, v := range row(x[i]) {
			a.Set(i, j, -v)
		}
		a.Set(i, i, a.At(i, i)+1)
		b.SetVec(i, 1)
	}
	var l mat.VecDense
	if err := l.SolveVec(a, b); err != nil {
		return math.Inf(1)
	}
	sum := 1.0
	for j, v := range row(0) {
		sum += v * l.AtVec(j)
	}
	return sum
}

func density(z float64) float64    { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }
func cumulative(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }
