package colour

import (
	"math"
	"slices"

	"thirdstop/assess/photo"
)

// point is a place in the upright frame, in blocks from the left and the top: the middle of the
// first block lies at 0.5, 0.5.
type point struct{ x, y float64 }

func (p point) sub(q point) point        { return point{p.x - q.x, p.y - q.y} }
func (p point) add(q point) point        { return point{p.x + q.x, p.y + q.y} }
func (p point) scaled(f float64) point   { return point{p.x * f, p.y * f} }
func (p point) length() float64          { return math.Hypot(p.x, p.y) }
func (p point) cross(q point) float64    { return p.x*q.y - p.y*q.x }
func (p point) dot(q point) float64      { return p.x*q.x + p.y*q.y }
func (p point) distance(q point) float64 { return p.sub(q).length() }
func (p point) within(w, h float64) bool { return p.x >= 0 && p.y >= 0 && p.x <= w && p.y <= h }

// middle and extent are in blocks, from edges in pixels.
func middle(edges []int, i int) float64 { return float64(edges[i]+edges[i+1]) / (2 * photo.BlockSize) }
func extent(edges []int) float64        { return float64(edges[len(edges)-1]) / photo.BlockSize }
func squared(v float64) float64         { return v * v }
func between(v, lo, hi float64) bool    { return v >= lo && v <= hi }
func absDiff(a, b uint16) uint16        { return max(a, b) - min(a, b) }
func blockCode(b *photo.Block) [3]float64 {
	return [3]float64{float64(b[0]) / 256, float64(b[1]) / 256, float64(b[2]) / 256}
}
func largest(b *photo.Block) uint16 { return max(b[0], b[1], b[2]) }

// blob is a compact patch of even colour.
type blob struct {
	at   point
	n    int     // blocks
	side float64 // of a square of as many blocks
}

// How different neighbouring blocks may be and still belong to one surface: some code
// values, and a share of the brighter one, as light that falls off is a share. A patch
// of the chart differs from the gap around it by much more.
const (
	stepCodes = 3.0
	stepShare = 0.025
)

// Blobs are held to be patches only within these bounds. Compactness is the area over that of
// the rectangle with the same second moments, n/(12 sqrt(det)): 1 for any parallelogram,
// 1.05 for an ellipse, less for whatever has arms or holes (derived here).
const (
	fewestBlocks   = 2
	leastCompact   = 0.72
	mostCompact    = 1.2
	mostElongated  = 2.5 // longer over shorter side
	patchesInFrame = 20  // a patch covers at most this part of a frame: there are 24, with gaps between
)

