package assess

import (
	"bytes"
	"fmt"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"thirdstop/assess/photo"
	"thirdstop/testdata"
)

func picture(t testing.TB, file string) *photo.Picture {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	p, err := photo.Read(filepath.Base(file), data)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// One photo stored in the eight Exif orientations (exif-orientation-examples; a number and words are
// drawn on each, so they are not quite equal): the same upright size, and the same level in a
// piece of sky that a person named as backdrop.
func TestRealPhotoInEightOrientations(t *testing.T) {
	dir := testdata.Photos(t, "exif-orientation-examples")
	sky := Box{0.05, 0.12, 0.3, 0.35}
	var first Reading
	for n := 1; n <= 8; n++ {
		r := Measure(picture(t, filepath.Join(dir, fmt.Sprintf("Portrait_%d.jpg", n))), nil, Hints{Backdrop: &sky, WhiteReference: &sky})
		if n == 1 {
			first = r
		}
		if r.Orientation != n || r.Width != 1200 || r.Height != 1800 {
			t.Errorf("Portrait_%d: orientation %d and %d x %d upright, want %d and 1200 x 1800", n, r.Orientation, r.Width, r.Height, n)
		}
		a, b := first.Regions.WhiteReference, r.Regions.WhiteReference
		if a == nil || b == nil {
			t.Fatalf("Portrait_%d: the declared box was not measured", n)
		}
		if math.Abs(float64(a.Value-b.Value)) > 0.03 || math.Abs(float64(a.Peak-b.Peak)) > 0.05 {
			t.Errorf("Portrait_%d: the sky is at %v (peak %v), upright at %v (peak %v)", n, b.Value, b.Peak, a.Value, a.Peak)
		}
		if d, e := first.Regions.Backdrop, r.Regions.Backdrop; d == nil || e == nil || math.Abs(float64(d.Value-e.Value)) > 0.03 {
			t.Errorf("Portrait_%d: the sky, named as backdrop, reads %+v, upright %+v", n, e, d)
		}
	}
}

// clipped_share against counting the pixels that image/jpeg decodes, on every real sample that is a whole picture.
func TestClippedShareIsExact(t *testing.T) {
	files := testdata.Samples(t)
	checked := 0
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		p, err := photo.Read(f, data)
		if err != nil {
			continue
		}
		img, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		var n [4]int
		b := img.Bounds()
		for y := b.Min.Y; y < b.Max.Y; y++ {
			for x := b.Min.X; x < b.Max.X; x++ {
				any := 0
				for ch, v := range testdata.Pixel(img, x, y) {
					if v >= photo.ClipCode {
						n[ch]++
						any = 1
					}
				}
				n[3] += any
			}
		}
		all := float64(b.Dx() * b.Dy())
		want := Shares{float64(n[0]) / all, float64(n[1]) / all, float64(n[2]) / all, float64(n[3]) / all}
		if got := Measure(p, nil, Hints{}).ClippedShare; got != want {
			t.Errorf("%s: clipped_share %+v, want %+v (counted)", filepath.Base(f), got, want)
		}
		checked++
	}
	if checked < 10 {
		t.Errorf("only %d samples were compared", checked)
	}
}

// A kept survey and its facts give the reading that the picture gave, and a white reference can be
// declared later.
func TestSurveyAndFactsGiveTheSameReading(t *testing.T) {
	p := picture(t, testdata.Photos(t, "plain-backdrop-portraits", "portrait-02.jpg"))
	s, f := p.Survey, FactsOf(p)
	if a, b := Measure(p, nil, Hints{}), MeasureSurvey(s, f, nil, Hints{}); !reflect.DeepEqual(a, b) {
		t.Errorf("the survey and its facts read differently from the picture")
	}
	declared := MeasureSurvey(s, f, nil, Hints{WhiteReference: &Box{0.57, 0.8, 0.61, 0.87}}).Regions.WhiteReference
	if declared == nil || !declared.Declared || declared.Value > 0 || declared.Value < -2 {
		t.Errorf("the shirt declared as white reference reads %+v", declared)
	}
}
