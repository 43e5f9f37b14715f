package drift

import (
	"fmt"

	"thirdstop/assess/exposure"
)

// Band is a dark band that a frame shows, where it is believed: a part of the frame that no flash lit.
type Band struct {
	Edge    string           `json:"edge"`             // of the upright frame: "left", "right", "top", "bottom"
	Share   float64          `json:"share"`            // of the frame's short side, 0 to 1
	Shutter exposure.Shutter `json:"shutter_s"`        // as recorded; 0: not recorded
	Sync    exposure.Shutter `json:"sync_s,omitempty"` // that the plan gives; 0: none
	Clean   exposure.Shutter `json:"clean_s"`          // the shortest time that is known to show no band; 0: none is
}

// usualSync is what most cameras show whole to a flash (common practice, no source).
const usualSync exposure.Shutter = 1.0 / 200

// At is the time to set, or a slower one.
func (b Band) At() exposure.Shutter {
	switch {
	case b.Sync > 0 && (b.Shutter == 0 || b.Shutter < b.Sync*0.99):
		return b.Sync
	case b.Clean > 0:
		return b.Clean
	case b.Shutter > 0 && b.Shutter >= usualSync*0.99:
		return b.Shutter * 2 // as slow as that shows a band: a trigger that is late
	}
	return usualSync
}

// Says is what the band is, for a person: short, and what to do.
func (b Band) Says() (text, remedy string) {
	where := fmt.Sprintf("a dark band along the %s edge, %.0f %% of the frame", b.Edge, 100*b.Share)
	set := fmt.Sprintf("Set %v or slower and take it again. Leave the lights as they are.", b.At())
	switch {
	case b.Shutter == 0:
		return fmt.Sprintf("Shutter faster than sync, by the look of it: %s.", where), set
	case b.Sync > 0 && b.Shutter >= b.Sync*0.99:
		return fmt.Sprintf("%v is faster than flash and trigger can follow here, though the plan gives %v: %s.", b.Shutter, b.Sync, where),
			set + " Some triggers are late: the camera's and the trigger's manuals tell."
	}
	return fmt.Sprintf("Shutter (%v) faster than sync: %s.", b.Shutter, where), set
}

// banded takes a frame in of which a band is dark: it says nothing of how the lights stand. It is said of every such frame.
func (s State) banded(f Frame) (State, []Finding) {
	s.mark(f.Number, DarkBand, "", 0)
	x := Finding{Kind: DarkBand, Since: f.Number, Sure: true, Witnessed: true, May: OnlyTell, Retake: true}
	if s.Band != nil {
		x = *s.Band
	} else {
		s.NextID++
		x.ID = s.NextID
	}
	x.Frame, x.Revision = f.Number, x.Revision+1
	x.Text, x.Remedy = f.Band.Says()
	s.Band = &x
	return s, []Finding{x}
}
