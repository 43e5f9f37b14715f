package entropy

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"sync"

	"thirdstop/testdata"
)

// The reference: image/jpeg decodes the whole picture, each pixel is converted, and every pixel is added up.

// grid is a sink that keeps everything.
type grid struct {
	frame  Frame
	cols   int
	bcols  int
	mu     sync.Mutex
	cells  []Cell
	blocks []blockSum
	faults []string
}

type blockSum struct {
	sum    [3]uint32
	pixels int
}

func newGrid(f Frame) *grid {
	g := &grid{frame: f, cols: (f.Width + 15) / 16, bcols: (f.Width + 7) / 8}
	g.cells = make([]Cell, g.cols*((f.Height+15)/16))
	g.blocks = make([]blockSum, g.bcols*((f.Height+7)/8))
	return g
}

func (g *grid) Blocks(row int, sums [][3]uint32) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if len(sums) != g.bcols {
		g.faults = append(g.faults, fmt.Sprintf("row %d has %d blocks, want %d", row, len(sums), g.bcols))
		return
	}
	for col, sum := range sums {
		b := &g.blocks[row*g.bcols+col]
		if b.pixels != 0 {
			g.faults = append(g.faults, fmt.Sprintf("block %d, %d comes twice", col, row))
		}
		*b = blockSum{sum, min(8, g.frame.Width-8*col) * min(8, g.frame.Height-8*row)}
	}
}

func (g *grid) Cells(row int, cells []Cell) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if len(cells) != g.cols {
		g.faults = append(g.faults, fmt.Sprintf("row %d has %d cells, want %d", row, len(cells), g.cols))
		return
	}
	for col, c := range cells {
		at := &g.cells[row*g.cols+col]
		if at.Pixels != 0 || c.Pixels == 0 {
			g.faults = append(g.faults, fmt.Sprintf("cell %d, %d comes twice or empty", col, row))
		}
		*at = c
	}
}

// survey reads with the quick reader. how says on how many goroutines, and
// whether vector kernels may be used.
func survey(data []byte, want Want, workers int, vector bool) (*grid, error) {
	var g *grid
	err := readWith(data, want, func(f Frame) Sink { g = newGrid(f); return g }, workers, vector && vectors)
	if err != nil {
		return nil, err
	}
	return g, nil
}

// reference adds up the pixels of a decoded picture.
func reference(img image.Image) *grid {
	size := img.Bounds()
	_, grey := img.(*image.Gray)
	g := newGrid(Frame{size.Dx(), size.Dy(), grey})
	type sums struct{ n, sum, square [3]uint64 }
	spread := make([]sums, len(g.cells))
	for i := range g.cells {
		g.cells[i].Min = [3]uint8{255, 255, 255}
	}
	for y := range size.Dy() {
		for x := range size.Dx() {
			px := testdata.Pixel(img, x, y)
			cell, block := y/16*g.cols+x/16, y/8*g.bcols+x/8
			c, s := &g.cells[cell], &spread[cell]
			c.Pixels++
			g.blocks[block].pixels++
			any := uint16(0)
			for ch, v := range px {
				g.blocks[block].sum[ch] += uint32(v) * Unit
				c.Sum[ch] += uint32(v) * Unit
				s.sum[ch] += uint64(v)
				s.square[ch] += uint64(v) * uint64(v)
				c.Min[ch], c.Max[ch] = min(c.Min[ch], v), max(c.Max[ch], v)
				if v >= ClipCode {
					c.Clipped[ch]++
					any = 1
				}
			}
			c.Any += any
		}
	}
	for i := range g.cells {
		n := uint64(g.cells[i].Pixels)
		for ch := range 3 {
			g.cells[i].Spread[ch] = float64(n*spread[i].square[ch] - spread[i].sum[ch]*spread[i].sum[ch])
		}
	}
	return g
}

// differs says where two results differ first, and is empty where they don't.
func differs(got, want *grid) string {
	if len(got.faults) > 0 {
		return got.faults[0]
	}
	if got.frame != want.frame {
		return fmt.Sprintf("the frame is %+v, want %+v", got.frame, want.frame)
	}
	for i := range want.blocks {
		if got.blocks[i] != want.blocks[i] {
			return fmt.Sprintf("block %d, %d is %v, want %v", i%want.bcols, i/want.bcols, got.blocks[i], want.blocks[i])
		}
	}
	for i := range want.cells {
		if got.cells[i] != want.cells[i] {
			return fmt.Sprintf("cell %d, %d is %+v, want %+v", i%want.cols, i/want.cols, got.cells[i], want.cells[i])
		}
	}
	return ""
}

// plainly decodes with image/jpeg; nil where the result is of a kind that the
// quick reader never takes.
func plainly(data []byte) (*grid, error) {
	img, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	switch img.(type) {
	case *image.YCbCr, *image.Gray:
		return reference(img), nil
	}
	return nil, nil
}
