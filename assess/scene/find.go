package scene

import (
	"math"

	"thirdstop/assess/photo"
)

// Hints is what a person said about a frame. The zero value is nothing.
type Hints struct {
	Backdrop       *Box  // the backdrop lies in here
	WhiteReference *Box  // this is a white reference
	Face           *Box  // this is the sitter's face
	Empty          *Mask // backdrop of the same set when nobody stood before it, the camera unmoved
}

// Mask marks cells of a grid over the frame, row by row.
type Mask struct {
	Cols, Rows int
	In         []bool
}

// at says what a mask says of a cell of another grid, which lies at a place in fractions of the frame. On a grid of the same
// size it is the same cell: at the right and lower border cells may be smaller, and fractions lead beside them.
func (m *Mask) at(g *Grid, i int, x, y float64) bool {
	if m.Cols == g.Cols && m.Rows == g.Rows {
		return m.In[i]
	}
	c, r := min(int(x*float64(m.Cols)), m.Cols-1), min(int(y*float64(m.Rows)), m.Rows-1)
	return m.In[r*m.Cols+c]
}

// Region is a part of a frame, or the reason why there is none.
type Region struct {
	Mask       []bool  // over the grid; nil where the region was not found
	Confidence float64 // 0 to 1
	Reason     string  // a sentence without a full stop, where Mask is nil
}

// Found says whether there is a region.
func (r *Region) Found() bool { return r.Mask != nil }

// White is a white reference: a box, because a person can declare one by a box.
type White struct {
	Region
	Box      Box
	Declared bool
}

// Scene is what was found in a frame.
type Scene struct {
	Grid
	Backdrop Region
	Sitter   Region
	Doubtful []bool // cells of the sitter that may as well be backdrop seen beside it or between arm and body; nil without a sitter
	Perhaps  []bool // cells taken for neither or for backdrop that may be sitter: from one of its own cells to them no edge shows
	White    White
	HeadX    float64 // middle of the sitter's highest part, a fraction of the frame's width
	HeadY    float64 // its top, a fraction of the frame's height
}

// Sure is the confidence from which a region counts as found.
const Sure = 0.5

// Find looks for the backdrop, the sitter and a white reference, in these steps:
//
//  1. A smooth surface of colour is fitted to the cells along the middle of the upper border (or in
//     the hinted box); what the majority there agrees on is the backdrop's look. Only where that
//     leads nowhere, because a head reaches out of the frame, the upper corners are asked instead: beside a
//     narrow backdrop they show the room.
//  2. Cells that clearly differ are the sitter, if they lie in the middle or reach it,
//     or clutter, if they hang on an upper side border. What lies under a head is sitter,
//     whatever it looks like, as far as the plainest outline of a body reaches: a white shirt before
//     white paper has no edge, or one on one side only.
//  3. From these certain cells the labels spread and meet at the strongest edges.
//  4. The backdrop's evenness, its reach along the border and how far it comes
//     down beside the sitter say how sure it is. A horizon fails the last.
//
// It takes about a millisecond per thousand cells of the grid at most, whatever the frame's size.
func Find(s *photo.Survey, h Hints) *Scene {
	if s == nil || s.Cols < minGrid || s.Rows < minGrid {
		sc := &Scene{}
		if s != nil {
			sc.Grid = gridOf(s)
		}
		const small = "the picture is too small to tell its parts apart"
		sc.Backdrop.Reason, sc.Sitter.Reason, sc.White.Reason = small, small, small
		sc.declare(h)
		return sc
	}
	f := fieldOf(s)
	if e := h.Empty; e != nil && e.Cols > 0 && e.Rows > 0 && len(e.In) == e.Cols*e.Rows {
		f.empty = e
	}
	f.face = h.Face
	sc := &Scene{Grid: f.Grid}
	from := []border{upperMiddle, upperCorners}
	if h.Backdrop != nil {
		from = []border{insideBox}
	}
	var used *look
	for n, b := range from {
		l := f.seekBackdrop(b, h.Backdrop)
		if l == nil {
			continue
		}
		if b == upperCorners && used != nil && used.even() {
			break // what is smooth there is no hair: it is the backdrop, sure or not
		}
		try := &Scene{Grid: f.Grid}
		l.judge(try, l.label())
		if n == 0 || used == nil || try.Backdrop.Found() {
			sc, used = try, l
		}
		if sc.Backdrop.Found() {
			break
		}
	}
	if used == nil {
		sc.Backdrop.Reason = "no even area along the upper border"
		if h.Backdrop != nil {
			sc.Backdrop.Reason = "the box that was drawn as backdrop is empty or outside of the frame"
		}
		sc.Sitter.Reason = "without a backdrop the sitter can't be told apart"
		sc.White.Reason = "no sitter was found to look for it on"
		sc.declare(h)
		return sc
	}
	sc.declare(h)
	if !sc.White.Declared {
		used.seekWhite(sc)
	}
	return sc
}

