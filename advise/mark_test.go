package advise

import (
	"testing"

	"thirdstop/assess"
)

func TestMarksHoldUntilTheSitterChangesOrTheyAreTakenBack(t *testing.T) {
	box, strip := assess.Box{X1: 1, Y1: 0.5}, assess.Box{X0: 0.95, X1: 1, Y1: 1}
	r := &assess.Reading{Kind: assess.Full}
	r.Regions.Backdrop = &assess.Backdrop{Mask: assess.Mask{Cols: 2, Rows: 1, Bits: "gA=="}}
	s := State{Frames: []FrameState{{Number: 1, Reading: r}, {Number: 2, Reading: &assess.Reading{}}}, FrameCount: 2}
	text := ""
	do := func(in Input) {
		t.Helper()
		before := s
		next, out := Apply(s, in)
		if before.Marks != s.Marks {
			t.Error("Apply changed the state it was given")
		}
		s, text = next, ""
		for _, o := range out {
			if o.Event != nil {
				text = o.Event.Text
			}
		}
	}
	mark := func(m Marked) { t.Helper(); do(Input{Marked: &m}) }
	for _, p := range []Part{BackdropPart, FacePart, WitnessPart} {
		at := box
		if p == WitnessPart {
			at = strip
		}
		mark(Marked{Frame: 1, Part: p, Box: &at})
		if got := s.Marks.Of(p); got == nil || *got != at {
			t.Errorf("%s marked at %v stands at %v", p, at, got)
		}
	}
	mark(Marked{Frame: 1, Part: EmptyPart})
	if e := s.Marks.Empty; e == nil || e.Frame != 1 || *e.Mask != r.Regions.Backdrop.Mask || text != "Frame 1 shows the empty backdrop." {
		t.Errorf("frame 1 as empty backdrop gives %+v, %q", e, text)
	}
	do(Input{Sitter: &Sitter{Ref: "x"}})
	if m := s.Marks; m.Backdrop != nil || m.Face != nil || m.Witness == nil || m.Empty == nil {
		t.Errorf("with another sitter the marks are %+v, want those of the set alone", m)
	}
	mark(Marked{Part: WitnessPart, Back: true})
	if s.Marks.Witness != nil || text != "Witness strip: taken back." {
		t.Errorf("taken back, the witness is %v, %q", s.Marks.Witness, text)
	}
	mark(Marked{Frame: 2, Part: EmptyPart}) // has no backdrop: nothing is put in its place
	if s.Marks.Empty != nil {
		t.Errorf("a frame without a backdrop gives the mask %+v", s.Marks.Empty)
	}
	mark(Marked{Part: "moustache", Box: &box})
	if text != "" {
		t.Errorf("a part that is not known says %q, want nothing", text)
	}
}
