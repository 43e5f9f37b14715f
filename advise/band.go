package advise

import (
	"fmt"
	"slices"

	"thirdstop/advise/drift"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

const (
	// A shutter faster than this shows a dark band with hardly any camera that the plan says nothing else of (common practice, no source).
	hardlySync exposure.Shutter = 1.0 / 250
	// A wall beside a narrow backdrop stays where it is, to this part of the frame.
	sameBand = 0.06
	// A time is another one if it differs by this factor: a third of a stop, less what cameras round.
	otherTime = 1.15
	// So many earlier frames without a band must there be, where the shutter's time alone proves nothing.
	bandless = 3
)

// band is a frame's dark band, where it must be one of the shutter's; nil otherwise. A dark wall
// along an edge looks the same in one frame, so the time must be faster than the plan's sync, or earlier frames must show that
// the band came with a faster time. What frames at a clearly slower time show as well is a wall.
func (s State) band(number int, r *assess.Reading) *drift.Band {
	b := r.DarkBand
	if b == nil || s.Walking() && s.Walk.step().Kind == WalkAmbient {
		return nil
	}
	out := &drift.Band{Edge: string(b.Edge), Share: b.Share, Shutter: timeOf(r)}
	limit := hardlySync
	if s.Plan != nil && s.Plan.Camera.Sync > 0 {
		out.Sync = s.Plan.Camera.Sync
		limit = out.Sync * 0.99
	}
	clean := 0 // frames without a band, at a slower time where times are known
	for _, f := range slices.Backward(s.Frames) {
		x := f.Reading
		if f.Number >= number || x == nil || x.Kind == assess.Provisional || f.Aside != "" && x.DarkBand == nil || x.Regions.Backdrop == nil {
			continue
		}
		t := timeOf(x)
		slower := out.Shutter > 0 && t >= out.Shutter*otherTime
		switch same := x.DarkBand != nil && x.DarkBand.Edge == b.Edge; {
		case same && (slower || out.Shutter == 0) && max(x.DarkBand.Share, b.Share)-min(x.DarkBand.Share, b.Share) <= sameBand && f.Aside == "":
			return nil
		case x.DarkBand == nil && (slower || out.Shutter == 0):
			clean++
			if t > 0 && (out.Clean == 0 || t < out.Clean) {
				out.Clean = t
			}
		}
	}
	if out.Shutter > 0 && out.Shutter < limit || clean >= bandless {
		return out
	}
	return nil
}

// timeOf is the exposure time that a camera recorded; 0 where it did not.
func timeOf(r *assess.Reading) exposure.Shutter {
	if r.Exif.ExposureTime == nil {
		return 0
	}
	return *r.Exif.ExposureTime
}

// bandWatched notes a frame with a dark band. It teaches nothing, and its flashes count.
func (s State) bandWatched(in Input, band drift.Band, told []Output) (State, []Output) {
	f, w := *in.Frame, &s.watch
	if f.Reading.Kind == assess.Provisional || f.Number <= w.Drift.Last {
		return s, told
	}
	w.setUp(s.Plan)
	w.tick(in.At, f)
	x := drift.Frame{Number: f.Number, At: w.Clock, Band: &band}
	for _, l := range s.Lights {
		x.Power, x.Off = append(x.Power, l.Power), append(x.Off, l.Off)
	}
	next, found := w.Drift.Next(x)
	w.Drift = next
	return s.findings(f.Number, found, told)
}

// bandAdvice is what to do about the newest frame's dark band.
func (s State) bandAdvice(a Advice) (Advice, bool) {
	x := s.watch.Drift.Band
	if x == nil || len(s.Frames) == 0 {
		return a, false
	}
	f := s.Frames[len(s.Frames)-1]
	if f.Number != x.Frame || f.Reading == nil {
		return a, false
	}
	b := s.band(f.Number, f.Reading)
	if b == nil { // the plan's sync was put right since
		return a, false
	}
	a.Status, a.Frame, a.Revision = Look, f.Number, f.Revision
	text, remedy := b.Says()
	a.Headline, a.Reason = fmt.Sprintf("Shutter faster than sync: %v or slower", b.At()), text+" "+remedy
	return a, true
}