// border says which cells tell the backdrop's look.
type border int

const (
	upperMiddle  border = iota // along the upper border, its middle two fifths
	upperCorners               // its outer fifths, and the upper parts of the side borders
	insideBox                  // a person drew a box
)

// asks says whether a cell is one of them.
func (f *field) asks(b border, i int, hint *Box) bool {
	x, y := i%f.Cols, i/f.Cols
	top, side := max(2, f.Rows/20), max(2, f.Cols/24)
	mx, my := f.bounds(i).middle()
	if f.empty != nil && !f.empty.at(&f.Grid, i, mx, my) {
		return false
	}
	switch b {
	case insideBox:
		return hint.holds(mx, my)
	case upperMiddle:
		return y < top && mx > 0.3 && mx < 0.7
	default:
		return y < top && (mx < 0.2 || mx > 0.8) || (x < side || x >= f.Cols-side) && my < 0.4
	}
}

// Declare takes a box as a declared white reference.
func (sc *Scene) Declare(b Box) { sc.declare(Hints{WhiteReference: &b}) }

// declare takes a declared white reference as it is given.
func (sc *Scene) declare(h Hints) {
	b := h.WhiteReference
	if b == nil {
		return
	}
	sc.White = White{Declared: true}
	if !b.ok() || sc.Survey == nil {
		sc.White.Reason = "the box that was declared as white reference is empty or outside of the frame"
		return
	}
	sc.White.Box, sc.White.Confidence = *b, 1
	sc.White.Mask = make([]bool, sc.Cols*sc.Rows)
	for i := range sc.White.Mask {
		q := sc.bounds(i)
		sc.White.Mask[i] = q.X0 < b.X1 && q.X1 > b.X0 && q.Y0 < b.Y1 && q.Y1 > b.Y0
	}
}

// look is the backdrop's look, and how each cell compares with it.
type look struct {
	*field
	surface *surface
	seeds   []int     // cells along the border that were asked
	agree   []bool    // which cells look like backdrop and hang together with the border
	gentle  []bool    // which cells are reached from those by gentle steps: light that falls off, mottled cloth
	off     []float64 // distance from the surface in units of tolerance: 1 is the limit
	core    []bool    // what lies right under a head: sitter, whatever it looks like
	body    []bool    // where shoulders and trunk are to be expected
	near    []bool    // how far out they may reach
	head    []bool    // what belongs to heads, down to the chin and as wide as they are
	ripple  float64   // from one cell of backdrop to the next, code values, median
	hinted  *Box
}

// The limits within which a cell may differ from the backdrop's surface, in code values of
// colour distance: rounding, noise and mottle below, another thing above (derived here, on the
// portraits the tests name).
const (
	leastLimit = 9
	mostLimit  = 26
	step       = 4.5 // from one cell of the grid to the next, at medium lightness
	leastEdge  = 1.5 // a step that costs as much as ten plain cells, before the smoothest paper
	mostEdge   = 6.0 // and elsewhere
	coarse     = 22  // texture, standard deviation within a survey cell, that no backdrop has
)

// seekBackdrop finds what the majority along a border agrees on. It is nil where there
// are no cells to ask.
func (f *field) seekBackdrop(b border, hint *Box) *look {
	l := &look{field: f, hinted: hint}
	var first []vec
	for i := range f.colour {
		if f.asks(b, i, hint) {
			l.seeds = append(l.seeds, i)
			first = append(first, f.colour[i])
		}
	}
	if len(l.seeds) == 0 {
		return nil
	}
	start := middle(first)
	if b == insideBox {
		start = commonest(first) // the box may well hold more of a head than of anything else
	}
	l.surface = f.fitSurface(l.seeds, start)
	l.compare()
	l.grow()
	// Once more with all that agrees: it shows how the light falls behind the sitter.
	var more []int
	for i, in := range l.agree {
		if in {
			more = append(more, i)
		}
	}
	if len(more) > len(l.seeds)/3 {
		spread := l.surface.spread
		l.surface = f.fitSurface(more, start)
		l.surface.spread = max(l.surface.spread, spread/2)
		l.compare()
		l.grow()
	}
	l.growGently()
	return l
}

