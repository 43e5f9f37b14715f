package assess

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"thirdstop/assess/exposure"
	"thirdstop/assess/faces"
	"thirdstop/assess/photo"
	"thirdstop/assess/studio"
	"thirdstop/assess/tone"
	"thirdstop/testdata"
)

// Lighting ratios as they are taught. Both conventions of one light stand in a row.
func TestRatiosAreTheTaughtOnes(t *testing.T) {
	for _, x := range []struct {
		key, fill        float64 // each alone
		additive, source float64
		over             exposure.Stops
		from             string
	}{
		{200, 100, 3, 2, 1, "Wikipedia, Lighting ratio: 200 and 100 footcandles are 3:1"},
		{800, 200, 5, 4, 2, "Wikipedia, Lighting ratio: 800 and 200 footcandles are 5:1; its older text: 4:1 key to fill, two stops"},
		{800, 100, 9, 8, 3, "its older text: three stops are 8:1 key to fill"},
		{100, 100, 2, 1, 0, "its older text: equal lights are 1:1"},
	} {
		d := exposure.Stops(math.Log2((x.key + x.fill) / x.fill))
		k := ratioOf(d, 0.1)
		if math.Abs(k.Additive-x.additive) > 0.005 || k.Source == nil || math.Abs(*k.Source-x.source) > 0.005 || math.Abs(float64(*k.KeyOver-x.over)) > 0.0005 {
			t.Errorf("a key of %g and a fill of %g: %s, want %g:1, %g:1 and %v stops (%s)", x.key, x.fill, k.String(), x.additive, x.source, x.over, x.from)
		}
	}
	if k := ratioOf(0.15, 0.1); k.Lit != "even" || k.Source != nil {
		t.Errorf("0.15 ± 0.1 stop reads %+v, want even sides and no ratio of lights", k)
	}
}

// portraitSurvey is a real portrait's.
func portraitSurvey(t testing.TB, name string) *photo.Survey {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(testdata.Photos(t, "plain-backdrop-portraits"), name))
	if err != nil {
		t.Fatal(err)
	}
	p, err := photo.Read(name, data)
	if err != nil {
		t.Fatal(err)
	}
	return p.Survey
}

// relit is a survey under a light that is changed by a factor depending on the place, as a camera with curve c shows it.
func relit(s *photo.Survey, c *tone.Curve, by func(x float64) exposure.Stops) *photo.Survey {
	out := *s
	out.Cells, out.Blocks = slices.Clone(s.Cells), slices.Clone(s.Blocks)
	const fine = 512 // steps a stop, from -12 to 0
	var codes [3][]float64
	for ch := range codes {
		for i := 0; i <= 12*fine; i++ {
			codes[ch] = append(codes[ch], c.Code(ch, math.Exp2(float64(i)/fine-12)))
		}
	}
	code := func(ch int, was float64, x float64) float64 {
		level := min(max(math.Log2(max(c.Linear(ch, was), 1e-9))+float64(by(x))+12, 0), 12) * fine
		i := min(int(level), 12*fine-1)
		return codes[ch][i] + (level-float64(i))*(codes[ch][i+1]-codes[ch][i])
	}
	for i := range out.Cells {
		q, x := &out.Cells[i], mid(s.ColEdges, i%s.Cols, s.Width)
		for ch := range q.Mean {
			was := float64(q.Mean[ch])
			now := code(ch, was, x)
			slope := (code(ch, min(was+1, 255), x) - code(ch, max(was-1, 0), x)) / 2
			q.Mean[ch], q.Var[ch] = float32(now), q.Var[ch]*float32(slope*slope)
		}
	}
	for i := range out.Blocks {
		x := mid(s.BlockColEdges, i%s.BlockCols, s.Width)
		for ch := range out.Blocks[i] {
			out.Blocks[i][ch] = uint16(math.Round(256 * code(ch, float64(out.Blocks[i][ch])/256, x)))
		}
	}
	return &out
}

