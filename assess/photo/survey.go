package photo

// Channels of a survey, in the order of its arrays.
const (
	Red = iota
	Green
	Blue
)

// The sizes that make up a survey, and the code value from which a sample
// counts as clipped. The standard library's 8-bit RGB defines the sample values.
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
