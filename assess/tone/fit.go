package tone

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"thirdstop/assess/exposure"
)

// Fitted is a curve with what is known of its making.
type Fitted struct {
	Curve    *Curve
	From, To float64                // codes that were seen in two frames; outside, the curve leans on the one begun from
	Edge     bool                   // the edge of clipping was seen: places within two codes of it
	Off      exposure.Stops         // robust standard deviation of what is left over
	Frames   map[int]exposure.Stops // by how much each frame's exposure seems to be off what was said
	Lines    int                    // medians of places that were fitted
	lines    []seen
}

// EdgeKnown is the sigma a stop or so under the edge up to which the place of the edge counts as known.
const EdgeKnown exposure.Stops = 0.035

// EdgeSigma is how well the place of the edge is known: it moves all levels together. Where it is more than
// [EdgeKnown], another bracket with the lamp moved a little may show the edge better.
func (f *Fitted) EdgeSigma() exposure.Stops { return f.Curve.Sigma(1, 225) }

// ErrNotFixed is wrapped by refusals to learn from a camera whose code values don't
// follow from light alone; ErrTooLittle where frames say too little.
var (
	ErrNotFixed  = errors.New("the response is not fixed")
	ErrTooLittle = errors.New("too little to learn from")
)

// Fit learns a camera's curve from frames whose exposure ratio is known, in the way
// of Debevec & Malik 1997: with g(z) the level of a code value, each place
// that is seen with codes z1 and z2 in two frames gives g(z1) - g(z2) = ratio,
// weighted, with a smooth g. What is different:
//
// g is the curve begun from (usually [Default]), a share of the way from there to plain sRGB, and a natural
// cubic spline with eleven knots, one for all channels and a small one more for each. In place of a smoothness weight that somebody
// has to choose, the knots have a prior distribution: normal, with the sigma of the curve begun
// from, and correlated over about one and a half knots. So where nothing was seen the curve stays what it was, and as
// unsure as it was. Each frame's exposure is itself unknown within its Sigma. Losses are Huber's
// (1964; k = 1.5) and then Tukey's, solved by reweighting, about lines that are medians of many places.
//
// The scale is pinned at the edge: code 255 is level 0. Places seen at most of the last codes before it tell how the curve goes on,
// and the last code or two are carried on from there (see end). Places that clip in the lighter frame and
// don't in the darker say that the darker level is no further than the ratio under the edge. Half a code remains
// unknown, for a sample counts as clipped from 254; it moves all levels together and is in every sigma.
//
// The covariance of the fit, scaled by the residuals where these are larger than
// expected, gives the sigma of each code. The result rises strictly: where the solution doesn't, it is levelled
// (least squares, pool adjacent violators), and the change counts as uncertainty.
//
// Errors wrap [ErrTooLittle] or [ErrNotFixed]; nothing is learned then.
func Fit(steps []Step, begin *Curve) (*Fitted, error) {
	if begin == nil {
		begin = Default()
	}
	b, err := gathered(steps, begin)
	if err != nil {
		return nil, err
	}
	return b.fit(begin)
}

func checkSteps(steps []Step) error {
	if len(steps) == 0 {
		return fmt.Errorf("%w: there are no two frames to compare", ErrTooLittle)
	}
	for i := range steps {
		s := &steps[i]
		if !(s.Ratio >= 0.05 && s.Ratio <= 12) || !(s.Sigma >= 0 && s.Sigma <= 2) || s.LightFrame == s.DarkFrame {
			return fmt.Errorf("%w: frames %d and %d differ by %v, known to %v; the step must be 0.05 to 12 stops and its error 0 to 2",
				ErrTooLittle, s.LightFrame, s.DarkFrame, s.Ratio, float64(s.Sigma))
		}
		for _, p := range s.Pairs {
			for ch := range 3 {
				if !(p.Light[ch] >= 0 && p.Light[ch] <= White && p.Dark[ch] >= 0 && p.Dark[ch] <= White) {
					return fmt.Errorf("%w: a place has code values %v and %v, they must be 0 to 255", ErrTooLittle, p.Light, p.Dark)
				}
			}
		}
	}
	return nil
}

