package scene

import (
	"math"

	"thirdstop/assess/photo"
)

// Hints is what a person said about a frame. The zero value is nothing.
type Hints struct {
	Backdrop       *Box // the backdrop lies in here
	WhiteReference *Box // this is a white reference
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
	White    White
	HeadX    float64 // middle of the sitter's highest part, a fraction of the frame's width
	HeadY    float64 // its top, a fraction of the frame's height
}

// Sure is the confidence from which a region counts as found.
const Sure = 0.5

// Find looks for the backdrop, the sitter and a white reference, in these steps:
//
//  1. A smooth surface of colour is fitted to the cells along the upper and the upper side
//     borders (or in the hinted box); what the majority there agrees on is the backdrop's look.
//  2. Cells that clearly differ are the sitter, if they lie in the middle or reach it,
//     or clutter, if they hang on an upper side border. What lies under a head is sitter, whatever it looks like.
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
	sc := &Scene{Grid: f.Grid}
	look := f.seekBackdrop(h.Backdrop)
	if look == nil {
		sc.Backdrop.Reason = "no even area along the upper border"
		if h.Backdrop != nil {
			sc.Backdrop.Reason = "the box that was drawn as backdrop is empty or outside of the frame"
		}
		sc.Sitter.Reason = "without a backdrop the sitter can't be told apart"
		sc.White.Reason = "no sitter was found to look for it on"
		sc.declare(h)
		return sc
	}
	labels := look.label()
	look.judge(sc, labels)
	sc.declare(h)
	if !sc.White.Declared {
		look.seekWhite(sc)
	}
	return sc
}

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
	hinted  *Box
}

// The limits within which a cell may differ from the backdrop's surface, in code values of
// colour distance: rounding, noise and mottle below, another thing above (derived here, on the
// portraits the tests name).
const (
	leastLimit = 9
	mostLimit  = 26
	step       = 4.5 // from one cell of the grid to the next, at medium lightness
	coarse     = 22  // texture, standard deviation within a survey cell, that no backdrop has
)

// seekBackdrop finds the majority's look along the border. It is nil where no cells qualify.
func (f *field) seekBackdrop(hint *Box) *look {
	l := &look{field: f, hinted: hint}
	top := max(2, f.Rows/16)
	side := max(2, f.Cols/24)
	var first []vec
	for i := range f.colour {
		x, y := i%f.Cols, i/f.Cols
		mx, my := f.bounds(i).middle()
		switch {
		case hint != nil:
			if !hint.holds(mx, my) {
				continue
			}
		case y >= top && (x >= side && x < f.Cols-side || my > 0.55):
			continue
		}
		l.seeds = append(l.seeds, i)
		if hint != nil || y < top {
			first = append(first, f.colour[i])
		}
	}
	if len(l.seeds) == 0 || len(first) == 0 {
		return nil
	}
	start := vec{}
	for ch := range start {
		v := make([]float64, len(first))
		for n := range first {
			v[n] = first[n][ch]
		}
		start[ch] = median(v)
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
	if len(more) > len(l.seeds)/4 {
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
		x, y := l.bounds(i).middle()
		at := l.surface.at(x, y)
		limit := min(max(leastLimit*contrast(at), 3.5*l.surface.spread), mostLimit)
		l.off[i] = l.colour[i].distance(at) / limit
		l.off[i] = max(l.off[i], l.texture[i]/coarse)
	}
}

// contrast scales what counts as a step to how light it is there: in the dark, where a camera's
// curve is steep in light but flat in codes, a few codes tell a suit from the cloth behind it.
func contrast(c vec) float64 { return math.Sqrt(min(max(c[0]/60, 0.2), 1.3)) }

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
			if !l.agree[j] && l.off[j] < 1 && l.colour[i].distance(l.colour[j]) < step*contrast(l.colour[i]) {
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
		bounds = 5 // times the limit
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
			if !l.gentle[j] && l.off[j] < bounds && l.texture[j] < coarse/2 && l.colour[i].distance(l.colour[j]) < step*contrast(l.colour[i]) {
				l.gentle[j] = true
				queue = append(queue, j)
			}
		})
	}
}

