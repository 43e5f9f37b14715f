package advise

import (
	"math"
	"slices"

	"thirdstop/advise/drift"
	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess"
)

// The neutrals whose colour is watched, by index.
const (
	backdropNeutral = iota
	whiteNeutral
	witnessNeutral
	neutralCount
)

// neutralNames are the detectors' names of them.
var neutralNames = [neutralCount]string{"backdrop", "white_reference", "witness"}

// toneSigma is what a neutral's colour differs by from frame to frame, one standard deviation: flashes by a mired or two, and
// a card more, for it is held another way each time (common practice, no source).
var toneSigma = [neutralCount]drift.Mired{2, 3, 2}

// neutrals are the colours of what should be neutral in a reading; zero where it shows none.
func (s State) neutrals(r *assess.Reading) (out [neutralCount]assess.Channels) {
	set := func(k int, c *assess.Channels) {
		if c != nil {
			out[k] = *c
		}
	}
	if b := r.Regions.Backdrop; b != nil && slices.Contains([]plan.BackdropColour{plan.White, plan.Grey}, s.Plan.Backdrop.Colour) {
		set(backdropNeutral, b.Channels)
	}
	if w := r.Regions.WhiteReference; w != nil && w.Declared {
		set(whiteNeutral, w.Channels)
	}
	if w := r.Regions.Witness; w != nil {
		set(witnessNeutral, w.Channels())
	}
	return out
}

// hues are the colours of the neutrals against the baseline's, or the first frame's after it that shows them. They say nothing
// where the camera sets its white balance anew for every frame.
func (s *State) hues(fit rig.Fit, set rig.Setting, r *assess.Reading) []drift.Colour {
	if wb := r.Exif.WhiteBalance; wb != nil && *wb == 0 {
		return nil
	}
	var out []drift.Colour
	for k, now := range s.neutrals(r) {
		if now == (assess.Channels{}) {
			continue
		}
		base := &s.watch.Neutral[k]
		if *base == (assess.Channels{}) {
			*base = now
			continue
		}
		d, err := r.Colour(*base, now)
		if err != nil {
			continue
		}
		c := drift.Colour{Neutral: neutralNames[k], Sigma: toneSigma[k], Tone: drift.Tone{
			Shift:   drift.Mired(math.Round(float64(d.Shift)*10) / 10),
			Tint:    drift.Duv(math.Round(float64(d.Tint)*1e5) / 1e5),
			Differs: drift.Difference(math.Round(float64(d.DE00)*100) / 100),
		}}
		if region, ok := map[int]int{backdropNeutral: backdropRegion, whiteNeutral: whiteRegion}[k]; ok {
			c.Shares = slices.Clone(fit.Shares(set, region)[:len(s.Lights)])
			for i, v := range c.Shares {
				c.Shares[i] = math.Round(v*1e4) / 1e4
			}
		}
		out = append(out, c)
	}
	return out
}
