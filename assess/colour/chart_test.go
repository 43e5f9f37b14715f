package colour

import (
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
	"thirdstop/assess/tone"
	"thirdstop/testdata"
)

func TestFindsAChartAtAnyRotation(t *testing.T) {
	for _, kind := range []struct {
		what string
		print
		misses int // of 24 rotations
	}{
		{"small and flat", print{w: 400, h: 400, pitch: 40}, 0},
		{"middling, tilted by 30 degrees, cluttered", print{w: 460, h: 460, pitch: 48, tilt: 30, lean: 20, clutter: true}, 0},
		{"middling, tilted by 40 degrees sideways, in tungsten light and noisy", print{w: 460, h: 460, pitch: 52, tilt: 40, lean: 75, light: RGB{0.9, 0.62, 0.32}, noise: 8}, 0},
		{"dark by two stops, noisy, poorly compressed", print{w: 460, h: 460, pitch: 56, light: RGB{0.18, 0.2, 0.22}, noise: 5, quality: 70}, 0},
	} {
		t.Run(kind.what, func(t *testing.T) {
			t.Parallel()
			missed := 0
			for deg := 0.0; deg < 360; deg += 15 {
				p := kind.print
				p.turn, p.seed = deg, uint64(deg)
				f, err := Find(p.survey(t))
				if err != nil {
					missed++
					t.Logf("turned by %v: %v", deg, err)
				} else if wrong := p.misplaced(f); wrong != "" {
					t.Errorf("turned by %v: %s", deg, wrong)
				}
			}
			if missed > kind.misses {
				t.Errorf("missed in %d of 24 rotations, allowed %d", missed, kind.misses)
			}
		})
	}
}

func TestASmallChartIsRefusedAndNeverMisread(t *testing.T) {
	found := map[float64]int{}
	for pitch := 16.0; pitch <= 36; pitch += 4 {
		for deg := 0.0; deg < 90; deg += 15 {
			p := print{w: 320, h: 320, pitch: pitch, turn: deg, x: 3, y: 5}
			f, err := Find(p.survey(t))
			switch {
			case err == nil:
				found[pitch]++
				if wrong := p.misplaced(f); wrong != "" {
					t.Errorf("pitch %v turned by %v: %s", pitch, deg, wrong)
				}
			case pitch >= 32:
				t.Logf("pitch %v turned by %v: %v", pitch, deg, err)
			case !errors.Is(err, ErrTooSmall) && !errors.Is(err, ErrNoChart):
				t.Errorf("pitch %v turned by %v: %v", pitch, deg, err)
			}
		}
	}
	t.Logf("found of 6 rotations, by pitch in pixels: %v", found)
	if found[36] != 6 || found[32] < 5 {
		t.Errorf("charts whose patches lie 36 and 32 pixels apart were found in %d and %d of 6 rotations, want 6 and 5", found[36], found[32])
	}
	if found[16]+found[20]+found[24] > 0 {
		t.Errorf("charts with patches under three blocks were taken: %v", found)
	}
}

func TestAMirroredChartIsNotTakenForOne(t *testing.T) {
	for deg := 0.0; deg < 360; deg += 90 {
		p := print{w: 460, h: 460, pitch: 56, turn: deg}
		img := p.image()
		for y := range p.h {
			for x := range p.w / 2 {
				a, b := img.RGBAAt(x, y), img.RGBAAt(p.w-1-x, y)
				img.SetRGBA(x, y, b)
				img.SetRGBA(p.w-1-x, y, a)
			}
		}
		if f, err := Find(asJPEG(t, img, 92)); !errors.Is(err, ErrNoChart) {
			t.Errorf("turned by %v and mirrored, it is found: %+v (%v)", deg, f, err)
		}
	}
}