// mirrored is a survey with left and right changed.
func mirrored(s *photo.Survey) *photo.Survey {
	out := *s
	flip := func(edges []int) []int {
		e := make([]int, len(edges))
		for i, v := range edges {
			e[len(e)-1-i] = s.Width - v
		}
		return e
	}
	out.ColEdges, out.BlockColEdges = flip(s.ColEdges), flip(s.BlockColEdges)
	out.Cells, out.Blocks = make([]photo.Cell, len(s.Cells)), make([]photo.Block, len(s.Blocks))
	for i := range s.Cells {
		out.Cells[i/s.Cols*s.Cols+s.Cols-1-i%s.Cols] = s.Cells[i]
	}
	for i := range s.Blocks {
		out.Blocks[i/s.BlockCols*s.BlockCols+s.BlockCols-1-i%s.BlockCols] = s.Blocks[i]
	}
	return &out
}

// frontal is a face of portrait-09, the one of the portraits that looks straight at the camera, as faces found it.
func frontal(t testing.TB) (*photo.Survey, placed) {
	s := portraitSurvey(t, "portrait-09.jpg")
	f := faces.Find(s)
	if len(f) == 0 {
		t.Fatal("portrait-09 shows no face")
	}
	return s, placed{f: f[0], wide: f[0].Size * float64(s.Height) / float64(s.Width)}
}

// A real face under light that was changed by a known amount on one side reads that much more on it; more or less exposure of
// both sides changes nothing; and its mirror image has the other side lit, by as much.
func TestSidesOfAFaceFollowTheLight(t *testing.T) {
	s, p := frontal(t)
	c := tone.Default()
	plain, why := newMeter(s, c).keyFill(&p)
	if plain == nil {
		t.Fatalf("the sides are not compared: %s", why)
	}
	signed := func(k *KeyFill, right exposure.Stops) exposure.Stops {
		if k.Lit == "left" || k.Lit == "even" && right < 0 {
			return -k.Difference
		}
		return k.Difference
	}
	halved, why := newMeter(relit(s, c, func(x float64) exposure.Stops { return exposure.Stops(-min(max((x-p.f.X)/p.wide/0.2+0.5, 0), 1)) }), c).keyFill(&p)
	if halved == nil || halved.Lit != "left" {
		t.Fatalf("with the right side a stop darker: %+v %s", halved, why)
	}
	was := 1 - halved.Difference // which of its sides is the lighter one, too little to be called so
	if math.Abs(math.Abs(float64(was))-float64(plain.Difference)) > 0.03 {
		t.Errorf("the sides differ by %v, and by %v with a stop less on the right", plain.Difference, halved.Difference)
	}
	rapid.Check(t, func(t *rapid.T) {
		side := exposure.Stops(rapid.Float64Range(-2, 0).Draw(t, "right side, stops"))
		all := exposure.Stops(rapid.Float64Range(-1.5, 0).Draw(t, "all, stops"))
		lit := relit(s, c, func(x float64) exposure.Stops {
			// Falling off over the middle of the face, as light does.
			return all + side*exposure.Stops(min(max((x-p.f.X)/p.wide/0.2+0.5, 0), 1))
		})
		k, why := newMeter(lit, c).keyFill(&p)
		if k == nil {
			t.Fatalf("right side %v, all %v: %s", side, all, why)
		}
		if got := signed(k, was+side); math.Abs(float64(got-(was+side))) > 0.06 {
			t.Fatalf("right side changed by %v, all by %v: the sides differ by %v, want %v", side, all, got, was+side)
		}
		back, why := newMeter(mirrored(lit), c).keyFill(&placed{f: faces.Face{X: 1 - p.f.X, Y: p.f.Y, Size: p.f.Size, Sure: 1}, wide: p.wide})
		if back == nil {
			t.Fatalf("mirrored: %s", why)
		}
		other := map[string]string{"left": "right", "right": "left", "even": "even"}
		if back.Lit != other[k.Lit] || math.Abs(float64(back.Difference-k.Difference)) > 0.03 {
			t.Fatalf("mirrored it reads %s %v, and before %s %v", back.Lit, back.Difference, k.Lit, k.Difference)
		}
	})
}

