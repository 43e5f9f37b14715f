package assess

import (
	"math"

	"thirdstop/assess/exposure"
	"thirdstop/assess/tone"
)

// Relevelled is a level under another curve: the code value that shows it under the one shows it
// under the other. Levels at the edge stay there. Medians and percentiles move so exactly; what was added for the
// spread inside of a cell moves with them, which is right to second order. Green stands for all channels.
func Relevelled(level exposure.Stops, was, now *tone.Curve) exposure.Stops {
	if level >= 0 || level <= tone.Floor {
		return level
	}
	l, _ := now.Stops(1, was.Code(1, math.Exp2(float64(level))), 0)
	return l.Round()
}

// Reexpressed is a reading under another curve than the one it was taken through. Shares, masks and
// boxes stay; so do differences to what lies over the edge, which no curve shows.
func Reexpressed(r Reading, was, now *tone.Curve) Reading {
	v := func(l exposure.Stops) exposure.Stops { return Relevelled(l, was, now) }
	sigma := func(at, s exposure.Stops) exposure.Stops {
		code := was.Code(1, math.Exp2(float64(at)))
		a, b := was.Sigma(1, code), now.Sigma(1, code)
		return exposure.Stops(math.Sqrt(max(float64(s*s-a*a), 0) + float64(b*b))).Round()
	}
	level := func(l Level) Level {
		l.Sigma = sigma(l.Value, l.Sigma)
		l.Value = v(l.Value)
		return l
	}
	head := func(h exposure.Stops) exposure.Stops { return max(-v(-h), 0) }
	colours := func(c *Channels) *Channels {
		if c == nil {
			return nil
		}
		return &Channels{v(c.Red), v(c.Green), v(c.Blue)}
	}
	r.Tone = toneOf(now)
	if p := r.Regions.Backdrop; p != nil {
		b := *p
		low, high := exposure.Stops(math.Inf(1)), exposure.Stops(math.Inf(-1))
		b.Areas = append([]Area{}, p.Areas...)
		for i := range b.Areas {
			b.Areas[i].Level, b.Areas[i].Floor = v(b.Areas[i].Level), v(b.Areas[i].Floor)
			low, high = min(low, b.Areas[i].Level), max(high, b.Areas[i].Level)
		}
		if len(b.Areas) > 1 {
			b.Evenness = (high - low).Round()
		}
		b.FloorSigma = sigma(b.WhiteFloor, b.FloorSigma)
		b.Level, b.WhiteFloor, b.Headroom, b.Channels = level(b.Level), v(b.WhiteFloor), head(b.Headroom), colours(b.Channels)
		r.Regions.Backdrop = &b
	}
	if p := r.Regions.Sitter; p != nil {
		b := *p
		b.Level, b.Headroom, b.Darkest = level(b.Level), head(b.Headroom), v(b.Darkest)
		if b.Crown != nil {
			c := *b.Crown
			c.Peak = v(c.Peak)
			b.Crown = &c
		}
		r.Regions.Sitter = &b
	}
	if p := r.Regions.WhiteReference; p != nil {
		b := *p
		b.Level, b.Peak, b.Headroom, b.Channels = level(b.Level), v(b.Peak), head(b.Headroom), colours(b.Channels)
		r.Regions.WhiteReference = &b
	}
	if p := r.Regions.Witness; p != nil {
		b := *p
		b.Level, b.Red, b.Green, b.Blue = level(b.Level), v(b.Red), v(b.Green), v(b.Blue)
		r.Regions.Witness = &b
	}
	if len(r.Regions.Faces) > 0 {
		r.Regions.Faces = append([]Face{}, r.Regions.Faces...)
		for i := range r.Regions.Faces {
			f := &r.Regions.Faces[i]
			f.Level, f.Headroom, f.KeyFill = level(f.Level), head(f.Headroom), f.KeyFill.under(was, now)
		}
	}
	if d, b, s := r.Balance.Sitter, r.Regions.Backdrop, r.Regions.Sitter; d != nil && b != nil && s != nil {
		x := *d
		x.Value = (b.Value - s.Value).Round()
		r.Balance.Sitter = &x
	}
	if d, b, f := r.Balance.Face, r.Regions.Backdrop, r.Regions.Faces; d != nil && b != nil && len(f) > 0 {
		x := *d
		x.Value = (b.Value - f[largest(f)].Value).Round()
		r.Balance.Face = &x
	}
	if d, f := r.Balance.Faces, r.Regions.Faces; d != nil && len(f) > 1 {
		x := *d
		low, high := extremes(f)
		x.Value = (high.Value - low.Value).Round()
		r.Balance.Faces = &x
	}
	return r
}

func toneOf(c *tone.Curve) Tone {
	return Tone{Source: string(c.Source()), Curve: c.Name(), Sigma: c.SigmaOneStopUnder().Round()}
}
