package scene

// label says what a cell was found to be.
type label uint8

const (
	nothing label = iota
	backdrop
	sitter
	clutter // neither: a flag, a stand, a strip of wall at the side
)

// spread lets labels run from their seeds through the grid, each step at a
// cost, and gives every cell to the label that reaches it most cheaply (Dijkstra 1959). A boundary
// thus settles where stepping over is dear for both sides: on the strongest edge between
// them, even a faint one such as a dark suit's against a dark backdrop.
func (g Grid) spread(seeds []label, cost func(l label, from, to int) float64) []label {
	out := make([]label, len(seeds))
	q := make(front, 0, 4*len(seeds))
	for i, l := range seeds {
		if l != nothing {
			q.push(arrival{0, int32(i), l})
		}
	}
	for len(q) > 0 {
		a := q.pop()
		if out[a.cell] != nothing {
			continue
		}
		out[a.cell] = a.label
		g.neighbours(int(a.cell), func(j int) {
			if out[j] == nothing {
				q.push(arrival{a.cost + cost(a.label, int(a.cell), j), int32(j), a.label})
			}
		})
	}
	return out
}

type arrival struct {
	cost  float64
	cell  int32
	label label
}

// front is the heap of arrivals to come, cheapest first. Ties go by cell and label, so that
// the same frame always gives the same regions.
type front []arrival

// It is written out here because container/heap allocates for every element.
func (a arrival) before(b arrival) bool {
	if a.cost != b.cost {
		return a.cost < b.cost
	}
	if a.cell != b.cell {
		return a.cell < b.cell
	}
	return a.label < b.label
}

func (q *front) push(a arrival) {
	h := append(*q, a)
	i := len(h) - 1
	for i > 0 {
		up := (i - 1) / 2
		if !a.before(h[up]) {
			break
		}
		h[i] = h[up]
		i = up
	}
	h[i] = a
	*q = h
}

func (q *front) pop() arrival {
	h := *q
	first, last := h[0], h[len(h)-1]
	h = h[:len(h)-1]
	i := 0
	for {
		down := 2*i + 1
		if down >= len(h) {
			break
		}
		if down+1 < len(h) && h[down+1].before(h[down]) {
			down++
		}
		if !h[down].before(last) {
			break
		}
		h[i] = h[down]
		i = down
	}
	if len(h) > 0 {
		h[i] = last
	}
	*q = h
	return first
}
