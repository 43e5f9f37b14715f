package assess

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
	"thirdstop/assess/scene"
	"thirdstop/assess/tone"
)

// place gives the linear light of a point of a made-up frame, x and y from 0 to 1.
type place func(x, y float64) [3]float64

// made is a survey of a made-up frame, as a camera with curve c would show it: no picture is
// drawn, each cell and block has the code of the light in its middle. Light over 1 clips.
func made(w, h int, c *tone.Curve, at place) *photo.Survey {
	s := &photo.Survey{
		Width: w, Height: h, Exact: true,
		ColEdges: edges(w, photo.CellSize), RowEdges: edges(h, photo.CellSize),
		BlockColEdges: edges(w, photo.BlockSize), BlockRowEdges: edges(h, photo.BlockSize),
	}
	s.Cols, s.Rows = len(s.ColEdges)-1, len(s.RowEdges)-1
	s.BlockCols, s.BlockRows = len(s.BlockColEdges)-1, len(s.BlockRowEdges)-1
	s.Cells = make([]photo.Cell, s.Cols*s.Rows)
	s.Blocks = make([]photo.Block, s.BlockCols*s.BlockRows)
	for r := range s.Rows {
		for col := range s.Cols {
			q := s.At(col, r)
			q.Pixels = uint16((s.ColEdges[col+1] - s.ColEdges[col]) * (s.RowEdges[r+1] - s.RowEdges[r]))
			light := at(mid(s.ColEdges, col, w), mid(s.RowEdges, r, h))
			any := false
			for ch, l := range light {
				code := codeOf(c, l)
				q.Mean[ch] = float32(code)
				q.Min[ch], q.Max[ch] = uint8(code), uint8(math.Ceil(code))
				if code >= photo.ClipCode {
					q.Clipped[ch], any = q.Pixels, true
				}
			}
			if any {
				q.ClippedAny = q.Pixels
			}
		}
	}
	for r := range s.BlockRows {
		for col := range s.BlockCols {
			for ch, l := range at(mid(s.BlockColEdges, col, w), mid(s.BlockRowEdges, r, h)) {
				s.Blocks[r*s.BlockCols+col][ch] = uint16(math.Round(256 * codeOf(c, l)))
			}
		}
	}
	return s
}

func codeOf(c *tone.Curve, light float64) float64 {
	if light >= 1 {
		return 255
	}
	return c.Code(1, light)
}

func edges(n, step int) []int {
	var e []int
	for x := 0; x < n; x += step {
		e = append(e, x)
	}
	return append(e, n)
}

func mid(e []int, i, n int) float64 { return float64(e[i]+e[i+1]) / 2 / float64(n) }

// grey is light of one strength in all channels, in stops.
func grey(level float64) [3]float64 {
	l := math.Exp2(level)
	return [3]float64{l, l, l}
}

// inHead and inBody are the outline of the sitter of the made-up portraits.
func inHead(x, y float64) bool {
	dx, dy := (x-0.5)/0.14, (y-0.38)/0.22
	return dx*dx+dy*dy < 1
}

func inBody(x, y float64) bool {
	dx, dy := (x-0.5)/0.4, (y-1)/0.42
	return dx*dx+dy*dy < 1
}

func inShirt(x, y float64) bool { return math.Abs(x-0.5) < 0.06 && y > 0.7 }

// portrait is a head and shoulders before a backdrop: face 2 stops under the edge, jacket 5,
// a shirt at the given level.
func portrait(backdrop, shirt place) place {
	return func(x, y float64) [3]float64 {
		switch {
		case inShirt(x, y):
			return shirt(x, y)
		case inHead(x, y):
			return [3]float64{math.Exp2(-1.7), math.Exp2(-2.4), math.Exp2(-2.9)}
		case inBody(x, y):
			return grey(-5)
		}
		return backdrop(x, y)
	}
}

func even(level float64) place { return func(_, _ float64) [3]float64 { return grey(level) } }

func near(t *testing.T, what string, got, want exposure.Stops, tolerance float64) {
	t.Helper()
	if math.Abs(float64(got-want)) > tolerance {
		t.Errorf("%s = %.3f stops, want %.3f ± %.3f (derived here)", what, float64(got), float64(want), tolerance)
	}
}

func mustBackdrop(t rapid.TB, r Reading) *Backdrop {
	t.Helper()
	if r.Regions.Backdrop == nil {
		t.Fatalf("there is no backdrop: %s", r.Missing["regions.backdrop"])
	}
	return r.Regions.Backdrop
}