func (l *look) compare() {
	l.off = make([]float64, len(l.colour))
	for i := range l.off {
		at := l.surface.at(l.mid[i][0], l.mid[i][1])
		limit := min(max(leastLimit*contrast(at), 3.5*l.surface.spread), mostLimit)
		l.off[i] = l.colour[i].distance(at) / limit
		l.off[i] = max(l.off[i], l.texture[i]/coarse)
	}
}

// contrast scales what counts as a step to how light it is there: in the dark, where a camera's
// curve is steep in light but flat in codes, a few codes tell a suit from the cloth behind it.
func contrast(c vec) float64 { return math.Sqrt(min(max(c[0]/70, 0.2), 1.3)) }

// gently says that a step between neighbours is one that light makes: on a coarser grid
// the same falloff takes larger steps.
func (l *look) gently(i, j int) bool {
	size := min(max(64/float64(max(l.Cols, l.Rows)), 0.8), 1.6)
	return l.colour[i].distance(l.colour[j]) < step*size*contrast(l.colour[i])
}

// goesOn says that from i to j the colour goes on changing as it did on the way to i, as it does at
// the rim of a pool of light. An outline begins at once.
func (l *look) goesOn(i, j int) bool {
	before := 2*i - j // the cell on the other side of i
	if before < 0 || before >= len(l.colour) || !l.gentle[before] || (j == i+1 || j == i-1) && before/l.Cols != i/l.Cols {
		return false
	}
	a, b, c := l.colour[before], l.colour[i], l.colour[j]
	expected := vec{2*b[0] - a[0], 2*b[1] - a[1], 2*b[2] - a[2]}
	limit := step * contrast(b)
	return c.distance(expected) < 0.6*limit && c.distance(b) < 4*limit
}

// grow marks the cells that look like backdrop and are reached from the border
// through such cells by small steps.
func (l *look) grow() {
	l.agree = make([]bool, len(l.off))
	var queue []int
	for _, i := range l.seeds {
		if l.off[i] < 1 {
			l.agree[i] = true
			queue = append(queue, i)
		}
	}
	for k := 0; k < len(queue); k++ {
		i := queue[k]
		l.neighbours(i, func(j int) {
			if !l.agree[j] && l.off[j] < 1 && l.gently(i, j) {
				l.agree[j] = true
				queue = append(queue, j)
			}
		})
	}
}

// growGently goes on from the cells that agree by gentle steps only, however
// the colour drifts on the way, within wide bounds. Pools of light behind a head and painted
// clouds change over several cells; a head, a flag and a shoulder change at once.
func (l *look) growGently() {
	const (
		bounds = 20 // times the limit
	)
	l.gentle = append([]bool(nil), l.agree...)
	var queue []int
	for i, in := range l.gentle {
		if in {
			queue = append(queue, i)
		}
	}
	for k := 0; k < len(queue); k++ {
		i := queue[k]
		l.neighbours(i, func(j int) {
			if !l.gentle[j] && l.off[j] < bounds && l.texture[j] < coarse/2 && (l.gently(i, j) || l.goesOn(i, j)) {
				l.gentle[j] = true
				queue = append(queue, j)
			}
		})
	}
}

// label decides every cell.
func (l *look) label() []label {
	n := len(l.off)
	l.core, l.body, l.near, l.ripple = make([]bool, n), make([]bool, n), make([]bool, n), l.measureRipple()
	l.head = make([]bool, n)
	seeds := make([]label, n)
	strong := make([]bool, n)
	for i := range strong {
		strong[i] = l.off[i] > 1.5 && !l.gentle[i]
	}
	l.markClutter(seeds, strong)
	rest := make([]bool, n)
	for i := range rest {
		rest[i] = strong[i] && seeds[i] == nothing
	}
	for _, part := range l.components(rest) {
		if len(part) < max(4, n/150) {
			break
		}
		l.markSitter(seeds, part)
	}
	l.markFace(seeds)
	for _, i := range l.seeds {
		if l.agree[i] && seeds[i] == nothing {
			seeds[i] = backdrop
		}
	}
	const (
		plain = 0.1  // a cell with nothing in its way
		easy  = 0.02 // backdrop going on through what is like it
		far   = 1.5  // backdrop taking a cell that looks wholly unlike
		like  = 0.35 // anything else taking a cell that looks like backdrop
	)
	// Before smooth paper a white shirt shows by a faint line only.
	faint := l.faint()
	return l.spread(seeds, func(lb label, from, to int) float64 {
		d := l.colour[from].distance(l.colour[to]) / mostEdge
		alike := l.agree[to] || l.gentle[to]
		if alike && l.near[to] {
			d = l.sudden(from, to) / faint
		}
		switch {
		case alike && l.body[to]: // nothing tells but a faint line, and where it is
			if lb == backdrop {
				return 4*plain + max(0, d*d-0.5)
			}
			return plain + max(0, d*d-0.5)
		case lb == backdrop && alike:
			return easy + max(0, d*d-0.5)
		case lb == backdrop:
			return plain + d*d + far*min(max(0, l.off[to]-0.7), 4)
		case alike:
			return plain + d*d + like
		}
		return plain + d*d
	})
}

