package photo

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os/exec"
	"reflect"
	"slices"
	"testing"

	"thirdstop/assess/photo/entropy"
	"thirdstop/testdata"
)

// convertedBy is a picture in RGB as djpeg (libjpeg) makes it, every sample of chroma on all of its pixels.
func convertedBy(t *testing.T, djpeg string, data []byte) (pix []byte) {
	t.Helper()
	cmd := exec.Command(djpeg, "-nosmooth", "-dct", "int", "-ppm")
	cmd.Stdin = bytes.NewReader(data)
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	for range 3 { // P6, the size, the greatest value
		_, out, _ = bytes.Cut(out, []byte("\n"))
	}
	return out
}

// Outside check: even squares of 2048 colours, which any decoder decodes alike, converted by djpeg (libjpeg-turbo). The conversion
// defines what the sample values are, and which clip.
func TestConversionIsThatOfDjpeg(t *testing.T) {
	djpeg := testdata.Tool(t, "djpeg")
	const seed, cols, rows = 6, 64, 32
	rng := rand.New(rand.NewPCG(seed, 1))
	img := image.NewYCbCr(image.Rect(0, 0, 16*cols, 16*rows), image.YCbCrSubsampleRatio420)
	for row := range rows {
		for col := range cols {
			y, cb, cr := uint8(rng.IntN(256)), uint8(rng.IntN(256)), uint8(rng.IntN(256))
			if col%2 == 0 { // light and nearly grey, as backdrops are
				y, cb, cr = uint8(230+rng.IntN(26)), uint8(120+rng.IntN(17)), uint8(120+rng.IntN(17))
			}
			for i := range 16 {
				for x := range 16 {
					img.Y[(16*row+i)*img.YStride+16*col+x] = y
				}
			}
			for i := range 8 {
				for x := range 8 {
					at := (8*row+i)*img.CStride + 8*col + x
					img.Cb[at], img.Cr[at] = cb, cr
				}
			}
		}
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: 100}); err != nil {
		t.Fatal(err)
	}
	want := convertedBy(t, djpeg, buf.Bytes())
	s := surveyQuickly(buf.Bytes(), 1, entropy.Exact)
	decoded, err := jpeg.Decode(bytes.NewReader(buf.Bytes()))
	if s == nil || err != nil {
		t.Fatal("not read", err)
	}
	plain := surveyImage(decoded, 1)
	for row := range rows {
		for col := range cols {
			px := want[3*((16*row+5)*16*cols+16*col+5):]
			for ch := range 3 {
				for how, c := range map[string]*Cell{"quickly": s.At(col, row), "plainly": plain.At(col, row)} {
					if c.Mean[ch] != float32(px[ch]) || (c.Clipped[ch] > 0) != (px[ch] >= ClipCode) {
						t.Fatalf("square %d, %d, channel %d, read %s: %v, want %d (djpeg)", col, row, ch, how, c.Mean[ch], px[ch])
					}
				}
			}
		}
	}
}

var ratios = []image.YCbCrSubsampleRatio{
	image.YCbCrSubsampleRatio444, image.YCbCrSubsampleRatio422, image.YCbCrSubsampleRatio420,
	image.YCbCrSubsampleRatio440, image.YCbCrSubsampleRatio411, image.YCbCrSubsampleRatio410,
}

// randomYCbCr has bright and dark places, so that some cells clip and some don't.
func randomYCbCr(rng *rand.Rand, w, h int, ratio image.YCbCrSubsampleRatio) *image.YCbCr {
	img := image.NewYCbCr(image.Rect(0, 0, w, h), ratio)
	for i := range img.Y {
		img.Y[i] = uint8(rng.IntN(256))
		if rng.IntN(4) == 0 {
			img.Y[i] = 255
		}
	}
	for i := range img.Cb {
		img.Cb[i], img.Cr[i] = uint8(108+rng.IntN(40)), uint8(108+rng.IntN(40))
	}
	return img
}

