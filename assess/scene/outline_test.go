package scene

import (
	"math"
	"testing"

	"thirdstop/assess/photo"
)

// drawn is the survey of a picture whose cells are painted one by one.
func drawn(cols, rows int, code func(x, y int) [3]float32) *photo.Survey {
	s := &photo.Survey{Width: cols * 16, Height: rows * 16, Cols: cols, Rows: rows}
	for c := range cols + 1 {
		s.ColEdges = append(s.ColEdges, c*16)
	}
	for r := range rows + 1 {
		s.RowEdges = append(s.RowEdges, r*16)
	}
	for i := range cols * rows {
		s.Cells = append(s.Cells, photo.Cell{Mean: code(i%cols, i/cols), Pixels: 256})
	}
	return s
}

// Somebody in white before clipped paper, the outline of whose clothes shows on the left alone, as where the key clips the other
// side: the body is mirrored. With no outline on either side it is as wide as bodies are, and where both show they count (derived here).
func TestABodyIsMirroredWhereItsOutlineIsLost(t *testing.T) {
	const cols, rows, mid, radius, chin = 64, 80, 31, 7, 27
	half := func(y int) float64 { return min(3+1.1*math.Max(float64(y-chin-4), 0), 18+0.1*float64(y-chin)) }
	for _, tc := range []struct {
		shows string
		slack float64 // cells, on the median row
	}{{"left", 2}, {"both", 1.5}, {"none", 5}} {
		s := drawn(cols, rows, func(x, y int) [3]float32 {
			dx, dy := float64(x-mid), float64(y-18)
			switch {
			case dx*dx/radius/radius+dy*dy/100 <= 1 || y >= chin && y < chin+5 && math.Abs(dx) <= 3:
				return [3]float32{150, 110, 90}
			case y > chin && math.Abs(dx) <= half(y) && math.Abs(dx) > half(y)-2 && (tc.shows == "both" || tc.shows == "left" && dx < 0):
				return [3]float32{247, 247, 247}
			}
			return [3]float32{255, 255, 255}
		})
		sc := Find(s, Hints{})
		if !sc.Backdrop.Found() || !sc.Sitter.Found() {
			t.Fatalf("outline %s: backdrop %q, sitter %q", tc.shows, sc.Backdrop.Reason, sc.Sitter.Reason)
		}
		var left, right []float64
		for y := 45; y < rows; y++ {
			a, b := 0, 0
			for mid-a > 0 && sc.Sitter.Mask[y*cols+mid-a-1] {
				a++
			}
			for mid+b+1 < cols && sc.Sitter.Mask[y*cols+mid+b+1] {
				b++
			}
			left, right = append(left, float64(a)-half(y)), append(right, float64(b)-half(y))
		}
		if a, b := median(left), median(right); math.Abs(a) > tc.slack || math.Abs(b) > tc.slack {
			t.Errorf("outline %s: the body is too wide by %.1f cells on the left and %.1f on the right, want %.1f at most", tc.shows, a, b, tc.slack)
		}
	}
}

// A wall beside clipped paper, the upper half of which clips too: its edge further down tells that none of it is backdrop (derived here).
func TestAWallThatClipsBesidePaperIsNoBackdrop(t *testing.T) {
	const cols, rows, mid, wall = 64, 48, 36, 14
	s := drawn(cols, rows, func(x, y int) [3]float32 {
		dx, dy := float64(x-mid), float64(y-15)
		switch {
		case dx*dx/25+dy*dy/49 <= 1 || y > 20 && math.Abs(dx) <= min(2+float64(y-20), 12):
			return [3]float32{60, 50, 45}
		case x < wall:
			dim := float32(max(y-rows/2, 0))
			return [3]float32{255 - dim, 255 - 2*dim, 255 - 3*dim}
		}
		return [3]float32{255, 255, 255}
	})
	sc := Find(s, Hints{})
	if !sc.Backdrop.Found() || !sc.Sitter.Found() {
		t.Fatalf("backdrop %q, sitter %q", sc.Backdrop.Reason, sc.Sitter.Reason)
	}
	taken, missed := 0, 0
	for i, in := range sc.Backdrop.Mask {
		switch x, y := i%cols, i/cols; {
		case in && x < wall:
			taken++
		case !in && x > wall+1 && x < mid-14 && y < rows-1:
			missed++
		}
	}
	if taken > 0 || missed > 0 {
		t.Errorf("%d cells of the wall are taken for backdrop, and %d of the paper beside it are not, want none", taken, missed)
	}
}
