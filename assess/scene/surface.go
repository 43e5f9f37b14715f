package scene

import "math"

// surface is a backdrop's colour as a smooth function of place: a quadratic in x and y, which
// is enough for light that falls off and for vignetting.
type surface struct {
	k      [3][6]float64
	seen   Box     // where the fitted cells lie; there is no extrapolating out of it
	spread float64 // robust standard deviation of what was fitted, code values
}

func (s *surface) at(x, y float64) vec {
	b := basis(min(max(x, s.seen.X0), s.seen.X1), min(max(y, s.seen.Y0), s.seen.Y1))
	return s.of(&b)
}

// of is the surface's colour where the basis has these values.
func (s *surface) of(b *[6]float64) vec {
	var v vec
	for ch := range v {
		for j, t := range b {
			v[ch] += s.k[ch][j] * t
		}
	}
	return v
}

func basis(x, y float64) [6]float64 {
	x, y = 2*x-1, 2*y-1
	return [6]float64{1, x, y, x * x, x * y, y * y}
}

// fitSurface fits a surface to cells in the way of iteratively reweighted least squares with
// Cauchy weights, which lets a minority of foreign cells (a flag, a head) drop out. It
// begins from start with a wide scale that narrows to the spread of the majority.
func (f *field) fitSurface(cells []int, start vec) *surface {
	s := &surface{seen: Box{X0: 1, Y0: 1}}
	for ch := range s.k {
		s.k[ch][0] = start[ch]
	}
	// A surface this smooth needs no more than some hundreds of cells.
	const enough = 800
	if skip := len(cells) / enough; skip > 1 {
		var fewer []int
		for n := 0; n < len(cells); n += skip {
			fewer = append(fewer, cells[n])
		}
		cells = fewer
	}
	xs := make([][6]float64, len(cells))
	rest := make([]float64, len(cells))
	for n, i := range cells {
		x, y := f.mid[i][0], f.mid[i][1]
		xs[n] = basis(x, y)
		s.seen = Box{min(s.seen.X0, x), min(s.seen.Y0, y), max(s.seen.X1, x), max(s.seen.Y1, y)}
	}
	for _, scale := range []float64{25, 18, 12, 9, 0, 0, 0} {
		for n, i := range cells {
			rest[n] = f.colour[i].distance(s.of(&xs[n])) // none lies out of what is seen
		}
		// A distance in three dimensions has a median of 1.54 standard deviations of one.
		s.spread = median(rest) / 1.54
		if scale == 0 {
			scale = max(2, 2*s.spread)
		}
		var a [6][6]float64
		var b [3][6]float64
		for n, i := range cells {
			w := 1 / (1 + rest[n]*rest[n]/(scale*scale))
			w *= w
			for p := range 6 {
				for q := range p + 1 {
					a[p][q] += w * xs[n][p] * xs[n][q]
				}
				for ch := range 3 {
					b[ch][p] += w * xs[n][p] * f.colour[i][ch]
				}
			}
		}
		// A little pull of the higher terms towards 0 keeps the fit defined where
		// cells lie along one border only.
		var total float64
		total = a[0][0]
		for p := 1; p < 6; p++ {
			a[p][p] += 0.01 * total
		}
		for ch := range 3 {
			s.k[ch] = Solve(a, b[ch])
		}
	}
	return s
}

// Solve is Cholesky's method for a symmetric positive definite system of six equations, of which the lower
// half is given (Golub & Van Loan, Matrix Computations). Pivots under 1e-9 count as that, so that it always ends.
func Solve(a [6][6]float64, b [6]float64) [6]float64 {
	for i := range 6 {
		for j := range i + 1 {
			s := a[i][j]
			for k := range j {
				s -= a[i][k] * a[j][k]
			}
			if i == j {
				a[i][i] = math.Sqrt(max(s, 1e-9))
			} else {
				a[i][j] = s / a[j][j]
			}
		}
	}
	for i := range 6 {
		for k := range i {
			b[i] -= a[i][k] * b[k]
		}
		b[i] /= a[i][i]
	}
	for i := 5; i >= 0; i-- {
		for k := i + 1; k < 6; k++ {
			b[i] -= a[k][i] * b[k]
		}
		b[i] /= a[i][i]
	}
	return b
}

// median leaves its argument alone. It is 0 for nothing.
func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	c := append([]float64(nil), v...)
	lo, hi, n := 0, len(c)-1, len(c)/2
	for lo < hi { // Hoare's selection
		p := c[lo+(hi-lo)/2]
		i, j := lo, hi
		for i <= j {
			for c[i] < p {
				i++
			}
			for p < c[j] {
				j--
			}
			if i <= j {
				c[i], c[j] = c[j], c[i]
				i++
				j--
			}
		}
		if n <= j {
			hi = j
		} else if n >= i {
			lo = i
		} else {
			break
		}
	}
	return c[n]
}

// middle is the median of colours, component by component.
func middle(colours []vec) (m vec) {
	v := make([]float64, len(colours))
	for ch := range m {
		for n := range colours {
			v[n] = colours[n][ch]
		}
		m[ch] = median(v)
	}
	return m
}

// commonest is the middle of the fullest of the cubes of 16 code values into which colours fall.
// Backdrops are of one colour, faces of many.
func commonest(colours []vec) vec {
	cubes := make(map[[3]int][]vec)
	var best [3]int
	for _, c := range colours {
		at := [3]int{int(math.Floor(c[0] / 16)), int(math.Floor(c[1] / 16)), int(math.Floor(c[2] / 16))}
		cubes[at] = append(cubes[at], c)
		if len(cubes[at]) > len(cubes[best]) {
			best = at
		}
	}
	return middle(cubes[best])
}