// bruteSurvey is the slow, obvious twin: upright pixel by upright pixel, through At.
func bruteSurvey(img image.Image, orientation int) *Survey {
	size := img.Bounds().Size()
	l := layoutOf(orientation)
	s := newSurvey(size.X, size.Y, l)
	s.Exact = true
	_, s.Grey = img.(*image.Gray)
	at := func(x, y int) [3]uint8 { // upright
		sx, sy := storedPixel(orientation, x, y, size.X, size.Y)
		return testdata.Pixel(img, img.Bounds().Min.X+sx, img.Bounds().Min.Y+sy)
	}
	for row := range s.Rows {
		for col := range s.Cols {
			c := s.At(col, row)
			var sum, square [3]float64
			c.Min = [3]uint8{255, 255, 255}
			for y := s.RowEdges[row]; y < s.RowEdges[row+1]; y++ {
				for x := s.ColEdges[col]; x < s.ColEdges[col+1]; x++ {
					c.Pixels++
					any := false
					for ch, v := range at(x, y) {
						sum[ch] += float64(v)
						square[ch] += float64(v) * float64(v)
						c.Min[ch], c.Max[ch] = min(c.Min[ch], v), max(c.Max[ch], v)
						if v >= 254 {
							c.Clipped[ch]++
							any = true
						}
					}
					if any {
						c.ClippedAny++
					}
				}
			}
			n := float64(c.Pixels)
			for ch := range sum {
				c.Mean[ch] = float32(sum[ch] / n)
				c.Var[ch] = float32((n*square[ch] - sum[ch]*sum[ch]) / (n * n))
			}
		}
	}
	for row := range s.BlockRows {
		for col := range s.BlockCols {
			var sum [3]float64
			n := 0.0
			for y := s.BlockRowEdges[row]; y < s.BlockRowEdges[row+1]; y++ {
				for x := s.BlockColEdges[col]; x < s.BlockColEdges[col+1]; x++ {
					n++
					for ch, v := range at(x, y) {
						sum[ch] += float64(v)
					}
				}
			}
			for ch := range sum {
				s.BlockAt(col, row)[ch] = uint16(math.Floor(256*sum[ch]/n + 0.5))
			}
		}
	}
	return s
}

// storedPixel is where an upright pixel is stored in a w x h picture, written
// down case by case from the table in Exif 2.32 (tag Orientation): the first
// words say where the stored row 0 is to be seen, the others the stored column 0.
func storedPixel(orientation, x, y, w, h int) (int, int) {
	switch orientation {
	case 2: // top, right
		return w - 1 - x, y
	case 3: // bottom, right
		return w - 1 - x, h - 1 - y
	case 4: // bottom, left
		return x, h - 1 - y
	case 5: // left, top
		return y, x
	case 6: // right, top
		return y, h - 1 - x
	case 7: // right, bottom
		return w - 1 - y, h - 1 - x
	case 8: // left, bottom
		return w - 1 - y, x
	}
	return x, y
}

func TestSurveyEqualsTheSlowTwinInEveryOrientation(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, size := range []image.Point{{1, 1}, {7, 9}, {16, 16}, {17, 33}, {40, 24}, {64, 50}, {101, 67}} {
		images := []image.Image{image.NewGray(image.Rect(0, 0, size.X, size.Y)), image.NewRGBA(image.Rect(0, 0, size.X, size.Y)),
			image.NewPaletted(image.Rect(0, 0, size.X, size.Y), color.Palette{color.White, color.Black, color.RGBA{10, 200, 254, 255}})}
		for i := range images[0].(*image.Gray).Pix {
			images[0].(*image.Gray).Pix[i] = uint8(rng.IntN(256))
			images[2].(*image.Paletted).Pix[i] = uint8(rng.IntN(3))
		}
		for i := range images[1].(*image.RGBA).Pix {
			images[1].(*image.RGBA).Pix[i] = uint8(rng.IntN(256)) | uint8(i%4/3*255) // opaque
		}
		for _, ratio := range ratios {
			images = append(images, randomYCbCr(rng, size.X, size.Y, ratio))
		}
		for _, img := range images {
			for o := 1; o <= 8; o++ {
				got, want := surveyImage(img, o), bruteSurvey(img, o)
				if !reflect.DeepEqual(got, want) {
					for i := range want.Cells {
						if got.Cells[i] != want.Cells[i] {
							t.Fatalf("%T %v orientation %d: cell %d = %+v, want %+v (pixel by pixel)", img, size, o, i, got.Cells[i], want.Cells[i])
						}
					}
					t.Fatalf("%T %v orientation %d: blocks or edges differ from the slow twin", img, size, o)
				}
			}
		}
	}
}

