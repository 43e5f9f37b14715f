package scene

import (
	"math"

	"thirdstop/assess/photo"
)

// Look is what a white reference and its bearer's head looked like, so that both are known again in
// another frame. It holds lightness in code values on small squares of samples, row by row.
type Look struct {
	Patch []uint8    // patchSide squared: the box and what is around it
	Wide  float64    // how much is around it, on each side, in sizes of the box
	Head  []uint8    // headSide squared: the head from the crown down; nil where none was found
	Tint  [2]float64 // of the box: red and blue over green, less 1
	Frame float64    // mean lightness of the whole frame: heads are compared under like light only
}

const (
	patchSide = 12
	headSide  = 8
	around    = 0.5 // of the box's size, on each side of it, at the least
	wider     = 1.5 // where that shows no edge to go by, because the middle of a large white was tapped: so much more again,
	widest    = 4.0 // and never more than this
)

// The limits of following (derived here, on the studio's committee: the same sitter moving, lit by up to 1 1/3 stop
// more or less, against another one in the same place).
const (
	leastMatch   = 0.80  // correlation of the patch
	leastHead    = 0.50  // correlation of the head
	mostOther    = 0.75  // mean difference of a head's lightness against the white, doublings of code value
	blind        = 246.0 // code value from which a white says no more how much light there is
	mostRelit    = 1.35  // factor between code values of white and frame, then and now, up to which heads are compared
	mostTint     = 0.07  // change of tint, where nothing clips
	mostUneven   = 0.12  // standard deviation in the box over its mean, or twice what it was
	searchAcross = 0.12  // of the frame's width to either side
	searchDown   = 0.10  // of the frame's height
)

// Side lengths by which a kept look is known to be whole.
const (
	PatchSamples = patchSide * patchSide
	HeadSamples  = headSide * headSide
)

// lightness sums the lightness of blocks so that the mean of any rectangle costs four look-ups.
type lightness struct {
	cols, rows int
	sum        []uint64
}

func lightnessOf(s *photo.Survey) *lightness {
	l := &lightness{s.BlockCols, s.BlockRows, make([]uint64, (s.BlockCols+1)*(s.BlockRows+1))}
	w := l.cols + 1
	for r := range l.rows {
		var row uint64
		for c := range l.cols {
			b := s.BlockAt(c, r)
			row += (299*uint64(b[0]) + 587*uint64(b[1]) + 114*uint64(b[2])) / 1000
			l.sum[(r+1)*w+c+1] = l.sum[r*w+c+1] + row
		}
	}
	return l
}

// mean is that of a rectangle in fractions of the frame, code values; false outside of the frame.
func (l *lightness) mean(x0, y0, x1, y1 float64) (float64, bool) {
	if x0 < 0 || y0 < 0 || x1 > 1 || y1 > 1 {
		return 0, false
	}
	c0, r0 := min(int(x0*float64(l.cols)), l.cols-1), min(int(y0*float64(l.rows)), l.rows-1)
	c1, r1 := max(c0+1, min(int(math.Round(x1*float64(l.cols))), l.cols)), max(r0+1, min(int(math.Round(y1*float64(l.rows))), l.rows))
	w := l.cols + 1
	total := l.sum[r1*w+c1] - l.sum[r0*w+c1] - l.sum[r1*w+c0] + l.sum[r0*w+c0]
	return float64(total) / 256 / float64((c1-c0)*(r1-r0)), true
}

// samples takes side x side means of a box; outside of the frame they are -1.
func (l *lightness) samples(b Box, side int) []float64 {
	out := make([]float64, side*side)
	dx, dy := (b.X1-b.X0)/float64(side), (b.Y1-b.Y0)/float64(side)
	for i := range out {
		x, y := b.X0+dx*float64(i%side), b.Y0+dy*float64(i/side)
		v, ok := l.mean(x, y, x+dx, y+dy)
		if !ok {
			v = -1
		}
		out[i] = v
	}
	return out
}

// widened is a box with so much around it, in its own sizes, on each side.
func (b Box) widened(wide float64) Box {
	dx, dy := wide*(b.X1-b.X0), wide*(b.Y1-b.Y0)
	return Box{b.X0 - dx, b.Y0 - dy, b.X1 + dx, b.Y1 + dy}
}

// moved is a box about another middle, larger or smaller by a factor.
func (b Box) moved(x, y, scale float64) Box {
	w, h := (b.X1-b.X0)*scale/2, (b.Y1-b.Y0)*scale/2
	return Box{x - w, y - h, x + w, y + h}
}

// correlation is Pearson's, over the samples both have; false where one of them is flat.
func correlation(kept []uint8, now []float64) (float64, bool) {
	var n, a, b, aa, bb, ab float64
	for i, v := range now {
		if v < 0 || kept[i] == 0 {
			continue
		}
		x := float64(kept[i])
		n++
		a, b, aa, bb, ab = a+x, b+v, aa+x*x, bb+v*v, ab+x*v
	}
	va, vb := aa-a*a/n, bb-b*b/n
	if n < float64(len(now))/3 || va/n < 4 || vb/n < 4 {
		return 0, false
	}
	return (ab - a*b/n) / math.Sqrt(va*vb), true
}

