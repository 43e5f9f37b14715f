package scene

import "math"

// outline is where a body is to be expected under a head: per side and row, how many cells it reaches from
// the head's middle.
type outline struct {
	mid, from int      // column of the middle, first row
	half      [2][]int // left and right, row by row from the first to the lower border
}

// holds says that a cell lies inside, by margin cells and more.
func (o *outline) holds(x, y, margin int) bool {
	n := y - o.from
	if n < 0 || n >= len(o.half[0]) {
		return false
	}
	if x < o.mid {
		return o.mid-x <= o.half[0][n]-margin
	}
	return x-o.mid <= o.half[1][n]-margin
}

// Costs of an outline, in units of a border between two cells at which nothing shows (derived here, on scenes of the
// virtual studio and the portraits the tests name).
const (
	likeInside   = 0.015 // a cell that looks like backdrop, taken for body
	unlikeBeside = 0.3   // a cell that clearly doesn't, left out
	leftBehind   = 0.5   // what clearly differs from the backdrop ends inside
	tooNarrow    = 3     // a row narrower than what is surely body
	atTheEnd     = 0.6   // a row that goes on to the frame or to what else stands there, where its own border can't show
	narrowing    = 1.5   // a border over which the body gets narrower on its way down
	offShape     = 2     // a row that is a head's width off the usual shape
	offOther     = 4     // the same off the other side's outline, where that shows
	farOff       = 0.7   // heads' widths: further off costs no more, and too wide costs as much less than too narrow
	broadest     = 1.75  // half the width of a body at most, in heads' widths
)

// usualHalf is half a body's width so far below the chin, both in widths of the head. From neck to shoulders
// it is common practice in drawing (no source): shoulders are two to three heads wide and slope to about one below the chin.
func usualHalf(down float64) float64 {
	switch {
	case down < 0.4:
		return 0.4
	case down < 1.4:
		return 0.4 + 0.8*(down-0.4)
	}
	return min(1.2+0.2*(down-1.4), 1.4)
}

// coreHalf is half the width of what is surely body so far below the chin, whatever it looks like.
func coreHalf(down, size float64) float64 { return size * (0.15 + 0.3*ramp(down, 0.2*size, size)) }

// fitOutline looks on either side for the way down from a neck along the plainest borders that keeps inside what
// differs from the backdrop and is near the usual shape; and once more near the other side's outline, where that
// shows and this one doesn't: light clothes before light paper keep an outline where the light leaves one.
func (l *look) fitOutline(seeds []label, mid, from int, size, chin float64) *outline {
	o := &outline{mid: mid, from: from}
	if from >= l.Rows {
		return o
	}
	var sides [2]*flank
	var shape, weight, seen [2][]float64
	for n := range sides {
		sides[n] = l.flankOf(seeds, mid, from, 2*n-1, size, chin)
		shape[n], weight[n] = make([]float64, l.Rows-from), make([]float64, l.Rows-from)
		for row := range shape[n] {
			shape[n][row], weight[n][row] = size*usualHalf((float64(from+row)-chin)/size), offShape
		}
		o.half[n], seen[n] = sides[n].way(shape[n], weight[n])
	}
	first := o.half
	for n := range sides {
		for row := range shape[n] {
			trust := seen[1-n][row] * (1 - seen[n][row])
			shape[n][row] += trust * (float64(first[1-n][row]) - shape[n][row])
			weight[n][row] += trust * (offOther - offShape)
		}
		o.half[n], _ = sides[n].way(shape[n], weight[n])
	}
	return o
}

// flank is what speaks for and against an outline on one side of a body, row by row and, within a row, cell by cell from
// the middle outwards.
type flank struct {
	rows, wide int
	size       float64
	beside     []float64 // how plainly the border beyond a cell shows, 0 to 1
	over       []float64 // sum of what the borders to the row over it cost, from the middle up to a cell
	fixed      []float64 // what an outline beyond a cell costs, whatever its shape
}

