package assess

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
	"thirdstop/assess/studio"
	"thirdstop/assess/tone"
	"thirdstop/testdata"
)

// sitting is a member of the committee with a white card, before the boathouse's paper.
func sitting(who studio.Sitter) *studio.Studio {
	st := studio.BoatHouse(5)
	who.Card = true
	st.Sitter = who
	st.Camera.Width, st.Camera.PictureHeight = 900, 600
	st.Balance(0.25, -0.35)
	st.Sway = 0.025
	return st
}

// card is the box of the card, and one in its middle as a person draws it.
func card(t testing.TB, truth *studio.Truth) (whole, tapped Box) {
	t.Helper()
	e, ok := truth.Region(studio.WhiteReference)
	if !ok {
		t.Fatal("the frame shows no card")
	}
	b := Box(e.Box)
	w, h := (b.X1-b.X0)/4, (b.Y1-b.Y0)/4
	return b, Box{b.X0 + w, b.Y0 + h, b.X1 - w, b.Y1 - h}
}

// again reads a frame under what was declared, following it from an earlier reading, through JSON as a trail keeps it.
func again(t testing.TB, s *photo.Survey, declared *Box, before *Reading) Reading {
	t.Helper()
	text, err := json.Marshal(before)
	if err != nil {
		t.Fatal(err)
	}
	var kept Reading
	if err := json.Unmarshal(text, &kept); err != nil {
		t.Fatal(err)
	}
	return MeasureSurvey(s, Facts{}, tone.Default(), Hints{WhiteReference: declared, Before: &kept})
}

// A card in the hands of a sitter who sways is followed from frame to frame while key and all lights are turned:
// its box stays on the card (the studio's truth), whether half of the card was drawn or a little of its middle, where nothing but
// white is round about.
func TestDeclaredCardIsFollowed(t *testing.T) {
	for _, part := range []float64{0.5, 0.25} {
		cardIsFollowed(t, part)
	}
}

func cardIsFollowed(t *testing.T, part float64) {
	frames, followed := 0, 0
	for k, who := range testdata.Some(studio.Committee(), 7) {
		st := sitting(who)
		s, truth := st.RenderSurvey()
		whole, _ := card(t, &truth)
		w, h := (whole.X1-whole.X0)*(1-part)/2, (whole.Y1-whole.Y0)*(1-part)/2
		tapped := Box{whole.X0 + w, whole.Y0 + h, whole.X1 - w, whole.Y1 - h}
		r := MeasureSurvey(s, Facts{}, tone.Default(), Hints{WhiteReference: &tapped})
		first := r
		for n := range 5 {
			st.Light("B").Power += exposure.Third * exposure.Dial((n+k)%3-1)
			s, truth = st.RenderSurvey()
			now := again(t, s, &tapped, &r)
			frames++
			w := now.Regions.WhiteReference
			if w == nil {
				if !strings.Contains(now.Missing["regions.white_reference"], "can't be found again") {
					t.Errorf("%s: the card is missing without a reason: %q", who.Role, now.Missing["regions.white_reference"])
				}
				continue
			}
			if !w.Followed || !w.Declared || *w.DeclaredBox != tapped || *w.Look != *first.Regions.WhiteReference.Look {
				t.Errorf("%s: a followed card reads followed %v, declared %v, by %v", who.Role, w.Followed, w.Declared, w.DeclaredBox)
			}
			whole, _ := card(t, &truth)
			if b := w.Box; b.X0 < whole.X0-0.005 || b.X1 > whole.X1+0.005 || b.Y0 < whole.Y0-0.005 || b.Y1 > whole.Y1+0.005 {
				t.Errorf("%s: the box %v left the card %v (the studio's truth)", who.Role, b, whole)
			}
			followed++
			r = now
		}
	}
	t.Logf("%d of %d frames followed where %.2f of the card was drawn", followed, frames, part)
	if followed < frames*8/10 {
		t.Errorf("%d of %d frames were followed where %.2f of the card was drawn, want eight in ten", followed, frames, part)
	}
}

