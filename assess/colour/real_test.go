package colour

import (
	"errors"
	"image"
	"image/color"
	_ "image/png" // a picture and the labels of a data set are PNG
	"math"
	"os"
	"path/filepath"
	"testing"

	"thirdstop/assess/photo"
	"thirdstop/assess/tone"
	"thirdstop/testdata"
)

// surveyOf reads a real picture; a PNG goes through a JPEG first.
func surveyOf(t testing.TB, file string) *photo.Survey {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if filepath.Ext(file) == ".png" {
		return asJPEG(t, decoded(t, file), 95)
	}
	p, err := photo.Read(file, data)
	if err != nil {
		t.Skipf("%s can't be read: %v", filepath.Base(file), err)
	}
	return p.Survey
}

func decoded(t testing.TB, file string) image.Image {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, _, err := image.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	return img
}

// Real photos of charts from open collections. Where the chart lies was read off the pictures by eye, so the
// corners are good to half a patch. No reference measurement of these very charts is published, so the
// bounds on the differences only keep them from growing.
func TestRealChartPhotos(t *testing.T) {
	for _, c := range []struct {
		folder, file string
		corners      [4]Spot // dark skin, bluish green, black, white
		turn         float64
		clipped      bool
		mean         Difference // after normalisation, as displayed
	}{
		{"plantcv", "colorchecker-classic-mini.jpg", [4]Spot{{0.13, 0.88}, {0.13, 0.14}, {0.89, 0.14}, {0.89, 0.88}}, 270, false, 5},
		{"qiujueqin-color-checker", "passport.jpg", [4]Spot{{0.60, 0.42}, {0.26, 0.42}, {0.26, 0.08}, {0.60, 0.08}}, 180, true, 5.2},
		{"macduff", "below_fishbox2.jpg", [4]Spot{{0.455, 0.72}, {0.61, 0.72}, {0.61, 0.955}, {0.455, 0.955}}, 359, false, 6.5},
	} {
		t.Run(c.file, func(t *testing.T) {
			s := surveyOf(t, testdata.Photos(t, c.folder, c.file))
			f, err := Find(s)
			if err != nil {
				t.Fatalf("the chart wasn't found: %v", err)
			}
			for k := range f.Corners {
				if !near(f.Corners[k].X, c.corners[k].X, 0.04) || !near(f.Corners[k].Y, c.corners[k].Y, 0.04) {
					t.Errorf("corner %d at %.3f, want about %.3f", k, f.Corners[k], c.corners[k])
				}
			}
			if d := math.Abs(f.Turn - c.turn); min(d, 360-d) > 3 {
				t.Errorf("turned by %.1f, want about %.0f", f.Turn, c.turn)
			}
			got := f.Read(s, Options{Curve: tone.SRGB()})
			cam := f.Read(s, Options{})
			t.Logf("match %.3f, %d of 24 seen as patches, confidence %.2f; as displayed: CIEDE2000 mean %.2f median %.2f worst %.1f (%s) of %d, as exposed %.1f; through the default curve: mean %.2f; white %v ± %.2f (default curve %v ± %.2f); light %.0f K, Duv %+.4f; range %.2f",
				f.Match, f.Support, f.Confidence, got.Normalised.Mean, got.Normalised.Median, got.Normalised.Worst, got.Normalised.Patch, got.Normalised.Patches, got.AsExposed.Mean, cam.Normalised.Mean,
				got.Exposure.White, float64(got.Exposure.Sigma), cam.Exposure.White, float64(cam.Exposure.Sigma), got.White.Light.CCT, got.White.Light.Duv, got.Evenness.Range)
			if got.Normalised.Mean > c.mean || got.Normalised.Mean > got.AsExposed.Mean {
				t.Errorf("mean %.2f after normalisation (%.2f before), want at most %.1f", got.Normalised.Mean, got.AsExposed.Mean, c.mean)
			}
			if warned(got, WarnClipped) != c.clipped {
				t.Errorf("clipped patches warned of: %v, want %v", !c.clipped, c.clipped)
			}
			if f.Confidence < 0.9 {
				t.Errorf("confidence %.2f", f.Confidence)
			}
		})
	}
}