// kept stores samples: 0 is outside of the frame.
func kept(v []float64) []uint8 {
	out := make([]uint8, len(v))
	for i, x := range v {
		if x >= 0 {
			out[i] = uint8(min(max(math.Round(x), 1), 255))
		}
	}
	return out
}

// headBox is where a head is looked at.
func (sc *Scene) headBox() (Box, bool) {
	if !sc.Sitter.Found() || sc.Survey == nil {
		return Box{}, false
	}
	const down = 0.24
	side := down / 2 * float64(sc.Survey.Height) / float64(sc.Survey.Width) * 0.9
	b := Box{sc.HeadX - side, sc.HeadY + 0.01, sc.HeadX + side, sc.HeadY + down}
	return b, b.Y1 < 1
}

// LookAt keeps what a white reference and the head above it look like.
func (sc *Scene) LookAt(b Box) (Look, bool) {
	if sc.Survey == nil || !b.ok() || sc.Survey.BlockCols == 0 || sc.Survey.BlockRows == 0 {
		return Look{}, false
	}
	light := lightnessOf(sc.Survey)
	l := Look{Wide: around}
	for l.Patch = kept(light.samples(b.widened(l.Wide), patchSide)); flat(l.Patch) && l.Wide*wider <= widest; {
		l.Wide = math.Round(l.Wide*wider*100) / 100
		l.Patch = kept(light.samples(b.widened(l.Wide), patchSide))
	}
	if h, ok := sc.headBox(); ok {
		l.Head = kept(light.samples(h, headSide))
	}
	l.Tint, _, _ = tintOf(sc.Survey, b)
	l.Frame, _ = light.mean(0, 0, 1, 1)
	return l, true
}

// tintOf is the tint of a box, its mean in its brightest channel, and how uneven it is.
func tintOf(s *photo.Survey, b Box) (tint [2]float64, peak, uneven float64) {
	var sum [3]float64
	var n, square, total float64
	for r := range s.BlockRows {
		y := float64(s.BlockRowEdges[r]+s.BlockRowEdges[r+1]) / 2 / float64(s.Height)
		if y < b.Y0 || y >= b.Y1 {
			continue
		}
		for c := range s.BlockCols {
			if x := float64(s.BlockColEdges[c]+s.BlockColEdges[c+1]) / 2 / float64(s.Width); x < b.X0 || x >= b.X1 {
				continue
			}
			q := s.BlockAt(c, r)
			for ch := range sum {
				sum[ch] += float64(q[ch]) / 256
			}
			v := float64(q[1]) / 256
			total, square = total+v, square+v*v
			n++
		}
	}
	if n == 0 || sum[1] == 0 {
		return tint, 0, 1
	}
	tint = [2]float64{sum[0]/sum[1] - 1, sum[2]/sum[1] - 1}
	m := total / n
	return tint, max(sum[0], sum[1], sum[2]) / n, math.Sqrt(max(square/n-m*m, 0)) / max(m, 1)
}

