package assess

import (
	"fmt"
	"math"
	"sort"

	"thirdstop/assess/exposure"
	"thirdstop/assess/tone"
)

// The cheeks that are compared, in sizes of the face's box from its middle: below the eyes, beside nose and mouth.
const (
	cheekFrom, cheekTo = 0.13, 0.31
	cheekTop, cheekEnd = 0.02, 0.18
	leastOfCheek       = 4  // blocks
	leastFacePixels    = 80 // along the edge of a box
)

// How it is told that a face is seen from the front (derived here, on the portraits and studios of the tests).
const (
	halfCols, halfRows = 12, 20 // samples of either half
	halfWide           = 0.36   // how far to the side they reach, in sizes of the box
	halfTop, halfEnd   = -0.30, 0.36
	axisReach          = 0.06 // how far the middle of the face may lie from that of its box
	tiltStep           = 0.05 // radians
	leastSymmetry      = 0.55
	mostAside          = 0.025 // of the axis from the middle of the box: a head that turns takes its features along, and its outline less
)

const (
	curveTilt  = 0.06 // of a difference: how far the slope of a curve that fits may be off
	roundTilt  = 0.10 // of a difference: how far round the face a cheek is taken (both derived here, on the studio)
	skinSigma  = 0.10 // stops: cheeks differ (derived here, on the studio)
	evenWithin = 2.0  // sigmas of the difference, within which neither cheek is the lit one
)

// keyFill compares the cheeks of a face. Where that says nothing of the light it gives the reason.
func (m *meter) keyFill(p *placed) (*KeyFill, string) {
	if p.f.Size*float64(m.s.Height) < leastFacePixels {
		return nil, "the face is too small in the picture"
	}
	q, ok := m.patchOf(p)
	if !ok {
		return nil, "the face reaches out of the picture"
	}
	axis, alike := q.symmetry()
	if alike < leastSymmetry || math.Abs(axis) > mostAside {
		return nil, "the face isn't seen from the front, or something lies over one side of it"
	}
	left := m.blocksIn(p, axis, -cheekTo, -cheekFrom, cheekTop, cheekEnd)
	right := m.blocksIn(p, axis, cheekFrom, cheekTo, cheekTop, cheekEnd)
	if len(left) < leastOfCheek || len(right) < leastOfCheek {
		return nil, "a cheek reaches out of the picture"
	}
	ch, ok := m.channelFor(left, right)
	if !ok {
		return nil, "a cheek clips in every channel"
	}
	a, codeA := m.middling(left, ch)
	b, codeB := m.middling(right, ch)
	if a < darkCheek || b < darkCheek {
		return nil, "a cheek is too dark to be measured"
	}
	d := float64(b - a)
	k := ratioOf(exposure.Stops(math.Abs(d)), sidesSigma(exposure.Stops(d), m.c.Sigma(ch, codeA), m.c.Sigma(ch, codeB)))
	k.LitLevel = max(a, b).Round()
	if k.Lit == "" {
		k.Lit = "right"
		if d < 0 {
			k.Lit = "left"
		}
	}
	k.Channel = [3]string{"red", "green", "blue"}[ch]
	k.Symmetry = math.Round(100*alike) / 100
	return &k, ""
}

// sidesSigma is one standard deviation of the difference between cheeks, of whose levels a curve knows so much.
func sidesSigma(d, a, b exposure.Stops) exposure.Stops {
	curve := math.Abs(float64(a-b)) + curveTilt*math.Abs(float64(d))
	return exposure.Stops(math.Hypot(curve, math.Hypot(skinSigma, roundTilt*float64(d))))
}

// under is the comparison under another curve, through which the cheeks' levels are others.
func (k *KeyFill) under(was, now *tone.Curve) *KeyFill {
	if k == nil || !(k.LitLevel < 0) {
		return k
	}
	lit, other := Relevelled(k.LitLevel, was, now), Relevelled(k.LitLevel-k.Difference, was, now)
	known := func(at exposure.Stops) exposure.Stops { return now.Sigma(1, now.Code(1, at.Factor())) }
	d := max(lit-other, 0)
	out := ratioOf(d, sidesSigma(d, known(lit), known(other)))
	out.LitLevel, out.Channel, out.Symmetry = lit, k.Channel, k.Symmetry
	if out.Lit == "" {
		out.Lit = k.Lit
		if k.Lit == "even" { // which side it was isn't kept where it couldn't be told
			out.Lit, out.Source, out.KeyOver = "even", nil, nil
		}
	}
	return &out
}

// darkCheek is the level under which noise and flare speak.
const darkCheek exposure.Stops = -8

// ratioOf puts the difference between the lit and the other side of a face into both conventions. The lit side has
// key and fill, the other fill alone, so that the difference is the additive ratio (key + fill):fill, as in
// "3:1" for a key of 200 and a fill of 100 footcandles (Wikipedia, "Lighting ratio"); key:fill, each alone, is one less.
func ratioOf(difference, sigma exposure.Stops) KeyFill {
	k := KeyFill{Difference: difference.Round(), Sigma: sigma.Round()}
	r := difference.Factor()
	k.Additive = math.Round(100*r) / 100
	if float64(difference) < evenWithin*float64(sigma) {
		k.Lit = "even"
		return k
	}
	source := math.Round(100*(r-1)) / 100
	over, ok := exposure.FromFactor(r - 1)
	if ok {
		over = over.Round()
		k.Source, k.KeyOver = &source, &over
	}
	return k
}

