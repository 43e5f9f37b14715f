package assess

import (
	"encoding/base64"
	"math"
	"slices"
	"sync"

	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
	"thirdstop/assess/scene"
	"thirdstop/assess/tone"
)

// meter takes statistics of a survey's cells under a curve.
type meter struct {
	s *photo.Survey
	c *tone.Curve

	adobe bool // codes are in Adobe RGB

	cellCol, cellRow []int32 // the column and row of cells that each column and row of blocks belongs to; made where asked for

	blockCol, blockRow [][2]int // blocks that belong to each column and row of cells: from, up to

	colArea, rowArea []int // which third each column and row of cells lies in

	lit []lit // by cell, made by weigh
}

// lit is the light of a cell's brightest and weakest channel.
type lit struct {
	light [2]float64
	step  [2]uint16 // the light in whole steps, so that most of ordering is counting
	ch    [2]uint8
}

// steps is how many steps of light are told apart in ordering.
const steps = 4096

func stepOf(light float64) uint16 {
	switch {
	case light >= 1:
		return steps - 1
	case light > 0:
		return uint16(light * (steps - 1))
	}
	return 0
}

func newMeter(s *photo.Survey, c *tone.Curve) *meter {
	return &meter{
		s: s, c: c,
		blockCol: within(s.ColEdges, s.BlockColEdges),
		blockRow: within(s.RowEdges, s.BlockRowEdges),
		colArea:  thirds(s.ColEdges, s.Width),
		rowArea:  thirds(s.RowEdges, s.Height),
	}
}

// within gives for each interval between edges the finer intervals that begin in it.
func within(edges, finer []int) [][2]int {
	out := make([][2]int, max(len(edges)-1, 0))
	k := 0
	for i := range out {
		from := k
		for k+1 < len(finer) && finer[k] < edges[i+1] {
			k++
		}
		out[i] = [2]int{from, k}
	}
	return out
}

// tally counts pixels.
type tally struct {
	pixels, anyClipped, allClipped uint64
}

func (t tally) any() float64 { return share(t.anyClipped, t.pixels) }
func (t tally) all() float64 { return share(t.allClipped, t.pixels) }

func share(n, of uint64) float64 {
	if of == 0 {
		return 0
	}
	return float64(n) / float64(of)
}

func (m *meter) tally(cells []int32) (t tally) {
	for _, i := range cells {
		q := &m.s.Cells[i]
		t.pixels += uint64(q.Pixels)
		t.anyClipped += uint64(q.ClippedAny)
		t.allClipped += uint64(min(q.Clipped[0], q.Clipped[1], q.Clipped[2]))
	}
	return t
}

// shares are the whole frame's.
func (m *meter) shares() Shares {
	var n [3]uint64
	var any, pixels uint64
	for i := range m.s.Cells {
		q := &m.s.Cells[i]
		pixels += uint64(q.Pixels)
		any += uint64(q.ClippedAny)
		for ch := range n {
			n[ch] += uint64(q.Clipped[ch])
		}
	}
	return Shares{R: share(n[0], pixels), G: share(n[1], pixels), B: share(n[2], pixels), Any: share(any, pixels)}
}

// cellsOf lists a mask's survey cells.
func (m *meter) cellsOf(g scene.Grid, mask []bool) []int32 {
	n := 0
	for _, in := range mask {
		if in {
			n++
		}
	}
	cells := make([]int32, 0, n*g.Step*g.Step)
	g.Cells(mask, func(c, r int) { cells = append(cells, int32(r*m.s.Cols+c)) })
	return cells
}

// cellsIn lists the cells whose middle lies in a box, or, where it is too small to hold
// one, all that it touches.
func (m *meter) cellsIn(b Box) []int32 {
	var in, touched []int32
	x0, x1 := b.X0*float64(m.s.Width), b.X1*float64(m.s.Width)
	y0, y1 := b.Y0*float64(m.s.Height), b.Y1*float64(m.s.Height)
	for r := range m.s.Rows {
		t, l := float64(m.s.RowEdges[r]), float64(m.s.RowEdges[r+1])
		if l <= y0 || t >= y1 {
			continue
		}
		for c := range m.s.Cols {
			f, u := float64(m.s.ColEdges[c]), float64(m.s.ColEdges[c+1])
			if u <= x0 || f >= x1 {
				continue
			}
			i := int32(r*m.s.Cols + c)
			touched = append(touched, i)
			if mx, my := (f+u)/2, (t+l)/2; mx >= x0 && mx < x1 && my >= y0 && my < y1 {
				in = append(in, i)
			}
		}
	}
	if len(in) == 0 {
		return touched
	}
	return in
}