// What is compared is refused where it says nothing: portraits whose faces are turned to the side, as seen by eye, a
// cheek that clips, and a face that is too small.
func TestSidesAreNotComparedWhereTheyTellNothing(t *testing.T) {
	for _, name := range []string{"portrait-04.jpg", "portrait-05.jpg", "portrait-10.jpg"} {
		r := MeasureSurvey(portraitSurvey(t, name), Facts{}, nil, Hints{})
		if len(r.Regions.Faces) != 1 || r.Regions.Faces[0].KeyFill != nil || r.Missing["regions.faces[0].key_to_fill"] == "" {
			t.Errorf("%s, whose face is turned away: %+v", name, r.Regions.Faces)
		}
	}
	s, p := frontal(t)
	blown := relit(s, tone.Default(), func(float64) exposure.Stops { return 0 })
	for _, i := range newMeter(s, tone.Default()).cellsIn(Box{p.f.X, 0, 1, 1}) {
		q := &blown.Cells[i]
		q.Clipped = [3]uint16{q.Pixels, q.Pixels, q.Pixels}
	}
	if k, why := newMeter(blown, tone.Default()).keyFill(&p); k != nil || why != "a cheek clips in every channel" {
		t.Errorf("with the right side clipped: %+v, %q", k, why)
	}
	small := p
	small.f.Size = 70.0 / float64(s.Height)
	if k, why := newMeter(s, tone.Default()).keyFill(&small); k != nil || why != "the face is too small in the picture" {
		t.Errorf("a face of 70 pixels: %+v, %q", k, why)
	}
}

// member is one of the studio's committee whose face a detector sees.
func member(seed uint64, who int) *studio.Studio {
	st := studio.BoatHouse(seed)
	st.Sitter = studio.Committee()[who]
	st.Sitter.Sockets = 1
	st.Sway, st.Scatter = 0, 0
	return st
}

// More exposure lifts a face's level and takes from its headroom by as much, and leaves what is compared as it is.
func TestFacesFollowExposure(t *testing.T) {
	st := member(1, 2)
	read := func(iso exposure.ISO) Reading {
		st.Camera.ISO = iso
		s, _ := st.RenderSurvey()
		r := MeasureSurvey(s, Facts{}, curveOf(t, st.Camera.Curve), Hints{})
		if len(r.Regions.Faces) != 1 {
			t.Fatalf("ISO %v: %d faces, want one (%s)", iso, len(r.Regions.Faces), r.Missing["regions.faces"])
		}
		return r
	}
	a, b := read(100), read(200)
	x, y := a.Regions.Faces[0], b.Regions.Faces[0]
	near := func(what string, got, want exposure.Stops, by float64) {
		if math.Abs(float64(got-want)) > by {
			t.Errorf("%s is %v, want %v", what, got, want)
		}
	}
	near("the change of the level over one stop", y.Value-x.Value, 1, 0.06)
	near("the change of the headroom", x.Headroom-y.Headroom, 1, 0.08)
	if x.KeyFill == nil || y.KeyFill == nil {
		t.Fatalf("the sides are not compared: %v, %v", a.Missing, b.Missing)
	}
	near("the difference of the sides after one stop", y.KeyFill.Difference, x.KeyFill.Difference, 0.05)
	if math.Abs(x.Size-y.Size) > 0.01 || math.Abs(x.EyeLine-y.EyeLine) > 0.01 {
		t.Errorf("the box goes from %+v to %+v with the exposure", x.Box, y.Box)
	}
	if d := b.Balance.Sitter; d == nil || math.Abs(float64(d.Value-(b.Regions.Backdrop.Value-b.Regions.Sitter.Value))) > 0.0005 {
		t.Errorf("backdrop over sitter is %+v", d)
	}
}

