package scene

import "container/heap"

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
	var q front
	for i, l := range seeds {
		if l != nothing {
			q = append(q, arrival{0, i, l})
		}
	}
	heap.Init(&q)
	for len(q) > 0 {
		a := heap.Pop(&q).(arrival)
		if out[a.cell] != nothing {
			continue
		}
		out[a.cell] = a.label
		g.neighbours(a.cell, func(j int) {
			if out[j] == nothing {
				heap.Push(&q, arrival{a.cost + cost(a.label, a.cell, j), j, a.label})
			}
		})
	}
	return out
}

type arrival struct {
	cost  float64
	cell  int
	label label
}

// front is the heap of arrivals to come, cheapest first. Ties go by cell and label, so that
// the same frame always gives the same regions.
type front []arrival

func (q front) Len() int { return len(q) }
func (q front) Less(i, j int) bool {
	if q[i].cost != q[j].cost {
		return q[i].cost < q[j].cost
	}
	if q[i].cell != q[j].cell {
		return q[i].cell < q[j].cell
	}
	return q[i].label < q[j].label
}
func (q front) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *front) Push(x any)   { *q = append(*q, x.(arrival)) }
func (q *front) Pop() any {
	old := *q
	x := old[len(old)-1]
	*q = old[:len(old)-1]
	return x
}
