package shoot

import (
	"thirdstop/advise"
	"thirdstop/assess"
)

// hints is what is known of a frame before it is measured: the declared white reference, what else persons have shown, and
// an earlier frame of the set, from which the reference is followed; and whether it is to show a colour chart. The frame of
// that number itself is left out. The caller holds mu.
func (s *Shoot) hints(number int) assess.Hints {
	marks := &s.state.Marks
	h := assess.Hints{WhiteReference: s.state.Reference, Backdrop: marks.Backdrop, Face: marks.Face, Witness: marks.Witness}
	if e := marks.Empty; e != nil && e.Frame != number { // of itself it says nothing
		h.Empty = e.Mask
	}
	w := s.state.Walk
	h.Chart = number == 0 && s.state.Walking() && w.Steps[w.At].Kind == advise.WalkChart
	for _, f := range s.state.Frames {
		h.Chart = h.Chart || f.Number == number && f.Walk == string(advise.WalkChart)
	}
	for i := len(s.state.Frames) - 1; i >= 0; i-- {
		f := &s.state.Frames[i]
		if f.Number == number || f.Reading == nil || f.Aside != "" {
			continue
		}
		w := f.Reading.Regions.WhiteReference
		follows := h.WhiteReference != nil && w != nil && w.Declared && sameBox(w.DeclaredBox, h.WhiteReference)
		if follows {
			h.Before = f.Reading
			break
		}
		if h.Before == nil && f.Reading.Regions.Backdrop != nil && f.Reading.PartOfSet.Answer == assess.BelongsYes {
			h.Before = f.Reading
			if h.WhiteReference == nil {
				break
			}
		}
	}
	return h
}
