package photo

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"path/filepath"
	"reflect"
	"testing"

	"thirdstop/assess/photo/entropy"
)

// sameSurvey holds the quick way against the plain one, to the last bit. It
// reports whether the file goes the quick way.
func sameSurvey(t testing.TB, name string, data []byte, orientation int) bool {
	t.Helper()
	got := surveyQuickly(data, orientation, entropy.Exact)
	if got == nil {
		return false
	}
	img, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		t.Errorf("%s goes the quick way, and image/jpeg says: %v", name, err)
		return true
	}
	want := surveyImage(img, orientation)
	if reflect.DeepEqual(got, want) {
		return true
	}
	for i := range want.Blocks {
		if got.Blocks[i] != want.Blocks[i] {
			t.Errorf("%s, orientation %d: block %d is %v the quick way, %v the plain way", name, orientation, i, got.Blocks[i], want.Blocks[i])
			return true
		}
	}
	for i := range want.Cells {
		if got.Cells[i] != want.Cells[i] {
			t.Errorf("%s, orientation %d: cell %d is %+v the quick way, %+v the plain way", name, orientation, i, got.Cells[i], want.Cells[i])
			return true
		}
	}
	t.Errorf("%s, orientation %d: the surveys differ in their layout", name, orientation)
	return true
}

func TestTheQuickWayIsThePlainWay(t *testing.T) {
	onRealFiles(t, []string{".jpg", ".jpeg"}, func(t *testing.T, files []string) {
		quick := 0
		for i, f := range files {
			data := mustRead(t, f)
			if raceDetector && len(data) > 1<<20 {
				continue
			}
			if sameSurvey(t, short(f), data, i%9) {
				quick++
			}
		}
		if quick == 0 {
			t.Errorf("no file of %d in %s went the quick way", len(files), filepath.Dir(files[0]))
		}
		t.Logf("%d of %d files went the quick way", quick, len(files))
	})
	for orientation := range 9 {
		for _, size := range [][2]int{{1, 1}, {8, 8}, {16, 16}, {17, 15}, {33, 47}, {640, 401}} {
			data := encodeJPEG(t, scenery(size[0], size[1]), 92)
			if !sameSurvey(t, fmt.Sprintf("scenery of %d x %d", size[0], size[1]), data, orientation) {
				t.Errorf("scenery of %d x %d didn't go the quick way", size[0], size[1])
			}
		}
	}
}

// Levels alone: means and variances without looking at a pixel. The package
// entropy tests how near they come; here they must lie in the right cells.
func TestLevelsAloneAgreeWhereNothingClips(t *testing.T) {
	img := scenery(640, 400)
	for i := range img.Pix {
		if i%4 != 3 {
			img.Pix[i] = 40 + img.Pix[i]/2
		}
	}
	data := encodeJPEG(t, img, 90)
	got, want := surveyQuickly(data, 6, entropy.Levels), surveyQuickly(data, 6, entropy.Exact)
	if got == nil || got.Exact {
		t.Fatal("levels alone should be read, and say that they aren't exact")
	}
	for i := range want.Cells {
		g, w := &got.Cells[i], &want.Cells[i]
		for ch := range 3 {
			if !(math.Abs(float64(g.Mean[ch]-w.Mean[ch])) < 0.7) {
				t.Fatalf("cell %d, channel %d: mean %v, want %v", i, ch, g.Mean[ch], w.Mean[ch])
			}
		}
		if g.Max != [3]uint8{} || g.ClippedAny != 0 {
			t.Fatalf("cell %d has extremes or counts that nobody took: %+v", i, *g)
		}
	}
}

// A thumbnail made from half the size, or a quarter, is the one made from the whole, but for
// rounding and for which pixels a border cuts.
func TestThumbnailsFromHalfTheSizeLookTheSame(t *testing.T) {
	thumbnailsLookTheSame(t, false, []int{40, 160, 300})
}

