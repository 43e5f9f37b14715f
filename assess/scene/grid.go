package scene

import (
	"math"

	"thirdstop/assess/photo"
)

// MaxGrid bounds the coarse grid's columns and rows.
const MaxGrid = 96

// minGrid is the least number of cells across a frame in which regions are looked for.
const minGrid = 10

// Grid is a coarse grid over a survey: each of its cells covers Step x Step survey cells, fewer
// at the right and bottom. Cells are row-major.
type Grid struct {
	Cols, Rows int
	Step       int // survey cells along the edge of one
	Survey     *photo.Survey
}

func gridOf(s *photo.Survey) Grid {
	step := max(1, (max(s.Cols, s.Rows)+MaxGrid-1)/MaxGrid)
	return Grid{Cols: (s.Cols + step - 1) / step, Rows: (s.Rows + step - 1) / step, Step: step, Survey: s}
}

// Cells calls f for every survey cell that a mask over the grid selects, row by row within each.
func (g Grid) Cells(mask []bool, f func(col, row int)) {
	for i, in := range mask {
		if in {
			g.inside(i, f)
		}
	}
}

// CellsOf calls f for the survey cells of one cell of the grid, row by row.
func (g Grid) CellsOf(i int, f func(col, row int)) { g.inside(i, f) }

// Beside calls f with the up to four cells of the grid beside i.
func (g Grid) Beside(i int, f func(j int)) { g.neighbours(i, f) }

func (g Grid) inside(i int, f func(col, row int)) {
	c0, r0 := i%g.Cols*g.Step, i/g.Cols*g.Step
	for r := r0; r < min(r0+g.Step, g.Survey.Rows); r++ {
		for c := c0; c < min(c0+g.Step, g.Survey.Cols); c++ {
			f(c, r)
		}
	}
}

// bounds is the rectangle of a coarse cell in fractions of the frame.
func (g Grid) bounds(i int) Box {
	s := g.Survey
	c0, r0 := i%g.Cols*g.Step, i/g.Cols*g.Step
	return Box{
		X0: float64(s.ColEdges[c0]) / float64(s.Width),
		Y0: float64(s.RowEdges[r0]) / float64(s.Height),
		X1: float64(s.ColEdges[min(c0+g.Step, s.Cols)]) / float64(s.Width),
		Y1: float64(s.RowEdges[min(r0+g.Step, s.Rows)]) / float64(s.Height),
	}
}

// BoxOf is the smallest box around a mask, the zero box for an empty one.
func (g Grid) BoxOf(mask []bool) Box {
	b := Box{X0: 1, Y0: 1}
	for i, in := range mask {
		if in {
			q := g.bounds(i)
			b = Box{min(b.X0, q.X0), min(b.Y0, q.Y0), max(b.X1, q.X1), max(b.Y1, q.Y1)}
		}
	}
	if b.X1 == 0 {
		return Box{}
	}
	return b
}

// Box is a rectangle in fractions of the upright frame: 0 is left or top, 1 right or bottom.
type Box struct{ X0, Y0, X1, Y1 float64 }

// ok says that a box lies in the frame and isn't empty.
func (b Box) ok() bool {
	return b.X0 >= 0 && b.Y0 >= 0 && b.X1 <= 1 && b.Y1 <= 1 && b.X0 < b.X1 && b.Y0 < b.Y1
}

func (b Box) holds(x, y float64) bool { return x >= b.X0 && x < b.X1 && y >= b.Y0 && y < b.Y1 }

// middle is the centre of a box.
func (b Box) middle() (x, y float64) { return (b.X0 + b.X1) / 2, (b.Y0 + b.Y1) / 2 }

// vec is a colour in code values: lightness and two differences (the ITU-T T.871 luma and
// chroma weights). Differences count half as much again, because backdrops vary in
// lightness rather than in hue.
type vec [3]float64

const chromaWeight = 1.5

func colourOf(r, g, b float64) vec {
	y := 0.299*r + 0.587*g + 0.114*b
	return vec{y, chromaWeight * 0.564 * (b - y), chromaWeight * 0.713 * (r - y)}
}

