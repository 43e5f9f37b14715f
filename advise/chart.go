package advise

import (
	"fmt"
	"math"

	"thirdstop/advise/drift"
	"thirdstop/assess"
)

// ChartReference is the frame of a colour chart that is the shoot's reference for colour: what shows its neutrals later is held
// against what it showed of them.
type ChartReference struct {
	Frame int         `json:"frame"`
	Shift drift.Mired `json:"shift_mired"` // what the camera's white balance was off by; over 0: too warm
	Tint  drift.Duv   `json:"tint_duv"`    // the same across the locus; over 0: too green
}

// charted takes a chart that was read as the shoot's reference for colour, and tells what that means, or what has moved since
// the chart before it. A chart without white balance, or under an automatic one, is no reference.
func (s State) charted(f Frame) (State, string) {
	c := f.Reading.Chart
	if c == nil || c.Shift == nil || c.Tint == nil {
		return s, ""
	}
	if wb := f.Reading.Exif.WhiteBalance; wb != nil && *wb == 0 {
		return s, " The camera's white balance is automatic, so later frames can't be held against it."
	}
	was, now := s.Chart, ChartReference{Frame: f.Number, Shift: drift.Mired(*c.Shift), Tint: drift.Duv(*c.Tint)}
	s.Chart = &now
	w := &s.watch
	w.Chart = [neutralCount]assess.Channels{}
	for k, n := range s.neutrals(f.Reading) {
		if k == whiteNeutral || n == (assess.Channels{}) {
			continue // the card of the frames to come may be another, or a shirt
		}
		w.Chart[k] = n
		if w.Base > 0 {
			w.Neutral[k] = n
		}
	}
	w.Drift = w.Drift.Recoloured()
	if was == nil {
		return s, " It is this shoot's colour reference: when what is neutral shifts in later frames, that is drift."
	}
	said := fmt.Sprintf(" The colour is as it was in the chart of frame %d.", was.Frame)
	if mired, duv := float64(now.Shift-was.Shift), float64(now.Tint-was.Tint); math.Abs(mired) >= castSmallMired || math.Abs(duv) >= castSmallDuv {
		said = fmt.Sprintf(" Since the chart of frame %d the light has moved by %+.0f mired (over 0: warmer) and %+.3f Duv (over 0: greener).", was.Frame, mired, duv)
	}
	return s, said + " From here on this chart is the shoot's colour reference."
}