// The light of the made-up frame is known, so its levels are (derived here).
func TestLevelsOfAMadeUpPortrait(t *testing.T) {
	c := tone.Default()
	tint := func(level float64) place {
		return func(x, y float64) [3]float64 {
			l := math.Exp2(level - 0.5*x) // half a stop darker at the right
			return [3]float64{l, l * math.Exp2(-0.2), l * math.Exp2(-0.4)}
		}
	}
	s := made(960, 1200, c, portrait(tint(-0.5), even(-1)))
	r := MeasureSurvey(s, Facts{}, c, Hints{WhiteReference: &Box{0.46, 0.75, 0.54, 0.95}})
	b := mustBackdrop(t, r)
	// Columns of areas have their middles at 1/6, 1/2 and 5/6.
	near(t, "the left upper area", b.Areas[0].Level, -0.5-0.5/6, 0.03)
	// The jacket leaves only the outermost parts of the two lower corners: between the
	// distance of the columns' middles and that of the edges.
	if b.Evenness < 0.5*4/6 || b.Evenness > 0.5 {
		t.Errorf("evenness = %v, want 0.33 to 0.50 (derived here)", b.Evenness)
	}
	near(t, "white floor: the right side in blue", b.WhiteFloor, -0.5-0.5*5/6-0.4, 0.05)
	near(t, "headroom: red at the left edge", b.Headroom, 0.5, 0.03)
	w := r.Regions.WhiteReference
	if w == nil || !w.Declared {
		t.Fatalf("the declared white reference is missing: %v", r.Missing)
	}
	near(t, "the declared white reference", w.Level.Value, -1, 0.002)
	near(t, "its peak", w.Peak, -1, 0.002)
	if r.Regions.Sitter == nil {
		t.Fatalf("there is no sitter: %s", r.Missing["regions.sitter"])
	}
	near(t, "the sitter, mostly jacket", r.Regions.Sitter.Value, -5, 0.05)
}

// More light by k stops is a level higher by k stops, whatever the place and its
// colour, as long as nothing clips (derived here).
func TestLevelsFollowExposure(t *testing.T) {
	c := tone.Default()
	rapid.Check(t, func(t *rapid.T) {
		base := rapid.Float64Range(-4, -2).Draw(t, "backdrop")
		k := rapid.Float64Range(-1.5, 1.5).Draw(t, "change")
		fall := rapid.Float64Range(0, 0.6).Draw(t, "falloff")
		blue := rapid.Float64Range(-0.5, 0.3).Draw(t, "blue")
		frame := func(more float64) Reading {
			return MeasureSurvey(made(640, 800, c, portrait(func(x, y float64) [3]float64 {
				l := base + more - fall*y
				return [3]float64{math.Exp2(l), math.Exp2(l), math.Exp2(l + blue)}
			}, even(-1.8+more))), Facts{}, c, Hints{
				Backdrop:       &Box{0, 0, 1, 0.3},
				WhiteReference: &Box{0.45, 0.75, 0.55, 1},
			})
		}
		a, b := mustBackdrop(t, frame(0)), mustBackdrop(t, frame(k))
		if d := float64(b.Value - a.Value); math.Abs(d-k) > 0.1 {
			t.Fatalf("level rose by %.3f stops for %.3f of light", d, k)
		}
		if d := float64(b.WhiteFloor - a.WhiteFloor); math.Abs(d-k) > 0.1 {
			t.Fatalf("white floor rose by %.3f stops for %.3f of light", d, k)
		}
	})
}

// What is clipped is "at least": the flag rises past 1 % of the deciding cell's samples and not
// before (the definition in the package comment).
func TestAtLeastBeginsOverOnePercent(t *testing.T) {
	c := tone.Default()
	for _, tc := range []struct {
		clipped uint16
		want    bool
	}{{0, false}, {2, false}, {3, true}, {256, true}} { // 1 % of 256 is 2.56
		s := made(640, 800, c, portrait(even(-0.2), even(-1)))
		for i := range s.Cells {
			q := &s.Cells[i]
			q.Clipped = [3]uint16{0, tc.clipped, 0}
			q.ClippedAny = tc.clipped
			q.Mean[1] += 0.01 // green decides
		}
		r := MeasureSurvey(s, Facts{}, c, Hints{})
		b := mustBackdrop(t, r)
		if b.AtLeast != tc.want {
			t.Errorf("at_least with %d of 256 samples clipped = %v, want %v", tc.clipped, b.AtLeast, tc.want)
		}
		if b.FloorAtLeast {
			t.Errorf("white_floor_at_least with %d samples of green clipped, but red decides", tc.clipped)
		}
		if (b.Headroom == 0) != tc.want {
			t.Errorf("headroom with %d of 256 samples clipped = %v, want 0 exactly where it clips", tc.clipped, b.Headroom)
		}
		want := float64(tc.clipped) / 256
		if r.ClippedShare != (Shares{G: want, Any: want}) {
			t.Errorf("clipped_share = %+v, want %v in green and any", r.ClippedShare, want)
		}
	}
}