// Follow looks for a white reference that was seen in a box before. Small moves are followed; where what
// is found looks otherwise, or somebody else stands there, it gives the reason instead. The score is
// the correlation, 0 to 1.
func (sc *Scene) Follow(was Look, from Box) (to Box, score float64, reason string) {
	const lost = "the white reference that was declared can't be found again: "
	if sc.Survey == nil || sc.Survey.BlockCols == 0 || sc.Survey.BlockRows == 0 || !from.ok() || len(was.Patch) != PatchSamples {
		return Box{}, 0, lost + "there is nothing to compare"
	}
	light := lightnessOf(sc.Survey)
	x0, y0 := from.middle()
	best, bx, by, bs := -1.0, x0, y0, 1.0
	try := func(x, y, scale float64) {
		b := from.moved(x, y, scale)
		if !b.ok() {
			return
		}
		// Of equals the nearest to where it was, and as large.
		far := 0.02*math.Hypot((x-x0)/searchAcross, (y-y0)/searchDown) + 0.2*math.Abs(math.Log(scale))
		if c, ok := correlation(was.Patch, light.samples(b.widened(was.wide()), patchSide)); ok && c-far > best {
			best, bx, by, bs = c-far, x, y, scale
		}
	}
	all := 1 + 2*was.wide()
	stepX := max((from.X1-from.X0)*all/patchSide/2, 1/float64(light.cols))
	stepY := max((from.Y1-from.Y0)*all/patchSide/2, 1/float64(light.rows))
	stepX, stepY = max(stepX, searchAcross/15), max(stepY, searchDown/15)
	for x := x0 - searchAcross; x <= x0+searchAcross; x += stepX {
		for y := y0 - searchDown; y <= y0+searchDown; y += stepY {
			try(x, y, 1)
		}
	}
	for range 3 { // finer about the best
		cx, cy, cs := bx, by, bs
		stepX, stepY = stepX/2, stepY/2
		for _, scale := range []float64{cs * 0.96, cs, cs * 1.04} {
			for _, d := range [9][2]float64{{0, 0}, {-1, 0}, {1, 0}, {0, -1}, {0, 1}, {-1, -1}, {1, -1}, {-1, 1}, {1, 1}} {
				try(cx+d[0]*stepX, cy+d[1]*stepY, scale)
			}
		}
	}
	to = from.moved(bx, by, bs)
	score = min(max(best, 0), 1)
	// A patch all of which clips, then or now, tells nothing: the box stays where it was.
	if here, ok := light.mean(from.X0, from.Y0, from.X1, from.Y1); best < leastMatch && ok && here > blind/2 &&
		(was.middle() > blind && flat(was.Patch) || here > blind && flat(kept(light.samples(from.widened(was.wide()), patchSide)))) {
		best, to, score = leastMatch, from, 0.5
	}
	if best < leastMatch {
		return Box{}, score, lost + "nothing near looks like it and what was around it"
	}
	if sc.Backdrop.Found() && (!sc.Sitter.Found() || sc.holds(sc.Backdrop.Mask, to)) {
		return Box{}, score, lost + "only backdrop is there"
	}
	tint, peak, uneven := tintOf(sc.Survey, to)
	if clear := peak < photo.ClipCode-6; clear && (math.Abs(tint[0]-was.Tint[0]) > mostTint || math.Abs(tint[1]-was.Tint[1]) > mostTint) {
		return Box{}, score, lost + "what is there has another colour"
	}
	if uneven > max(mostUneven, 2*was.uneven()) {
		return Box{}, score, lost + "something lies before it"
	}
	if other := sc.anotherHead(light, was, to); other {
		return Box{}, score, lost + "somebody else stands there"
	}
	return to, score, ""
}

// holds says that the middle of a box lies in a mask.
func (g Grid) holds(mask []bool, b Box) bool {
	x, y := b.middle()
	for i, in := range mask {
		if in && g.bounds(i).holds(x, y) {
			return true
		}
	}
	return false
}

// flat says that a patch shows no edge to go by.
func flat(patch []uint8) bool {
	var n, sum, square float64
	for _, v := range patch {
		if v > 0 {
			n, sum, square = n+1, sum+float64(v), square+float64(v)*float64(v)
		}
	}
	return n == 0 || square/n-sum*sum/n/n < 40
}

// wide is how much is around the box in the patch. Readings of before it was kept have the least.
func (l Look) wide() float64 { return max(l.Wide, around) }

// box calls f with every sample of the patch that lies in the box itself.
func (l Look) box(f func(v float64)) {
	edge := min(int(math.Round(patchSide*l.wide()/(1+2*l.wide()))), patchSide/2-1)
	for y := edge; y < patchSide-edge; y++ {
		for x := edge; x < patchSide-edge; x++ {
			f(float64(l.Patch[y*patchSide+x]))
		}
	}
}

// middle is the mean lightness of the box, in code values.
func (l Look) middle() float64 {
	var n, sum float64
	l.box(func(v float64) { n, sum = n+1, sum+v })
	return sum / n
}

// uneven is the standard deviation of the box's lightness over its mean.
func (l Look) uneven() float64 {
	var n, sum, square float64
	l.box(func(v float64) { n, sum, square = n+1, sum+v, square+v*v })
	m := sum / n
	return math.Sqrt(max(square/n-m*m, 0)) / max(m, 1)
}

// anotherHead says that the head above is not the one that was there: its pattern of hair and face differs, or how dark they
// are against the white. Under another light both change on anybody, so then it says no.
func (sc *Scene) anotherHead(light *lightness, was Look, white Box) bool {
	h, ok := sc.headBox()
	if !ok || len(was.Head) != HeadSamples {
		return false // nothing to tell by
	}
	w, ok := light.mean(white.X0, white.Y0, white.X1, white.Y1)
	frame, all := light.mean(0, 0, 1, 1)
	before := was.middle()
	like := func(a, b float64) bool { return a > 0 && b > 0 && max(a/b, b/a) < mostRelit }
	if !ok || !all || w > blind || before > blind || !like(w, before) || !like(frame, was.Frame) {
		return false
	}
	now := light.samples(h, headSide)
	if c, ok := correlation(was.Head, now); ok && c < leastHead {
		return true
	}
	var sum, count float64
	for i, v := range now {
		if v < 0 || was.Head[i] == 0 || was.Head[i] > 235 || v > 235 {
			continue // paper beside the head, or nothing
		}
		const floor = 12 // code values, under which noise and flare speak
		sum += math.Abs(math.Log2((v + floor) / (w + floor) * (before + floor) / (float64(was.Head[i]) + floor)))
		count++
	}
	return count > 6 && sum/count > mostOther
}
