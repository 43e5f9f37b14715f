package advise

import (
	"fmt"
	"math"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// warnings are what a person should put right or know, in a fixed order.
func (s State) warnings() []Warning {
	out := []Warning{}
	add := func(code, format string, a ...any) {
		out = append(out, Warning{Code: code, Text: fmt.Sprintf(format, a...)})
	}
	last := s.newest()
	if last == nil || s.Phase == Ended {
		return out
	}
	if n := s.Frames[len(s.Frames)-1]; n.Reading == nil {
		add("newest_unreadable", "Frame %d could not be read; what is shown belongs to frame %d.", n.Number, last.Number)
	} else if _, banded := s.bandAdvice(Advice{}); n.Aside != "" && !banded {
		add("left_out", "Frame %d is left out: %s. What is advised belongs to frame %d.", n.Number, n.Aside, last.Number)
	}
	r, x := last.Reading, last.Reading.Exif
	if x.Program != nil && *x.Program > 1 || x.Program == nil && x.ExposureMode != nil && *x.ExposureMode == 0 {
		add("not_manual", "The camera is not in manual exposure, so frames can't be compared. Set it to M.")
	}
	if x.WhiteBalance != nil && *x.WhiteBalance == 0 {
		add("auto_white_balance", "The camera's white balance is automatic: colours shift from frame to frame. Set a fixed one.")
	}
	if x.Flash != nil && x.Flash.Mode == "auto" {
		add("auto_flash", "The camera's flash is in automatic mode, so its power is not known. Set the flashes by hand.")
	}
	if s.autoISO() {
		add("auto_iso", "The ISO changed from frame to frame while nothing else did: it looks automatic. Set a fixed ISO.")
	}
	if x.FNumber == nil && !s.TStops || x.ISO == nil {
		add("no_exposure", "The file does not say aperture and ISO; levels are compared as if they never changed.")
	}
	for _, l := range r.Labels {
		if l.Code == "edited" || l.Code == "reduced" || l.Code == "adobe_rgb" {
			add("file_"+l.Code, "%s", l.Text)
		}
	}
	if s.Plan == nil {
		if b := s.band(last.Number, r); b != nil {
			text, remedy := b.Says()
			add("dark_band", "Frame %d: %s %s", last.Number, text, remedy)
		}
		return out
	}
	c := s.Plan.Camera
	if c.FNumber > 0 && x.FNumber != nil && !s.TStops && differ(c.FNumber.Av, x.FNumber.Av) || c.ISO > 0 && x.ISO != nil && differ(c.ISO.Sv, x.ISO.Sv) {
		add("camera_differs", "The camera is at %s, %s; the plan says %s, %s. Advice follows the camera.", s.FNumber, s.ISO, c.FNumber, c.ISO)
	}
	if c.Sync > 0 && x.ExposureTime != nil && float64(*x.ExposureTime) < float64(c.Sync)*0.99 {
		add("faster_than_sync", "The shutter (%s) is faster than the sync limit (%s): part of the frame misses the flash. Set %s or slower.", *x.ExposureTime, c.Sync, c.Sync)
	}
	if r.Regions.Backdrop == nil {
		add("no_backdrop", "No backdrop was found in frame %d.", last.Number)
	}
	if s.Reference == nil {
		add("no_reference", "No white reference is declared, so the key is not judged. Show a white card or shirt and tap it on the frame.")
	} else if w := r.Regions.WhiteReference; w == nil || !w.Declared {
		why := r.Missing["regions.white_reference"]
		if why != "" {
			why = " (" + why + ")"
		}
		add("reference_lost", "The declared white reference was not found in frame %d%s. Show it again and tap it, or take the declaration back.", last.Number, why)
	}
	if i, ok := s.light(s.bumped); ok {
		add("check_dial", "The white reference clips, and nothing was recorded that would explain it. See whether %s is still set to %s.", s.Lights[i].Name, s.Lights[i].PowerText)
	}
	if s.sitterClips(r) {
		add("sitter_clips", "%s; the plan allows %.0f %%. %s", s.sitterClipsWords(r), s.Plan.Targets.MostClipped*100, sitterClipsWhy)
	}
	if s.untaught && s.Question == nil && !s.recheck {
		add("either_side", "Frame %d may have been taken before or after an adjustment; the next one tells.", last.Number)
	}
	return out
}

// sitterClips tells whether more of the sitter clips than the plan allows.
func (s State) sitterClips(r *assess.Reading) bool {
	p := r.Regions.Sitter
	return p != nil && p.ClippedShare > s.Plan.Targets.MostClipped
}

// sitterBlown tells whether that is so wherever exactly the sitter's outline runs.
func (s State) sitterBlown(r *assess.Reading) bool {
	p := r.Regions.Sitter
	if p == nil {
		return false
	}
	share := p.ClippedLeast
	if s.blownBefore { // what is a hair over and then a hair under must not turn the page over at every frame
		share /= stillBlown
	}
	return share > s.Plan.Targets.MostClipped
}

// stillBlown is the part of the allowance to which the sitter's clipped share must fall to count as mended.
const stillBlown = 0.9

// onlyClips tells whether advice has nothing to say but that too much of the sitter clips.
func (s State) onlyClips(a Advice, f *FrameState) bool {
	return a.Status == Look && s.sitterBlown(f.Reading) && a.Headline == s.sitterClipsWords(f.Reading)
}

func (s State) sitterClipsWords(r *assess.Reading) string {
	share := r.Regions.Sitter.ClippedShare * 100
	if share < 10 { // 2.1 % over an allowance of 2 % must not read as 2 %
		return fmt.Sprintf("%.1f %% of the sitter clips", share)
	}
	return fmt.Sprintf("%.0f %% of the sitter clips", share)
}

const sitterClipsWhy = "Look for light wrapping round from the backdrop, a hair light too strong, a light too close, or something white that nobody declared."

// differ tells whether two camera settings are more than a tenth of a stop apart.
func differ(a, b func() (exposure.Stops, bool)) bool {
	x, ok1 := a()
	y, ok2 := b()
	return ok1 && ok2 && math.Abs(float64(x-y)) > 0.1
}

// autoISO sees an ISO that moved twice within the last four frames at one aperture.
func (s State) autoISO() bool {
	var last *exposure.ISO
	moves, seen := 0, 0
	for i := len(s.Frames) - 1; i >= 0 && seen < 4; i-- {
		r := s.Frames[i].Reading
		if r == nil || s.Frames[i].Aside != "" || r.Exif.ISO == nil {
			continue
		}
		seen++
		if last != nil && *last != *r.Exif.ISO {
			moves++
		}
		last = r.Exif.ISO
	}
	return moves >= 2
}
