package photo

import (
	"image"
	"image/color"
	"runtime"
	"sync/atomic"

	"thirdstop/assess/aside"
)

// This is the plain way to a survey: decode the whole image with the standard
// library, look at every pixel. It is meant to be obviously right and stays the
// reference for any faster way.

// rows gives the samples of a decoded image, row by row.
type rows interface {
	// fill writes the red, green and blue samples of pixels x0 up to x1 (at most
	// CellSize of them) of row y. x0 is a multiple of CellSize.
	fill(x0, x1, y int, px *[3][CellSize]uint16)
	// depth says what the samples mean.
	depth() depth
}

// depth is the scale of samples.
type depth struct {
	unit uint64 // one code value of the 8-bit scale: 1, or 257 for 16-bit samples
	clip uint16 // the least sample that counts as clipped
}

// The 8-bit value of a 16-bit sample is its upper byte, as the standard library
// has it; means use the finer scale on which 65535 is 255.
var (
	depth8  = depth{1, ClipCode}
	depth16 = depth{257, ClipCode << 8}
)

// surveyImage measures a decoded image that is stored in the given Exif
// orientation. It works on the planes themselves, on all cores, and allocates nothing per pixel.
func surveyImage(img image.Image, orientation int) *Survey {
	size := img.Bounds().Size()
	l := layoutOf(orientation)
	s := newSurvey(size.X, size.Y, l)
	s.Exact = true
	src, grey := rowsOf(img)
	s.Grey = grey

	bands := (size.Y + CellSize - 1) / CellSize
	var next atomic.Int64
	var wg aside.Work
	for range min(runtime.GOMAXPROCS(0), bands) {
		wg.Go(func() {
			for {
				band := int(next.Add(1)) - 1
				if band >= bands {
					return
				}
				surveyBand(s, src, l, band, size)
			}
		})
	}
	wg.Wait()
	return s
}

// surveyBand measures one stored row of cells. Bands write to cells and blocks
// of their own, so they need no lock.
func surveyBand(s *Survey, src rows, l layout, band int, size image.Point) {
	d := src.depth()
	y0, y1 := band*CellSize, min((band+1)*CellSize, size.Y)
	var px [3][CellSize]uint16
	for x0 := 0; x0 < size.X; x0 += CellSize {
		x1 := min(x0+CellSize, size.X)
		n := x1 - x0
		var t tally
		t.start()
		for y := y0; y < y1; y++ {
			src.fill(x0, x1, y, &px)
			t.add(&px, n, (y-y0)/BlockSize, d.clip)
		}
		col, row := l.place(x0/CellSize, band, s.Cols, s.Rows)
		t.cell(s.At(col, row), n, y1-y0, d)
		for by := 0; by*BlockSize < y1-y0; by++ {
			bh := min(BlockSize, y1-y0-by*BlockSize)
			for bx := 0; bx*BlockSize < n; bx++ {
				bw := min(BlockSize, n-bx*BlockSize)
				bc, br := l.place(x0/BlockSize+bx, y0/BlockSize+by, s.BlockCols, s.BlockRows)
				b := s.BlockAt(bc, br)
				for ch := range b {
					b[ch] = blockMean(t.sum[by][bx][ch], uint64(bw*bh)*d.unit)
				}
			}
		}
	}
}

// blockMean is 256 sum/count, rounded half up.
func blockMean(sum, count uint64) uint16 { return uint16((512*sum + count) / (2 * count)) }

// tally is what is kept while a cell is looked at.
type tally struct {
	sum      [2][2][3]uint64 // by block row, block column, channel
	square   [3]uint64
	min, max [3]uint16
	clipped  [3]uint16
	any      uint16
}

func (t *tally) start() { t.min = [3]uint16{0xFFFF, 0xFFFF, 0xFFFF} }

// add takes in one row of n pixels.
func (t *tally) add(px *[3][CellSize]uint16, n, blockRow int, clip uint16) {
	for ch := range px {
		row := px[ch][:n]
		lo, hi := t.min[ch], t.max[ch]
		var square uint64
		for bx := 0; bx*BlockSize < n; bx++ {
			var sum uint64
			for _, v := range row[bx*BlockSize : min((bx+1)*BlockSize, n)] {
				sum += uint64(v)
				square += uint64(v) * uint64(v)
				lo, hi = min(lo, v), max(hi, v)
			}
			t.sum[blockRow][bx][ch] += sum
		}
		t.min[ch], t.max[ch] = lo, hi
		t.square[ch] += square
	}
	// Few cells clip, and the maximum already tells whether one can.
	if max(t.max[Red], t.max[Green], t.max[Blue]) < clip {
		return
	}
	for i := range n {
		var any uint16
		for ch := range px {
			if px[ch][i] >= clip {
				t.clipped[ch]++
				any = 1
			}
		}
		t.any += any
	}
}

// cell writes down the tally of w x h pixels.
func (t *tally) cell(c *Cell, w, h int, d depth) {
	n := uint64(w * h)
	c.Pixels = uint16(n)
	c.Clipped, c.ClippedAny = t.clipped, t.any
	for ch := range c.Mean {
		sum := t.sum[0][0][ch] + t.sum[0][1][ch] + t.sum[1][0][ch] + t.sum[1][1][ch]
		c.Mean[ch] = float32(float64(sum) / float64(n*d.unit))
		// Whole numbers throughout: n x sum of squares stays under 2^49, so the
		// difference is exact and never negative.
		c.Var[ch] = float32(float64(n*t.square[ch]-sum*sum) / float64(n*n*d.unit*d.unit))
		c.Min[ch] = uint8(uint64(t.min[ch]) / d.unit)
		c.Max[ch] = uint8((uint64(t.max[ch]) + d.unit - 1) / d.unit)
	}
}