func TestRealChartsThatCannotBeRead(t *testing.T) {
	for _, c := range []struct {
		folder, file string
		want         error
	}{
		{"plantcv", "seedhead-rgb.jpg", ErrTooSmall},                                                            // patches 25 pixels apart
		{"plantcv", "partial_card_rgb.png", ErrNoChart},                                                         // a leaf covers a third of it
		{"bllanos-chromatic-aberration", "d2_colorChecker30cm_550nm_500ms_2019-02-18-113652-0004.tif", ErrGrey}, // one channel
	} {
		if _, err := Find(surveyOf(t, testdata.Photos(t, c.folder, c.file))); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.file, err, c.want)
		}
	}
}

// The label image says where each patch of a real, slightly tilted chart lies. Painted in
// the published colours, its patches must be found where the labels have them.
func TestThePlaneFollowsAPublishedLabelImage(t *testing.T) {
	labels := decoded(t, testdata.Photos(t, "bllanos-chromatic-aberration", "d2_colorChecker30cm_550nm_labels.png"))
	b := labels.Bounds()
	img := image.NewRGBA(b)
	var sum [ChartPatches]point
	var n [ChartPatches]float64
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			img.Set(x, y, color.RGBA{55, 55, 55, 255})
			if k := int(color.GrayModel.Convert(labels.At(x, y)).(color.Gray).Y) - 1; k >= 0 && k < ChartPatches {
				c := referenceCodes[k]
				img.Set(x, y, color.RGBA{uint8(c[0]), uint8(c[1]), uint8(c[2]), 255})
				sum[k] = sum[k].add(point{float64(x) + 0.5, float64(y) + 0.5})
				n[k]++
			}
		}
	}
	f, err := Find(asJPEG(t, img, 95))
	if err != nil {
		t.Fatal(err)
	}
	for k := range sum {
		if n[k] == 0 {
			t.Fatalf("the label image has no patch %d", k+1)
		}
		want := sum[k].scaled(1 / n[k])
		got, _ := f.plane.at(chartPoint(k).x, chartPoint(k).y)
		if d := got.scaled(photo.BlockSize).distance(want); d > 0.1*f.Pitch {
			t.Errorf("%s lies %.1f pixels off its label, %.2f of the pitch", Patches[k].Name, d, d/f.Pitch)
		}
	}
}

func TestNoChartIsFoundWhereThereIsNone(t *testing.T) {
	files := testdata.Samples(t)
	portraits, _ := filepath.Glob(filepath.Join(testdata.Photos(t, "plain-backdrop-portraits"), "*.jpg"))
	if len(portraits) < 10 {
		t.Fatalf("%d portraits", len(portraits))
	}
	files = append(files, portraits...)
	for _, folder := range []string{"metadata-extractor-images", "p3m-demo", "pymatting", "scikit-image", "mediapipe-samples"} {
		for _, ending := range []string{"*.jpg", "*.png"} {
			more, _ := filepath.Glob(filepath.Join(testdata.Photos(t, folder), ending))
			files = append(files, more...)
		}
	}
	n, nearest, which := 0, 0.0, ""
	for _, file := range files {
		var s *photo.Survey
		if filepath.Ext(file) == ".png" {
			s = asJPEG(t, decoded(t, file), 95)
		} else {
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			p, err := photo.Read(file, data)
			if err != nil {
				continue // many samples are cut off after their Exif
			}
			s = p.Survey
		}
		n++
		if c, _ := search(s); c != nil && c.match > nearest {
			nearest, which = c.match, filepath.Base(file)
		}
		if f, err := Find(s); err == nil {
			t.Errorf("a chart was found in %s: match %.2f, %d patches", filepath.Base(file), f.Match, f.Support)
		}
	}
	if n < 50 {
		t.Errorf("only %d pictures could be read", n)
	}
	t.Logf("%d pictures, no chart; the nearest match is %.2f, in %s", n, nearest, which)
}