// A blown backdrop says at least 0 everywhere and has no headroom.
func TestBlownBackdropIsAtLeast(t *testing.T) {
	b := mustBackdrop(t, MeasureSurvey(made(640, 800, tone.Default(), portrait(even(1), even(-1))), Facts{}, nil, Hints{}))
	if b.Value != 0 || !b.AtLeast || b.WhiteFloor != 0 || !b.FloorAtLeast || b.Headroom != 0 || b.ClippedShare != 1 || b.ClippedAll != 1 || !b.EvennessAtLeast {
		t.Errorf("a blown backdrop reads %+v", b)
	}
}

// A glint of less than 2 % of the white reference does not move its peak, and one
// of 3 % does (the definition of the 98th percentile).
func TestPeakIgnoresGlints(t *testing.T) {
	c := tone.Default()
	for _, tc := range []struct {
		blocks int
		moved  bool
	}{{0, false}, {1, false}, {2, false}, {5, true}} { // of 160
		s := made(640, 800, c, portrait(even(-0.5), even(-2)))
		box := Box{X0: 0.46, Y0: 0.76, X1: 0.54, Y1: 0.96} // 51 x 160 pixels: 6 x 20 = 120 blocks or more
		n := 0
		for i := range s.Blocks {
			col, row := i%s.BlockCols, i/s.BlockCols
			x, y := mid(s.BlockColEdges, col, s.Width), mid(s.BlockRowEdges, row, s.Height)
			if n < tc.blocks && x > 0.48 && x < 0.52 && y > 0.8 && y < 0.9 {
				s.Blocks[i] = photo.Block{65280, 65280, 65280}
				n++
			}
		}
		w := MeasureSurvey(s, Facts{}, c, Hints{WhiteReference: &box}).Regions.WhiteReference
		if moved := w.Peak > -1.9; moved != tc.moved {
			t.Errorf("with %d glinting blocks the peak is %v, moved = %v, want %v", tc.blocks, w.Peak, moved, tc.moved)
		}
	}
}

// A small bright box inside a cell is still measured by what it touches.
func TestTinyDeclaredBox(t *testing.T) {
	s := made(640, 800, tone.Default(), portrait(even(-0.5), even(-1.25)))
	w := MeasureSurvey(s, Facts{}, nil, Hints{WhiteReference: &Box{0.5, 0.9, 0.501, 0.901}}).Regions.WhiteReference
	if w == nil {
		t.Fatal("a tiny declared box gives no reading")
	}
	near(t, "the tiny box", w.Value, -1.25, 0.002)
}

func TestBadDeclaredBoxesAreRefusedWithAReason(t *testing.T) {
	s := made(640, 800, tone.Default(), portrait(even(-0.5), even(-1)))
	for _, b := range []Box{{0.5, 0.5, 0.5, 0.6}, {-1, 0, 1, 1}, {0, 0, 2, 1}, {math.NaN(), 0, 1, 1}} {
		r := MeasureSurvey(s, Facts{}, nil, Hints{WhiteReference: &b, Backdrop: &b})
		if r.Regions.WhiteReference != nil || r.Missing["regions.white_reference"] == "" {
			t.Errorf("the box %v was measured", b)
		}
		if r.Regions.Backdrop != nil && b.X0 == b.X1 {
			t.Errorf("the empty backdrop box %v was measured", b)
		}
	}
}