// nodes are the knots along the axis; the last lies at the edge.
var nodes = func() []float64 {
	from, to := axis(4), axis(White)
	x := make([]float64, freeKnots)
	for i := range x {
		x[i] = from + (to-from)*float64(i)/(freeKnots-1)
	}
	return x
}()

const (
	freeKnots  = 11
	correlated = 1.2  // reach of the prior's correlation along the axis, one and a half nodes
	nearEdge   = 0.15 // stops under the edge within which a curve's end lies
	ownShare   = 0.2  // how much of the prior's sigma each channel may differ by
	huber      = 1.5
	settled    = 10          // rounds of Huber's weights before Tukey's
	edgeCode   = 0.5 / 1.732 // half a code either side of the edge, as a standard deviation
	leastScale = 1.0
	flatAt     = 4 * freeKnots // where the share of plain sRGB stands among the unknowns
)

// endPrior is how far cameras lie from the slope at the end of the curve begun from, one standard deviation of its share.
type endPrior float64

const (
	// endOpen is for brackets, which show the end or leave it unsure: the studio's cameras have a quarter to three and a half times the default's slope.
	endOpen endPrior = 1.5
	// endHeld is for single steps, which never show it.
	endHeld endPrior = 0.4
)

// system collects normal equations. Unknowns: 11 knots for all channels, 11 for
// each, the share of plain sRGB, then each frame's error of exposure.
type system struct {
	steps  []Step
	begin  *Curve
	end    endPrior
	frames map[int]int // frame number to its place among the unknowns
	number []int       // and back
	n      int
	flat   float64       // prior standard deviation of the share of plain sRGB
	prior  *mat.SymDense // precision
}

func newSystem(steps []Step, begin *Curve, end endPrior) *system {
	s := &system{steps: steps, begin: begin, end: end, frames: map[int]int{}, n: flatAt + 1, flat: flatShare(begin)}
	var precision []float64
	add := func(frame int, sigma exposure.Stops) {
		if _, ok := s.frames[frame]; !ok {
			s.frames[frame] = s.n + len(s.number)
			s.number = append(s.number, frame)
			v := max(float64(sigma*sigma)/2, 1e-8) // the error of a step is that of two frames
			precision = append(precision, 1/v)
		}
	}
	for i := range steps {
		add(steps[i].LightFrame, steps[i].Sigma)
		add(steps[i].DarkFrame, steps[i].Sigma)
	}
	s.n += len(s.number)
	s.prior = mat.NewSymDense(s.n, nil)
	for g := range 4 {
		cov := mat.NewSymDense(freeKnots, nil)
		for i := range freeKnots {
			for j := i; j < freeKnots; j++ {
				d := (nodes[i] - nodes[j]) / correlated
				v := s.sigmaAt(i, g) * s.sigmaAt(j, g) * math.Exp(-d*d/2)
				if i == j {
					v = v*1.001 + 1e-6
				}
				cov.SetSym(i, j, v)
			}
		}
		var ch mat.Cholesky
		var inv mat.SymDense
		if !ch.Factorize(cov) || ch.InverseTo(&inv) != nil {
			panic("tone: the prior of a fit has no inverse")
		}
		for i := range freeKnots {
			for j := i; j < freeKnots; j++ {
				s.prior.SetSym(g*freeKnots+i, g*freeKnots+j, inv.At(i, j))
			}
		}
	}
	for i, p := range precision {
		s.prior.SetSym(flatAt+1+i, flatAt+1+i, p)
	}
	s.prior.SetSym(flatAt, flatAt, 1/(s.flat*s.flat))
	return s
}

// sigmaAt is the prior's standard deviation at a knot, for all channels (group 0) or the rest of one.
func (s *system) sigmaAt(i, group int) float64 {
	code := unaxis(nodes[i])
	v := float64(s.begin.Sigma(max(group-1, 0), code))
	flat := s.flat * s.flatness(max(group-1, 0), code)
	v = math.Sqrt(max(v*v-flat*flat, 0))
	if i == freeKnots-1 {
		v = float64(s.end) * nearEdge
	}
	if group > 0 {
		v *= ownShare
	}
	return max(v, 0.005)
}

