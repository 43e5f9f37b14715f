package colour

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// homography maps places of a plane to the frame: the projective map of a flat chart.
// h is row by row with the last entry 1.
type homography struct{ h [8]float64 }

// at is where a place comes to lie; false at the horizon and beyond.
func (m *homography) at(u, v float64) (point, bool) {
	w := m.h[6]*u + m.h[7]*v + 1
	if !(w > 1e-6) {
		return point{}, false
	}
	return point{(m.h[0]*u + m.h[1]*v + m.h[2]) / w, (m.h[3]*u + m.h[4]*v + m.h[5]) / w}, true
}

// inverse is the map back, by the adjugate; false where the map is degenerate.
func (m *homography) inverse() (homography, bool) {
	full := matrix{m.h[0], m.h[1], m.h[2], m.h[3], m.h[4], m.h[5], m.h[6], m.h[7], 1}
	inv := full.inverse()
	if !(math.Abs(inv[8]) > 1e-300) || math.IsInf(inv[8], 0) {
		return homography{}, false
	}
	var r homography
	for k := range r.h {
		r.h[k] = inv[k] / inv[8]
		if math.IsNaN(r.h[k]) || math.IsInf(r.h[k], 0) {
			return homography{}, false
		}
	}
	return r, true
}

// fitHomography is the least-squares map of pairs of places (the direct linear transform with its
// last entry fixed, Hartley & Zisserman 2004, section 4.1.2): at least four, and not
// all on a line. The origin must lie among the places, so that the last entry isn't 0.
func fitHomography(from, to []point) (homography, bool) {
	n := len(from)
	if n < 4 {
		return homography{}, false
	}
	// Scaled around the middle of what is mapped to, so that all entries are of one size.
	var c point
	for _, p := range to {
		c = c.add(p.scaled(1 / float64(n)))
	}
	scale := 1e-9
	for _, p := range to {
		scale = max(scale, p.distance(c))
	}
	a, b := mat.NewDense(2*n, 8, nil), mat.NewVecDense(2*n, nil)
	for i, p := range from {
		q := to[i].sub(c).scaled(1 / scale)
		a.SetRow(2*i, []float64{p.x, p.y, 1, 0, 0, 0, -q.x * p.x, -q.x * p.y})
		a.SetRow(2*i+1, []float64{0, 0, 0, p.x, p.y, 1, -q.y * p.x, -q.y * p.y})
		b.SetVec(2*i, q.x)
		b.SetVec(2*i+1, q.y)
	}
	var x mat.VecDense
	if err := x.SolveVec(a, b); err != nil {
		return homography{}, false
	}
	var m homography
	for k := range m.h {
		m.h[k] = x.AtVec(k)
		if math.IsNaN(m.h[k]) || math.IsInf(m.h[k], 0) {
			return homography{}, false
		}
	}
	for k := range 2 { // undo the scaling: add c times the bottom row
		off := [2]float64{c.x, c.y}[k]
		m.h[3*k] = m.h[3*k]*scale + off*m.h[6]
		m.h[3*k+1] = m.h[3*k+1]*scale + off*m.h[7]
		m.h[3*k+2] = m.h[3*k+2]*scale + off
	}
	return m, true
}

// node is a place of a lattice: column and row from its seed.
type node [2]int8

// lattice is blobs that lie in rows and columns. Its axes are right-handed in the frame: from
// the first to the second turns clockwise, as from right to down.
type lattice struct {
	nodes [2*reach + 1][2*reach + 1]int32 // 1 + blob at each place, 0 where there is none
	order []node                          // places that have one, in the order they were found
}

// reach bounds a lattice's columns and rows either side of its seed.
const reach = 8

// blob is the blob at a place, -1 if there is none.
func (l *lattice) blob(n node) int32 {
	if max(n[0], n[1]) > reach || min(n[0], n[1]) < -reach {
		return -1
	}
	return l.nodes[n[1]+reach][n[0]+reach] - 1
}

func (l *lattice) put(n node, blob int32) {
	l.nodes[n[1]+reach][n[0]+reach] = blob + 1
	l.order = append(l.order, n)
}

func (l *lattice) holds(blob int32) bool {
	return slices.ContainsFunc(l.order, func(n node) bool { return l.blob(n) == blob })
}

// How a lattice may be shaped. A patch is 0.6 to 0.95 of the pitch in the charts there are
// (common practice, no source); a blob has lost its mixed edge blocks.
const (
	pitchLeast     = 1.0  // pitch over the blob's side
	pitchMost      = 1.6  // over the side
	edgeLost       = 2.0  // and this many blocks more, lost at the edges
	skew           = 0.62 // largest cosine between the axes: about 52 to 128 degrees
	axisRatio      = 2.2  // longer over shorter axis
	offPitch       = 0.24 // how far from where it's expected a blob may lie, in pitches
	offBlocks      = 0.5  // and blocks, for which blocks make up a small blob is a matter of luck
	fewestInChart  = 10   // blobs: fewer don't make a chart likely, and don't fix its perspective
	neighboursKept = 10
	budget         = 80_000 // looks for a blob, over all: bounds the work on textures
)

// grower finds lattices among blobs.
type grower struct {
	near    *nearby
	looks   int
	scratch lattice
	kept    []neighbour
}

// neighbour is a blob beside a seed: where it lies from there, and how far.
type neighbour struct {
	e point
	d float64
	i int32
}

// closest is the blob nearest to a place, alike in size.
func (g *grower) closest(p point, side, radius float64) (int32, bool) {
	g.looks++
	best, d0 := int32(-1), radius
	g.near.around(p, side, radius, func(i int32, d float64) {
		if d < d0 || d == d0 && i < best {
			best, d0 = i, d
		}
	})
	return best, best >= 0
}

