package drift

import (
	"math"
	"slices"
)

// Line is a robust straight line y = Intercept + Slope t.
type Line struct {
	Slope     float64
	Intercept float64 // median of y - slope t
	Low, High float64 // confidence limits of Slope
}

// TheilSen is the median of the slopes of all pairs (Theil 1950; Sen 1968), with
// limits of the slope at z standard deviations of Kendall's statistic (1.96 for 95 %; Sen's
// formula without ties in y, which makes them a little too wide). It reports false
// where no two points differ in t. Up to 29 % of the points may be wild.
func TheilSen(t, y []float64, z float64) (Line, bool) {
	var slopes []float64
	for i := range t {
		for j := i + 1; j < len(t); j++ {
			if t[i] != t[j] {
				slopes = append(slopes, (y[j]-y[i])/(t[j]-t[i]))
			}
		}
	}
	if len(slopes) == 0 {
		return Line{}, false
	}
	slices.Sort(slopes)
	l := Line{Slope: median(slopes)}
	rest := make([]float64, len(t))
	for i := range t {
		rest[i] = y[i] - l.Slope*t[i]
	}
	l.Intercept = median(rest)
	n, all := float64(len(t)), float64(len(slopes))
	c := z * math.Sqrt(n*(n-1)*(2*n+5)/18)
	low, high := int(math.Round((all-c)/2))-1, int(math.Round((all+c)/2))
	l.Low, l.High = slopes[max(low, 0)], slopes[min(high, len(slopes)-1)]
	return l, true
}

// median leaves v as it was. It is 0 of nothing.
func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	s := slices.Clone(v)
	slices.Sort(s)
	if n := len(s); n%2 == 0 {
		return (s[n/2-1] + s[n/2]) / 2
	}
	return s[len(s)/2]
}

// shape is how a series left zero: at once, or along a line.
type shape struct {
	ramp  bool
	start int     // index of the first value that is off
	now   float64 // where it stands at the end
	per   float64 // of a ramp: change per value
	sigma float64 // one standard deviation of now
	lead  float64 // by how much chi-square the other shape is worse
}

// stepOrRamp fits both shapes by least squares over every possible start, each with two
// unknowns, and takes the one that leaves less. sd is the scatter of one value.
func stepOrRamp(d []float64, sd float64) shape {
	n := len(d)
	step, ramp := math.Inf(1), math.Inf(1)
	var s, r shape
	before := 0.0 // sum of squares of the values before the start
	for start := range n {
		var sum, tt, td, dd float64
		for i := start; i < n; i++ {
			t := float64(i - start + 1)
			sum += d[i]
			tt += t * t
			td += t * d[i]
			dd += d[i] * d[i]
		}
		after := float64(n - start)
		if left := before + dd - sum*sum/after; left < step {
			step, s = left, shape{start: start, now: sum / after, sigma: sd / math.Sqrt(after)}
		}
		if left := before + dd - td*td/tt; left < ramp && n-start >= 3 {
			ramp, r = left, shape{ramp: true, start: start, now: td / tt * after, per: td / tt, sigma: sd / math.Sqrt(tt) * after}
		}
		before += d[start] * d[start]
	}
	if ramp < step {
		r.lead = (step - ramp) / (sd * sd)
		return r
	}
	s.lead = (ramp - step) / (sd * sd)
	return s
}