// rowsOf finds the quickest way to the samples of an image, and says whether it is greyscale.
func rowsOf(img image.Image) (r rows, grey bool) {
	switch img := img.(type) {
	case *image.YCbCr:
		return newYCbCrRows(img), false
	case *image.Gray:
		return grayRows{img}, true
	case *image.Gray16:
		return gray16Rows{img}, true
	case *image.RGBA:
		return byteRows{img.Pix, img.Stride}, false
	case *image.NRGBA:
		return byteRows{img.Pix, img.Stride}, false
	case *image.RGBA64:
		return wordRows{img.Pix, img.Stride}, false
	case *image.NRGBA64:
		return wordRows{img.Pix, img.Stride}, false
	}
	return anyRows{img}, false
}

// yCbCrRows converts as libjpeg does, to the nearest code value: color.YCbCr.RGBA cuts off after adding y/255, which puts light
// colours half a code value too high.
type yCbCrRows struct {
	*image.YCbCr
	shift uint // a chroma sample covers 1<<shift pixels of a row
}

func newYCbCrRows(img *image.YCbCr) yCbCrRows {
	r := yCbCrRows{YCbCr: img}
	switch img.SubsampleRatio {
	case image.YCbCrSubsampleRatio422, image.YCbCrSubsampleRatio420:
		r.shift = 1
	case image.YCbCrSubsampleRatio411, image.YCbCrSubsampleRatio410:
		r.shift = 2
	}
	return r
}

func (r yCbCrRows) depth() depth { return depth8 }

func (r yCbCrRows) fill(x0, x1, y int, px *[3][CellSize]uint16) {
	o := r.Rect.Min // 0, 0 for every image a decoder returns
	n := x1 - x0
	yi := r.YOffset(o.X+x0, o.Y+y)
	ci := r.COffset(o.X+x0, o.Y+y)
	luma := r.Y[yi : yi+n]
	chroma := ((n - 1) >> r.shift) + 1
	cb, cr := r.Cb[ci:ci+chroma], r.Cr[ci:ci+chroma]
	for i, v := range luma {
		c := i >> r.shift
		px[Red][i], px[Green][i], px[Blue][i] = yCbCrToRGB(v, cb[c], cr[c])
	}
}

// yCbCrToRGB is the conversion of JFIF 1.02 in 16-bit fixed point with the coefficients and rounding of libjpeg (jdcolor.c).
func yCbCrToRGB(y, cb, cr uint8) (uint16, uint16, uint16) {
	luma := int32(y)<<16 + 1<<15
	b1, r1 := int32(cb)-128, int32(cr)-128
	return clamp(luma + 91881*r1), clamp(luma - 22554*b1 - 46802*r1), clamp(luma + 116130*b1)
}

func clamp(v int32) uint16 { return uint16(min(max(v>>16, 0), 255)) }

type grayRows struct{ *image.Gray }

func (r grayRows) depth() depth { return depth8 }

func (r grayRows) fill(x0, x1, y int, px *[3][CellSize]uint16) {
	for i, v := range r.Pix[y*r.Stride+x0 : y*r.Stride+x1] {
		px[Red][i], px[Green][i], px[Blue][i] = uint16(v), uint16(v), uint16(v)
	}
}

type gray16Rows struct{ *image.Gray16 }

func (r gray16Rows) depth() depth { return depth16 }

func (r gray16Rows) fill(x0, x1, y int, px *[3][CellSize]uint16) {
	for i := range x1 - x0 {
		at := y*r.Stride + 2*(x0+i)
		v := uint16(r.Pix[at])<<8 | uint16(r.Pix[at+1])
		px[Red][i], px[Green][i], px[Blue][i] = v, v, v
	}
}

// byteRows reads four bytes a pixel and takes no notice of the fourth: a
// transparent pixel still has the colour that was stored.
type byteRows struct {
	pix    []uint8
	stride int
}

func (r byteRows) depth() depth { return depth8 }

func (r byteRows) fill(x0, x1, y int, px *[3][CellSize]uint16) {
	row := r.pix[y*r.stride+4*x0 : y*r.stride+4*x1]
	for i := range x1 - x0 {
		for ch := range px {
			px[ch][i] = uint16(row[4*i+ch])
		}
	}
}

// wordRows reads four big-endian 16-bit words a pixel.
type wordRows struct {
	pix    []uint8
	stride int
}

func (r wordRows) depth() depth { return depth16 }

func (r wordRows) fill(x0, x1, y int, px *[3][CellSize]uint16) {
	row := r.pix[y*r.stride+8*x0 : y*r.stride+8*x1]
	for i := range x1 - x0 {
		for ch := range px {
			px[ch][i] = uint16(row[8*i+2*ch])<<8 | uint16(row[8*i+2*ch+1])
		}
	}
}

// anyRows asks the image for each pixel: slow, and right for every image there is.
type anyRows struct{ image.Image }

func (r anyRows) depth() depth { return depth8 }

func (r anyRows) fill(x0, x1, y int, px *[3][CellSize]uint16) {
	o := r.Bounds().Min
	for i := range x1 - x0 {
		c := color.NRGBAModel.Convert(r.At(o.X+x0+i, o.Y+y)).(color.NRGBA)
		px[Red][i], px[Green][i], px[Blue][i] = uint16(c.R), uint16(c.G), uint16(c.B)
	}
}