// A 16-bit picture of the values v*257 is the 8-bit picture of the values v.
func TestSixteenBitsFollowTheEightBitScale(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	small, large := image.NewRGBA(image.Rect(0, 0, 37, 21)), image.NewRGBA64(image.Rect(0, 0, 37, 21))
	for y := range 21 {
		for x := range 37 {
			c := color.RGBA{uint8(rng.IntN(256)), uint8(rng.IntN(256)), 254 + uint8(rng.IntN(2)), 255}
			small.SetRGBA(x, y, c)
			large.Set(x, y, c)
		}
	}
	a, b := surveyImage(small, 6), surveyImage(large, 6)
	if !reflect.DeepEqual(a, b) {
		t.Fatalf("survey of 16-bit values v*257 differs from that of the 8-bit values v: %+v, want %+v", b.Cells[0], a.Cells[0])
	}
	flat := image.NewGray16(image.Rect(0, 0, 16, 16))
	for i := range 256 {
		flat.SetGray16(i%16, i/16, color.Gray16{Y: 1000})
	}
	c := surveyImage(flat, 1).Cells[0]
	if want := float32(1000.0 / 257); c.Mean[0] != want || c.Var[0] != 0 || c.Min[0] != 3 || c.Max[0] != 4 {
		t.Fatalf("flat 16-bit value 1000: mean %v, var %v, extremes %d and %d; want %v, 0, 3 and 4", c.Mean[0], c.Var[0], c.Min[0], c.Max[0], want)
	}
}

// Uprighting a picture and then measuring it gives the cells of measuring it and
// then uprighting them. Where sizes are whole cells the plain orientation 1 is the same too.
func TestSurveyOfATurnedPictureIsTheTurnedSurvey(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	const w, h = 64, 48
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for i := range img.Pix {
		img.Pix[i] = uint8(rng.IntN(256))
	}
	for o := 1; o <= 8; o++ {
		uw, uh := layoutOf(o).size(w, h)
		turned := image.NewRGBA(image.Rect(0, 0, uw, uh))
		for y := range uh {
			for x := range uw {
				sx, sy := storedPixel(o, x, y, w, h)
				turned.SetRGBA(x, y, img.RGBAAt(sx, sy))
			}
		}
		if got, want := surveyImage(img, o), surveyImage(turned, 1); !reflect.DeepEqual(got, want) {
			t.Errorf("orientation %d: the survey differs from that of the turned picture", o)
		}
	}
}

// What a flat picture must give is known without any computing.
func TestFlatBlocksAreExact(t *testing.T) {
	img := image.NewGray(image.Rect(0, 0, 48, 32))
	for i := range img.Pix {
		img.Pix[i] = 253
		if x := i % 48; x >= 16 && x < 32 {
			img.Pix[i] = 254
		} else if x >= 32 {
			img.Pix[i] = 255
		}
	}
	s := surveyImage(img, 1)
	for col, want := range []struct {
		mean    float32
		clipped uint16
		block   uint16
	}{{253, 0, 253 * 256}, {254, 256, 254 * 256}, {255, 256, 65280}} {
		c := s.At(col, 1)
		if c.Mean[Green] != want.mean || c.Var[Green] != 0 || c.Clipped[Blue] != want.clipped || c.ClippedAny != want.clipped || s.BlockAt(2*col, 3)[Red] != want.block {
			t.Errorf("flat cell at column %d = %+v, want mean %v and %d clipped", col, c, want.mean, want.clipped)
		}
	}
	share, any := s.Clipped().Shares()
	if share[Red] != 2.0/3 || any != 2.0/3 {
		t.Errorf("clipped shares = %v and %v, want exactly 2/3", share, any)
	}
	if m := s.Mean()[Red]; m != 254 {
		t.Errorf("mean of the frame = %v, want 254", m)
	}
}

// Each cell's blocks tile it exactly, whichever end the partial cell is on.
func TestBlocksOfACellTileIt(t *testing.T) {
	for w := 1; w < 50; w++ {
		for o := 1; o <= 8; o++ {
			s := newSurvey(w, 50-w, layoutOf(o))
			for row := range s.Rows {
				for col := range s.Cols {
					c0, r0, c1, r1 := s.BlocksOf(col, row)
					if s.BlockColEdges[c0] != s.ColEdges[col] || s.BlockColEdges[c1] != s.ColEdges[col+1] ||
						s.BlockRowEdges[r0] != s.RowEdges[row] || s.BlockRowEdges[r1] != s.RowEdges[row+1] {
						t.Fatalf("%d x %d, orientation %d: cell %d, %d has blocks %d-%d x %d-%d, which don't tile it", w, 50-w, o, col, row, c0, c1, r0, r1)
					}
				}
			}
			if !slices.IsSorted(s.ColEdges) || s.ColEdges[0] != 0 || s.ColEdges[s.Cols] != s.Width {
				t.Fatalf("column edges %v of a width of %d", s.ColEdges, s.Width)
			}
			x0, y0, _, _ := s.CellBox(0, 0)
			_, _, x1, y1 := s.CellBox(s.Cols-1, s.Rows-1)
			if x0 != 0 || y0 != 0 || x1 != 1 || y1 != 1 {
				t.Fatalf("the cells' boxes span %v %v to %v %v, want the whole frame", x0, y0, x1, y1)
			}
		}
	}
}
