package photo

import (
	"bytes"
	"image"
	"image/jpeg"
	"sync"

	"thirdstop/assess/photo/entropy"
)

// This is the quick way to a survey, for ordinary JPEGs: no picture is ever
// built. The plain way takes what it leaves alone, and is what it is held against.

// measureJPEG takes the survey of a JPEG that has passed checkJPEG.
func (p *Picture) measureJPEG(name string, data []byte) error {
	p.Orientation = max(p.Exif.Orientation, 1)
	if s := surveyQuickly(data, p.Orientation, entropy.Exact); s != nil {
		p.decode = sync.OnceValues(func() (image.Image, error) { return jpeg.Decode(bytes.NewReader(data)) })
		p.half = sync.OnceValues(func() (image.Image, error) { return entropy.Half(data) })
		p.took(s)
		return nil
	}
	img, err := plainJPEG(name, data)
	if err != nil {
		return err
	}
	p.measure(img)
	return nil
}

// forThumbnail is an image to make a thumbnail from, and its full size. An image of
// half the size does where the thumbnail is smaller still: it takes a quarter of the
// memory and of the time.
func (p *Picture) forThumbnail(maxEdge int) (image.Image, image.Point, error) {
	if p.decode == nil {
		return nil, image.Point{}, ErrReleased
	}
	if p.half != nil {
		w, h := layoutOf(p.Orientation).size(p.Survey.Width, p.Survey.Height)
		if max(w, h) >= 2*maxEdge {
			img, err := p.half()
			return img, image.Point{X: w, Y: h}, err
		}
	}
	img, err := p.decode()
	if err != nil {
		return nil, image.Point{}, err
	}
	return img, img.Bounds().Size(), nil
}

// surveyQuickly is nil where a file isn't for the quick reader.
func surveyQuickly(data []byte, orientation int, want entropy.Want) *Survey {
	l := layoutOf(orientation)
	var s *Survey
	err := entropy.Read(data, want, func(f entropy.Frame) entropy.Sink {
		s = newSurvey(f.Width, f.Height, l)
		s.Grey, s.Exact = f.Grey, want == entropy.Exact
		return placer{s, l}
	})
	if err != nil {
		return nil
	}
	return s
}

// placer puts what was measured where it lies upright.
type placer struct {
	s *Survey
	l layout
}

// line is where a stored row of a grid comes to lie: its first place, and the steps to
// the next.
func (l layout) line(row, uprightCols, uprightRows int) (first, step int) {
	col, r := l.place(0, row, uprightCols, uprightRows)
	first = r*uprightCols + col
	col, r = l.place(1, row, uprightCols, uprightRows)
	return first, r*uprightCols + col - first
}

func (p placer) Blocks(row int, sums [][3]uint32) {
	at, step := p.l.line(row, p.s.BlockCols, p.s.BlockRows)
	w, h := p.l.size(p.s.Width, p.s.Height) // as stored
	whole := w / BlockSize
	if BlockSize*(row+1) > h {
		whole = 0
	}
	for col := range sums {
		b, sum := &p.s.Blocks[at], &sums[col]
		at += step
		// In 1/256 of a code value, like the sums.
		if col < whole {
			b[0], b[1], b[2] = uint16((sum[0]+32)>>6), uint16((sum[1]+32)>>6), uint16((sum[2]+32)>>6)
			continue
		}
		pixels := uint32(min(BlockSize, w-BlockSize*col) * min(BlockSize, h-BlockSize*row))
		for ch := range b {
			b[ch] = uint16((2*sum[ch] + pixels) / (2 * pixels))
		}
	}
}

func (p placer) Cells(row int, cells []entropy.Cell) {
	at, step := p.l.line(row, p.s.Cols, p.s.Rows)
	for col := range cells {
		to, c := &p.s.Cells[at], &cells[col]
		at += step
		to.Min, to.Max, to.Clipped, to.ClippedAny, to.Pixels = c.Min, c.Max, c.Clipped, c.Any, c.Pixels
		n := float64(c.Pixels)
		for ch := range to.Mean {
			to.Mean[ch] = float32(float64(c.Sum[ch]) / entropy.Unit / n)
			to.Var[ch] = float32(c.Spread[ch] / (n * n))
		}
	}
}
