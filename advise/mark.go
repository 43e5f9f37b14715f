package advise

import (
	"fmt"

	"thirdstop/assess"
)

// Part names a part of the frame that a person can show where it was found wrongly, or can't be found.
type Part string

// The parts. A white reference is declared by [Reference], for it is judged.
const (
	BackdropPart Part = "backdrop" // the backdrop lies inside the box
	FacePart     Part = "face"     // the box holds the sitter's face
	WitnessPart  Part = "witness"  // a grey strip fixed at the frame's edge
	EmptyPart    Part = "empty"    // the frame shows the backdrop with nobody before it
)

// Marked says where a part of the frame is, or takes that back. It holds for the next frames: backdrop and face
// until another person sits, all of them until they are taken back.
type Marked struct {
	Frame int         `json:"frame,omitempty"` // the frame it was shown on; 0 when it is taken back
	Part  Part        `json:"part"`
	Box   *assess.Box `json:"box,omitempty"`  // none for EmptyPart, and none when it is taken back
	Back  bool        `json:"back,omitempty"` // taken back
}

// Marks are the parts that persons have shown.
type Marks struct {
	Backdrop *assess.Box `json:"backdrop"`
	Face     *assess.Box `json:"face"`
	Witness  *assess.Box `json:"witness"`
	Empty    *EmptyFrame `json:"empty"`
}

// EmptyFrame is a frame that shows the backdrop with nobody before it.
type EmptyFrame struct {
	Frame int          `json:"frame"`
	Mask  *assess.Mask `json:"mask"` // its backdrop; what lies outside is backdrop in no frame
}

// Of is the box of a part, nil where none is marked.
func (m Marks) Of(p Part) *assess.Box {
	switch p {
	case BackdropPart:
		return m.Backdrop
	case FacePart:
		return m.Face
	case WitnessPart:
		return m.Witness
	}
	return nil
}

func (s State) shownByHand(in Marked) (State, []Output) {
	var text string
	box := in.Box
	if in.Back {
		box = nil
	}
	word := map[bool]string{false: "shown by hand", true: "taken back"}[in.Back]
	switch in.Part {
	case BackdropPart:
		s.Marks.Backdrop = box
		s = s.anew(backdropRegion)
		text = fmt.Sprintf("Where the backdrop is: %s.", word)
	case FacePart:
		s.Marks.Face = box
		s = s.anew(sitterRegion)
		text = fmt.Sprintf("Where the face is: %s.", word)
	case WitnessPart:
		s.Marks.Witness = box
		text = fmt.Sprintf("Witness strip: %s.", word)
	case EmptyPart:
		s.Marks.Empty = nil
		text = "The empty backdrop was taken back."
		if !in.Back {
			for i := range s.Frames {
				if f := &s.Frames[i]; f.Number == in.Frame && f.Reading != nil && f.Reading.Regions.Backdrop != nil {
					mask := f.Reading.Regions.Backdrop.Mask
					s.Marks.Empty = &EmptyFrame{Frame: in.Frame, Mask: &mask}
				}
			}
			text = fmt.Sprintf("Frame %d shows the empty backdrop.", in.Frame)
			if s.Marks.Empty == nil {
				text = fmt.Sprintf("Frame %d was to show the empty backdrop, and no backdrop is known of it.", in.Frame)
			}
		}
		s.watch.loosen(backdropRegion, cardSigma)
	default:
		return s, nil // of a newer program; the record stands
	}
	s.putAside = nil
	return s, []Output{event("marked", Event{Frame: in.Frame, Text: text})}
}

// anew forgets what was learned of a region that was measured in the wrong place.
func (s State) anew(region int) State {
	if s.taught.Spec.Lights > 0 {
		s.model, s.taught = withoutRegion(s.model, region), withoutRegion(s.taught, region)
	}
	s.watch.loosen(region, cardSigma)
	return s
}