func (a vec) distance(b vec) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}

// field is what finding works on: per coarse cell its colour and texture.
type field struct {
	Grid
	mid     [][2]float64 // where its middle lies, in fractions of the frame
	colour  []vec
	texture []float64 // standard deviation inside survey cells, code values, mean of the channels
	peak    []float64 // brightest channel's mean, code values
	empty   *Mask     // where backdrop may be; nil: anywhere
	face    *Box      // where a person said that the sitter's face is; nil: nobody did
}

func fieldOf(s *photo.Survey) *field {
	g := gridOf(s)
	n := g.Cols * g.Rows
	f := &field{Grid: g, colour: make([]vec, n), texture: make([]float64, n), peak: make([]float64, n)}
	f.mid = make([][2]float64, n)
	for i := range n {
		f.mid[i][0], f.mid[i][1] = g.bounds(i).middle()
		var sum [3]float64
		var variance, pixels float64
		c0, r0 := i%g.Cols*g.Step, i/g.Cols*g.Step
		for r := r0; r < min(r0+g.Step, s.Rows); r++ {
			row := s.Cells[r*s.Cols+c0 : r*s.Cols+min(c0+g.Step, s.Cols)]
			for k := range row {
				q := &row[k]
				w := float64(q.Pixels)
				pixels += w
				for ch := range sum {
					sum[ch] += w * float64(q.Mean[ch])
					variance += w * float64(q.Var[ch])
				}
			}
		}
		pixels = max(pixels, 1)
		for ch := range sum {
			sum[ch] /= pixels
		}
		f.colour[i] = colourOf(sum[0], sum[1], sum[2])
		f.peak[i] = max(sum[0], sum[1], sum[2])
		f.texture[i] = math.Sqrt(variance / pixels / 3)
	}
	return f
}

// neighbours calls f with the up to four cells beside i.
func (g Grid) neighbours(i int, f func(j int)) {
	x, y := i%g.Cols, i/g.Cols
	if x > 0 {
		f(i - 1)
	}
	if x+1 < g.Cols {
		f(i + 1)
	}
	if y > 0 {
		f(i - g.Cols)
	}
	if y+1 < g.Rows {
		f(i + g.Cols)
	}
}

// Inner is a mask without the cells along its outline, which show both sides of it.
func (g Grid) Inner(mask []bool) []bool { return g.shrink(mask) }

// shrink takes off a mask the cells that have a neighbour outside it (the frame's edge is no outside).
func (g Grid) shrink(mask []bool) []bool {
	out := make([]bool, len(mask))
	for i, in := range mask {
		out[i] = in
		if in {
			g.neighbours(i, func(j int) { out[i] = out[i] && mask[j] })
		}
	}
	return out
}

// components are the connected parts of a mask, largest first, each a list of cells.
func (g Grid) components(mask []bool) [][]int {
	seen := make([]bool, len(mask))
	var out [][]int
	for i, in := range mask {
		if !in || seen[i] {
			continue
		}
		part := []int{i}
		seen[i] = true
		for k := 0; k < len(part); k++ {
			g.neighbours(part[k], func(j int) {
				if mask[j] && !seen[j] {
					seen[j] = true
					part = append(part, j)
				}
			})
		}
		out = append(out, part)
	}
	for i := 1; i < len(out); i++ { // few parts are large: a plain insertion sort, stable
		for j := i; j > 0 && len(out[j]) > len(out[j-1]); j-- {
			out[j], out[j-1] = out[j-1], out[j]
		}
	}
	return out
}

// Largest is the largest connected part of a mask.
func (g Grid) Largest(mask []bool) []bool {
	out := make([]bool, len(mask))
	if parts := g.components(mask); len(parts) > 0 {
		for _, i := range parts[0] {
			out[i] = true
		}
	}
	return out
}

func count(mask []bool) int {
	n := 0
	for _, in := range mask {
		if in {
			n++
		}
	}
	return n
}
