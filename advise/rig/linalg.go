package rig

import "math"

// The systems here have at most some twenty unknowns and are positive definite
// by construction; a plain Cholesky factorisation (Golub & Van Loan, Matrix
// Computations, 4th ed., algorithm 4.2.1; from memory) is short, allocates little, and its order of
// operations is fixed, which the same advice on every machine depends on.

func damp(h []float64, n int, by float64) []float64 {
	d := make([]float64, len(h))
	copy(d, h)
	for i := range n {
		d[i*n+i] += by * (h[i*n+i] + 1e-9)
	}
	return d
}

// cholesky factors a = L L^T and returns L, row by row.
func cholesky(a []float64, n int) ([]float64, bool) {
	l := make([]float64, n*n)
	for i := range n {
		for j := range i + 1 {
			sum := a[i*n+j]
			for k := range j {
				sum -= float64(l[i*n+k] * l[j*n+k])
			}
			if i != j {
				l[i*n+j] = sum / l[j*n+j]
				continue
			}
			if !(sum > 0) {
				return nil, false
			}
			l[i*n+i] = math.Sqrt(sum)
		}
	}
	return l, true
}

func solveWith(l, b []float64, n int) []float64 {
	x := make([]float64, n)
	for i := range n {
		sum := b[i]
		for k := range i {
			sum -= float64(l[i*n+k] * x[k])
		}
		x[i] = sum / l[i*n+i]
	}
	for i := n - 1; i >= 0; i-- {
		sum := x[i]
		for k := i + 1; k < n; k++ {
			sum -= float64(l[k*n+i] * x[k])
		}
		x[i] = sum / l[i*n+i]
	}
	return x
}

func solveSymmetric(a, b []float64, n int) ([]float64, bool) {
	l, ok := cholesky(a, n)
	if !ok {
		return nil, false
	}
	return solveWith(l, b, n), true
}

// invertSymmetric inverts a positive definite matrix. One that is not gets a
// little on its diagonal: the unknown it can't tell is then very unsure, not infinitely so.
func invertSymmetric(a []float64, n int) []float64 {
	l, ok := cholesky(a, n)
	for by := 1e-9; !ok && by < 1e30; by *= 10 {
		d := make([]float64, len(a))
		copy(d, a)
		for i := range n {
			d[i*n+i] += by
		}
		l, ok = cholesky(d, n)
	}
	if !ok {
		panic("rig: the normal matrix is not finite") // readings are checked before they enter
	}
	inv := make([]float64, n*n)
	for j := range n {
		e := make([]float64, n)
		e[j] = 1
		for i, v := range solveWith(l, e, n) {
			inv[i*n+j] = v
		}
	}
	return inv
}
