package photo

// Channels of a survey, in the order of its arrays.
const (
	Red = iota
	Green
	Blue
)

// The sizes that make up a survey, and the code value from which a sample
// counts as clipped. Sample values are 8-bit RGB: a JPEG's by the conversion of JFIF, to the nearest code value (as libjpeg converts), others' as the standard library has them.
const (
	CellSize  = 16 // pixels along the edge of a cell, at full size
	BlockSize = 8  // pixels along the edge of a block; a cell holds up to 2x2
	ClipCode  = 254
)

// Cell is what a survey keeps of up to 16x16 pixels.
type Cell struct {
	Mean       [3]float32 // code values, 0 to 255
	Var        [3]float32 // code values squared, population variance
	Min, Max   [3]uint8   // extremes over every pixel; absent unless Survey.Exact
	Clipped    [3]uint16  // samples at ClipCode or more; absent unless Survey.Exact
	ClippedAny uint16     // pixels with at least one such sample; absent unless Survey.Exact
	Pixels     uint16     // 1 to 256; fewer than 256 at the edges of the frame
}

// Block is the mean of up to 8x8 pixels, in 1/256 of a code value (0 to 65280).
type Block [3]uint16

// Survey is all that measuring sees of a frame: a grid of cells and blocks in
// upright orientation. It holds no pixels, and its size hardly depends on what is pictured.
//
// Cells are row-major. Partial cells lie where the stored picture's right and
// bottom edges come to lie once it is upright, so the edges are listed.
type Survey struct {
	Width, Height int   // pixels, upright
	Cols, Rows    int   // cells
	ColEdges      []int // Cols+1 pixel positions, from 0 to Width
	RowEdges      []int // Rows+1 pixel positions, from 0 to Height
	Cells         []Cell

	BlockCols, BlockRows int
	BlockColEdges        []int // BlockCols+1
	BlockRowEdges        []int // BlockRows+1
	Blocks               []Block

	Grey  bool // a greyscale file: the three channels are equal
	Exact bool // clipped counts and extremes were taken over every pixel
}

// At is the cell in a column and row.
func (s *Survey) At(col, row int) *Cell { return &s.Cells[row*s.Cols+col] }

// BlockAt is the block in a column and row of the grid of blocks.
func (s *Survey) BlockAt(col, row int) *Block { return &s.Blocks[row*s.BlockCols+col] }

// Pixels is the number of pixels of the frame.
func (s *Survey) Pixels() int { return s.Width * s.Height }

// CellBox is where a cell lies, in fractions of the upright frame: 0 is left or
// top, 1 right or bottom.
func (s *Survey) CellBox(col, row int) (x0, y0, x1, y1 float64) {
	w, h := float64(s.Width), float64(s.Height)
	return float64(s.ColEdges[col]) / w, float64(s.RowEdges[row]) / h,
		float64(s.ColEdges[col+1]) / w, float64(s.RowEdges[row+1]) / h
}

// BlocksOf is the range of blocks that make up a cell: columns c0 up to but not
// including c1, rows r0 up to but not including r1. A cell holds one or two each way.
func (s *Survey) BlocksOf(col, row int) (c0, r0, c1, r1 int) {
	c0, c1 = blockRange(col, s.Cols, s.BlockCols, s.ColEdges, s.BlockColEdges)
	r0, r1 = blockRange(row, s.Rows, s.BlockRows, s.RowEdges, s.BlockRowEdges)
	return c0, r0, c1, r1
}

// blockRange finds the blocks of one cell along one axis. The cell that holds a
// single block is the last one, or the first where uprighting turned the axis round.
func blockRange(cell, cells, blocks int, edges, blockEdges []int) (from, to int) {
	shift := 0
	if 2*cells-blocks == 1 && blockEdges[1] == edges[1] {
		shift = 1
	}
	return max(0, 2*cell-shift), min(blocks, 2*cell+2-shift)
}

// Clipped counts clipped samples.
type Clipped struct {
	Channel [3]int // samples at ClipCode or more
	Any     int    // pixels with at least one such sample
	Pixels  int    // pixels counted
}