// place is the column and row of a cell.
func (m *meter) place(i int32) (col, row int) {
	cols := uint32(m.s.Cols) // dividing takes longest here, and is quicker in 32 bits
	r := uint32(i) / cols
	return int(uint32(i) - r*cols), int(r)
}

// area is the ninth of the frame in which a cell's middle lies, row by row from 0 to 8.
func (m *meter) area(i int32) int {
	c, r := m.place(i)
	return m.rowArea[r]*3 + m.colArea[c]
}

// byArea sorts cells by the area they lie in, keeping their order.
func (m *meter) byArea(cells []int32) (parts [9][]int32) {
	var n [9]int
	of := make([]uint8, len(cells))
	for k, i := range cells {
		a := m.area(i)
		of[k] = uint8(a)
		n[a]++
	}
	all := make([]int32, len(cells))
	for a, size := range n {
		parts[a], all = all[:0:size], all[size:]
	}
	for k, i := range cells {
		parts[of[k]] = append(parts[of[k]], i)
	}
	return parts
}

// thirds says in which third of size the middle of each interval between edges lies.
func thirds(edges []int, size int) []int {
	out := make([]int, max(len(edges)-1, 0))
	for i := range out {
		out[i] = min(3*(edges[i]+edges[i+1])/(2*size), 2)
	}
	return out
}

func (m *meter) areaPixels() (n [9]uint64) {
	for r := range m.s.Rows {
		for c := range m.s.Cols {
			n[m.rowArea[r]*3+m.colArea[c]] += uint64(m.s.Cells[r*m.s.Cols+c].Pixels)
		}
	}
	return n
}

// which channel of a cell decides.
type which int

const (
	brightest which = iota
	weakest
)

// lights are what meters no longer need, for the next frame.
var lights = sync.Pool{New: func() any { return new([]lit) }}

// weigh finds the light of every cell. What asks for it comes after, and before done.
func (m *meter) weigh() {
	m.lit = slices.Grow((*lights.Get().(*[]lit))[:0], len(m.s.Cells))[:len(m.s.Cells)]
	for i := range m.lit {
		e, q := &m.lit[i], &m.s.Cells[i]
		*e = lit{}
		for k := range q.Mean {
			v := m.c.Mean(k, float64(q.Mean[k]), float64(q.Var[k]))
			if k == 0 || v > e.light[brightest] {
				e.light[brightest], e.ch[brightest] = v, uint8(k)
			}
			if k == 0 || v < e.light[weakest] {
				e.light[weakest], e.ch[weakest] = v, uint8(k)
			}
		}
		e.step = [2]uint16{stepOf(e.light[brightest]), stepOf(e.light[weakest])}
	}
}

// done gives back what weigh made.
func (m *meter) done() {
	lit := m.lit
	m.lit = nil
	lights.Put(&lit)
}

// light is that of a cell's deciding channel.
func (m *meter) light(i int32, w which) (light float64, ch int) {
	e := &m.lit[i]
	return e.light[w], int(e.ch[w])
}

// ranked is a cell or block with what it is ordered by; ties go by place, so that a
// frame always gives the same reading.
type ranked struct {
	key  float64
	item int32
}

func (a ranked) less(b ranked) bool { return a.key < b.key || a.key == b.key && a.item < b.item }