// from grows lattices from a seed, along pairs of neighbours, nearest first, until
// accept takes one.
func (g *grower) from(seed int32, accept func(*lattice) bool) bool {
	b := &g.near.blobs[seed]
	kept := g.kept[:0]
	radius := pitchMost*b.side + edgeLost
	g.looks++
	g.near.around(b.at, b.side, radius, func(i int32, d float64) {
		if i != seed && d >= pitchLeast*b.side {
			kept = append(kept, neighbour{g.near.blobs[i].at.sub(b.at), d, i})
		}
	})
	g.kept = kept
	if len(kept) < 2 {
		return false
	}
	slices.SortFunc(kept, func(p, q neighbour) int {
		switch {
		case p.d < q.d || p.d == q.d && p.i < q.i:
			return -1
		default:
			return 1
		}
	})
	kept = kept[:min(len(kept), neighboursKept)]
	for j := 1; j < len(kept); j++ {
		for i := range j {
			p, q := kept[i], kept[j]
			if math.Abs(p.e.dot(q.e)) > skew*p.d*q.d || q.d > axisRatio*p.d {
				continue
			}
			// A blob inside the first square would mean that these are its diagonals.
			corner := b.at.add(p.e).add(q.e)
			if _, ok := g.closest(corner, b.side, offPitch*1.3*p.d+offBlocks); !ok {
				continue
			}
			e1, e2 := p.e, q.e
			if e1.cross(e2) < 0 {
				e1, e2 = e2, e1
			}
			if l := g.grow(seed, e1, e2); l.crowded() && accept(l) {
				return true
			}
			if g.looks > budget {
				return false
			}
		}
	}
	return false
}

// grow spreads a lattice from its seed, breadth first; it is good until the next one is grown. Where the next blob ought to be is
// told by the step before it in the same line, or the same step in a line beside.
func (g *grower) grow(seed int32, e1, e2 point) *lattice {
	l := &g.scratch
	*l = lattice{order: l.order[:0]}
	l.put(node{}, seed)
	at := func(n node) (point, bool) {
		i := l.blob(n)
		if i < 0 {
			return point{}, false
		}
		return g.near.blobs[i].at, true
	}
	steps := [4]node{{1, 0}, {0, 1}, {-1, 0}, {0, -1}}
	for k := 0; k < len(l.order); k++ {
		n := l.order[k]
		here := &g.near.blobs[l.blob(n)]
		for dir, d := range steps {
			to := node{n[0] + d[0], n[1] + d[1]}
			if max(to[0], to[1]) > reach || min(to[0], to[1]) < -reach || l.blob(to) >= 0 {
				continue
			}
			step := [4]point{e1, e2, e1.scaled(-1), e2.scaled(-1)}[dir]
			if p, ok := at(node{n[0] - d[0], n[1] - d[1]}); ok {
				step = here.at.sub(p)
			} else {
				for _, side := range [2]node{{d[1], d[0]}, {-d[1], -d[0]}} {
					p, ok1 := at(node{n[0] + side[0], n[1] + side[1]})
					q, ok2 := at(node{to[0] + side[0], to[1] + side[1]})
					if ok1 && ok2 {
						step = q.sub(p)
						break
					}
				}
			}
			i, ok := g.closest(here.at.add(step), here.side, offPitch*step.length()+offBlocks)
			if ok && !l.holds(i) {
				l.put(to, i)
			}
		}
		// What hasn't got beyond a few after looking around from several is no lattice.
		if k >= 6 && len(l.order) < 7 {
			break
		}
	}
	return l
}

// crowded says whether some place of 6 by 4 holds enough blobs to be a chart.
func (l *lattice) crowded() bool {
	if len(l.order) < fewestInChart {
		return false
	}
	const size = 2*reach + 2
	var sum [size][size]int // of all places above and left
	for y := 1; y < size; y++ {
		for x := 1; x < size; x++ {
			sum[y][x] = sum[y-1][x] + sum[y][x-1] - sum[y-1][x-1]
			if l.nodes[y-1][x-1] > 0 {
				sum[y][x]++
			}
		}
	}
	for _, shape := range [2]node{{ChartCols, ChartRows}, {ChartRows, ChartCols}} {
		for y := int(shape[1]); y < size; y++ {
			for x := int(shape[0]); x < size; x++ {
				w, h := int(shape[0]), int(shape[1])
				if sum[y][x]-sum[y-h][x]-sum[y][x-w]+sum[y-h][x-w] >= fewestInChart {
					return true
				}
			}
		}
	}
	return false
}

// plane fits the lattice's perspective, leaving out blobs that don't lie where it puts them.
func (l *lattice) plane(blobs []blob) (homography, bool) {
	var from, to []point
	for _, n := range l.order {
		from = append(from, point{float64(n[0]), float64(n[1])})
		to = append(to, blobs[l.blob(n)].at)
	}
	m, ok := fitHomography(from, to)
	if !ok {
		return m, false
	}
	var f2, t2 []point
	for i := range from {
		p, ok := m.at(from[i].x, from[i].y)
		q, ok2 := m.at(from[i].x+1, from[i].y)
		if ok && ok2 && p.distance(to[i]) < 0.2*p.distance(q)+0.3 {
			f2, t2 = append(f2, from[i]), append(t2, to[i])
		}
	}
	if len(f2) < fewestInChart {
		return m, false
	}
	return fitHomography(f2, t2)
}