// String is the ratio in words, as "3.1:1 (key + fill to fill), 2.1:1 key to fill, left side lighter by 1.6 ± 0.1 stops".
func (k *KeyFill) String() string {
	if k.Lit == "even" {
		return fmt.Sprintf("even: the sides of the face differ by %.1f ± %.1f stop", k.Difference, k.Sigma)
	}
	return fmt.Sprintf("%.1f:1 (key + fill to fill), %.1f:1 key to fill; %s side lighter by %.1f ± %.1f stop", k.Additive, *k.Source, k.Lit, k.Difference, k.Sigma)
}

// blocksIn lists the blocks whose middles lie in a part of a face, given in sizes of its box from axis and middle.
func (m *meter) blocksIn(p *placed, axis, x0, x1, y0, y1 float64) []int32 {
	s := m.s
	c0, c1 := between(s.BlockColEdges, s.Width, p.f.X+(axis+x0)*p.wide, p.f.X+(axis+x1)*p.wide)
	r0, r1 := between(s.BlockRowEdges, s.Height, p.f.Y+y0*p.f.Size, p.f.Y+y1*p.f.Size)
	var out []int32
	for r := r0; r < r1; r++ {
		for c := c0; c < c1; c++ {
			out = append(out, int32(r*s.BlockCols+c))
		}
	}
	return out
}

// between are the intervals between edges whose middles lie between two fractions of size: from, up to. It is empty where
// the fractions reach out of the frame.
func between(edges []int, size int, from, to float64) (int, int) {
	if from < 0 || to > 1 {
		return 0, 0
	}
	lo, hi := from*float64(size), to*float64(size)
	n := len(edges) - 1
	a := sort.Search(n, func(i int) bool { return float64(edges[i]+edges[i+1])/2 >= lo })
	b := sort.Search(n, func(i int) bool { return float64(edges[i]+edges[i+1])/2 >= hi })
	return a, b
}

// owners turns the intervals that belong to each coarser one into the coarser one of each.
func owners(of [][2]int, n int) []int32 {
	out := make([]int32, n)
	for i, q := range of {
		for k := q[0]; k < q[1]; k++ {
			out[k] = int32(i)
		}
	}
	return out
}

// channelFor is the channel with most light that clips in neither of two lists of blocks.
func (m *meter) channelFor(lists ...[]int32) (int, bool) {
	if m.cellCol == nil {
		m.cellCol, m.cellRow = owners(m.blockCol, m.s.BlockCols), owners(m.blockRow, m.s.BlockRows)
	}
	var light [3]float64
	var clips [3]bool
	for _, list := range lists {
		var n, clipped [3]float64
		for _, b := range list {
			q := &m.s.Cells[m.cellRow[int(b)/m.s.BlockCols]*int32(m.s.Cols)+m.cellCol[int(b)%m.s.BlockCols]]
			for ch := range light {
				light[ch] += m.c.Linear(ch, float64(m.s.Blocks[b][ch])/256)
				n[ch]++
				if m.clips(q, ch) {
					clipped[ch]++
				}
			}
		}
		for ch := range clips {
			clips[ch] = clips[ch] || clipped[ch] > 0.05*n[ch] // a cell holds four blocks, and a glint clips some
		}
	}
	best := -1
	for ch := range light {
		if !clips[ch] && (best < 0 || light[ch] > light[best]) {
			best = ch
		}
	}
	return best, best >= 0
}

// middling is the level of the median block of a list in a channel, and its code value.
func (m *meter) middling(list []int32, ch int) (exposure.Stops, float64) {
	v := make([]ranked, len(list))
	for i, b := range list {
		v[i] = ranked{float64(m.s.Blocks[b][ch]) / 256, b}
	}
	code := nth(v, (len(v)-1)/2).key
	level, _ := m.c.Stops(ch, code, 0)
	return level, code
}

// patch is a face as a small picture: the level of green on a square grid over its box, row by row.
type patch [patchSide * patchSide]float64

// patchSide is the number of samples along the box's edge.
const patchSide = 44

// patchOf samples a face; false where its box reaches out of the picture.
func (m *meter) patchOf(p *placed) (*patch, bool) {
	s := m.s
	x0, y0 := p.f.X-p.wide/2, p.f.Y-p.f.Size/2
	if x0 < 0 || y0 < 0 || x0+p.wide > 1 || y0+p.f.Size > 1 {
		return nil, false
	}
	cols := m.nearest(s.BlockColEdges, x0*float64(s.Width), p.wide*float64(s.Width))
	rows := m.nearest(s.BlockRowEdges, y0*float64(s.Height), p.f.Size*float64(s.Height))
	var out patch
	at := func(c, r int) float64 { return float64(s.BlockAt(c, r)[1]) }
	for j, r := range rows {
		for i, c := range cols {
			top := at(c.at, r.at)*(1-c.over) + at(c.next, r.at)*c.over
			low := at(c.at, r.next)*(1-c.over) + at(c.next, r.next)*c.over
			out[j*patchSide+i] = math.Log2(max(m.c.Linear(1, (top*(1-r.over)+low*r.over)/256), 1.0/4096))
		}
	}
	return &out, true
}