func TestThumbnailsFromAQuarterLookTheSame(t *testing.T) {
	thumbnailsLookTheSame(t, true, []int{40, 160, 200})
}

func thumbnailsLookTheSame(t *testing.T, quarter bool, edges []int) {
	for orientation := 1; orientation <= 8; orientation++ {
		for _, edge := range edges {
			data := cameraJPEG(t, 803, 601, orientation)
			p, err := Read("a.jpg", data)
			if err != nil {
				t.Fatal(err)
			}
			if p.half == nil {
				t.Fatal("a camera's JPEG should be one for the quick reader")
			}
			if quarter {
				var s *Survey
				if p.quarter, err = entropy.ReadQuarter(data, 1, into(&s, orientation, entropy.Exact)); err != nil {
					t.Fatal(err)
				}
			}
			var pictures [2]image.Image
			for i := range pictures {
				small, err := p.Thumbnail(edge)
				if err == nil {
					pictures[i], err = jpeg.Decode(bytes.NewReader(small))
				}
				if err != nil {
					t.Fatal(err)
				}
				p.half, p.quarter = nil, nil // the second from the whole
			}
			if pictures[0].Bounds() != pictures[1].Bounds() {
				t.Fatalf("orientation %d, edge %d: %v from half the size, %v from the whole", orientation, edge, pictures[0].Bounds(), pictures[1].Bounds())
			}
			a, b := surveyImage(pictures[0], 1), surveyImage(pictures[1], 1)
			sum := 0
			for i := range a.Blocks {
				for ch := range 3 {
					// The scenery has a fine pattern of up to 4 code values, and slopes of 4 a
					// pixel: an odd edge puts the far end off by less than one.
					d := max(int(a.Blocks[i][ch]), int(b.Blocks[i][ch])) - min(int(a.Blocks[i][ch]), int(b.Blocks[i][ch]))
					sum += d
					if d > 8*256 {
						t.Fatalf("orientation %d, edge %d: block %d is %v from half the size, %v from the whole", orientation, edge, i, a.Blocks[i], b.Blocks[i])
					}
				}
			}
			if mean := float64(sum) / float64(3*256*len(a.Blocks)); mean > 1 {
				t.Errorf("orientation %d, edge %d: blocks differ by %.2f code values on average", orientation, edge, mean)
			}
		}
	}
}

// A small thumbnail made from a larger one is the one made from the picture, but for rounding and the larger one's compression.
func TestThumbnailsFromLargerOnesLookTheSame(t *testing.T) {
	for orientation := 1; orientation <= 8; orientation++ {
		data := cameraJPEG(t, 803, 601, orientation)
		var pictures [2]image.Image
		for i := range pictures {
			p, err := Read("a.jpg", data)
			if err != nil {
				t.Fatal(err)
			}
			if i == 1 {
				if _, err := p.Thumbnail(300); err != nil || p.larger == nil {
					t.Fatalf("the larger one: %v", err)
				}
			}
			small, err := p.Thumbnail(64)
			if err == nil {
				pictures[i], err = jpeg.Decode(bytes.NewReader(small))
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		if pictures[0].Bounds() != pictures[1].Bounds() {
			t.Fatalf("orientation %d: %v from the picture, %v from a larger thumbnail", orientation, pictures[0].Bounds(), pictures[1].Bounds())
		}
		a, b := surveyImage(pictures[0], 1), surveyImage(pictures[1], 1)
		for i := range a.Blocks {
			for ch := range 3 {
				if d := max(int(a.Blocks[i][ch]), int(b.Blocks[i][ch])) - min(int(a.Blocks[i][ch]), int(b.Blocks[i][ch])); d > 2*256 {
					t.Fatalf("orientation %d: block %d is %v from the picture, %v from a larger thumbnail", orientation, i, a.Blocks[i], b.Blocks[i])
				}
			}
		}
	}
}
