package assess

import (
	"math"

	"thirdstop/assess/photo"
)

// top says which code value a cell would show on the average if codes went on over 255, in one channel of one
// frame. Noise spreads a cell's samples over whole codes and the end of the scale cuts some off, so that
// its mean falls short of that code z:
//
//	mean(z) = 255 - sum over whole codes c < 255 of P(sample <= c) = 255 - sum P(n < (c + 1/2 - z) / noise)
//
// with n normal. Between codes 253 and 255 that is all there is to say how far a place lies under the edge.
type top struct {
	most float64               // variance of a cell that shows one tone
	mean [topSteps + 1]float64 // of codes topFrom to topFrom + topSteps/topFine
	rise [topSteps + 1]float64 // of the mean per code
}

const (
	topFrom  = 249.0
	topFine  = 20 // steps a code
	topSteps = 8 * topFine

	// leastRise of the mean per code still tells codes apart: under it noise is too little to even out the rounding, or the end cuts too much off.
	leastRise = 0.35
	// overFrom is the code from which a place lies at the edge or over it: a JPEG, whose colours are whole codes, may show one that does
	// as half a code less.
	overFrom = 254.5
	// usualNoise is a sample's, in codes, where a frame shows no even place near the edge.
	usualNoise = 0.5
	// rounding to whole codes has this variance.
	rounding = 1.0 / 12
)

// topsOf takes the noise near the edge from a frame's smooth cells, per channel.
func topsOf(s *photo.Survey) [3]*top {
	const least, from, to = 20, 235.0, 252.5
	var out [3]*top
	for ch := range out {
		var v []float64
		for i := range s.Cells {
			q := &s.Cells[i]
			if m := float64(q.Mean[ch]); m >= from && m <= to && q.Clipped[ch] == 0 && q.Var[ch] <= smooth {
				v = append(v, float64(q.Var[ch]))
			}
		}
		noise := usualNoise
		if len(v) >= least {
			noise = math.Sqrt(max(medianFloat(v)-rounding, 0.01))
		}
		out[ch] = newTop(noise)
	}
	return out
}

func newTop(noise float64) *top {
	t := &top{most: 1.3*(noise*noise+rounding) + 0.1}
	for i := range t.mean {
		z := topFrom + float64(i)/topFine
		mean := 255.0
		for c := 254.0; c+0.5 > z-6*noise && c > 0; c-- {
			mean -= normal((c + 0.5 - z) / noise)
		}
		t.mean[i] = mean
	}
	for i := range t.rise {
		lo, hi := max(i-1, 0), min(i+1, topSteps)
		t.rise[i] = (t.mean[hi] - t.mean[lo]) / (float64(hi-lo) / topFine)
	}
	return t
}

// code of a cell; false where it says too little, or holds more than one tone.
func (t *top) code(q *photo.Cell, ch int) (float64, bool) {
	mean := float64(q.Mean[ch])
	if !(mean > t.mean[1]) || mean >= t.mean[topSteps] || float64(q.Var[ch]) > t.most {
		return 0, false
	}
	lo, hi := 0, topSteps
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; t.mean[mid] < mean {
			lo = mid
		} else {
			hi = mid
		}
	}
	if min(t.rise[lo], t.rise[hi]) < leastRise {
		return 0, false
	}
	f := (mean - t.mean[lo]) / (t.mean[hi] - t.mean[lo])
	code := topFrom + (float64(lo)+f)/topFine
	return code, code < overFrom
}

// normal is the cumulative distribution.
func normal(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }
