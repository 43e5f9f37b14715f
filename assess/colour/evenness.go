package colour

import (
	"math"
	"slices"

	"thirdstop/assess/exposure"
)

// evenness fits a plane to the patches' light over their references, in stops across the chart, together
// with a slope against the references' own level: a tone curve that is off would pass for a slope
// of light along the neutral row. Patches that the camera's colours put far off are left out once.
func (c *Chart) evenness(f *Sighting, light *[ChartPatches]RGB, o Options) {
	type sample struct{ x, y, level, stops float64 }
	var all []sample
	for i := range ChartPatches - 1 { // without black, see neutrals
		y := o.Space.XYZ(light[i]).Y
		if c.Patches[i].Clipped || c.Patches[i].dark || y <= 0 {
			continue
		}
		ref := Patches[i].d65(o.Edition).Y
		at := chartPoint(i)
		all = append(all, sample{at.x / 2.5, at.y / 1.5, math.Log2(ref), math.Log2(y / ref)})
	}
	const terms, fewest = 4, 12
	fit := func() (k [terms]float64, resid []float64, cov [terms][terms]float64, ok bool) {
		var a [terms][2 * terms]float64
		var b [terms]float64
		for _, s := range all {
			row := [terms]float64{1, s.x, s.y, s.level}
			for i := range row {
				for j := range row {
					a[i][j] += row[i] * row[j]
				}
				b[i] += row[i] * s.stops
			}
		}
		inv, ok := invert(a)
		if !ok {
			return k, nil, cov, false
		}
		for i := range k {
			for j := range b {
				k[i] += inv[i][j] * b[j]
			}
		}
		for _, s := range all {
			resid = append(resid, s.stops-k[0]-k[1]*s.x-k[2]*s.y-k[3]*s.level)
		}
		return k, resid, inv, true
	}
	if len(all) < fewest {
		return
	}
	k, resid, cov, ok := fit()
	if !ok {
		return
	}
	abs := make([]float64, len(resid))
	for i, r := range resid {
		abs[i] = math.Abs(r)
	}
	slices.Sort(abs)
	limit := max(4.5*abs[len(abs)/2], 0.02) // three standard deviations by the median absolute deviation
	var kept []sample
	for i, r := range resid {
		if math.Abs(r) <= limit {
			kept = append(kept, all[i])
		}
	}
	if len(kept) >= fewest && len(kept) < len(all) {
		all = kept
		if k2, r2, cov2, ok := fit(); ok {
			k, resid, cov = k2, r2, cov2
		}
	}
	var ss float64
	for _, r := range resid {
		ss += r * r
	}
	ss /= float64(len(all) - terms)
	e := Evenness{Range: exposure.Stops(2 * (math.Abs(k[1]) + math.Abs(k[2])))}
	e.Sigma = exposure.Stops(2 * math.Sqrt(ss*(cov[1][1]+cov[2][2])))
	// Which side that is in the frame: the fall of light carried over.
	p, ok0 := f.plane.at(-0.5*sign(k[1])*math.Abs(k[1])/(math.Abs(k[1])+math.Abs(k[2])+1e-12), -0.5*sign(k[2])*math.Abs(k[2])/(math.Abs(k[1])+math.Abs(k[2])+1e-12))
	q, ok1 := f.plane.at(0, 0)
	if ok0 && ok1 {
		d := p.sub(q)
		switch {
		case math.Abs(d.x) >= math.Abs(d.y) && d.x < 0:
			e.Darker = "left"
		case math.Abs(d.x) >= math.Abs(d.y):
			e.Darker = "right"
		case d.y < 0:
			e.Darker = "top"
		default:
			e.Darker = "bottom"
		}
	}
	e.Uneven = e.Range > unevenStops && e.Range > unevenSigmas*e.Sigma
	c.Evenness = &e
}

func sign(v float64) float64 {
	if v < 0 {
		return -1
	}
	return 1
}

// invert is Gauss-Jordan elimination with pivoting; false for a singular matrix.
func invert(a [4][8]float64) (inv [4][4]float64, ok bool) {
	for i := range a {
		a[i][4+i] = 1
	}
	for i := range a {
		best := i
		for j := i + 1; j < 4; j++ {
			if math.Abs(a[j][i]) > math.Abs(a[best][i]) {
				best = j
			}
		}
		if math.Abs(a[best][i]) < 1e-9 {
			return inv, false
		}
		a[i], a[best] = a[best], a[i]
		d := a[i][i]
		for k := range a[i] {
			a[i][k] /= d
		}
		for j := range a {
			if j == i {
				continue
			}
			m := a[j][i]
			for k := range a[j] {
				a[j][k] -= m * a[i][k]
			}
		}
	}
	for i := range inv {
		copy(inv[i][:], a[i][4:])
	}
	return inv, true
}