// blobsOf cuts the survey's blocks into surfaces and gives those that could be a patch, largest first.
func blobsOf(s *photo.Survey) []blob {
	cols, rows := s.BlockCols, s.BlockRows
	parent := make([]int32, cols*rows)
	for i := range parent {
		parent[i] = int32(i)
	}
	find := func(i int32) int32 {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	join := func(a, b int32) {
		// The smaller index is the root, so that roots come before their members.
		if a, b = find(a), find(b); a < b {
			parent[b] = a
		} else {
			parent[a] = b
		}
	}
	alike := func(a, b *photo.Block) bool {
		step := uint16(stepCodes*256) + uint16(float32(max(largest(a), largest(b)))*stepShare)
		return absDiff(a[0], b[0]) <= step && absDiff(a[1], b[1]) <= step && absDiff(a[2], b[2]) <= step
	}
	for r := range rows {
		for c := range cols {
			i := r*cols + c
			b := &s.Blocks[i]
			if c > 0 && alike(b, &s.Blocks[i-1]) {
				join(int32(i-1), int32(i))
			}
			if r > 0 && alike(b, &s.Blocks[i-cols]) {
				join(int32(i-cols), int32(i))
			}
		}
	}

	type sums struct{ n, x, y, xx, xy, yy float64 }
	slot := make([]int32, cols*rows) // 1 + place in all, at roots
	var all []sums
	for r := range rows {
		y := middle(s.BlockRowEdges, r)
		for c := range cols {
			i := int32(r*cols + c)
			root := find(i)
			if root == i {
				all = append(all, sums{})
				slot[i] = int32(len(all))
			}
			x := middle(s.BlockColEdges, c)
			t := &all[slot[root]-1]
			t.n++
			t.x += x
			t.y += y
			t.xx += x * x
			t.xy += x * y
			t.yy += y * y
		}
	}
	var blobs []blob
	for i := range all {
		t := &all[i]
		if t.n < fewestBlocks || t.n*patchesInFrame > float64(cols*rows) {
			continue
		}
		x, y := t.x/t.n, t.y/t.n
		// A block is itself extended: 1/12 each way.
		xx, yy, xy := t.xx/t.n-x*x+1.0/12, t.yy/t.n-y*y+1.0/12, t.xy/t.n-x*y
		det := xx*yy - xy*xy
		if det <= 0 || !between(t.n/(12*math.Sqrt(det)), leastCompact, mostCompact) {
			continue
		}
		mid, off := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
		if mid+off > squared(mostElongated)*(mid-off) {
			continue
		}
		blobs = append(blobs, blob{at: point{x, y}, n: int(t.n), side: math.Sqrt(t.n)})
	}
	slices.SortStableFunc(blobs, func(a, b blob) int { return b.n - a.n })
	return blobs
}

// nearby answers which blobs of about the same size lie around a place: per octave of
// side a grid of squares, each with the run of blobs that lie in it.
type nearby struct {
	blobs   []blob
	classes [16]grid
}

type grid struct {
	cell       float64 // blocks along the edge of a square
	cols, rows int
	first      []int32 // where each square's run begins; one more than there are squares
	blobs      []int32
}

func newNearby(blobs []blob, w, h float64) *nearby {
	n := &nearby{blobs: blobs}
	var members [len(n.classes)][]int32
	for i := range blobs {
		k := classOf(blobs[i].side)
		members[k] = append(members[k], int32(i))
	}
	for k, all := range members {
		if len(all) == 0 {
			continue
		}
		g := &n.classes[k]
		g.cell = math.Exp2(float64(k + 1))
		g.cols, g.rows = int(w/g.cell)+1, int(h/g.cell)+1
		g.first = make([]int32, g.cols*g.rows+1)
		g.blobs = make([]int32, len(all))
		square := func(i int32) int { return int(blobs[i].at.y/g.cell)*g.cols + int(blobs[i].at.x/g.cell) }
		for _, i := range all {
			g.first[square(i)+1]++
		}
		for q := 1; q < len(g.first); q++ {
			g.first[q] += g.first[q-1]
		}
		next := slices.Clone(g.first)
		for _, i := range all {
			q := square(i)
			g.blobs[next[q]] = i
			next[q]++
		}
	}
	return n
}

func classOf(side float64) int { return min(max(int(math.Log2(side)), 0), 15) }

// alikeInSize says whether two blobs could be patches side by side: mixed blocks at the edges come
// and go, which takes up to a block from either side of a small one.
func alikeInSize(a, b float64) bool { return math.Abs(a-b) <= 1.3+0.25*min(a, b) }

// around calls with the blobs within a radius that are alike in size, in no order that matters.
func (n *nearby) around(p point, side, radius float64, with func(i int32, d float64)) {
	lo, hi := classOf(max(side*0.7-1.3, 1)), classOf(side*1.25+1.3)
	for k := lo; k <= hi; k++ {
		g := &n.classes[k]
		if len(g.blobs) == 0 {
			continue
		}
		x0, x1 := max(int((p.x-radius)/g.cell), 0), min(int((p.x+radius)/g.cell), g.cols-1)
		y0, y1 := max(int((p.y-radius)/g.cell), 0), min(int((p.y+radius)/g.cell), g.rows-1)
		if x0 > x1 {
			continue
		}
		for y := y0; y <= y1; y++ {
			for _, i := range g.blobs[g.first[y*g.cols+x0]:g.first[y*g.cols+x1+1]] {
				b := &n.blobs[i]
				if !alikeInSize(b.side, side) {
					continue
				}
				dx, dy := b.at.x-p.x, b.at.y-p.y
				if d2 := dx*dx + dy*dy; d2 <= radius*radius {
					with(i, math.Sqrt(d2))
				}
			}
		}
	}
}