// A card that was taken away, and a floor in its place, lapse; so do most changes of the sitter.
func TestDeclaredCardLapses(t *testing.T) {
	who := testdata.Some(studio.Committee(), 2)
	lapsed, changes := 0, 0
	for k := range who {
		st := sitting(who[k])
		s, truth := st.RenderSurvey()
		_, tapped := card(t, &truth)
		r := MeasureSurvey(s, Facts{}, tone.Default(), Hints{WhiteReference: &tapped})
		gone := sitting(who[k])
		gone.Sitter.Card = false
		if gone.Sitter.Wear != studio.WhiteShirt { // else there is white in its place
			s, _ = gone.RenderSurvey()
			if w := again(t, s, &tapped, &r).Regions.WhiteReference; w != nil {
				t.Errorf("%s put the card away, and it is still found, %.2f sure", who[k].Role, w.Confidence)
			}
		}
		empty := sitting(who[k])
		empty.Empty = true
		s, _ = empty.RenderSurvey()
		if w := again(t, s, &tapped, &r).Regions.WhiteReference; w != nil {
			t.Errorf("%s went away, and the card is still found, %.2f sure", who[k].Role, w.Confidence)
		}
		for j := range who {
			if j == k || (j+k)%3 != 0 {
				continue
			}
			s, _ = sitting(who[j]).RenderSurvey()
			changes++
			if again(t, s, &tapped, &r).Regions.WhiteReference == nil {
				lapsed++
			}
		}
	}
	t.Logf("%d of %d changes of the sitter were noticed", lapsed, changes)
	if lapsed < changes*6/10 {
		t.Errorf("%d of %d changes of the sitter were noticed, want six in ten (a person says so besides)", lapsed, changes)
	}
}

// Another declaration is taken as it is given, whatever was followed before.
func TestNewDeclarationIsTakenAsGiven(t *testing.T) {
	st := sitting(studio.Committee()[0])
	s, truth := st.RenderSurvey()
	_, tapped := card(t, &truth)
	r := MeasureSurvey(s, Facts{}, tone.Default(), Hints{WhiteReference: &tapped})
	other := Box{0.4, 0.5, 0.5, 0.55}
	w := again(t, s, &other, &r).Regions.WhiteReference
	if w == nil || w.Followed || w.Box != other {
		t.Errorf("a new declaration reads %+v", w)
	}
}

// A witness strip reads what the card in the same place reads.
func TestWitnessStrip(t *testing.T) {
	c := tone.Default()
	s := made(640, 800, c, portrait(even(-1.2), even(-1)))
	strip := &Box{0.9, 0, 1, 0.3}
	w := MeasureSurvey(s, Facts{}, c, Hints{Witness: strip}).Regions.Witness
	if w == nil {
		t.Fatal("the strip was not measured")
	}
	near(t, "the strip's level", w.Value, -1.2, 0.02)
	near(t, "its red", w.Red, -1.2, 0.02)
	if r := MeasureSurvey(s, Facts{}, c, Hints{Witness: &Box{0.9, 0, 0.8, 1}}); r.Regions.Witness != nil || r.Missing["regions.witness"] == "" {
		t.Error("an impossible box was measured as witness strip")
	}
}

// Studio frames are part of the set, an empty one too; a picture of planks alone is not, and neither is, after frames
// before white paper, one before a blue wall.
func TestPartOfSet(t *testing.T) {
	st := sitting(studio.Committee()[1])
	s, _ := st.RenderSurvey()
	set := MeasureSurvey(s, Facts{}, nil, Hints{})
	if set.PartOfSet.Answer != BelongsYes || set.PartOfSet.Sure < 0.8 {
		t.Errorf("a portrait is part of the set: %+v", set.PartOfSet)
	}
	st.Empty = true
	s, _ = st.RenderSurvey()
	if p := MeasureSurvey(s, Facts{}, nil, Hints{Before: &set}).PartOfSet; p.Answer != BelongsYes {
		t.Errorf("an empty backdrop is part of the set: %+v", p)
	}
	planks := func(x, y float64) [3]float64 {
		if int(x*40)%4 == 0 || int(y*10)%5 == 0 {
			return grey(-6)
		}
		return [3]float64{0.16, 0.1, 0.05}
	}
	c := tone.Default()
	if p := MeasureSurvey(made(640, 800, c, planks), Facts{}, c, Hints{Before: &set}).PartOfSet; p.Answer == BelongsYes || p.Reason == "" {
		t.Errorf("planks are no part of the set: %+v", p)
	}
	dim := portrait(even(-1.5), even(-2))
	blue := portrait(func(_, _ float64) [3]float64 { return [3]float64{0.1, 0.2, 0.5} }, even(-2))
	grey := MeasureSurvey(made(640, 800, c, dim), Facts{}, c, Hints{})
	if p := MeasureSurvey(made(640, 800, c, blue), Facts{}, c, Hints{Before: &grey}).PartOfSet; p.Answer != BelongsNo || p.Reason == "" {
		t.Errorf("after a grey backdrop a blue one is no part of the set: %+v", p)
	}
	if p := MeasureSurvey(made(640, 800, c, blue), Facts{}, c, Hints{}).PartOfSet; p.Answer != BelongsYes {
		t.Errorf("of itself a blue backdrop may be a set's: %+v", p)
	}
}

