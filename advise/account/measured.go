package account

import (
	"math"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/tone"
)

// measured takes out of a reading what a row of a table holds.
func measured(f *Frame, r *assess.Reading) {
	if r == nil {
		return
	}
	x := r.Exif
	f.Kind, f.Curve, f.Clipped = r.Kind, r.Tone.Curve, r.ClippedShare.Any
	f.FNumber, f.ISO, f.Shutter, f.Focal = value(x.FNumber), value(x.ISO), value(x.ExposureTime), value(x.FocalLength)
	f.Camera, f.Lens, f.Taken = value(x.Model), value(x.Lens), value(x.TakenAt)
	f.Chart = r.Chart
	if b := r.Regions.Backdrop; b != nil {
		f.Floor = &Region{b.WhiteFloor, b.FloorSigma, b.FloorAtLeast}
		f.Backdrop = &Region{b.Value, b.Sigma, b.AtLeast}
		f.Evenness = b.Evenness
		f.cast("backdrop", b.Codes, b.ClippedShare)
	}
	if w := r.Regions.WhiteReference; w != nil {
		level := &Region{w.Peak, w.Sigma, w.PeakAtLeast}
		if w.Declared {
			f.White = level
			f.cast("white reference", w.Codes, w.ClippedShare)
		} else {
			f.Found = level
		}
	}
	if f.Faces = len(r.Regions.Faces); f.Faces == 1 {
		face := r.Regions.Faces[0]
		f.Face = &face
	}
	if s := r.Regions.Sitter; s != nil {
		f.Sitting = &Region{s.Value, s.Sigma, s.AtLeast}
		if c := s.Crown; c != nil {
			f.Crown = &Region{c.Peak, s.Sigma, c.AtLeast}
		}
	}
}

func value[T any](p *T) (v T) {
	if p != nil {
		v = *p
	}
	return v
}

// mostClippedForColour is the share of clipped pixels up to which a region's colour counts
// (derived here: the median of each channel is then far from the clipped ones).
const mostClippedForColour = 0.05

// cast measures a region's colour: the median block of each channel. Cameras are set to render a
// neutral with equal codes, so the default curve serves for what is near neutral; a learned one differs
// little in the difference between two channels.
func (f *Frame) cast(of string, c assess.Codes, clipped float64) {
	if clipped > mostClippedForColour {
		return
	}
	curve := tone.Default()
	var level [3]float64
	for ch, counts := range [][]int32{c.R, c.G, c.B} {
		code, ok := median(counts)
		light := curve.Linear(ch, code)
		if !ok || code >= 254 || !(light > 0) {
			return
		}
		level[ch] = math.Log2(light)
	}
	f.Cast = &Colour{exposure.Stops(level[0] - level[1]).Round(), exposure.Stops(level[2] - level[1]).Round()}
	f.CastOf = of
}

// median is the middle of a histogram of whole codes, between codes as the counts lie.
func median(counts []int32) (float64, bool) {
	all := int64(0)
	for _, n := range counts {
		all += int64(n)
	}
	if all == 0 {
		return 0, false
	}
	below := int64(0)
	for code, n := range counts {
		if n > 0 && 2*(below+int64(n)) >= all {
			return float64(code) - 0.5 + (float64(all)/2-float64(below))/float64(n), true
		}
		below += int64(n)
	}
	return 0, false
}