// turn gives the survey of the same frame mirrored or turned; which is 1 to 8 as in Exif.
func turn(s *photo.Survey, which int) *photo.Survey {
	o := *s
	w, h := s.Cols, s.Rows
	bw, bh := s.BlockCols, s.BlockRows
	swap := which >= 5
	if swap {
		o.Width, o.Height, o.Cols, o.Rows, o.BlockCols, o.BlockRows = s.Height, s.Width, h, w, bh, bw
		o.ColEdges, o.RowEdges, o.BlockColEdges, o.BlockRowEdges = s.RowEdges, s.ColEdges, s.BlockRowEdges, s.BlockColEdges
	}
	flip := func(e []int) []int {
		out := make([]int, len(e))
		for i := range e {
			out[len(e)-1-i] = e[len(e)-1] - e[i]
		}
		return out
	}
	mirrorX := which == 2 || which == 3 || which == 6 || which == 7
	mirrorY := which == 3 || which == 4 || which == 7 || which == 8
	if mirrorX {
		o.ColEdges, o.BlockColEdges = flip(o.ColEdges), flip(o.BlockColEdges)
	}
	if mirrorY {
		o.RowEdges, o.BlockRowEdges = flip(o.RowEdges), flip(o.BlockRowEdges)
	}
	from := func(c, r, cols, rows int) (int, int) {
		if mirrorX {
			c = cols - 1 - c
		}
		if mirrorY {
			r = rows - 1 - r
		}
		if swap {
			return r, c
		}
		return c, r
	}
	o.Cells = make([]photo.Cell, len(s.Cells))
	for i := range o.Cells {
		c, r := from(i%o.Cols, i/o.Cols, o.Cols, o.Rows)
		o.Cells[i] = s.Cells[r*w+c]
	}
	o.Blocks = make([]photo.Block, len(s.Blocks))
	for i := range o.Blocks {
		c, r := from(i%o.BlockCols, i/o.BlockCols, o.BlockCols, o.BlockRows)
		o.Blocks[i] = s.Blocks[r*bw+c]
	}
	return &o
}

// A frame stored in any of the eight orientations is one and the same frame once it is
// upright. Partial cells then lie at other edges, so a stored frame whose
// size is a multiple of cells reads exactly alike, and any other nearly (derived here: the median over the pixels
// that are backdrop is -1.0996 stops).
func TestReadingDoesNotDependOnOrientation(t *testing.T) {
	c := tone.Default()
	scene := portrait(func(x, y float64) [3]float64 { return grey(-0.8 - 0.6*x) }, even(-1))
	upright := MeasureSurvey(made(640, 800, c, scene), Facts{}, c, Hints{})
	for which := 1; which <= 8; which++ {
		// Store the frame turned, then turn it back as reading a file does.
		back := []int{0, 1, 2, 3, 4, 5, 8, 7, 6}[which]
		again := MeasureSurvey(turn(turn(made(640, 800, c, scene), which), back), Facts{}, c, Hints{})
		if !reflect.DeepEqual(upright, again) {
			t.Errorf("orientation %d reads differently", which)
		}
		odd := MeasureSurvey(turn(made(633, 805, c, flat(scene, which)), which), Facts{}, c, Hints{})
		if which < 5 {
			// The median lies where the sitter leaves few cells, so half a column of cells moves it: ±0.05.
			near(t, fmt.Sprintf("orientation %d with partial cells", which), mustBackdrop(t, odd).Value, -1.10, 0.05)
		}
	}
}

// flat gives the scene as it is stored in a mirrored orientation.
func flat(p place, which int) place {
	return func(x, y float64) [3]float64 {
		if which == 2 || which == 3 {
			x = 1 - x
		}
		if which == 3 || which == 4 {
			y = 1 - y
		}
		return p(x, y)
	}
}

// Whatever the survey holds, a reading is finite, in range, and gives reasons for what is
// null (fuzzed: derived here).
func TestAnySurveyGivesAReading(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, h := rapid.IntRange(1, 400).Draw(t, "width"), rapid.IntRange(1, 400).Draw(t, "height")
		base := made(w, h, tone.SRGB(), even(-3))
		bytes := rapid.SliceOfN(rapid.Byte(), 1, 64).Draw(t, "codes")
		for i := range base.Cells {
			for ch := range 3 {
				base.Cells[i].Mean[ch] = float32(bytes[(i*3+ch)%len(bytes)])
				base.Cells[i].Var[ch] = float32(bytes[(i+ch)%len(bytes)]) * 4
			}
		}
		r := MeasureSurvey(base, Facts{}, nil, Hints{WhiteReference: &Box{0.2, 0.2, 0.4, 0.4}})
		text, err := json.Marshal(r)
		if err != nil {
			t.Fatalf("a reading that JSON can't hold: %v", err)
		}
		checkNulls(t, "", decodeJSON(t, text), r.Missing)
	})
}

