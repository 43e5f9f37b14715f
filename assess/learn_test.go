package assess

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
	"thirdstop/assess/tone"
	"thirdstop/testdata"
)

// columns is a survey of one tone per column of cells.
func columns(tones ...float32) *photo.Survey {
	s := &photo.Survey{Width: 16 * len(tones), Height: 16 * 3, Cols: len(tones), Rows: 3, Exact: true}
	for i := range len(tones) + 1 {
		s.ColEdges = append(s.ColEdges, 16*i)
	}
	for i := range 4 {
		s.RowEdges = append(s.RowEdges, 16*i)
	}
	for range 3 {
		for _, v := range tones {
			c := photo.Cell{Mean: [3]float32{v, v, v}, Pixels: 256}
			if v >= photo.ClipCode {
				c.Clipped, c.ClippedAny = [3]uint16{256, 256, 256}, 256
			}
			s.Cells = append(s.Cells, c)
		}
	}
	return s
}

func TestPairsAreSmoothEvenAndUnclipped(t *testing.T) {
	light := columns(100, 100, 100, 180, 255, 255, 255)
	dark := columns(60, 60, 60, 60, 200, 200, 200)
	pairs := Pairs(light, dark)
	// Column 0 and 1 are even in both; 2 and 3 lie at an edge of the lighter, 3 and 4 of the darker; 5 and 6 clip.
	clipped, plain := 0, 0
	for _, p := range pairs {
		switch {
		case p.Clipped[1] && p.Light[1] == 255 && p.Dark[1] == 200:
			clipped++
		case !p.Clipped[1] && p.Light[1] == 100 && p.Dark[1] == 60:
			plain++
		default:
			t.Errorf("a pair of codes %v and %v, want 100 and 60, or 255 (clipped) and 200", p.Light[1], p.Dark[1])
		}
	}
	if plain != 6 || clipped != 6 {
		t.Errorf("%d pairs that don't clip and %d that do, want 6 and 6", plain, clipped)
	}
	if p := Pairs(light, columns(60, 60)); p != nil {
		t.Errorf("surveys of other sizes gave %d pairs, want none", len(p))
	}
}

// Marked times are exact thirds: 1/60 s to 1/125 s is a whole stop though the marks' ratio is 2.08 (see exposure).
func TestBracketStepsAreExact(t *testing.T) {
	s := columns(100, 100, 100)
	var shots []Shot
	for _, time := range []exposure.Shutter{1.0 / 125, 1.0 / 60, 1.0 / 80, 1.0 / 60, 1.0 / 30} {
		tv, _ := time.Tv()
		shots = append(shots, Shot{Survey: s, Tv: tv})
	}
	want := map[[2]int]float64{{4, 1}: 1, {1, 2}: 1.0 / 3, {1, 0}: 1, {2, 0}: 2.0 / 3}
	steps := BracketSteps(shots)
	for _, st := range steps {
		w, ok := want[[2]int{st.LightFrame, st.DarkFrame}]
		if !ok || math.Abs(float64(st.Ratio)-w) > 1e-9 {
			t.Errorf("frames %d and %d are %v apart, want %v", st.LightFrame, st.DarkFrame, st.Ratio, w)
		}
	}
	if len(steps) != len(want) {
		t.Errorf("%d steps, want %d: the second frame at 1/60 s is left out", len(steps), len(want))
	}
}

// The curve of a real camera, learned from its bracket, reads the steps of frames it never saw. Source of the truth:
// exposure times as the command takes them, from Exif marks, which the camera's own figures
// (checked against ExifTool's in the tests of tone) equal to 0.01 stop. The tolerances are what was found, rounded up.
func TestRealBracketLeaveOneOut(t *testing.T) {
	dir := testdata.Photos(t, "radiantlab-HDRICalibrationTool")
	if testing.Short() {
		t.Skip("nine frames of 21 megapixels")
	}
	files, _ := filepath.Glob(filepath.Join(dir, "*.JPG"))
	if len(files) != 18 {
		t.Fatalf("the bracket has %d frames, want 18", len(files))
	}
	var shots []Shot
	for _, name := range files[2:11] {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		p, err := photo.Read(filepath.Base(name), data)
		if err != nil {
			t.Fatal(err)
		}
		p.Release()
		if k, ok := CurveKey(p); !ok || k.Model != "Canon EOS 5D Mark II" || k.ColorSpace != 1 {
			t.Fatalf("%s has the key %+v (%v)", name, k, ok)
		}
		s, err := BracketShot(p)
		if err != nil {
			t.Fatal(err)
		}
		shots = append(shots, s)
	}
	steps := BracketSteps(shots)
	// 3.2 s, 1.6 s ... 1/80 s: the camera's own figures, a stop apart.
	for i, s := range steps {
		if math.Abs(float64(s.Ratio)-1) > 0.01 {
			t.Errorf("step %d is %v by Exif, want +1 (the camera's own times)", i, s.Ratio)
		}
	}
	f, err := tone.Fit(steps, nil)
	if err != nil {
		t.Fatal(err)
	}
	if !f.Edge || f.EdgeSigma() > tone.EdgeKnown {
		t.Errorf("the edge was seen: %v, and is known to %v, want %v", f.Edge, f.EdgeSigma(), tone.EdgeKnown)
	}
	var mid []float64
	for _, m := range tone.LeaveOneOut(steps, nil) {
		if m.Dark >= 20 && m.Code <= 245 {
			mid = append(mid, float64(m.Off))
		}
	}
	if len(mid) < 300 {
		t.Fatalf("only %d places to judge by", len(mid))
	}
	med, most, worst := errorsOf(mid)
	t.Logf("%d medians of places, error median %.3f, 95 %% %.3f, worst %.3f stop", len(mid), med, most, worst)
	if med > 0.03 || most > 0.07 {
		t.Errorf("a step is read wrong by %.3f stop in the median and %.3f for 95 %%, want at most 0.03 and 0.07", med, most)
	}
}

// Edited files and those of no known camera have no curve.
func TestOnlyACamerasOwnFilesHaveACurve(t *testing.T) {
	p := &photo.Picture{Exif: photo.Exif{Model: "Quayside One", ColorSpace: 65535, Contrast: 2}}
	if k, ok := CurveKey(p); !ok || k.Contrast != 2 {
		t.Errorf("the key is %+v (%v)", k, ok)
	}
	for _, code := range []string{photo.LabelEdited, photo.LabelExport, photo.LabelNoExif, photo.LabelProfile, photo.LabelOwnTones} {
		q := *p
		q.Labels = []photo.Label{{Code: code}}
		if _, ok := CurveKey(&q); ok {
			t.Errorf("a picture labelled %s has a camera's curve", code)
		}
	}
	q := *p
	q.Labels = []photo.Label{{Code: photo.LabelAdobeRGB}}
	if k, ok := CurveKey(&q); !ok || k.ColorSpace != 2 {
		t.Errorf("an Adobe RGB file has the key %+v (%v), want colour space 2", k, ok)
	}
	if _, ok := CurveKey(&photo.Picture{}); ok {
		t.Error("a picture of no camera has a camera's curve")
	}
	fired := &photo.Picture{Exif: photo.Exif{ExposureTime: 1. / 60, Flash: 1, HasFlash: true}}
	if _, err := BracketShot(fired); err == nil {
		t.Error("a frame lit by flash was taken for a step of the shutter")
	}
	if _, err := BracketShot(&photo.Picture{}); err == nil {
		t.Error("a frame without exposure time was taken for a step")
	}
}