// basis is what each knot adds to the level at a code. It fades towards the edge, where the level is 0 by definition, in proportion
// to the level itself within the last nearEdge stops: how steep a curve ends is as free as the rest of it.
func (s *system) basis(ch int, code float64) [freeKnots]float64 {
	b := spline(axis(code))
	by := -math.Expm1(s.begin.level(ch, code) / nearEdge)
	for i := range b {
		b[i] *= by
	}
	return b
}

// flatness is how far plain sRGB lies over the curve begun from, in stops.
func (s *system) flatness(ch int, code float64) float64 {
	return SRGB().level(ch, code) - s.begin.level(ch, code)
}

// flatShare is how much of the way to plain sRGB a camera may be, one standard deviation.
func flatShare(begin *Curve) float64 {
	if begin == defaultCurve {
		return defaultFlatSigma
	}
	return 0.05
}

// row is a line's derivative by each unknown: sparse, by index.
type row struct {
	at []int
	by []float64
}

func (r *row) add(at int, by float64) { r.at, r.by = append(r.at, at), append(r.by, by) }

// row of a line, and what it should come to.
func (s *system) row(l *seen) (r row, want float64) {
	b, d := s.basis(l.ch, l.light), s.basis(l.ch, l.dark)
	for i := range freeKnots {
		v := b[i] - d[i]
		r.add(i, v)
		r.add((1+l.ch)*freeKnots+i, v)
	}
	r.add(flatAt, s.flatness(l.ch, l.light)-s.flatness(l.ch, l.dark))
	st := &s.steps[l.step]
	r.add(s.frames[st.LightFrame], -1)
	r.add(s.frames[st.DarkFrame], 1)
	return r, float64(st.Ratio) - s.begin.level(l.ch, l.light) + s.begin.level(l.ch, l.dark)
}

// fit refuses lines that cover too few tones for a curve of their own, and solves.
func fit(steps []Step, lines []seen, begin *Curve) (*Fitted, error) {
	firm, from, to := 0, float64(White), 0.0
	for _, l := range lines {
		if !l.atLeast {
			firm++
			from, to = min(from, l.dark), max(to, l.light)
		}
	}
	if firm < 12 || begin.level(1, to)-begin.level(1, from) < 2 {
		return nil, fmt.Errorf("%w: even places that are unclipped in two frames cover too few tones; "+
			"take frames from nearly white to nearly black, of a scene with light and dark surfaces", ErrTooLittle)
	}
	return solve(steps, lines, begin, endOpen)
}

