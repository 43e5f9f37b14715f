package scene

import "math"

// markSitter marks a part that differs from the backdrop, and what is under its
// middle, unless it lies at the side or sticks to the upper border alone.
func (l *look) markSitter(seeds []label, part []int) {
	tops := make(map[int]int)
	spans := make([]span, l.Rows)
	var sum, lowest int
	top := l.Rows
	for _, i := range part {
		x, y := i%l.Cols, i/l.Cols
		sum += x
		spans[y].take(x)
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
	if at := (spans[top].from + spans[top].to) / 2; l.near[top*l.Cols+at] {
		return // hands, a tie: not a head of its own
	}
	l.markBody(seeds, tops, spans, top)
}

// markFace marks the box that a person drew round the sitter's face, and the body under it. What was taken for
// something else there was taken wrongly.
func (l *look) markFace(seeds []label) {
	if l.face == nil || !l.face.ok() {
		return
	}
	tops, spans, top := make(map[int]int), make([]span, l.Rows), l.Rows
	for i := range seeds {
		if !l.face.holds(l.bounds(i).middle()) {
			continue
		}
		x, y := i%l.Cols, i/l.Cols
		seeds[i] = sitter
		spans[y].take(x)
		top = min(top, y)
		if t, ok := tops[x]; !ok || y < t {
			tops[x] = y
		}
	}
	if len(tops) > 0 {
		l.markBody(seeds, tops, spans, top)
	}
}

// markBody marks what must be sitter because it is under a head: a neck and a trunk of
// a size that goes with the head, no wider than anybody's. Proportions are common practice in
// drawing (no source): shoulders are two to three heads wide.
func (l *look) markBody(seeds []label, tops map[int]int, spans []span, top int) {
	left, right := l.Cols, 0
	for x, t := range tops {
		if t <= top+max(1, l.Rows/24) {
			left, right = min(left, x), max(right, x)
		}
	}
	mid := (left + right) / 2
	// The width of a row is that of the marked cells in one piece about the middle.
	wide := func(y int) int {
		if seeds[y*l.Cols+mid] != sitter {
			return 0
		}
		a, b := mid, mid
		for a > 0 && seeds[y*l.Cols+a-1] == sitter {
			a--
		}
		for b+1 < l.Cols && seeds[y*l.Cols+b+1] == sitter {
			b++
		}
		return b - a + 1
	}
	// Down from its top a head gets wider until it is as high as wide; the shoulders come
	// later. A bun or a crest on it is narrower for a while.
	head, first := 0, max(3, l.Rows/8)
	for y := top; y < l.Rows && y-top <= max(head, first); y++ {
		w := wide(y)
		if y-top > max(first, head*2/3) && w > head*3/2 {
			break
		}
		head = max(head, w)
	}
	if head < 3 || head > l.Cols*7/10 {
		return
	}
	size := float64(head)
	chin := float64(top) + 1.2*size
	mid = middleOf(spans, top+head/2, min(int(chin), l.Rows), mid, head)
	for y := top; y < min(int(chin), l.Rows); y++ {
		for x := max(0, mid-int(0.7*size)); x <= min(l.Cols-1, mid+int(0.7*size)); x++ {
			l.head[y*l.Cols+x] = true
		}
	}
	o := l.fitOutline(seeds, mid, min(int(chin), l.Rows), size, chin)
	for y := int(chin); y < l.Rows; y++ {
		down := ramp(float64(y)-chin, 0.2*size, 1.0*size)
		core := coreHalf(float64(y)-chin, size)
		wide := int(size * (0.3 + 1.45*down))
		for x := max(0, mid-wide); x <= min(l.Cols-1, mid+wide); x++ {
			i := y*l.Cols + x
			l.near[i] = true
			l.body[i] = l.body[i] || o.holds(x, y, 0)
			if seeds[i] != nothing {
				continue
			}
			if math.Abs(float64(x-mid)) <= core {
				seeds[i], l.core[i] = sitter, true
			} else if o.holds(x, y, 1) {
				seeds[i] = sitter
			}
		}
	}
}

// middleOf is where the middle of a head lies, from its lower half, where hair and light from one side mislead less than
// at the top.
func middleOf(spans []span, from, to, mid, head int) int {
	var at []float64
	for y := from; y < to; y++ {
		if s := spans[y]; s.n > 0 && s.to-s.from <= head*5/4 {
			at = append(at, float64(s.from+s.to)/2)
		}
	}
	if len(at) < 3 {
		return mid
	}
	return min(max(int(median(at)+0.5), mid-head/3), mid+head/3)
}

// span is how far the marked cells of a row reach.
type span struct{ from, to, n int }

func (s *span) take(x int) {
	if s.n == 0 || x < s.from {
		s.from = x
	}
	if s.n == 0 || x > s.to {
		s.to = x
	}
	s.n++
}

// ramp is 0 up to lo, 1 from hi, straight in between.
func ramp(v, lo, hi float64) float64 { return math.Min(math.Max((v-lo)/(hi-lo), 0), 1) }