// Where somebody looked at the backdrop when it was empty, the room beside a narrow roll isn't taken for it.
func TestEmptyFrameKeepsTheRoomOut(t *testing.T) {
	worst, frames := 1.0, 0
	for seed := uint64(3400); seed < 3400+uint64(testdata.Scenes(70, 35)); seed++ {
		st := studio.Random(seed, studio.RandomOptions{Off: 0.5})
		if st.Backdrop.HalfWidth > 0.75 || st.Backdrop.HalfWidth == 0 {
			continue
		}
		st.Empty = true
		s, _ := st.RenderSurvey()
		empty := MeasureSurvey(s, Facts{}, nil, Hints{}).Regions.Backdrop
		st.Empty = false
		if empty == nil {
			continue
		}
		s, truth := st.RenderSurvey()
		r := MeasureSurvey(s, Facts{}, nil, Hints{Empty: &empty.Mask}).Regions.Backdrop
		if r == nil {
			continue
		}
		frames++
		bits, _ := r.Mask.Cells()
		room, all := 0, 0
		for i, g := range truth.Cells.Region {
			x0, y0, x1, y1 := s.CellBox(i%s.Cols, i/s.Cols)
			c, w := min(int((x0+x1)/2*float64(r.Mask.Cols)), r.Mask.Cols-1), min(int((y0+y1)/2*float64(r.Mask.Rows)), r.Mask.Rows-1)
			if bits[w*r.Mask.Cols+c] {
				all++
				if g == studio.Surround {
					room++
				}
			}
		}
		share := 1 - float64(room)/float64(max(all, 1))
		worst = min(worst, share)
	}
	t.Logf("%d frames of narrow paper; at least %.3f of what is taken for it is no room", frames, worst)
	if frames < testdata.Scenes(4, 3) || worst < 0.9 {
		t.Errorf("%d frames of narrow paper, in the worst %.3f of what is taken for it is no room; want several and 0.9", frames, worst)
	}
}

// A backdrop that gets darker to one side is said to, with the size (derived here), and a pool of light is found.
func TestBackdropQuality(t *testing.T) {
	c := tone.Default()
	read := func(p place) Quality {
		return mustBackdrop(t, MeasureSurvey(made(640, 800, c, portrait(p, even(-2))), Facts{}, c, Hints{})).Quality
	}
	q := read(func(x, y float64) [3]float64 { return grey(-1.2 + 0.6*x) })
	near(t, "falloff across", q.Across, 0.4, 0.05) // thirds whose middles are two thirds of the frame apart
	if q.Falloff != "left side 0.4 stop darker" || q.HotSpot != nil {
		t.Errorf("a backdrop with a darker left is said to be %q, hot spot %v", q.Falloff, q.HotSpot)
	}
	if q.Cast == nil || q.Cast.Word != "neutral" {
		t.Errorf("a grey backdrop has the cast %+v", q.Cast)
	}
	q = read(even(-1))
	if q.Falloff != "" || q.Across != 0 || q.HotSpot != nil {
		t.Errorf("an even backdrop has falloff %q and hot spot %v", q.Falloff, q.HotSpot)
	}
	pool := func(x, y float64) [3]float64 {
		d := ((x-0.75)*(x-0.75) + (y-0.25)*(y-0.25)) / 0.03
		return grey(-1.6 + 0.9/(1+d*d))
	}
	q = read(pool)
	if h := q.HotSpot; h == nil || h.Box.X0 > 0.75 || h.Box.X1 < 0.75 || h.Box.Y0 > 0.25 || h.Box.Y1 < 0.25 || h.Over < 0.4 {
		t.Errorf("a pool of light at (0.75, 0.25), 0.9 stop over the rest, is found as %+v", h)
	}
	warm := read(func(_, _ float64) [3]float64 { return [3]float64{0.42, 0.36, 0.28} })
	if warm.Cast == nil || warm.Cast.Word != "warm" || warm.Cast.B < 5 {
		t.Errorf("a warm backdrop has the cast %+v", warm.Cast)
	}
}