// measureRipple takes the median step between neighbouring cells that look like backdrop.
func (l *look) measureRipple() float64 {
	var steps []float64
	for i, in := range l.agree {
		if x := i % l.Cols; in && x+1 < l.Cols && l.agree[i+1] {
			steps = append(steps, l.colour[i].distance(l.colour[i+1]))
		}
	}
	return median(steps)
}

// markClutter marks what hangs on a side border in the upper part of the frame, as far in as
// a fifth of the width, and what goes on below and up to two fifths in by gentle steps: a flag, a
// wall beside a narrow backdrop.
func (l *look) markClutter(seeds []label, strong []bool) {
	free, reach, low := l.Cols/5, l.Cols*2/5, l.Rows*11/20
	var queue []int
	from := -1
	put := func(i int) {
		in := min(i%l.Cols, l.Cols-1-i%l.Cols)
		if !strong[i] || seeds[i] != nothing || in >= reach {
			return
		}
		if (in >= free || i/l.Cols >= low) && (from < 0 || !l.gently(i, from)) {
			return
		}
		seeds[i] = clutter
		queue = append(queue, i)
	}
	for y := range l.Rows * 2 / 5 {
		put(y * l.Cols)
		put(y*l.Cols + l.Cols - 1)
	}
	l.markWall(strong, 0, 1, reach, func(i int) { seeds[i] = clutter; queue = append(queue, i) })
	l.markWall(strong, l.Cols-1, -1, reach, func(i int) { seeds[i] = clutter; queue = append(queue, i) })
	for k := 0; k < len(queue); k++ {
		from = queue[k]
		l.neighbours(from, put)
	}
	l.markFaded(seeds, 0, 1, reach)
	l.markFaded(seeds, l.Cols-1, -1, reach)
}

// markFaded marks a wall beside the backdrop of which a part clips as paper does, so that all of it passes for backdrop: where
// less light falls on it, its edge is straight, and nowhere is it missing but where both clip. A person has no such edge.
func (l *look) markFaded(seeds []label, x, by, reach int) {
	sharp, clips := 2*l.faint(), 250.0 // code values: a step, and how light nothing is told apart
	for n := reach - 1; n > 0; n-- {
		edge, missing := 0, false
		for y := 0; y < l.Rows && !missing; y++ {
			i := y*l.Cols + x + n*by
			j, beyond := i+by, i-by // i may show both
			switch {
			case !l.agree[j]:
			case (l.gentle[i] || l.gentle[beyond]) && l.off[i] > l.off[j]+0.2 && l.sudden(i, j) > sharp:
				edge++
			default:
				missing = l.colour[i][0] < clips || l.colour[j][0] < clips
			}
		}
		if missing || edge < l.Rows/5 {
			continue
		}
		for i := range seeds {
			if (i%l.Cols-x)*by <= n {
				seeds[i] = clutter
			}
		}
		return
	}
}

// markWall marks, column by column from a side, what comes down from the upper border and
// looks alike: planks, a door, a curtain. It stops at what looks otherwise, such as hair.
func (l *look) markWall(strong []bool, x, by, reach int, mark func(i int)) {
	const alike = 45 // code values
	mean := l.colour[x]
	for n := range reach {
		i := x + n*by
		if !strong[i] || mean.distance(l.colour[i]) > alike {
			return
		}
		for y := 0; y < l.Rows*11/20; y++ {
			j := y*l.Cols + i
			if !strong[j] || mean.distance(l.colour[j]) > alike {
				break
			}
			mark(j)
			for k := range mean {
				mean[k] += 0.02 * (l.colour[j][k] - mean[k])
			}
		}
	}
}

// even says that the border that was asked is smooth.
func (l *look) even() bool {
	var texture []float64
	for _, i := range l.seeds {
		texture = append(texture, l.texture[i])
	}
	return l.surface.spread < 5 && median(texture) < 6
}