func TestReadsBackTheLightOfAPrint(t *testing.T) {
	for _, c := range []struct {
		what string
		print
	}{
		{"neutral", print{}},
		{"daylight, under-exposed", print{light: SRGB.RGB(scaled(Daylight(5000).XYZ(), 0.3))}},
		{"cool and green", print{light: RGB{0.5, 0.75, 0.85}}},
		{"the older edition", print{edition: Before2014}},
		{"Adobe RGB", print{space: AdobeRGB}},
		{"tilted and noisy", print{tilt: 30, noise: 4}},
	} {
		p := c.print
		p.w, p.h, p.pitch, p.turn = 520, 520, 64, 20
		if p.light == (RGB{}) {
			p.light = RGB{0.8, 0.8, 0.8}
		}
		s := p.survey(t)
		f, err := Find(s)
		if err != nil {
			t.Errorf("%s: %v", c.what, err)
			continue
		}
		got := f.Read(s, Options{Edition: p.edition, Space: p.space, Curve: tone.SRGB()})
		if got.White == nil || got.Exposure == nil || got.Normalised == nil {
			t.Errorf("%s: nothing was read: %v", c.what, got.Warnings)
			continue
		}
		for ch := range 3 {
			// A JPEG rounds the colour of an even patch by up to a code value, 1.5 % of its light where it is dark (derived here).
			if want := p.light[1] / p.light[ch]; !near(got.White.Gains[ch], want, 0.015*want) {
				t.Errorf("%s: gains %.3f, want %.3f in channel %d", c.what, got.White.Gains, want, ch)
			}
		}
		want := math.Log2(p.space.XYZ(p.light).Y)
		if !near(float64(got.Exposure.White), want, 0.03) || !near(float64(got.Exposure.Error), want+0.5, 0.03) {
			t.Errorf("%s: a perfect white lies at %.3f, want %.3f", c.what, got.Exposure.White, want)
		}
		if temp, err := TemperatureOf(p.space.XYZ(p.light)); err != nil || !near(float64(got.White.Light.CCT.Mired()), float64(temp.CCT.Mired()), 2.5) || !near(float64(got.White.Light.Duv), float64(temp.Duv), 0.0012) {
			t.Errorf("%s: light of %v, want %v", c.what, *got.White.Light, temp)
		}
		// Cyan is outside sRGB, so it can't be shown right; all else is rounding to codes and JPEG.
		for i := range got.Patches {
			limit := Difference(2)
			if got.Patches[i].Name == "cyan" {
				limit = 4
			}
			if e := *got.Patches[i].Error; e > limit {
				t.Errorf("%s: %s is off by %.2f, allowed %.0f", c.what, got.Patches[i].Name, e, limit)
			}
		}
		if got.Normalised.Mean > 0.8 {
			t.Errorf("%s: mean %.2f, want 0.8 at most", c.what, got.Normalised.Mean)
		}
		if got.Evenness == nil || got.Evenness.Uneven || got.Evenness.Range > 0.1 {
			t.Errorf("%s: evenness %v", c.what, got.Evenness)
		}
		t.Logf("%s: mean %.2f, worst %.2f (%s); as exposed %.2f; range %.3f", c.what, got.Normalised.Mean, got.Normalised.Worst, got.Normalised.Patch, got.AsExposed.Mean, got.Evenness.Range)
	}
}

func TestTheWrongEditionShows(t *testing.T) {
	p := print{w: 460, h: 330, pitch: 64, edition: Before2014}
	s := p.survey(t)
	f, err := Find(s)
	if err != nil {
		t.Fatal(err)
	}
	right := f.Read(s, Options{Curve: tone.SRGB(), Edition: Before2014}).Normalised.Mean
	wrong := f.Read(s, Options{Curve: tone.SRGB(), Edition: After2014}).Normalised.Mean
	if wrong < right+0.4 { // between the editions it is 0.85 in the mean, before the white balance takes its share
		t.Errorf("against its own edition %.2f, against the other %.2f", right, wrong)
	}
}

func TestTheDefaultEditionIsTheNewOne(t *testing.T) {
	p := print{w: 460, h: 330, pitch: 64}
	s := p.survey(t)
	f, err := Find(s)
	if err != nil {
		t.Fatal(err)
	}
	got := f.Read(s, Options{})
	if got.Edition != After2014 || got.Curve != tone.Default().Name() || got.Patches[18].Reference != (Lab{95.19, -1.03, 2.93}) {
		t.Errorf("edition %v, curve %s, white %v", got.Edition, got.Curve, got.Patches[18].Reference)
	}
	if !warned(got, WarnCurve) {
		t.Errorf("the default curve isn't warned of: %v", got.Warnings)
	}
}

func warned(c *Chart, code string) bool {
	for _, w := range c.Warnings {
		if w.Code == code && w.Text != "" {
			return true
		}
	}
	return false
}

func TestUnevenLightIsSeenAndNamed(t *testing.T) {
	for _, c := range []struct {
		turn   float64
		darker string
	}{{0, "right"}, {90, "bottom"}, {180, "left"}, {270, "top"}} {
		p := print{w: 520, h: 520, pitch: 64, turn: c.turn, slope: 0.6}
		s := p.survey(t)
		f, err := Find(s)
		if err != nil {
			t.Fatal(err)
		}
		got := f.Read(s, Options{Curve: tone.SRGB()})
		// From centre to centre of the outer columns it is five sixths of 0.6 (derived here).
		if e := got.Evenness; e == nil || !e.Uneven || !near(float64(e.Range), 0.5, 0.08) || e.Darker != c.darker || !warned(got, WarnUneven) {
			t.Errorf("turned by %v: %+v, want 0.5 stop darker to the %s", c.turn, e, c.darker)
		}
	}
}

