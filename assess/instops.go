package assess

import (
	"math"

	"thirdstop/assess/exposure"
	"thirdstop/assess/tone"
)

// InStops is a region's histogram by stops to clipping: how its light is spread,
// where a camera's histogram shows how its code values are.
type InStops struct {
	From    exposure.Stops `json:"from_stops"` // lower end of the first bin; what is darker is in it
	Step    exposure.Stops `json:"step_stops"` // width of a bin; the last one ends at the edge of clipping
	Shares  []float64      `json:"shares"`     // part of the region's samples (8x8 block means of all channels) in each bin, 0 to 1
	Clipped float64        `json:"clipped"`    // part at the edge, code 254 and more; with Shares it adds up to 1
}

// The bins of [Codes.InStops]: eighths of a stop, over the eight stops that a JPEG shows.
const (
	inStopsFrom exposure.Stops = -8
	inStopsStep exposure.Stops = 0.125
)

// clippedCode is where a sample counts as clipped.
const clippedCode = 254

// InStops expresses a histogram of code values in stops to clipping under a curve; nil is
// the default one. A code stands for all light from half a code under to half a code
// over it, and is spread over the bins in between, so that dark codes, which lie
// further apart than a bin is wide, make no comb. It reports false where there are no samples.
func (c Codes) InStops(curve *tone.Curve) (InStops, bool) {
	if curve == nil {
		curve = tone.Default()
	}
	h := InStops{From: inStopsFrom, Step: inStopsStep, Shares: make([]float64, int(-inStopsFrom/inStopsStep))}
	var all float64
	for ch, counts := range [][]int32{c.R, c.G, c.B} {
		for code, n := range counts {
			if n <= 0 {
				continue
			}
			all += float64(n)
			if code >= clippedCode {
				h.Clipped += float64(n)
				continue
			}
			h.spread(binOf(curve, ch, float64(code)-0.5), binOf(curve, ch, float64(code)+0.5), float64(n))
		}
	}
	if all == 0 {
		return InStops{}, false
	}
	h.Clipped /= all
	for i := range h.Shares {
		h.Shares[i] /= all
	}
	return h, true
}

// binOf is where a code lies on the scale of bins, in bins from the first one's lower end.
func binOf(curve *tone.Curve, ch int, code float64) float64 {
	level := inStopsFrom
	if light := curve.Linear(ch, max(code, 0)); light > 0 {
		level = exposure.Stops(math.Log2(light))
	}
	bins := float64(-inStopsFrom / inStopsStep)
	return max(0, min(bins, float64((level-inStopsFrom)/inStopsStep)))
}

// spread adds a weight evenly to the bins between two places.
func (h *InStops) spread(from, to, weight float64) {
	last := len(h.Shares) - 1
	if to-from < 1e-9 { // all under the first bin's lower end
		h.Shares[min(int(from), last)] += weight
		return
	}
	for i := int(from); i <= last && float64(i) < to; i++ {
		part := min(to, float64(i+1)) - max(from, float64(i))
		h.Shares[i] += weight * part / (to - from)
	}
}