// The studio's key and fill light a face's sides by the cosine law; what is read is what falls on them.
func TestSidesAgainstTheStudiosTruth(t *testing.T) {
	var told int
	step := 8 / testdata.Scenes(8, 4)
	for who := 0; who < len(studio.Committee()); who += step {
		for _, down := range []exposure.Dial{0, 2 * exposure.Stop} {
			st := member(2, who)
			st.Light("C").Power -= down
			st.Light("B").Azimuth = 50
			s, truth := st.RenderSurvey()
			r := MeasureSurvey(s, Facts{}, curveOf(t, st.Camera.Curve), Hints{})
			for _, f := range r.Regions.Faces {
				if f.KeyFill == nil {
					continue
				}
				told++
				want := math.Log2(truth.Cheeks[1].Light / truth.Cheeks[0].Light)
				got := float64(f.KeyFill.Difference)
				if f.KeyFill.Lit == "left" {
					got = -got
				}
				if math.Abs(got-want) > 2.5*float64(f.KeyFill.Sigma) {
					t.Errorf("%s, fill down by %v: the right cheek is lighter by %.2f ± %.2f, in truth %.2f", st.Sitter.Role, down.Stops(), got, float64(f.KeyFill.Sigma), want)
				}
			}
		}
	}
	if told < testdata.Scenes(4, 2) {
		t.Errorf("the sides were compared in %d frames, want more", told)
	}
}

// beside puts pictures side by side: a group of those in them. Their widths must be whole cells.
func group(parts ...*photo.Survey) *photo.Survey {
	out := *parts[0]
	n := len(parts)
	out.Width, out.Cols, out.BlockCols = n*parts[0].Width, n*parts[0].Cols, n*parts[0].BlockCols
	out.ColEdges, out.BlockColEdges, out.Cells, out.Blocks = edges(out.Width, photo.CellSize), edges(out.Width, photo.BlockSize), nil, nil
	for r := range out.Rows {
		for _, p := range parts {
			out.Cells = append(out.Cells, p.Cells[r*p.Cols:(r+1)*p.Cols]...)
		}
	}
	for r := range out.BlockRows {
		for _, p := range parts {
			out.Blocks = append(out.Blocks, p.Blocks[r*p.BlockCols:(r+1)*p.BlockCols]...)
		}
	}
	return &out
}

// Three of one sitter side by side, the light on one of them down by a stop: three faces from the left to the
// right, uneven by a stop.
func TestAGroupsFacesAreCompared(t *testing.T) {
	st := member(3, 2)
	st.Camera.Width, st.Camera.PictureHeight = 1440, 960
	a, _ := st.RenderSurvey()
	st.Camera.ISO /= 2
	b, _ := st.RenderSurvey()
	c := curveOf(t, st.Camera.Curve)
	r := MeasureSurvey(group(a, b, a), Facts{}, c, Hints{Backdrop: &Box{0, 0, 1, 1}})
	f := r.Regions.Faces
	if len(f) != 3 || !(f[0].Box.X1 < f[1].Box.X0 && f[1].Box.X1 < f[2].Box.X0) {
		t.Fatalf("%d faces in a group of three: %+v (%v)", len(f), f, r.Missing)
	}
	if d := r.Balance.Faces; d == nil || math.Abs(float64(d.Value-1)) > 0.08 || d.AtLeast || d.AtMost {
		t.Errorf("a stop between the faces of a group reads %+v", d)
	}
}