// beside is a place between the middles of two blocks.
type beside struct {
	at, next int
	over     float64 // 0 at the first, 1 at the second
}

// nearest are the places of a patch's samples along one axis.
func (m *meter) nearest(edges []int, from, length float64) (out [patchSide]beside) {
	n := len(edges) - 1
	k := 0
	middle := func(i int) float64 { return float64(edges[i]+edges[i+1]) / 2 }
	for i := range out {
		v := from + length*(float64(i)+0.5)/patchSide
		for k+1 < n && middle(k+1) <= v {
			k++
		}
		next := min(k+1, n-1)
		over := 0.0
		if next > k {
			over = min(max((v-middle(k))/(middle(next)-middle(k)), 0), 1)
		}
		out[i] = beside{k, next, over}
	}
	return out
}

// at is the patch at a place in sizes of the box from its middle; outside it is that of the border.
func (q *patch) at(x, y float64) float64 {
	u, v := (x+0.5)*patchSide-0.5, (y+0.5)*patchSide-0.5
	u, v = min(max(u, 0), patchSide-1.001), min(max(v, 0), patchSide-1.001)
	i, j := int(u), int(v)
	fx, fy := u-float64(i), v-float64(j)
	k := j*patchSide + i
	return (q[k]*(1-fx)+q[k+1]*fx)*(1-fy) + (q[k+patchSide]*(1-fx)+q[k+patchSide+1]*fx)*fy
}

// symmetry looks for the axis on which the halves of a face mirror each other best, in sizes of its box from its
// middle, the head held straight or a little to the side, and how well they do: the correlation of what is fine in one half
// with the other mirrored. How light a half is as a whole, and where its shade falls off slowly, has no say.
func (q *patch) symmetry() (axis, alike float64) {
	q = q.fine()
	alike = -1
	for tilt := -2; tilt <= 2; tilt++ {
		for k := -4; k <= 4; k++ {
			at := axisReach * float64(k) / 4
			if c := correlated(q.half(at, tiltStep*float64(tilt), -1), q.half(at, tiltStep*float64(tilt), 1)); c > alike {
				axis, alike = at, c
			}
		}
	}
	return axis, alike
}

// half samples one half of a face, from the axis outwards. tilt is in radians.
func (q *patch) half(axis, tilt, side float64) []float64 {
	sin, cos := math.Sincos(tilt)
	out := make([]float64, 0, halfCols*halfRows)
	for j := range halfRows {
		y := halfTop + (halfEnd-halfTop)*(float64(j)+0.5)/halfRows
		for i := range halfCols {
			x := side * halfWide * (float64(i) + 0.5) / halfCols
			out = append(out, q.at(axis+x*cos-y*sin, y*cos+x*sin))
		}
	}
	return out
}

// fine takes from every sample the mean of those about it.
func (q *patch) fine() *patch {
	const reach = 4
	var out patch
	for j := range patchSide {
		for i := range patchSide {
			// As far to either side, so that a slope takes nothing with it.
			dx, dy := min(reach, i, patchSide-1-i), min(reach, j, patchSide-1-j)
			var sum float64
			for y := j - dy; y <= j+dy; y++ {
				for x := i - dx; x <= i+dx; x++ {
					sum += q[y*patchSide+x]
				}
			}
			out[j*patchSide+i] = q[j*patchSide+i] - sum/float64((2*dx+1)*(2*dy+1))
		}
	}
	return &out
}

// correlated is Pearson's correlation; -1 where one list is flat.
func correlated(a, b []float64) float64 {
	var sa, sb, aa, bb, ab float64
	n := float64(len(a))
	for i := range a {
		sa, sb = sa+a[i], sb+b[i]
		aa, bb, ab = aa+a[i]*a[i], bb+b[i]*b[i], ab+a[i]*b[i]
	}
	va, vb := aa-sa*sa/n, bb-sb*sb/n
	if va < 1e-6 || vb < 1e-6 {
		return -1
	}
	return (ab - sa*sb/n) / math.Sqrt(va*vb)
}

// sigmaBetween is one standard deviation of the difference of two levels. The edge of clipping, of which nothing is
// known better, moves both alike; what is left is the curve between them.
func sigmaBetween(a, b Level) exposure.Stops {
	s := max(a.Sigma, b.Sigma)
	apart := math.Abs(float64(a.Value - b.Value))
	return exposure.Stops(math.Hypot(math.Abs(float64(a.Sigma-b.Sigma)), float64(s)*min(1, apart/2)))
}
