package assess

import (
	"math"
	"testing"

	"thirdstop/assess/studio"
	"thirdstop/assess/tone"
	"thirdstop/testdata"
)

// sitterRegions are what of the studio's picture is sitter.
var sitterRegions = []studio.Region{studio.WhiteReference, studio.Face, studio.HairRegion, studio.Clothes, studio.Glint, studio.WhiteShirtRegion}

// clippedTruth is what share of the sitter's own pixels the sensor clipped.
func clippedTruth(t *studio.Truth) float64 {
	var clipped, size float64
	for _, r := range sitterRegions {
		if e, ok := t.Region(r); ok {
			clipped += e.Clipped * e.Size
			size += e.Size
		}
	}
	return clipped / size
}

// committee is the whole committee, lit right before white paper that is over the edge.
func committee(seed uint64) []*studio.Studio {
	var all []*studio.Studio
	for _, who := range studio.Committee() {
		st := studio.BoatHouse(seed)
		who.Card = who.Role == st.Sitter.Role
		st.Sitter = who
		st.Camera.Width, st.Camera.PictureHeight = 900, 600
		st.Balance(0.25, -0.35)
		all = append(all, st)
	}
	return all
}

// Paper that is over the edge all round the sitter isn't counted as sitter: the clipped share is
// within 0.5 % of the studio's truth, and the stated bounds hold it (with 0.3 % for pixels on the border itself).
func TestClippedPaperIsNotTheSitter(t *testing.T) {
	for _, st := range committee(2) {
		s, truth := st.RenderSurvey()
		r := MeasureSurvey(s, Facts{}, nil, Hints{}).Regions.Sitter
		if r == nil {
			t.Errorf("%s was not found", st.Sitter.Role)
			continue
		}
		want := clippedTruth(&truth)
		if math.Abs(r.ClippedShare-want) > 0.006 {
			t.Errorf("%s: clipped share %.4f, want %.4f (the studio's truth) ± 0.006", st.Sitter.Role, r.ClippedShare, want)
		}
		if want < r.ClippedLeast-0.003 || want > r.ClippedMost+0.003 || r.ClippedLeast > r.ClippedShare || r.ClippedShare > r.ClippedMost {
			t.Errorf("%s: clipped share %.4f is said to be in %.4f to %.4f; it is %.4f (the studio's truth)", st.Sitter.Role, r.ClippedShare, r.ClippedLeast, r.ClippedMost, want)
		}
	}
}

// A white that was merely found lies on white cloth or card, wholly, wherever the studio knows of any.
func TestFoundWhiteLiesOnWhite(t *testing.T) {
	studios := committee(1)
	for seed := uint64(3200); seed < 3200+uint64(testdata.Scenes(30, 8)); seed++ {
		studios = append(studios, studio.Random(seed, studio.RandomOptions{Off: 1}))
	}
	found, white := 0, 0
	for _, st := range studios {
		s, truth := st.RenderSurvey()
		r := MeasureSurvey(s, Facts{}, nil, Hints{})
		w := r.Regions.WhiteReference
		if w == nil {
			continue
		}
		m := newMeter(s, tone.Default())
		cells, on, line := m.cellsIn(w.Box), 0, 0
		for _, i := range cells {
			switch truth.Cells.Region[i] {
			case studio.WhiteReference, studio.WhiteShirtRegion:
				on++
			case studio.Mixed: // a tie's edge, a button, the line between card and shirt
				line++
			case studio.Face, studio.HairRegion, studio.Glint, studio.BackdropRegion:
				t.Errorf("%s (seed %d): a found white reference lies on %v", st.Sitter.Role, st.Seed, truth.Cells.Region[i])
			}
		}
		if _, ok := truth.Region(studio.WhiteReference); !ok {
			continue // light cloth, which nobody can tell from white
		}
		found++
		if on+line >= len(cells)*95/100 && on >= len(cells)/2 {
			white++
		} else {
			t.Logf("%s (seed %d): %d of %d cells are white, %d show a line", st.Sitter.Role, st.Seed, on, len(cells), line)
		}
	}
	t.Logf("%d found where there is white, %d of them wholly on it", found, white)
	if found < testdata.Scenes(15, 7) || white < found-2 {
		t.Errorf("of %d white references that were found %d lie on white, want more found and all but two", found, white)
	}
}

// A bright strip that cuts through the box of a white reference is neither its peak nor makes it clipped; a card that
// clips says so, and its peak is the edge.
func TestPeakOfMixedCells(t *testing.T) {
	c := tone.Default()
	card := func(strip bool, level float64) place {
		return func(x, y float64) [3]float64 {
			if strip && x > 0.5 && x < 0.504 {
				return grey(0.5) // thinner than a cell: paper that shows through
			}
			return grey(level)
		}
	}
	box := &Box{0.45, 0.72, 0.55, 0.9}
	for _, tc := range []struct {
		name    string
		strip   bool
		level   float64
		peak    float64
		atLeast bool
	}{
		{"a card under the edge", false, -0.4, -0.4, false},
		{"with a strip of clipped paper in it", true, -0.4, -0.4, false},
		{"a card over the edge", false, 0.3, 0, true},
	} {
		s := made(640, 800, c, portrait(even(-1), card(tc.strip, tc.level)))
		w := MeasureSurvey(s, Facts{}, c, Hints{WhiteReference: box}).Regions.WhiteReference
		if w == nil || w.PeakAtLeast != tc.atLeast || math.Abs(float64(w.Peak)-tc.peak) > 0.03 {
			t.Errorf("%s reads %+v, want a peak of %.2f, at_least %v (derived here)", tc.name, w, tc.peak, tc.atLeast)
		}
	}
}

// at_least without a level at the edge would say nothing: over random scenes there is none, and a peak that is
// at_least has over 1 % clipped samples somewhere in its box.
func TestPeakAtLeastIsAtTheEdge(t *testing.T) {
	for seed := uint64(3300); seed < 3320; seed++ {
		st := studio.Random(seed, studio.RandomOptions{Off: 1})
		s, truth := st.RenderSurvey()
		e, ok := truth.Region(studio.WhiteReference)
		if !ok {
			continue
		}
		w := MeasureSurvey(s, Facts{}, nil, Hints{WhiteReference: (*Box)(&e.Box)}).Regions.WhiteReference
		if w.PeakAtLeast && (w.Peak != 0 || w.ClippedShare == 0) || w.Peak > 0 {
			t.Errorf("seed %d: peak %v, at least %v, %.4f of it clipped", seed, w.Peak, w.PeakAtLeast, w.ClippedShare)
		}
	}
}