// nth puts the element of rank n in its place and returns it (Hoare's selection).
func nth(v []ranked, n int) ranked {
	lo, hi := 0, len(v)-1
	for lo < hi {
		p := v[lo+(hi-lo)/2]
		i, j := lo, hi
		for i <= j {
			for v[i].less(p) {
				i++
			}
			for p.less(v[j]) {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case n <= j:
			hi = j
		case n >= i:
			lo = i
		default:
			return v[n]
		}
	}
	return v[n]
}

// percentile is the rank of a percentile among n by the nearest-rank rule, from 0.
func percentile(p float64, n int) int {
	return min(max(int(math.Ceil(p/100*float64(n)))-1, 0), n-1)
}

// ranks are what is ordered at a time, kept for the next.
var ranks = sync.Pool{New: func() any { return new([]ranked) }}

// nthOf is the cell of rank n among cells by their light: the one that [nth] finds among all of them. They are counted
// by steps first, and only those of the deciding step are ordered.
func (m *meter) nthOf(cells []int32, n int, w which) int32 {
	var counts [steps]int32
	for _, i := range cells {
		counts[m.lit[i].step[w]]++
	}
	step := uint16(0)
	for n >= int(counts[step]) {
		n -= int(counts[step])
		step++
	}
	kept := ranks.Get().(*[]ranked)
	defer ranks.Put(kept)
	v := (*kept)[:0]
	for _, i := range cells {
		if e := &m.lit[i]; e.step[w] == step {
			v = append(v, ranked{e.light[w], i})
		}
	}
	*kept = v
	return nth(v, n).item
}

// median is the level of the median cell.
func (m *meter) median(cells []int32, w which) Level {
	if len(cells) == 0 {
		return Level{Value: tone.Floor}
	}
	i := m.nthOf(cells, (len(cells)-1)/2, w)
	_, ch := m.light(i, w)
	q := &m.s.Cells[i]
	mean, variance := float64(q.Mean[ch]), float64(q.Var[ch])
	value, curve := m.c.Stops(ch, mean, variance)
	// The error of a median of n means, each of q.Pixels samples: 1.2533 times that of their mean.
	noise := 1.2533 * math.Sqrt(variance/float64(max(q.Pixels, 1))/float64(len(cells))) * float64(m.c.Steepness(ch, mean))
	return Level{
		Value:   value.Round(),
		Sigma:   exposure.Stops(math.Hypot(float64(curve), noise)).Round(),
		AtLeast: m.clips(q, ch),
	}
}

// clipsFrom is the share of a cell's samples over which it counts as clipped.
const clipsFrom = 0.01

func (m *meter) clips(q *photo.Cell, ch int) bool {
	if m.s.Exact {
		return float64(q.Clipped[ch]) > clipsFrom*float64(q.Pixels)
	}
	// Without counts only the mean is left: noise of 2 codes about it would clip some.
	return q.Mean[ch] >= photo.ClipCode-4
}

// headroom is what is left over the 99th-percentile cell.
func (m *meter) headroom(cells []int32) exposure.Stops {
	if len(cells) == 0 {
		return 0
	}
	i := m.nthOf(cells, percentile(99, len(cells)), brightest)
	_, ch := m.light(i, brightest)
	q := &m.s.Cells[i]
	if m.clips(q, ch) {
		return 0
	}
	level, _ := m.c.Stops(ch, float64(q.Mean[ch]), float64(q.Var[ch]))
	return max(-level, 0).Round()
}

// blocks calls f for the blocks of cells.
func (m *meter) blocks(cells []int32, f func(block, cell int32)) {
	for _, i := range cells {
		c, r := m.place(i)
		for br := m.blockRow[r][0]; br < m.blockRow[r][1]; br++ {
			for bc := m.blockCol[c][0]; bc < m.blockCol[c][1]; bc++ {
				f(int32(br*m.s.BlockCols+bc), i)
			}
		}
	}
}

// peak is the highest of the channels' 98th percentiles over the blocks whose middles lie in a box and whose cells
// show one thing. Where the deciding block clips, its level is the edge: more can't be told.
func (m *meter) peak(cells []int32, in Box) (level exposure.Stops, atLeast bool) {
	s := m.s
	type place struct{ block, cell int32 }
	pure := m.unmixed(cells)
	within := func(block int32) bool {
		c, r := int(block)%s.BlockCols, int(block)/s.BlockCols
		x := float64(s.BlockColEdges[c]+s.BlockColEdges[c+1]) / 2 / float64(s.Width)
		y := float64(s.BlockRowEdges[r]+s.BlockRowEdges[r+1]) / 2 / float64(s.Height)
		return x >= in.X0 && x < in.X1 && y >= in.Y0 && y < in.Y1
	}
	inside := make([]place, 0, 4*len(pure))
	m.blocks(pure, func(b, cell int32) {
		if within(b) {
			inside = append(inside, place{b, cell})
		}
	})
	if len(inside) == 0 {
		m.blocks(pure, func(b, cell int32) { inside = append(inside, place{b, cell}) })
	}
	if len(inside) == 0 {
		return tone.Floor, false
	}
	best, bestCh, bestAt := -1.0, 0, inside[0]
	kept := ranks.Get().(*[]ranked)
	defer ranks.Put(kept)
	v := slices.Grow((*kept)[:0], len(inside))[:len(inside)]
	*kept = v
	for ch := range 3 {
		for n, p := range inside {
			v[n] = ranked{float64(s.Blocks[p.block][ch]) / 256, int32(n)}
		}
		at := nth(v, percentile(98, len(v)))
		if l := m.c.Linear(ch, at.key); l > best {
			best, bestCh, bestAt = l, ch, inside[at.item]
		}
	}
	level, ok := exposure.FromFactor(best)
	if !ok {
		level = tone.Floor
	}
	level = min(max(level, tone.Floor), 0).Round()
	// A block well under the edge in a cell that clips lies beside something else that does: it is
	// darker, not clipped.
	if m.clips(&s.Cells[bestAt.cell], bestCh) && level > -clipReach {
		return 0, true
	}
	return level, false
}

// clipReach is how far under the edge the mean of a block may lie of which noise clips over 1 % of
// the samples: 2.33 standard deviations of 3 % of the light (derived here; the normal distribution's 99 % point), with some air.
const clipReach = 0.15

// mixedVariance, in code values squared, is what a cell that shows one thing doesn't reach: it is
// that of an edge 30 codes high through the middle.
const mixedVariance = 225

// unmixed leaves out the cells with an edge through them, unless that would leave less than a quarter.
func (m *meter) unmixed(cells []int32) []int32 {
	out := make([]int32, 0, len(cells))
	for _, i := range cells {
		if v := m.s.Cells[i].Var; max(v[0], v[1], v[2]) < mixedVariance {
			out = append(out, i)
		}
	}
	if 4*len(out) < len(cells) {
		return cells
	}
	return out
}

// codes is the histogram of block means.
func (m *meter) codes(cells []int32) Codes {
	// Two, in turn: neighbours have the same codes, and a count that follows on the same one waits for it.
	var two [2][3][256]int32
	cols := m.s.BlockCols
	for _, i := range cells {
		c, r := m.place(i)
		x, y := m.blockCol[c], m.blockRow[r]
		for br := y[0]; br < y[1]; br++ {
			h := &two[br&1]
			for _, b := range m.s.Blocks[br*cols+x[0] : br*cols+x[1]] {
				h[0][uint8((int(b[0])+128)>>8)]++
				h[1][uint8((int(b[1])+128)>>8)]++
				h[2][uint8((int(b[2])+128)>>8)]++
			}
		}
	}
	h := &two[0]
	for ch := range h {
		for v := range h[ch] {
			h[ch][v] += two[1][ch][v]
		}
	}
	trim := func(c *[256]int32) []int32 {
		n := len(c)
		for n > 0 && c[n-1] == 0 {
			n--
		}
		return append([]int32{}, c[:n]...)
	}
	return Codes{R: trim(&h[0]), G: trim(&h[1]), B: trim(&h[2])}
}

// maskOf packs a mask.
func maskOf(g scene.Grid, mask []bool) Mask {
	b := make([]byte, (len(mask)+7)/8)
	for i, in := range mask {
		if in {
			b[i/8] |= 0x80 >> (i % 8)
		}
	}
	return Mask{Cols: g.Cols, Rows: g.Rows, Bits: base64.StdEncoding.EncodeToString(b)}
}

// Cells unpacks a mask, row by row. It reports false for one that doesn't hold
// Cols x Rows bits.
func (m Mask) Cells() ([]bool, bool) {
	b, err := base64.StdEncoding.DecodeString(m.Bits)
	n := m.Cols * m.Rows
	if err != nil || m.Cols < 0 || m.Rows < 0 || len(b) != (n+7)/8 {
		return nil, false
	}
	out := make([]bool, n)
	for i := range out {
		out[i] = b[i/8]&(0x80>>(i%8)) != 0
	}
	return out, true
}
