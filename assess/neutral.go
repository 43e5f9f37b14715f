package assess

import (
	"math"

	"thirdstop/assess/colour"
	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
)

const (
	// Up to this share of clipped pixels a region's colour counts: the median of each channel is then far from
	// the clipped ones (derived here).
	mostClippedNeutral = 0.05
	// Under this level a code is a large part of a stop, and flare as much as light (derived here).
	leastNeutral exposure.Stops = -5
)

// channels are the levels of a region's median block in each channel; nil where they tell no colour.
func (m *meter) channels(codes Codes, clipped float64) *Channels {
	if clipped > mostClippedNeutral {
		return nil
	}
	var out Channels
	for ch, of := range []struct {
		counts []int32
		to     *exposure.Stops
	}{{codes.R, &out.Red}, {codes.G, &out.Green}, {codes.B, &out.Blue}} {
		code, ok := medianCode(of.counts)
		if !ok || code >= clippedCode {
			return nil
		}
		l, _ := m.c.Stops(ch, code, 0)
		if l < leastNeutral {
			return nil
		}
		*of.to = l.Round()
	}
	return &out
}

// medianCode is the middle of a histogram of whole codes, between codes as the counts lie.
func medianCode(counts []int32) (float64, bool) {
	all, below := int64(0), int64(0)
	for _, n := range counts {
		all += int64(n)
	}
	for code, n := range counts {
		if n > 0 && 2*(below+int64(n)) >= all {
			return float64(code) - 0.5 + (float64(all)/2-float64(below))/float64(n), true
		}
		below += int64(n)
	}
	return 0, false
}

// Colour is how far the colour of what should be neutral moved from that of the same thing in a reference frame:
// as if a lamp of a daylight white had changed by so much.
func (r *Reading) Colour(reference, now Channels) (colour.Drift, error) {
	space := colour.SRGB
	if labelled(r.Labels, photo.LabelAdobeRGB) {
		space = colour.AdobeRGB
	}
	return colour.DriftOf(reference.light(), now.light(), space)
}

func (c Channels) light() colour.RGB {
	return colour.RGB{math.Exp2(float64(c.Red)), math.Exp2(float64(c.Green)), math.Exp2(float64(c.Blue))}
}

// Channels are the strip's levels channel by channel; nil where it clips or is too dark to tell a colour.
func (w *Witness) Channels() *Channels {
	if w.ClippedShare > mostClippedNeutral || min(w.Red, w.Green, w.Blue) < leastNeutral {
		return nil
	}
	return &Channels{w.Red, w.Green, w.Blue}
}