func TestClippedPatchesAreLeftOut(t *testing.T) {
	p := print{w: 460, h: 330, pitch: 64, light: RGB{1.5, 1.5, 1.5}}
	s := p.survey(t)
	f, err := Find(s)
	if err != nil {
		t.Fatal(err)
	}
	got := f.Read(s, Options{Curve: tone.SRGB()})
	if !got.Patches[18].Clipped || got.Patches[19].Clipped || !warned(got, WarnClipped) {
		t.Errorf("white clipped %v, neutral 8 %v, warnings %v", got.Patches[18].Clipped, got.Patches[19].Clipped, got.Warnings)
	}
	if want := math.Log2(1.5); !near(float64(got.Exposure.White), want, 0.03) || got.Exposure.Used != 4 {
		t.Errorf("a perfect white lies at %.3f from %d neutrals, want %.3f from 4", got.Exposure.White, got.Exposure.Used, want)
	}
	p.light = RGB{40, 40, 40}
	s = p.survey(t)
	blown := f.Read(s, Options{Curve: tone.SRGB()})
	if blown.White != nil || blown.Exposure != nil || blown.Normalised != nil || !warned(blown, WarnNeutrals) {
		t.Errorf("with every neutral clipped there is a white balance: %+v", blown.White)
	}
}

func TestExposureFollowsTheLight(t *testing.T) {
	var last exposure.Stops
	for k := range 4 {
		p := print{w: 460, h: 330, pitch: 64, light: RGB{0.9, 0.8, 0.7}, noise: 2, seed: uint64(k)}
		for ch := range p.light {
			p.light[ch] *= math.Exp2(-float64(k))
		}
		s := p.survey(t)
		f, err := Find(s)
		if err != nil {
			t.Fatalf("%d stops under: %v", k, err)
		}
		got := f.Read(s, Options{Curve: tone.SRGB()}).Exposure.White
		if k > 0 && !near(float64(last-got), 1, 0.03) {
			t.Errorf("one stop less is %.3f stops less at %d under", last-got, k)
		}
		last = got
	}
}

func TestTheJSONFormIsRoundedAndWhole(t *testing.T) {
	p := print{w: 460, h: 330, pitch: 64, light: RGB{0.9, 0.7, 0.5}}
	s := p.survey(t)
	f, err := Find(s)
	if err != nil {
		t.Fatal(err)
	}
	c := f.Read(s, Options{Curve: tone.SRGB()})
	exact := *c.Exposure
	text, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	if *c.Exposure != exact {
		t.Error("writing a chart changed it")
	}
	var back Chart
	var fields map[string]any
	if err := errors.Join(json.Unmarshal(text, &fields), json.Unmarshal([]byte(strings.Replace(string(text), `"after_2014"`, "0", 1)), &back)); err != nil {
		t.Fatal(err)
	}
	if fields["edition"] != "after_2014" || fields["warnings"] == nil || len(fields["patches"].([]any)) != ChartPatches {
		t.Errorf("edition %v, warnings %v", fields["edition"], fields["warnings"])
	}
	if back.Exposure.White != exact.White.Round() || !near(float64(back.White.Light.CCT), float64(c.White.Light.CCT), 0.5) ||
		!near(float64(*back.Patches[3].Error), float64(*c.Patches[3].Error), 5.01e-4) || back.Patches[3].Name != "foliage" {
		t.Errorf("what was written reads back as %+v, %+v", *back.Exposure, *back.White)
	}
}

