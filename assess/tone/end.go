package tone

import "math"

// end carries a curve on from the highest code that was seen well to the edge. Code values follow light smoothly up to
// the edge, so that how many codes a stop has, u(code) = 1/g'(code), changes in proportion to the code over the last few:
// with e codes to the edge u = a + b e, and
//
//	g(e) = -integral of 1/u = -log((a + b e)/a)/b
//
// The curve begun from, or a spline, would end as steeply as itself, and what is missing there is missing in all levels.
type end struct {
	from float64 // code
	a, b float64
}

const (
	endReach   = 9.0 // codes under the start that say how u goes on
	endLatest  = 254.0
	endSoonest = 249.5
	endRoom    = 0.7 // codes under the highest that was seen
	endLeast   = 0.4 // u doesn't fall to less than this share of what it is at the start
)

// endOf is where lines stop telling the curve; false where they stop too early, or are too few.
func endOf(lines []seen) (from float64, ok bool) {
	top, n := 0.0, 0
	for _, l := range lines {
		if !l.atLeast && l.pairs >= 2*fewest {
			top = max(top, l.light)
		}
	}
	from = min(top-endRoom, endLatest)
	for _, l := range lines {
		if !l.atLeast && l.pairs >= fewest && l.light > from-endReach {
			n++
		}
	}
	return from, from >= endSoonest && n >= 6
}

// fitEnd takes u from the levels of a curve.
func fitEnd(from float64, level func(code float64) float64) (end, bool) {
	var n, se, su, see, seu float64
	for code := from - endReach; code+1 <= from+1e-9; code += 0.5 {
		d := level(code+1) - level(code)
		if d < 1e-3 {
			return end{}, false
		}
		e, u := White-(code+0.5), 1/d
		// A weight of 1/u: the slope's error is the same all along, and so u's grows with it.
		w := 1 / (u * u)
		n, se, su, see, seu = n+w, se+w*e, su+w*u, see+w*e*e, seu+w*e*u
	}
	v := n*see - se*se
	if v <= 0 {
		return end{}, false
	}
	b := (n*seu - se*su) / v
	a := (su - b*se) / n
	at := White - from
	if u := a + b*at; u <= 0 {
		return end{}, false
	} else if a < endLeast*u {
		a = endLeast * u
		b = (u - a) / at
	}
	return end{from, a, b}, true
}

// level at a code from the start on.
func (e end) level(code float64) float64 {
	left := White - code
	if math.Abs(e.b*left) < 1e-6*e.a {
		return -left / e.a
	}
	return -math.Log((e.a+e.b*left)/e.a) / e.b
}
