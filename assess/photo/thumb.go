package photo

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"runtime"
	"sync/atomic"

	"thirdstop/assess/aside"
)

// ErrReleased is returned for a thumbnail of a picture whose image is gone.
var ErrReleased = errors.New("the picture's image was released before its thumbnail was made")

// thumbnailQuality is the JPEG quality of thumbnails: enough to judge a pose, not a tone.
const thumbnailQuality = 85

// Thumbnail is the picture as an upright JPEG whose longer edge has at most
// maxEdge pixels; a smaller picture keeps its size. Each of its pixels is the
// area-weighted mean of the pixels it covers, in code values; of squares of 2x2 or 4x4
// pixels where the picture is at least so many times as large, and of the pixels of a thumbnail that was made before
// where that is at least four times as large. It is not for several goroutines at once.
func (p *Picture) Thumbnail(maxEdge int) ([]byte, error) {
	return p.ThumbnailYielding(maxEdge, func() {})
}

// ThumbnailYielding is [Picture.Thumbnail] for a time when there may be something more urgent: it calls yield, which may
// wait, between pieces of work of a millisecond or so, from several goroutines at once; decoding is one piece.
func (p *Picture) ThumbnailYielding(maxEdge int, yield func()) ([]byte, error) {
	yield()
	maxEdge = max(maxEdge, 1)
	full, times, of, err := p.forThumbnail(maxEdge)
	if err != nil {
		return nil, err
	}
	l := layoutOf(p.Orientation)
	if from := p.larger; from != nil && max(from.Rect.Dx(), from.Rect.Dy()) >= 4*maxEdge {
		// Upright already, and of the full picture's shape but for a rounded edge.
		full, times, of, l = from, 1, from.Rect.Size(), layoutOf(1)
	}
	size := full.Bounds().Size()
	// An edge that doesn't divide leaves a smaller picture a part of a sample short of whole ones.
	short := func(samples, pixels int) int { return 256 / times * (times*samples - pixels) }
	shortX, shortY := short(size.X, of.X), short(size.Y, of.Y)
	long := max(of.X, of.Y)
	w, h := of.X, of.Y
	if long > maxEdge {
		w, h = max(1, (of.X*maxEdge+long/2)/long), max(1, (of.Y*maxEdge+long/2)/long)
	}
	var small image.Image
	uw, uh := l.size(w, h)
	switch img := full.(type) {
	case *image.YCbCr:
		// Averaging before the colour conversion is the same as after it, but for
		// rounding, and for colours that no RGB has.
		out := image.NewYCbCr(image.Rect(0, 0, uw, uh), image.YCbCrSubsampleRatio444)
		cw, ch := chromaSize(img)
		// So may chroma be, counted in its own samples.
		shortC, shortR := 0, 0
		if times > 1 {
			shortC, shortR = short(cw, coarse(of.X, img.Rect.Dx(), cw)), short(ch, coarse(of.Y, img.Rect.Dy(), ch))
		}
		upright(out.Y, shrink(plane{img.Y, img.YStride, 1, size.X, size.Y, shortX, shortY}, w, h, yield), w, h, 1, l)
		upright(out.Cb, shrink(plane{img.Cb, img.CStride, 1, cw, ch, shortC, shortR}, w, h, yield), w, h, 1, l)
		upright(out.Cr, shrink(plane{img.Cr, img.CStride, 1, cw, ch, shortC, shortR}, w, h, yield), w, h, 1, l)
		small = out
		if p.larger == nil || uw > p.larger.Rect.Dx() {
			p.larger = out
		}
	case *image.Gray:
		out := image.NewGray(image.Rect(0, 0, uw, uh))
		upright(out.Pix, shrink(plane{img.Pix, img.Stride, 1, size.X, size.Y, shortX, shortY}, w, h, yield), w, h, 1, l)
		small = out
	default:
		out := image.NewRGBA(image.Rect(0, 0, uw, uh))
		rgb := newRGBA(img)
		for ch := range 3 {
			upright(out.Pix[ch:], shrink(plane{rgb.Pix[ch:], rgb.Stride, 4, size.X, size.Y, 0, 0}, w, h, yield), w, h, 4, l)
		}
		for i := 3; i < len(out.Pix); i += 4 {
			out.Pix[i] = 255
		}
		small = out
	}
	var buf bytes.Buffer
	err = jpeg.Encode(yielding{&buf, yield}, small, &jpeg.Options{Quality: thumbnailQuality})
	return buf.Bytes(), err
}

// yielding yields before every write: an encoder writes some thousand bytes at a time.
type yielding struct {
	to    io.Writer
	yield func()
}

func (y yielding) Write(b []byte) (int, error) {
	y.yield()
	return y.to.Write(b)
}