// solve finds the likeliest curve under lines and prior.
func solve(steps []Step, lines []seen, begin *Curve, end endPrior) (*Fitted, error) {
	f := &Fitted{From: White, lines: lines, Frames: map[int]exposure.Stops{}}
	for _, l := range lines {
		if l.atLeast {
			continue
		}
		f.Edge = f.Edge || l.light >= topmost-0.5
		f.Lines++
		f.From, f.To = min(f.From, l.dark), max(f.To, l.light)
	}
	s := newSystem(steps, begin, end)
	rows, want := make([]row, len(lines)), make([]float64, len(lines))
	for i := range lines {
		rows[i], want[i] = s.row(&lines[i])
	}
	x := make([]float64, s.n)
	off := make([]float64, len(lines)) // residual in sigmas
	scale := leastScale
	var ch mat.Cholesky
	for round := range 40 {
		a := mat.NewSymDense(s.n, nil)
		a.CopySym(s.prior)
		rhs := mat.NewVecDense(s.n, nil)
		for i := range lines {
			w := 1 / (lines[i].sigma * lines[i].sigma * scale * scale)
			if round > 0 {
				w *= trust(math.Abs(off[i])/scale, round >= settled)
			}
			if lines[i].atLeast && (round == 0 || off[i] >= 0) {
				continue // the bound holds
			}
			r := &rows[i]
			for p, ap := range r.at {
				rhs.SetVec(ap, rhs.AtVec(ap)+w*r.by[p]*want[i])
				for q := range p + 1 {
					aq := r.at[q]
					a.SetSym(ap, aq, a.At(ap, aq)+w*r.by[p]*r.by[q])
				}
			}
		}
		if !ch.Factorize(a) {
			return nil, fmt.Errorf("%w: the places contradict each other so much that no curve comes of them", ErrNotFixed)
		}
		var sol mat.VecDense
		if err := ch.SolveVecTo(&sol, rhs); err != nil {
			return nil, fmt.Errorf("%w: the places leave the curve open (%w)", ErrTooLittle, err)
		}
		moved := 0.0
		for i := range x {
			moved = max(moved, math.Abs(sol.AtVec(i)-x[i]))
			x[i] = sol.AtVec(i)
		}
		var sizes []float64
		for i := range lines {
			v := -want[i]
			for p, at := range rows[i].at {
				v += rows[i].by[p] * x[at]
			}
			if lines[i].atLeast {
				// g(254) - g(dark) may be less than the ratio, not more.
				v = -v
			} else {
				sizes = append(sizes, math.Abs(v)/lines[i].sigma)
			}
			off[i] = v / lines[i].sigma
		}
		sort.Float64s(sizes)
		scale = max(1.4826*sizes[len(sizes)/2], leastScale)
		if round > settled+2 && moved < 1e-5 {
			break
		}
	}
	var cov mat.SymDense
	if err := ch.InverseTo(&cov); err != nil {
		return nil, fmt.Errorf("%w: the places leave the curve open (%w)", ErrTooLittle, err)
	}
	for i, frame := range s.number {
		f.Frames[frame] = exposure.Stops(x[flatAt+1+i])
	}
	var left []float64
	for i, l := range lines {
		if !l.atLeast && l.dark >= judgeFrom && l.light <= judgeTo {
			left = append(left, off[i]*l.sigma)
		}
	}
	if len(left) > 0 {
		_, spread := middle(left)
		f.Off = exposure.Stops(spread)
	}
	var err error
	f.Curve, err = s.curve(x, &cov, lines)
	return f, err
}

// trust is the weight of a line that is z standard deviations off: Huber's, and when that has settled
// Tukey's biweight (Beaton & Tukey 1974; c = 4.685), under which what is far off counts for nothing:
// a sitter's edge that moved can be off by stops.
func trust(z float64, settled bool) float64 {
	const c = 4.685
	switch {
	case settled && z >= c:
		return 0
	case settled:
		u := 1 - z*z/(c*c)
		return u * u
	case z > huber:
		return huber / z
	}
	return 1
}

// curve samples the solution.
func (s *system) curve(x []float64, cov *mat.SymDense, lines []seen) (*Curve, error) {
	const points = 40
	from, carried := endOf(lines)
	var knots [3][]Knot
	for ch := range 3 {
		codes, levels, sigmas := make([]float64, points+1), make([]float64, points+1), make([]float64, points+1)
		for k := range codes {
			code := unaxis(nodes[0] + (nodes[len(nodes)-1]-nodes[0])*float64(k)/points)
			if k == points {
				code = White
			}
			codes[k] = math.Round(code*100) / 100
			b, r := s.basis(ch, code), row{}
			for i := range freeKnots {
				r.add(i, b[i])
				r.add((1+ch)*freeKnots+i, b[i])
			}
			r.add(flatAt, s.flatness(ch, code))
			v, variance := s.begin.level(ch, code), 0.0
			for i, at := range r.at {
				v += r.by[i] * x[at]
				for j, to := range r.at {
					variance += r.by[i] * r.by[j] * cov.At(at, to)
				}
			}
			levels[k] = v
			sigmas[k] = math.Sqrt(max(variance, 0))
		}
		if carried {
			s.carry(from, ch, x, codes, levels)
		}
		level := rising(levels)
		// Half a code is unknown of where the edge lies, as many stops as this camera's own curve has there.
		edge := edgeCode * -level[points-1] / (White - codes[points-1])
		for k := range codes {
			sigma := math.Hypot(math.Hypot(sigmas[k], edge), level[k]-levels[k])
			knots[ch] = append(knots[ch], Knot{codes[k], exposure.Stops(math.Round(level[k]*1e5) / 1e5), exposure.Stops(math.Round(sigma*1e4) / 1e4)})
		}
	}
	return Learned(nameOf(knots[:]), knots[:]...)
}

