package studio

import (
	"image"

	"thirdstop/assess/photo"
)

// surveyOf sums up a stored picture in upright cells and blocks, plainly, pixel by pixel.
func surveyOf(img *image.RGBA, orientation int) *photo.Survey {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	cols, rows := edgesOf(w, h, orientation, photo.CellSize)
	blockCols, blockRows := edgesOf(w, h, orientation, photo.BlockSize)
	s := &photo.Survey{
		Width: cols[len(cols)-1], Height: rows[len(rows)-1],
		Cols: len(cols) - 1, Rows: len(rows) - 1, ColEdges: cols, RowEdges: rows,
		BlockCols: len(blockCols) - 1, BlockRows: len(blockRows) - 1, BlockColEdges: blockCols, BlockRowEdges: blockRows,
		Exact: true,
	}
	s.Cells = make([]photo.Cell, s.Cols*s.Rows)
	s.Blocks = make([]photo.Block, s.BlockCols*s.BlockRows)
	upright := func(col, row, cols, rows int) int { // stored cell to upright index
		switch orientation {
		case 3:
			return (rows-1-row)*cols + cols - 1 - col
		case 6:
			return col*rows + rows - 1 - row
		case 8:
			return (cols-1-col)*rows + row
		}
		return row*cols + col
	}
	cellCols, cellRows := (w+photo.CellSize-1)/photo.CellSize, (h+photo.CellSize-1)/photo.CellSize
	bCols, bRows := (w+photo.BlockSize-1)/photo.BlockSize, (h+photo.BlockSize-1)/photo.BlockSize
	for cr := range cellRows {
		for cc := range cellCols {
			cell := &s.Cells[upright(cc, cr, cellCols, cellRows)]
			cell.Min = [3]uint8{255, 255, 255}
			var sum, square [3]int
			for br := 2 * cr; br < min(2*cr+2, bRows); br++ {
				for bc := 2 * cc; bc < min(2*cc+2, bCols); bc++ {
					var part [3]int
					pixels := 0
					for y := br * photo.BlockSize; y < min((br+1)*photo.BlockSize, h); y++ {
						x0, x1 := bc*photo.BlockSize, min((bc+1)*photo.BlockSize, w)
						row := img.Pix[y*img.Stride+4*x0 : y*img.Stride+4*x1]
						for ; len(row) >= 4; row = row[4:] {
							clipped := false
							for c := range 3 {
								v := row[c]
								part[c] += int(v)
								square[c] += int(v) * int(v)
								cell.Min[c], cell.Max[c] = min(cell.Min[c], v), max(cell.Max[c], v)
								if v >= photo.ClipCode {
									cell.Clipped[c]++
									clipped = true
								}
							}
							if clipped {
								cell.ClippedAny++
							}
							pixels++
						}
					}
					b := &s.Blocks[upright(bc, br, bCols, bRows)]
					for c := range 3 {
						b[c] = uint16((part[c]*256 + pixels/2) / pixels)
						sum[c] += part[c]
					}
					cell.Pixels += uint16(pixels)
				}
			}
			n := float64(cell.Pixels)
			for c := range 3 {
				mean := float64(sum[c]) / n
				cell.Mean[c] = float32(mean)
				cell.Var[c] = float32(max(float64(square[c])/n-mean*mean, 0))
			}
		}
	}
	return s
}

// edgesOf gives the upright column and row edges of cells that are counted from
// the stored picture's top left corner.
func edgesOf(w, h, orientation, size int) (cols, rows []int) {
	line := func(length int, backwards bool) []int {
		var e []int
		for x := 0; x < length; x += size {
			e = append(e, x)
		}
		e = append(e, length)
		if !backwards {
			return e
		}
		b := make([]int, len(e))
		for i := range e {
			b[len(e)-1-i] = length - e[i]
		}
		return b
	}
	switch orientation {
	case 3:
		return line(w, true), line(h, true)
	case 6:
		return line(h, true), line(w, false)
	case 8:
		return line(h, false), line(w, true)
	}
	return line(w, false), line(h, false)
}