func decodeJSON(t rapid.TB, text []byte) any {
	var v any
	if err := json.Unmarshal(text, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// checkNulls wants a reason for every null.
func checkNulls(t rapid.TB, path string, v any, missing map[string]string) {
	t.Helper()
	switch v := v.(type) {
	case nil:
		if missing[path] == "" {
			t.Errorf("%s is null and no reason is given", path)
		}
	case map[string]any:
		for k, e := range v {
			checkNulls(t, strings.TrimPrefix(path+"."+k, "."), e, missing)
		}
	}
}

func TestNoSurveyIsAReadingWithReasons(t *testing.T) {
	r := MeasureSurvey(nil, Facts{NoExif: true}, nil, Hints{Provisional: true})
	if r.Kind != Provisional {
		t.Errorf("kind = %q, want provisional", r.Kind)
	}
	text, _ := json.Marshal(r)
	checkNulls(t, "", decodeJSON(t, text), r.Missing)
	if r.Missing["exif.f_number"] != "the file has no Exif" {
		t.Errorf("the reason for no aperture is %q", r.Missing["exif.f_number"])
	}
}

func TestMaskUnpacksToWhatWasPacked(t *testing.T) {
	r := MeasureSurvey(made(640, 800, tone.Default(), portrait(even(-0.5), even(-1))), Facts{}, nil, Hints{})
	b := mustBackdrop(t, r)
	cells, ok := b.Mask.Cells()
	if !ok || b.Mask.Cols != 40 || b.Mask.Rows != 50 || !cells[0] || cells[len(cells)/2+20] {
		t.Errorf("the backdrop's mask (%d x %d, ok %v) has the corner %v and the middle %v", b.Mask.Cols, b.Mask.Rows, ok, cells[0], cells[len(cells)/2+20])
	}
	b.Mask.Rows++
	if _, ok := b.Mask.Cells(); ok {
		t.Error("a mask of the wrong length was unpacked")
	}
}

// The selection against sorting, its slow obvious twin, on random input.
func TestNthIsThatOfASortedList(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		keys := rapid.SliceOfN(rapid.Float64Range(0, 3), 1, 60).Draw(t, "keys")
		n := rapid.IntRange(0, len(keys)-1).Draw(t, "rank")
		v := make([]ranked, len(keys))
		for i, k := range keys {
			v[i] = ranked{math.Floor(k), int32(i)}
		}
		smaller := 0
		got := nth(append([]ranked(nil), v...), n)
		for _, o := range v {
			if o.less(got) {
				smaller++
			}
		}
		if smaller != n {
			t.Fatalf("nth(%d) has %d smaller elements", n, smaller)
		}
	})
}

// The survey of a 24-megapixel frame.
func BenchmarkMeasure24MP(b *testing.B) {
	c := tone.Default()
	s := made(6000, 4000, c, portrait(func(x, y float64) [3]float64 { return grey(-0.4 - 0.3*x*y) }, even(-1)))
	for i := range s.Cells {
		s.Cells[i].Var = [3]float32{4, 4, 4}
	}
	for b.Loop() {
		if r := MeasureSurvey(s, Facts{}, c, Hints{}); r.Regions.Backdrop == nil || r.Regions.Sitter == nil {
			b.Fatal(r.Missing)
		}
	}
}

// The cell of a rank by counting against the one by ordering, its slow obvious twin.
func TestTheCellOfARankIsThatOfASortedList(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lights := rapid.SliceOfN(rapid.OneOf(rapid.Float64Range(-0.1, 1.1), rapid.SampledFrom([]float64{0, 0.5, 1})), 1, 60).Draw(t, "lights")
		n := rapid.IntRange(0, len(lights)-1).Draw(t, "rank")
		m := &meter{lit: make([]lit, len(lights))}
		var cells []int32
		var v []ranked
		for i, l := range lights {
			m.lit[i].light[weakest], m.lit[i].step[weakest] = l, stepOf(l)
			cells, v = append(cells, int32(i)), append(v, ranked{l, int32(i)})
		}
		if got, want := m.nthOf(cells, n, weakest), nth(v, n).item; got != want {
			t.Fatalf("the cell of rank %d is %d, want %d", n, got, want)
		}
	})
}

// What brings measuring down, here a survey without most of its cells, is the caller's to catch, in whatever
// goroutine it happens.
func TestAPanicWhileMeasuringIsTheCallers(t *testing.T) {
	broken := *made(640, 800, tone.Default(), portrait(even(-2), even(-1.8)))
	broken.Cells = broken.Cells[:len(broken.Cells)/3]
	for what, f := range map[string]func(){
		"measuring": func() { MeasureSurvey(&broken, Facts{}, nil, Hints{}) },
		"looking for faces": func() {
			none := broken
			none.Blocks = nil
			newMeter(&none, tone.Default()).lookForFaces(Hints{})(&scene.Scene{Sitter: scene.Region{Mask: []bool{true}}})()
		},
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s goes on with a third of the cells", what)
				}
			}()
			f()
		}()
	}
}