// Spectacles that mirror the key are told of; the same sitter's without, and catchlights, are not.
func TestGlareOverTheEyes(t *testing.T) {
	for _, x := range []struct {
		glasses bool
		mirror  float64
		want    string
	}{{true, 0.25, "both"}, {true, 0, ""}, {false, 0, ""}} {
		st := member(1, 2)
		st.Camera.Width, st.Camera.PictureHeight = 3000, 2000
		st.Sitter.Spectacles, st.Sitter.Glare = x.glasses, x.mirror
		s, _ := st.RenderSurvey()
		r := MeasureSurvey(s, Facts{}, nil, Hints{})
		if len(r.Regions.Faces) != 1 {
			t.Fatalf("spectacles %v: %d faces (%s)", x.glasses, len(r.Regions.Faces), r.Missing["regions.faces"])
		}
		got := ""
		if g := r.Regions.Faces[0].Glare; g != nil {
			got = g.Sides
		}
		if got != x.want {
			t.Errorf("spectacles %v that mirror over %g of a lens: glare %q, want %q", x.glasses, x.mirror, got, x.want)
		}
	}
	// Looked at by eye: no spectacles of the real portraits mirror a lamp.
	for n := 1; n <= 12; n += 12 / testdata.Scenes(12, 4) {
		r := MeasureSurvey(portraitSurvey(t, fmt.Sprintf("portrait-%02d.jpg", n)), Facts{}, nil, Hints{})
		for _, f := range r.Regions.Faces {
			if f.Glare != nil {
				t.Errorf("portrait-%02d: glare over %s eyes, and there is none", n, f.Glare.Sides)
			}
		}
	}
}

// A reading says as much each time, whoever finishes first.
func TestFacesAreTheSameEachTime(t *testing.T) {
	s := portraitSurvey(t, "portrait-09.jpg")
	var first []byte
	for range 3 {
		b, err := json.Marshal(MeasureSurvey(s, Facts{}, nil, Hints{}))
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = b
		}
		if string(b) != string(first) {
			t.Fatal("two readings of one survey differ")
		}
	}
	if r := MeasureSurvey(s, Facts{}, nil, Hints{Provisional: true}); len(r.Regions.Faces) != 0 || r.Missing["regions.faces"] == "" {
		t.Errorf("a preview is searched for faces: %+v", r.Regions.Faces)
	}
}

// Under another curve a reading's faces read as if they had been measured through it.
func TestFacesUnderAnotherCurve(t *testing.T) {
	st := member(1, 2)
	s, _ := st.RenderSurvey()
	was, now := tone.Default(), curveOf(t, st.Camera.Curve)
	want := MeasureSurvey(s, Facts{}, now, Hints{})
	first := MeasureSurvey(s, Facts{}, was, Hints{})
	got := Reexpressed(first, was, now)
	if k := first.Regions.Faces[0].KeyFill; k != nil && k == got.Regions.Faces[0].KeyFill {
		t.Error("the comparison of the sides is the one of before")
	}
	if len(got.Regions.Faces) != 1 || len(want.Regions.Faces) != 1 || want.Balance.Face == nil || got.Balance.Face == nil {
		t.Fatalf("faces are %+v, want %+v", got.Regions.Faces, want.Regions.Faces)
	}
	if a, b := got.Regions.Faces[0].KeyFill, want.Regions.Faces[0].KeyFill; a == nil || b == nil || math.Abs(float64(a.Difference-b.Difference)) > 0.06 ||
		math.Abs(float64(a.Sigma-b.Sigma)) > 0.06 || a.Lit != b.Lit {
		t.Errorf("the sides read %+v, measured through the other curve %+v", a, b)
	}
	for what, x := range map[string][2]exposure.Stops{
		"level": {got.Regions.Faces[0].Value, want.Regions.Faces[0].Value}, "headroom": {got.Regions.Faces[0].Headroom, want.Regions.Faces[0].Headroom},
		"backdrop over face": {got.Balance.Face.Value, want.Balance.Face.Value}, "backdrop over sitter": {got.Balance.Sitter.Value, want.Balance.Sitter.Value},
	} {
		if math.Abs(float64(x[0]-x[1])) > 0.08 {
			t.Errorf("%s is %v, measured through the other curve %v", what, x[0], x[1])
		}
	}
}
