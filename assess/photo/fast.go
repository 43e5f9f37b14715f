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
	if s, quarter := surveyWithQuarter(data, p.Orientation); s != nil {
		p.quarter = quarter
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

// quarterFrom is the longer edge from which a picture of a quarter of it is kept: there it is as large as the page's
// pictures. It comes from the one pass that measures, and spares decoding a second time.
const quarterFrom = 6000

// forThumbnail is an image to make a thumbnail from, how many times smaller it is than the picture, and that one's size.
// An image of half the size, or a quarter, does where the thumbnail is no larger: it takes a fraction of the memory
// and of the time.
func (p *Picture) forThumbnail(maxEdge int) (img image.Image, times int, of image.Point, err error) {
	if p.decode == nil {
		return nil, 0, of, ErrReleased
	}
	if p.half != nil {
		of.X, of.Y = layoutOf(p.Orientation).size(p.Survey.Width, p.Survey.Height)
		long := max(of.X, of.Y)
		if p.quarter != nil && long >= 4*maxEdge {
			return p.quarter, 4, of, nil
		}
		if long >= 2*maxEdge {
			img, err = p.half()
			return img, 2, of, err
		}
	}
	if img, err = p.decode(); err != nil {
		return nil, 0, of, err
	}
	return img, 1, img.Bounds().Size(), nil
}

// surveyQuickly is nil where a file isn't for the quick reader.
func surveyQuickly(data []byte, orientation int, want entropy.Want) *Survey {
	var s *Survey
	if err := entropy.Read(data, want, into(&s, orientation, want)); err != nil {
		return nil
	}
	return s
}

// surveyWithQuarter is surveyQuickly's exact survey and, of a large picture, one of a quarter of its size.
func surveyWithQuarter(data []byte, orientation int) (s *Survey, quarter image.Image) {
	quarter, err := entropy.ReadQuarter(data, quarterFrom, into(&s, orientation, entropy.Exact))
	if err != nil {
		return nil, nil
	}
	return s, quarter
}

// into makes a survey when its size is known, and has it filled.
func into(to **Survey, orientation int, want entropy.Want) func(entropy.Frame) entropy.Sink {
	l := layoutOf(orientation)
	return func(f entropy.Frame) entropy.Sink {
		s := newSurvey(f.Width, f.Height, l)
		s.Grey, s.Exact = f.Grey, want == entropy.Exact
		*to = s
		return placer{s, l}
	}
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