// Light that wraps round the outline and flare that lifts the blacks show in the numbers: with the veil of a bright
// backdrop the darkest part of the sitter reads higher than without (the studio adds the veil, so it is there).
func TestVeilLiftsTheDarkest(t *testing.T) {
	st := sitting(studio.Committee()[3])
	st.Camera.Flare = 0.03
	s, _ := st.RenderSurvey()
	with := MeasureSurvey(s, Facts{}, nil, Hints{}).Regions.Sitter
	st.Light("A").Power -= 2 * exposure.Stop // grey instead of white: still a backdrop, with a quarter of the veil
	s, _ = st.RenderSurvey()
	without := MeasureSurvey(s, Facts{}, nil, Hints{}).Regions.Sitter
	if with == nil || without == nil {
		t.Fatal("no sitter")
	}
	if with.Darkest < without.Darkest+0.2 {
		t.Errorf("the darkest reads %v before white paper and %v before grey, want 0.2 stop of veil at least", with.Darkest, without.Darkest)
	}
}

// Real pictures of other things (by eye: landscapes, flowers, tables, animals) among the frames of a portrait before a grey
// backdrop: hardly any is said to be part of the set, and with nothing before them few are. The portraits are.
func TestRealPicturesThatAreNoPartOfTheSet(t *testing.T) {
	dir := testdata.Photos(t)
	set := Measure(picture(t, filepath.Join(dir, "plain-backdrop-portraits/portrait-02.jpg")), nil, Hints{})
	if set.PartOfSet.Answer != BelongsYes {
		t.Fatalf("the portrait is no part of its set: %+v", set.PartOfSet)
	}
	others := []string{
		"exif-orientation-examples/Landscape_3.jpg", "exif-samples/22-canon_tags.jpg", "exif-samples/30-type_error.jpg", "exif-samples/35-empty.jpg",
		"macduff/below_fishbox2.jpg", "metadata-extractor-images/Apple_iPhone_5.jpg", "metadata-extractor-images/Kodak_DC240.jpg",
		"metadata-extractor-images/Nikon_E995_iptc.jpg", "metadata-extractor-images/Ricoh_RDC5300.jpg", "metadata-extractor-images/Olympus_S760.jpg",
		"metadata-extractor-images/Nikon_D60.jpg", "metadata-extractor-images/Minolta_DiMAGE_EX.jpg", "metadata-extractor-images/Nikon_D5000.jpg", "plantcv/seedhead-rgb.jpg",
	}
	var alone, among []string
	for _, f := range others {
		p := picture(t, filepath.Join(dir, f))
		if Measure(p, nil, Hints{}).PartOfSet.Answer == BelongsYes {
			alone = append(alone, filepath.Base(f))
		}
		if Measure(p, nil, Hints{Before: &set}).PartOfSet.Answer == BelongsYes {
			among = append(among, filepath.Base(f))
		}
		p.Release()
	}
	t.Logf("said to be part of the set: %v with nothing before them, %v after a frame of it, of %d", alone, among, len(others))
	if len(alone) > 4 || len(among) > 2 {
		t.Errorf("of %d pictures of other things %v are said to be part of a set, %v of this set; want at most 4 and 2", len(others), alone, among)
	}
}