// Shares are the counts as parts of the pixels counted, 0 to 1; all zero where
// no pixel was counted.
func (c Clipped) Shares() (channel [3]float64, any float64) {
	if c.Pixels == 0 {
		return channel, 0
	}
	n := float64(c.Pixels)
	for i, k := range c.Channel {
		channel[i] = float64(k) / n
	}
	return channel, float64(c.Any) / n
}

// Add counts a cell in.
func (c *Clipped) Add(cell *Cell) {
	for i, k := range cell.Clipped {
		c.Channel[i] += int(k)
	}
	c.Any += int(cell.ClippedAny)
	c.Pixels += int(cell.Pixels)
}

// Clipped counts over the whole frame: exact if Survey.Exact.
func (s *Survey) Clipped() Clipped {
	var c Clipped
	for i := range s.Cells {
		c.Add(&s.Cells[i])
	}
	return c
}

// Mean is the mean code value of the whole frame, per channel, 0 to 255.
func (s *Survey) Mean() [3]float64 {
	var sum [3]float64
	for i := range s.Cells {
		for ch, m := range s.Cells[i].Mean {
			// The conversion keeps the product from being fused with the sum, which would
			// make the last digit depend on the processor.
			sum[ch] += float64(float64(m) * float64(s.Cells[i].Pixels))
		}
	}
	for ch := range sum {
		sum[ch] /= float64(s.Pixels())
	}
	return sum
}

// layout is how the stored picture comes to lie upright.
type layout struct {
	transpose, flipX, flipY bool // the axes are exchanged first, then flipped, in upright terms
}

// layouts by Exif orientation 1 to 8 (Exif 2.32, tag 274: which side of the
// picture the stored row 0 and column 0 are).
var layouts = [9]layout{
	1: {},
	2: {flipX: true},
	3: {flipX: true, flipY: true},
	4: {flipY: true},
	5: {transpose: true},
	6: {transpose: true, flipX: true},
	7: {transpose: true, flipX: true, flipY: true},
	8: {transpose: true, flipY: true},
}

func layoutOf(orientation int) layout {
	if orientation < 1 || orientation > 8 {
		return layout{}
	}
	return layouts[orientation]
}

// size is the upright size of a stored w x h.
func (l layout) size(w, h int) (int, int) {
	if l.transpose {
		return h, w
	}
	return w, h
}

// place is where something at a stored column and row of a grid comes to lie,
// in a grid that is uprightCols x uprightRows.
func (l layout) place(col, row, uprightCols, uprightRows int) (int, int) {
	if l.transpose {
		col, row = row, col
	}
	if l.flipX {
		col = uprightCols - 1 - col
	}
	if l.flipY {
		row = uprightRows - 1 - row
	}
	return col, row
}

// newSurvey lays out the grids for a stored picture of w x h pixels.
func newSurvey(w, h int, l layout) *Survey {
	s := &Survey{}
	s.Width, s.Height = l.size(w, h)
	s.ColEdges = edges(s.Width, CellSize, l.flipX)
	s.RowEdges = edges(s.Height, CellSize, l.flipY)
	s.BlockColEdges = edges(s.Width, BlockSize, l.flipX)
	s.BlockRowEdges = edges(s.Height, BlockSize, l.flipY)
	s.Cols, s.Rows = len(s.ColEdges)-1, len(s.RowEdges)-1
	s.BlockCols, s.BlockRows = len(s.BlockColEdges)-1, len(s.BlockRowEdges)-1
	s.Cells = make([]Cell, s.Cols*s.Rows)
	s.Blocks = make([]Block, s.BlockCols*s.BlockRows)
	return s
}

// edges cuts an axis into steps; what is left over lies at the end, or at the
// start where the axis is turned round.
func edges(length, step int, flipped bool) []int {
	n := (length + step - 1) / step
	e := make([]int, n+1)
	for i := range e {
		at := min(i*step, length)
		if flipped {
			e[n-i] = length - at
		} else {
			e[i] = at
		}
	}
	return e
}
