package faces

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/esimov/pigo/core"

	"thirdstop/assess/photo"
	"thirdstop/testdata"
)

func survey(t testing.TB, file string) *photo.Survey {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	p, err := photo.Read(filepath.Base(file), data)
	if err != nil {
		t.Fatal(err)
	}
	return p.Survey
}

// againstLibrary holds every window of some sizes against github.com/esimov/pigo 1.4.6 under the same cascade, to the last bit. It
// gives how many passed.
func againstLibrary(t *testing.T, name string, pix []uint8, w, h int) (passed int) {
	t.Helper()
	ref, err := pigo.NewPigo().Unpack(faceFile)
	if err != nil {
		t.Fatal(err)
	}
	for size := leastFace; size <= min(w, h)-2; size += 7 {
		const shift = 0.1
		want := map[[2]int]float32{}
		for _, d := range ref.RunCascade(pigo.CascadeParams{MinSize: size, MaxSize: size, ShiftFactor: shift, ScaleFactor: 1.1,
			ImageParams: pigo.ImageParams{Pixels: pix, Rows: h, Cols: w, Dim: w}}, 0) {
			want[[2]int{d.Col, d.Row}] = d.Q
		}
		passed += len(want)
		c, edge, by := faceCascade().of(size, w), size/2+1, max(int(shift*float64(size)), 1)
		for y := edge; y <= h-edge; y += by {
			for x := edge; x <= w-edge; x += by {
				if got, _ := c.score(pix, y*w+x); got != want[[2]int{x, y}] {
					t.Fatalf("%s: the window of %d pixels at %d, %d scores %v, the library says %v", name, size, x, y, got, want[[2]int{x, y}])
				}
			}
		}
	}
	return passed
}

func TestScoresAreTheLibrarys(t *testing.T) {
	const seed = 11
	r := rand.New(rand.NewPCG(seed, 1))
	const w, h = 90, 70
	pix := make([]uint8, w*h)
	for i := range pix {
		x, y := i%w, i/w
		pix[i] = uint8(128 + 60*math.Sin(float64(x)/9)*math.Cos(float64(y)/7) + 20*r.NormFloat64()/3)
	}
	againstLibrary(t, "made-up picture (seed 11)", pix, w, h)
	l := MapOf(survey(t, filepath.Join(testdata.Photos(t, "plain-backdrop-portraits"), "portrait-09.jpg")))
	if n := againstLibrary(t, "portrait-09", l.pix, l.w, l.h); n < 3 {
		t.Errorf("%d windows of a portrait pass, want several", n)
	}
}

// Where the faces are was looked at by eye, to a tenth of the frame.
func TestRealPortraits(t *testing.T) {
	dir := testdata.Photos(t, "plain-backdrop-portraits")
	for name, at := range map[string][2]float64{
		"portrait-01": {0.51, 0.42}, "portrait-02": {0.53, 0.41}, "portrait-03": {0.48, 0.44}, "portrait-04": {0.46, 0.45},
		"portrait-05": {0.40, 0.42}, "portrait-06": {0.47, 0.55}, "portrait-07": {0.52, 0.44}, "portrait-08": {0.51, 0.45},
		"portrait-09": {0.47, 0.44}, "portrait-10": {0.52, 0.44}, "portrait-12": {0.54, 0.21},
	} {
		found := Find(survey(t, filepath.Join(dir, name+".jpg")))
		if len(found) == 0 || found[0].Sure < 0.5 {
			t.Errorf("%s: no sure face: %+v", name, found)
			continue
		}
		if f := found[0]; math.Abs(f.X-at[0]) > 0.1 || math.Abs(f.Y-at[1]) > 0.1 {
			t.Errorf("%s: the face is found at %.2f, %.2f, and is at %.2f, %.2f", name, f.X, f.Y, at[0], at[1])
		}
		for _, f := range found[1:] {
			if f.Sure >= 0.5 {
				t.Errorf("%s: a second face is found in a portrait of one: %+v", name, f)
			}
		}
	}
}

func TestNoFaceInARoom(t *testing.T) {
	dir := testdata.Photos(t, "radiantlab-HDRICalibrationTool")
	files, err := filepath.Glob(filepath.Join(dir, "*.JPG"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%s holds no pictures (%v)", dir, err)
	}
	for _, file := range files {
		for _, f := range Find(survey(t, file)) {
			if f.Sure >= 0.5 {
				t.Errorf("%s: a face is found in an empty room: %+v", filepath.Base(file), f)
			}
		}
	}
}

func TestDamagedCascadesAreRefused(t *testing.T) {
	for _, n := range []int{0, 15, 16, 1000, len(faceFile) / 2} {
		if _, err := parse(faceFile[:n]); err == nil {
			t.Errorf("the first %d bytes of the cascade pass for all of it", n)
		}
	}
}

func BenchmarkFind(b *testing.B) {
	s := survey(b, filepath.Join(testdata.Photos(b, "plain-backdrop-portraits"), "portrait-09.jpg"))
	for b.Loop() {
		Find(s)
	}
}

// Looking on the sitter alone finds the faces that looking everywhere does, with less to try.
func TestFacesOnASitterAreThoseOfTheFrame(t *testing.T) {
	dir := testdata.Photos(t, "plain-backdrop-portraits")
	for _, name := range []string{"portrait-01", "portrait-04", "portrait-07", "portrait-09", "portrait-12"} {
		s := survey(t, filepath.Join(dir, name+".jpg"))
		all := Find(s)
		if len(all) == 0 {
			t.Fatalf("%s: no face", name)
		}
		want := all[0]
		in := func(f func(x, y float64) bool) Places {
			p := Places{Cols: 48, Rows: 48, In: make([]bool, 48*48)}
			for i := range p.In {
				p.In[i] = f((float64(i%48)+0.5)/48, (float64(i/48)+0.5)/48)
			}
			return p
		}
		for range 2 { // what one search lays out serves the next
			got := MapOf(s).In(in(func(x, y float64) bool { return math.Hypot(x-want.X, y-want.Y) < 0.3 }))
			if len(got) != 1 || math.Hypot(got[0].X-want.X, got[0].Y-want.Y) > 0.05 || math.Abs(got[0].Size/want.Size-1) > 0.3 || got[0].Sure < 0.5 {
				t.Errorf("%s: on the sitter %+v, everywhere %+v", name, got, want)
			}
		}
		for _, f := range MapOf(s).In(in(func(x, y float64) bool { return math.Hypot(x-want.X, y-want.Y) > 0.35 })) {
			if f.Sure >= 0.5 {
				t.Errorf("%s: off the sitter %+v", name, f)
			}
		}
	}
	if f := MapOf(survey(t, filepath.Join(dir, "portrait-01.jpg"))).In(Places{Cols: 3, Rows: 3}); f != nil {
		t.Errorf("places that don't cover the frame find %+v", f)
	}
}