// randomSurvey is one that no picture gives: blocks and cells at random, of any shape.
func randomSurvey(rng *rand.Rand) *photo.Survey {
	w, h := 1+rng.IntN(700), 1+rng.IntN(700)
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	step, levels := 1+rng.IntN(60), 1+rng.IntN(255)
	var v [3]uint8
	for y := range h {
		for x := range w {
			if (x/step+y/step*31)%7 < 5 && x%step == 0 {
				for ch := range v {
					v[ch] = uint8(rng.IntN(256) / levels * levels)
				}
			}
			copy(img.Pix[img.PixOffset(x, y):], []uint8{v[0], v[1], v[2], 255})
		}
	}
	s := &photo.Survey{Width: w, Height: h, Exact: rng.IntN(2) == 0}
	edges := func(n, step int, flip bool) []int {
		var e []int
		for i := 0; i < n; i += step {
			e = append(e, i)
		}
		e = append(e, n)
		if flip {
			for i, j := 0, len(e)-1; i <= j; i, j = i+1, j-1 {
				e[i], e[j] = n-e[j], n-e[i]
			}
		}
		return e
	}
	fx, fy := rng.IntN(2) == 0, rng.IntN(2) == 0
	s.ColEdges, s.RowEdges = edges(w, photo.CellSize, fx), edges(h, photo.CellSize, fy)
	s.BlockColEdges, s.BlockRowEdges = edges(w, photo.BlockSize, fx), edges(h, photo.BlockSize, fy)
	s.Cols, s.Rows, s.BlockCols, s.BlockRows = len(s.ColEdges)-1, len(s.RowEdges)-1, len(s.BlockColEdges)-1, len(s.BlockRowEdges)-1
	s.Cells, s.Blocks = make([]photo.Cell, s.Cols*s.Rows), make([]photo.Block, s.BlockCols*s.BlockRows)
	for i := range s.Cells {
		s.Cells[i] = photo.Cell{Pixels: 256, ClippedAny: uint16(rng.IntN(257))}
	}
	for r := range s.BlockRows {
		for c := range s.BlockCols {
			o := img.PixOffset(s.BlockColEdges[c], s.BlockRowEdges[r])
			for ch := range 3 {
				s.BlockAt(c, r)[ch] = uint16(img.Pix[o+ch]) * 256
			}
		}
	}
	return s
}

func TestRandomSurveysNeverPanicAndHoldNoChart(t *testing.T) {
	for seed := range uint64(150) {
		rng := rand.New(rand.NewPCG(seed, 3))
		s := randomSurvey(rng)
		if f, err := Find(s); err == nil {
			t.Errorf("seed %d: a chart in noise, match %.2f", seed, f.Match)
		}
		// A sighting of another picture, or of none, is read without a panic as well.
		f := &Sighting{plane: homography{[8]float64{rng.NormFloat64() * 9, rng.NormFloat64(), 40 * rng.Float64(), rng.NormFloat64(), rng.NormFloat64() * 9, 40 * rng.Float64(), rng.NormFloat64() / 20, rng.NormFloat64() / 20}}}
		c := f.Read(s, Options{Edition: Edition(seed % 2), Space: Space(seed % 2)})
		for i := range c.Patches {
			if math.IsNaN(float64(c.Patches[i].Difference)) {
				t.Fatalf("seed %d: %+v", seed, c.Patches[i])
			}
		}
	}
}

func TestBlockAtFindsItsBlock(t *testing.T) {
	for _, seed := range []uint64{1, 2, 3, 4, 5, 6} {
		s := randomSurvey(rand.New(rand.NewPCG(seed, 3)))
		for c := range s.BlockCols {
			for r := range s.BlockRows {
				gc, gr := blockAt(s, point{middle(s.BlockColEdges, c), middle(s.BlockRowEdges, r)})
				if gc != c || gr != r {
					t.Fatalf("seed %d: block %d %d is taken for %d %d", seed, c, r, gc, gr)
				}
			}
		}
	}
}

func BenchmarkFind24MP(b *testing.B) {
	file := testdata.Photos(b, "radiantlab-HDRICalibrationTool", "IMG_6962.JPG") // 21 megapixels, full of detail
	busy := surveyOf(b, file)
	p := print{w: 1500, h: 1000, pitch: 60, turn: 10, clutter: true}
	for _, c := range []struct {
		name string
		s    *photo.Survey
	}{{"no chart, 21 MP of detail", busy}, {"chart in 24 MP", widened(p.survey(b))}} {
		b.Run(c.name, func(b *testing.B) {
			for range b.N {
				_, _ = Find(c.s)
			}
		})
	}
}

// widened tiles a survey's blocks with a plain surround to 24 megapixels.
func widened(s *photo.Survey) *photo.Survey {
	const cols, rows = 750, 500
	w := &photo.Survey{Width: cols * 8, Height: rows * 8, Cols: cols / 2, Rows: rows / 2, BlockCols: cols, BlockRows: rows,
		Cells: make([]photo.Cell, cols*rows/4), Blocks: make([]photo.Block, cols*rows)}
	for i := range cols + 1 {
		w.BlockColEdges = append(w.BlockColEdges, i*8)
	}
	for i := range rows + 1 {
		w.BlockRowEdges = append(w.BlockRowEdges, i*8)
	}
	for r := range rows {
		for c := range cols {
			b := photo.Block{uint16(20000 + 40*c), 30000, uint16(20000 + 30*r)}
			if r < s.BlockRows && c < s.BlockCols {
				b = *s.BlockAt(c, r)
			}
			*w.BlockAt(c, r) = b
		}
	}
	return w
}

func ExampleFind() {
	_, err := Find(&photo.Survey{Grey: true})
	fmt.Println(err)
	// Output: a greyscale picture has no colours to find a chart by
}
