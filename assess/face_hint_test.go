package assess

import (
	"testing"

	"thirdstop/assess/tone"
)

// A face that a person drew is sitter, with a body under it, also where nothing but an even backdrop was seen: white
// clothes before white paper that clips.
func TestADrawnFaceIsSitter(t *testing.T) {
	s := made(960, 1440, tone.Default(), func(x, y float64) [3]float64 { return [3]float64{0.5, 0.5, 0.5} })
	r := MeasureSurvey(s, Facts{}, nil, Hints{})
	if r.Regions.Sitter != nil {
		t.Fatalf("an even frame shows a sitter, %+v", r.Regions.Sitter.Box)
	}
	face := Box{X0: 0.38, Y0: 0.2, X1: 0.62, Y1: 0.42}
	r = MeasureSurvey(s, Facts{}, nil, Hints{Face: &face})
	who := r.Regions.Sitter
	if who == nil {
		t.Fatalf("with a drawn face there is no sitter: %s", r.Missing["regions.sitter"])
	}
	if b := who.Box; b.X0 > face.X0+0.03 || b.X1 < face.X1-0.03 || b.Y0 > face.Y0+0.03 || b.Y1 < 0.9 {
		t.Errorf("the sitter is found in %+v, want the drawn face %+v and a body down to the frame's edge", b, face)
	}
	if share := r.Regions.Backdrop; share == nil || share.Share > 0.9 {
		t.Errorf("the backdrop is %+v, want one without the sitter", share)
	}
	// A box of no size says nothing.
	if r = MeasureSurvey(s, Facts{}, nil, Hints{Face: &Box{X0: 0.5, Y0: 0.5, X1: 0.5, Y1: 0.5}}); r.Regions.Sitter != nil {
		t.Error("a drawn face without size makes a sitter")
	}
}
