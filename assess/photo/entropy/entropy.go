// Package entropy measures baseline JPEG files without ever building the
// picture: it decodes the entropy-coded blocks one chunk at a time, transforms
// each block in place, adds up what a survey keeps of it, and forgets it.
//
// It knows the JPEG standard (ITU-T T.81), the exact arithmetic of Go's
// image/jpeg, the conversion to RGB of JFIF, and processors. It must never know what a survey
// is for, which way up a picture is held, or how a person is told that a file is
// damaged: a file that is in any way out of the ordinary is [ErrNotMine], and
// somebody else reads it.
//
// What it returns for a file that is its own equals what adding up the pixels of
// image/jpeg's picture returns, each converted to the nearest code value, to the last unit, in [Exact].
//
// Read this file first, then chunk.go, which splits the work, stream.go and
// huffman.go, which decode, and measure.go, which adds up.
package entropy

import (
	"errors"
	"runtime"
)

// ErrNotMine says that this reader leaves a file alone: another kind of JPEG, a
// rare layout, or damage. It says nothing about the file being good or bad.
var ErrNotMine = errors.New("not a JPEG for the quick reader")

// The sizes that results come in.
const (
	CellSize  = 16
	BlockSize = 8
	ClipCode  = 254           // the code value from which a sample counts as clipped
	Unit      = 1 << unitBits // sums are in 1/256 of a code value
)

const unitBits = 8

// Want says how much is measured.
type Want int

// The degrees of measuring.
const (
	// Exact looks at every pixel: extremes and clipped counts, and sums equal to
	// those over the decoded picture.
	Exact Want = iota
	// Levels takes means and variances from the coefficients alone (Parseval). It
	// has no extremes and no counts, and knows nothing of code values that were cut
	// off at 0 or 255 in the conversion to RGB.
	Levels
)

// Frame is what a JPEG says of its size.
type Frame struct {
	Width, Height int // as stored
	Grey          bool
}

// Cell is what is kept of up to 16x16 pixels: red, green, blue.
type Cell struct {
	Sum      [3]uint32  // in 1/Unit of a code value
	Spread   [3]float64 // Pixels squared times the population variance: whole and exact in Exact
	Min, Max [3]uint8   // in Exact only, like the counts
	Clipped  [3]uint16  // samples at ClipCode or more
	Any      uint16     // pixels with at least one such sample
	Pixels   uint16
}

// Sink takes what was measured. Rows and columns are those of the stored picture.
// Calls come from several goroutines at once, and every row comes exactly once; if
// Read fails, some may never come. Nothing passed may be kept.
type Sink interface {
	// Blocks takes a row of blocks: the sums of up to 8x8 pixels each, in 1/Unit of a code value.
	Blocks(row int, sums [][3]uint32)
	// Cells takes a row of cells.
	Cells(row int, cells []Cell)
}

// Read measures a JPEG. It calls begin once, when the file is known to be of a
// layout it reads, and gives what it measures to the sink that begin returns. It
// uses up to GOMAXPROCS goroutines, and all have ended when it returns.
//
// Beside the file it keeps a few MiB for each goroutine, whatever the file says,
// and a band of sums as wide as the picture.
func Read(data []byte, want Want, begin func(Frame) Sink) error {
	return readWith(data, want, begin, runtime.GOMAXPROCS(0), vectors)
}

func readWith(data []byte, want Want, begin func(Frame) Sink, workers int, vector bool) error {
	j, err := begun(data, want, begin, workers, vector)
	if err != nil {
		return err
	}
	return j.run(workers)
}

// begun is a job that waits to be run.
func begun(data []byte, want Want, begin func(Frame) Sink, workers int, vector bool) (*job, error) {
	j, err := parse(data)
	if err != nil {
		return nil, err
	}
	if err := j.split(workers, vector); err != nil {
		return nil, err
	}
	j.want, j.vector = want, vector
	j.sink = begin(Frame{j.width, j.height, len(j.comps) == 1})
	return j, nil
}