// flankOf weighs one side; dir -1 is left.
func (l *look) flankOf(seeds []label, mid, from, dir int, size, chin float64) *flank {
	room := mid
	if dir > 0 {
		room = l.Cols - 1 - mid
	}
	wide := min(int(broadest*size), room) + 1
	f := &flank{rows: l.Rows - from, wide: wide, size: size}
	all := make([]float64, 3*f.rows*wide)
	f.beside, f.over, f.fixed = all[:f.rows*wide], all[f.rows*wide:2*f.rows*wide], all[2*f.rows*wide:]
	faint := l.faint()
	for row := range f.rows {
		y := from + row
		beside, over, fixed := f.beside[row*wide:][:wide], f.over[row*wide:][:wide], f.fixed[row*wide:][:wide]
		core := coreHalf(float64(y)-chin, size)
		var inside, above float64
		ends := false
		for k := range wide {
			i := y*l.Cols + mid + dir*k
			alike := l.agree[i] || l.gentle[i]
			if alike || seeds[i] == clutter {
				inside += likeInside
			}
			if alike && ends && float64(k) > core {
				inside += leftBehind
				ends = false
			}
			ends = ends || !alike && l.off[i] > 1.5
			fixed[k] = inside
			if float64(k) < core-1 {
				fixed[k] += tooNarrow
			}
			if k < room && seeds[i+dir] != clutter {
				beside[k] = l.shows(i, i+dir, faint)
				fixed[k] += 1 - beside[k]
			} else {
				fixed[k] += atTheEnd
			}
			if row > 0 {
				above += 1 - l.shows(i-l.Cols, i, faint)
				over[k] = above
			}
		}
		var beyond float64
		for k := wide - 1; k >= 0; k-- {
			fixed[k] += beyond
			if i := y*l.Cols + mid + dir*k; l.off[i] > 1.5 && !l.gentle[i] && seeds[i] != clutter {
				beyond += unlikeBeside
			}
		}
	}
	return f
}

// way is the cheapest outline by dynamic programming (Bellman 1957), and how plainly it shows, over a few rows each.
// Its shape is wanted row by row, in cells, with a weight.
func (f *flank) way(shape, weight []float64) (half []int, seen []float64) {
	wide := f.wide
	cost, next := make([]float64, wide), make([]float64, wide)
	come := make([]int, f.rows*wide)
	for row := range f.rows {
		over, come := f.over[row*wide:][:wide], come[row*wide:][:wide]
		if row > 0 {
			// Getting wider crosses the borders between this row's cells and those over them, and so does getting narrower.
			best, at := math.Inf(1), 0
			for k, c := range cost {
				if c -= over[k]; c < best {
					best, at = c, k
				}
				next[k], come[k] = best+over[k], at
			}
			best = math.Inf(1)
			for k := wide - 1; k >= 0; k-- {
				if c := cost[k] + narrowing*over[k]; c < best {
					best, at = c, k
				}
				if c := best - narrowing*over[k]; c < next[k] {
					next[k], come[k] = c, at
				}
			}
		}
		for k := range next {
			off := (shape[row] - float64(k)) / f.size
			next[k] += f.fixed[row*wide+k] + weight[row]*min(max(off, -farOff*off), farOff)
		}
		cost, next = next, cost
	}
	last := 0
	for k, c := range cost {
		if c < cost[last] {
			last = k
		}
	}
	half, seen = make([]int, f.rows), make([]float64, f.rows)
	plain := make([]float64, f.rows)
	for row := f.rows - 1; row >= 0; row-- {
		half[row], plain[row] = last, f.beside[row*wide+last]
		last = come[row*wide+last]
	}
	for row := range seen {
		a, b := max(0, row-2), min(f.rows, row+3)
		for _, p := range plain[a:b] {
			seen[row] += p / float64(b-a)
		}
	}
	return half, seen
}

// faint is a step in colour, code values, that is no ripple of the backdrop: small before smooth paper.
func (l *look) faint() float64 { return min(max(leastEdge, 6*l.ripple), mostEdge) }

// shows says how plainly the border between two neighbouring cells shows, 0 to 1.
func (l *look) shows(i, j int, faint float64) float64 {
	d := l.sudden(i, j) / faint
	return d * d / (1 + d*d)
}

// sudden is the step in colour between two neighbouring cells, code values, less what goes on as a step on either side: light that
// falls off makes steps too.
func (l *look) sudden(i, j int) float64 {
	by := j - i
	before, after := 0.0, 0.0
	if a := i - by; a >= 0 && a < len(l.colour) && (by%l.Cols == 0 || a/l.Cols == i/l.Cols) {
		before = l.colour[a].distance(l.colour[i])
	}
	if a := j + by; a >= 0 && a < len(l.colour) && (by%l.Cols == 0 || a/l.Cols == j/l.Cols) {
		after = l.colour[j].distance(l.colour[a])
	}
	return max(0, l.colour[i].distance(l.colour[j])-1.5*min(before, after))
}