// at is the solution's level at a code.
func (s *system) at(ch int, x []float64, code float64) float64 {
	v := s.begin.level(ch, code) + x[flatAt]*s.flatness(ch, code)
	for i, b := range s.basis(ch, code) {
		v += b * (x[i] + x[(1+ch)*freeKnots+i])
	}
	return v
}

// carry puts the curve's end in place of the solution's, which moves all levels under it alike.
func (s *system) carry(from float64, ch int, x, codes, levels []float64) {
	e, ok := fitEnd(from, func(code float64) float64 { return s.at(ch, x, code) })
	if !ok {
		return
	}
	by := e.level(from) - s.at(ch, x, from)
	for k, code := range codes {
		if code > from {
			levels[k] = e.level(code)
		} else {
			levels[k] += by
		}
	}
}

// rising is the nearest rising sequence (pool adjacent violators), with a least step
// so that it rises strictly, ending at 0.
func rising(v []float64) []float64 {
	const least = 2e-3
	type pool struct {
		sum float64
		n   int
	}
	var pools []pool
	for i, y := range v {
		pools = append(pools, pool{y - least*float64(i), 1})
		for k := len(pools) - 1; k > 0 && pools[k].sum/float64(pools[k].n) < pools[k-1].sum/float64(pools[k-1].n); k-- {
			pools[k-1] = pool{pools[k-1].sum + pools[k].sum, pools[k-1].n + pools[k].n}
			pools = pools[:k]
		}
	}
	var out []float64
	for _, p := range pools {
		for range p.n {
			out = append(out, p.sum/float64(p.n)+least*float64(len(out)))
		}
	}
	end := len(out) - 1
	out[end] = 0
	for i := end - 1; i >= 0; i-- {
		out[i] = max(min(out[i], out[i+1]-least), -19.9+least*float64(i))
	}
	return out
}

// nameOf names a curve by its content, so that another curve has another name.
func nameOf(channels [][]Knot) string {
	h := sha256.New()
	for _, c := range channels {
		for _, k := range c {
			fmt.Fprintf(h, "%.2f %.5f %.4f\n", k.Code, float64(k.Level), float64(k.Sigma))
		}
	}
	return "learned-" + hex.EncodeToString(h.Sum(nil)[:4])
}

// spline is the value at x of each node's cardinal natural cubic spline; past the ends it
// goes on level.
func spline(x float64) [freeKnots]float64 {
	n := len(nodes)
	h := nodes[1] - nodes[0]
	var out [freeKnots]float64
	t := (x - nodes[0]) / h
	if t <= 0 {
		out[0] = 1
		return out
	}
	if t >= float64(n-1) {
		out[n-1] = 1
		return out
	}
	k := min(int(t), n-2)
	b := t - float64(k)
	a := 1 - b
	for i := range freeKnots {
		v := 0.0
		switch i {
		case k:
			v = a
		case k + 1:
			v = b
		}
		v += ((a*a*a-a)*bends[i][k] + (b*b*b-b)*bends[i][k+1]) / 6
		out[i] = v
	}
	return out
}

// bends are the second derivatives (times the spacing squared) of each cardinal
// spline at every node: the tridiagonal system of natural cubic splines, m[k-1] + 4 m[k] + m[k+1] = 6 (y[k-1] - 2 y[k] + y[k+1]).
var bends = func() [freeKnots][]float64 {
	n := len(nodes)
	a := mat.NewDense(n, n, nil)
	for k := range n {
		if k == 0 || k == n-1 {
			a.Set(k, k, 1)
			continue
		}
		a.Set(k, k-1, 1)
		a.Set(k, k, 4)
		a.Set(k, k+1, 1)
	}
	var out [freeKnots][]float64
	for i := range freeKnots {
		y := make([]float64, n)
		y[i] = 1
		r := mat.NewVecDense(n, nil)
		for k := 1; k < n-1; k++ {
			r.SetVec(k, 6*(y[k-1]-2*y[k]+y[k+1]))
		}
		var m mat.VecDense
		if err := m.SolveVec(a, r); err != nil {
			panic("tone: natural splines have no solution: " + err.Error())
		}
		out[i] = append([]float64(nil), m.RawVector().Data...)
	}
	return out
}()