// label decides every cell.
func (l *look) label() []label {
	n := len(l.off)
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
	for _, i := range l.seeds {
		if l.agree[i] && seeds[i] == nothing {
			seeds[i] = backdrop
		}
	}
	const (
		edge  = 6.0  // code values of a step that costs as much as ten plain cells
		plain = 0.1  // a cell with nothing in its way
		easy  = 0.02 // backdrop going on through what is like it
		far   = 1.5  // backdrop taking a cell that looks wholly unlike
		like  = 0.35 // anything else taking a cell that looks like backdrop
	)
	return l.spread(seeds, func(lb label, from, to int) float64 {
		d := l.colour[from].distance(l.colour[to]) / edge
		alike := l.agree[to] || l.gentle[to]
		switch {
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

// markClutter marks what hangs on a side border in the upper part of the frame and stays there.
func (l *look) markClutter(seeds []label, strong []bool) {
	reach, low := l.Cols/4, l.Rows*11/20
	var queue []int
	put := func(i int) {
		if strong[i] && seeds[i] == nothing && i/l.Cols < low && min(i%l.Cols, l.Cols-1-i%l.Cols) < reach {
			seeds[i] = clutter
			queue = append(queue, i)
		}
	}
	for y := range low {
		put(y * l.Cols)
		put(y*l.Cols + l.Cols - 1)
	}
	for k := 0; k < len(queue); k++ {
		l.neighbours(queue[k], put)
	}
}

// markSitter marks a part that differs from the backdrop, and what is under its
// middle, unless it lies at the side or sticks to the upper border alone.
func (l *look) markSitter(seeds []label, part []int) {
	tops := make(map[int]int)
	var sum, lowest int
	top := l.Rows
	for _, i := range part {
		x, y := i%l.Cols, i/l.Cols
		sum += x
		top, lowest = min(top, y), max(lowest, y)
		if t, ok := tops[x]; !ok || y < t {
			tops[x] = y
		}
	}
	mid := float64(sum) / float64(len(part)) / float64(l.Cols)
	if mid < 0.08 || mid > 0.92 || lowest < l.Rows/4 {
		return
	}
	for _, i := range part {
		seeds[i] = sitter
	}
	// The neck is narrower than the head, so only what is under the head's middle is certain.
	left, right := l.Cols, 0
	for x, t := range tops {
		if t <= top+l.Rows/6 {
			left, right = min(left, x), max(right, x)
		}
	}
	for x := left + (right-left)/4; x <= right-(right-left)/4; x++ {
		t, ok := tops[x]
		if !ok {
			continue
		}
		// A head is solid; a lock of hair or a lifted pair of spectacles is not.
		solid, run := 0, max(3, l.Rows/6)
		for y := t; y < min(t+run, l.Rows); y++ {
			if seeds[y*l.Cols+x] == sitter {
				solid++
			}
		}
		if solid*3 >= run*2 {
			for y := t; y < l.Rows; y++ {
				if i := y*l.Cols + x; seeds[i] == nothing {
					seeds[i] = sitter
				}
			}
		}
	}
}

// judge turns labels into regions and says how sure they are.
func (l *look) judge(sc *Scene, labels []label) {
	n := len(labels)
	back, who := make([]bool, n), make([]bool, n)
	for i, lb := range labels {
		back[i] = lb == backdrop
		who[i] = lb == sitter
		if l.hinted != nil {
			back[i] = back[i] && l.hinted.holds(l.bounds(i).middle())
		}
	}
	who = l.keepLarge(who, n/100)
	// Cells on the outline hold both; hair and shadow at the outline are no backdrop.
	pure := l.shrink(back)
	var texture []float64
	for i := range pure {
		pure[i] = pure[i] && (l.off[i] < 1.6 || l.gentle[i])
		if pure[i] {
			texture = append(texture, l.texture[i])
		}
	}
	share := float64(count(pure)) / float64(n)
	sides, head, headX := l.outline(back, who)

	seen := 0
	for _, i := range l.seeds {
		if pure[i] || back[i] && l.off[i] < 1 {
			seen++
		}
	}
	reach := float64(seen) / float64(len(l.seeds))
	conf := ramp(reach, 0.25, 0.75)
	conf *= 1 - ramp(l.surface.spread, 6, 18)
	conf *= 1 - ramp(median(texture), 8, 20)
	conf *= ramp(share, 0.02, 0.08)
	reason := ""
	switch {
	case share < 0.02 || reach < 0.25:
		reason = "no even area along the upper border"
	case l.surface.spread > 12 || median(texture) > 14:
		reason = "what lies along the upper border is not even enough for a backdrop"
	case count(who) == 0 && share < 0.8:
		conf *= 0.3
		reason = "an even area along the upper border has nobody before it, and doesn't fill the frame"
	case count(who) > 0 && l.hinted == nil && sides-head < 0.12:
		conf *= 0.35
		reason = "the even area along the upper border doesn't come down beside a sitter: it may be sky or ceiling"
	}
	if l.hinted != nil && share > 0 {
		conf = max(conf, 0.9*ramp(reach, 0.1, 0.4))
	}
	sc.Backdrop = Region{Mask: pure, Confidence: conf}
	if conf < Sure {
		if reason == "" {
			reason = "the area along the upper border is not even enough to be sure of a backdrop"
		}
		sc.Backdrop = Region{Confidence: conf, Reason: reason}
	}
	switch {
	case !sc.Backdrop.Found():
		sc.Sitter.Reason = "without a backdrop the sitter can't be told apart"
	case count(who) == 0:
		sc.Sitter.Reason = "nothing stands before the backdrop"
	default:
		sc.Sitter = Region{Mask: who, Confidence: conf * ramp(float64(count(who))/float64(n), 0.01, 0.05)}
		sc.HeadX, sc.HeadY = headX, head
		if sc.Sitter.Confidence < Sure {
			sc.Sitter = Region{Confidence: sc.Sitter.Confidence, Reason: "what stands before the backdrop is too small to be a sitter"}
		}
	}
}

func (g Grid) keepLarge(mask []bool, least int) []bool {
	out := make([]bool, len(mask))
	for _, part := range g.components(mask) {
		if len(part) < max(least, 1) {
			break
		}
		for _, i := range part {
			out[i] = true
		}
	}
	return out
}

// outline says how far down the backdrop comes at the better side, where the sitter's top is
// (fractions of the height) and where it lies across (fraction of the width).
func (l *look) outline(back, who []bool) (sides, head, headX float64) {
	strip := max(2, l.Cols/10)
	depth := func(x0, x1 int) float64 {
		var downs []float64
		for x := x0; x < x1; x++ {
			last := 0
			for y := range l.Rows {
				if back[y*l.Cols+x] {
					last = y + 1
				} else if who[y*l.Cols+x] {
					break
				}
			}
			downs = append(downs, float64(last)/float64(l.Rows))
		}
		return median(downs)
	}
	sides = max(depth(0, strip), depth(l.Cols-strip, l.Cols))
	top := l.Rows
	for i, in := range who {
		if in {
			top = min(top, i/l.Cols)
		}
	}
	if top == l.Rows {
		return sides, 1, 0.5
	}
	var sum, cells float64
	for y := top; y < min(top+max(2, l.Rows/12), l.Rows); y++ {
		for x := range l.Cols {
			if who[y*l.Cols+x] {
				sum += float64(x) + 0.5
				cells++
			}
		}
	}
	return sides, float64(top) / float64(l.Rows), sum / cells / float64(l.Cols)
}

// ramp is 0 up to lo, 1 from hi, straight in between.
func ramp(v, lo, hi float64) float64 { return math.Min(math.Max((v-lo)/(hi-lo), 0), 1) }