// newRGBA is an image as 8-bit RGB, without a copy where it is that already.
func newRGBA(img image.Image) *image.RGBA {
	switch img := img.(type) {
	case *image.RGBA:
		return img
	case *image.NRGBA: // colours as stored, whatever their transparency
		return &image.RGBA{Pix: img.Pix, Stride: img.Stride, Rect: img.Rect}
	}
	src, _ := rowsOf(img)
	d := src.depth()
	size := img.Bounds().Size()
	out := image.NewRGBA(image.Rectangle{Max: size})
	var px [3][CellSize]uint16
	for y := range size.Y {
		for x0 := 0; x0 < size.X; x0 += CellSize {
			x1 := min(x0+CellSize, size.X)
			src.fill(x0, x1, y, &px)
			for i := range x1 - x0 {
				out.SetRGBA(x0+i, y, color.RGBA{
					uint8(uint64(px[Red][i]) / d.unit), uint8(uint64(px[Green][i]) / d.unit), uint8(uint64(px[Blue][i]) / d.unit), 255})
			}
		}
	}
	return out
}

// chromaSize is how many chroma samples across and down cover the picture.
func chromaSize(img *image.YCbCr) (w, h int) {
	r := img.Rect
	last := img.COffset(r.Max.X-1, r.Min.Y) - img.COffset(r.Min.X, r.Min.Y)
	rows := (img.COffset(r.Min.X, r.Max.Y-1) - img.COffset(r.Min.X, r.Min.Y)) / max(img.CStride, 1)
	return last + 1, rows + 1
}

// plane is one channel of an image: pix[y*stride+x*step].
type plane struct {
	pix          []uint8
	stride, step int
	w, h         int
	lessX, lessY int // how much of the last column and row is no part of the picture, in 1/256 of a sample
}

// coarse is how many samples of chroma the whole picture has along an edge of
// pixels, of which half the size has luma and chroma samples.
func coarse(pixels, luma, chroma int) int {
	if chroma == luma && pixels > 1 {
		return pixels
	}
	return (pixels + 1) / 2
}

// shrink averages a plane down to w x h, or up where it is the smaller one (as
// chroma may be). Weights are in 1/256 of a sample.
func shrink(p plane, w, h int, yield func()) []uint8 {
	out := make([]uint8, w*h)
	if p.step == 1 && p.lessX == 0 && p.lessY == 0 && (w == p.w || w == 2*p.w) && (h == p.h || h == 2*p.h) {
		p.repeat(out, w/p.w, h/p.h)
		return out
	}
	cols, rows := samples(256*p.w-p.lessX, w), samples(256*p.h-p.lessY, h)
	widths := make([]uint64, w) // of a small pixel
	for x, c := range cols {
		for _, s := range c {
			widths[x] += s.weight
		}
	}
	var next atomic.Int64
	var wg aside.Work
	for range min(runtime.GOMAXPROCS(0), h) {
		wg.Go(func() {
			sums := make([]uint32, p.w) // of up to 65,535 rows, so of weights of up to 256 times as much: less than 2^32
			for {
				y := int(next.Add(1)) - 1
				if y >= h {
					return
				}
				yield()
				clear(sums)
				var rowWeight uint64
				for _, s := range rows[y] {
					rowWeight += s.weight
					weight := uint32(s.weight)
					row := p.pix[s.at*p.stride:]
					if p.step == 1 {
						row = row[:len(sums)]
						for x, v := range row {
							sums[x] += weight * uint32(v)
						}
						continue
					}
					for x := range sums {
						sums[x] += weight * uint32(row[x*p.step])
					}
				}
				for x, c := range cols {
					var sum uint64
					for _, s := range c {
						sum += s.weight * uint64(sums[s.at])
					}
					weight := widths[x] * rowWeight
					out[y*w+x] = uint8((sum + weight/2) / weight)
				}
			}
		})
	}
	wg.Wait()
	return out
}

// repeat copies a plane, each sample once or twice across and down.
func (p plane) repeat(out []uint8, across, down int) {
	w := across * p.w
	for y := range p.h {
		row, to := p.pix[y*p.stride:y*p.stride+p.w], out[y*down*w:(y*down+1)*w]
		if across == 1 {
			copy(to, row)
		} else {
			for x, v := range row {
				to[2*x], to[2*x+1] = v, v
			}
		}
		if down == 2 {
			copy(out[(2*y+1)*w:], to)
		}
	}
}

// weighted is a sample and how much of it is covered, 1 to 256.
type weighted struct {
	at     int
	weight uint64
}

// samples lists, for each of to small pixels along an axis of so many 1/256 of a
// sample, those it covers.
func samples(from, to int) [][]weighted {
	lists := make([][]weighted, to)
	all := make([]weighted, 0, from/256+1+2*to)
	for i := range lists {
		a, b := i*from/to, (i+1)*from/to
		b = max(b, a+1)
		start := len(all)
		for at := a / 256; at*256 < b; at++ {
			all = append(all, weighted{at, uint64(min(b, (at+1)*256) - max(a, at*256))})
		}
		lists[i] = all[start:len(all):len(all)]
	}
	return lists
}

// upright writes a stored w x h plane where it lies upright, to every step-th byte.
func upright(out, in []uint8, w, h, step int, l layout) {
	uw, uh := l.size(w, h)
	for y := range h {
		at, next := l.line(y, uw, uh)
		if w == 1 {
			next = 0 // there is no second place, wherever it would lie
		}
		for _, v := range in[y*w : y*w+w] {
			out[at*step] = v
			at += next
		}
	}
}
