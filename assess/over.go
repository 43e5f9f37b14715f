package assess

import (
	"math"
	"slices"

	"thirdstop/assess/exposure"
	"thirdstop/assess/scene"
	"thirdstop/assess/tone"
)

// backlight is the light on a backdrop as a surface over the frame, seen where it doesn't clip and carried on where it
// does: log2 of the light is quadratic in place, and the channels differ by constants, because one lamp lights it all.
type backlight struct {
	k      [6]float64
	offset [3]float64 // of each channel against the surface
	left   float64    // share of the backdrop in which some channel doesn't clip
	spread float64    // of what was fitted, stops
	tied   bool       // the channels' constants were seen, not taken for 0
}

const (
	leastLeft  = 0.02 // of the backdrop that must not clip
	partClips  = 0.02 // clipped share of a cell from which its mean is held down
	allClips   = 0.5  // and from which only a lower bound is left
	edgeLevel  = -0.01
	bentStiff  = 0.02 // how strongly the quadratic terms are held near 0, per cell
	mostOver   = 4.0  // stops, over which an estimate says nothing
	leastPlain = 12   // cells
)

// clippedLight fits the surface; false where too little is left to tell by.
func (m *meter) clippedLight(sc *scene.Scene) (*backlight, bool) {
	type cell struct {
		x, y  float64
		level [3]float64
		state [3]int8 // 0 seen, 1 at the edge, 2 over it
	}
	var cells []cell
	for i, in := range sc.Backdrop.Mask {
		if !in {
			continue
		}
		var c cell
		var light, clipped [3]float64
		var pixels float64
		for _, j := range m.gridCell(sc.Grid, i) {
			q := &m.s.Cells[j]
			w := float64(q.Pixels)
			pixels += w
			for ch := range light {
				light[ch] += w * m.c.Mean(ch, float64(q.Mean[ch]), float64(q.Var[ch]))
				clipped[ch] += float64(q.Clipped[ch])
			}
		}
		if pixels == 0 {
			continue
		}
		c.x, c.y = 2*(float64(i%sc.Cols)+0.5)/float64(sc.Cols)-1, 2*(float64(i/sc.Cols)+0.5)/float64(sc.Rows)-1
		for ch := range light {
			c.level[ch] = math.Log2(max(light[ch]/pixels, 1e-4))
			switch share := clipped[ch] / pixels; {
			case share > allClips:
				c.state[ch] = 2
			case share > partClips:
				c.state[ch], c.level[ch] = 1, edgeLevel
			}
		}
		cells = append(cells, c)
	}
	b := &backlight{}
	// The channels' constants against green, from cells in which both are seen.
	seen := 0
	for _, ch := range [2]int{0, 2} {
		var d []float64
		for _, c := range cells {
			if c.state[ch] == 0 && c.state[1] == 0 {
				d = append(d, c.level[ch]-c.level[1])
			}
		}
		if len(d) >= leastPlain {
			b.offset[ch] = medianFloat(d)
			seen++
		}
	}
	b.tied = seen == 2
	type point struct {
		x, y, v float64
		bound   bool
	}
	var points []point
	plain := 0
	for _, c := range cells {
		var sum, n float64
		for ch := range c.level {
			if c.state[ch] < 2 {
				sum += c.level[ch] - b.offset[ch]
				n++
			}
		}
		p := point{x: c.x, y: c.y}
		if n > 0 {
			p.v = sum / n
			plain++
		} else { // all channels clip: at least so much
			p.v, p.bound = -min(b.offset[0], b.offset[1], b.offset[2]), true
		}
		points = append(points, p)
	}
	b.left = float64(plain) / float64(max(len(points), 1))
	if plain < leastPlain || b.left < leastLeft {
		return nil, false
	}
	for range 6 {
		var a [6][6]float64
		var y [6]float64
		n := 0.0
		for _, p := range points {
			t := terms(p.x, p.y)
			v := p.v
			if p.bound && n+1 > 0 && b.at(p.x, p.y) >= p.v { // it already lies over its bound
				continue
			}
			n++
			for i := range 6 {
				y[i] += t[i] * v
				for j := range i + 1 {
					a[i][j] += t[i] * t[j]
				}
			}
		}
		for i := range 6 {
			stiff := 1e-6
			if i >= 3 {
				stiff = bentStiff
			}
			a[i][i] += stiff * float64(len(points))
		}
		b.k = scene.Solve(a, y)
	}
	var rest []float64
	for _, p := range points {
		if !p.bound {
			rest = append(rest, math.Abs(p.v-b.at(p.x, p.y)))
		}
	}
	b.spread = 1.48 * medianFloat(rest)
	return b, true
}

func terms(x, y float64) [6]float64 { return [6]float64{1, x, y, x * x, x * y, y * y} }

func (b *backlight) at(x, y float64) float64 {
	v := 0.0
	for i, t := range terms(x, y) {
		v += b.k[i] * t
	}
	return v
}

// over is how far the median of cells lies over the edge, in the brightest or weakest channel.
func (m *meter) over(b *backlight, cells []int32, w which) *Over {
	v := make([]float64, 0, len(cells))
	for _, i := range cells {
		c, r := m.place(i)
		x0, y0, x1, y1 := m.s.CellBox(c, r)
		v = append(v, b.at(x0+x1-1, y0+y1-1))
	}
	if len(v) == 0 {
		return nil
	}
	off := max(b.offset[0], b.offset[1], b.offset[2])
	if w == weakest {
		off = min(b.offset[0], b.offset[1], b.offset[2])
	}
	likely := medianFloat(v) + off
	if likely > mostOver {
		return nil
	}
	off2, usual := sq(m.overSigma(b, max(likely, 0))), sq(usualOverSigma)
	mean := (max(likely, 0)/off2 + usualOver/usual) / (1/off2 + 1/usual)
	sigma := math.Sqrt(1 / (1/off2 + 1/usual))
	return &Over{
		Likely: exposure.Stops(mean).Round(),
		Low:    exposure.Stops(max(mean-ninety*sigma, 0)).Round(),
		High:   exposure.Stops(mean + ninety*sigma).Round(),
		Left:   math.Round(b.left*1e4) / 1e4,
	}
}

// What is believed of a clipped backdrop before it is looked at (common practice, no source: up to a stop
// and a half is met), and the normal distribution's 95 % point.
const (
	usualOver      = 0.5
	usualOverSigma = 0.55
	ninety         = 1.645
)

// overSigma is how far the carried-on surface is off, one standard deviation (fitted on the virtual studio; the
// test has other scenes): the farther over and the less is left, the more; under a default curve falloff near white is
// known by half at best.
func (m *meter) overSigma(b *backlight, likely float64) float64 {
	slope := 0.35
	if m.c.Source() == tone.FromDefault {
		slope = 0.75
	}
	loose := 0.0
	if !b.tied {
		loose = 0.1
	}
	return math.Sqrt(sq(0.06) + sq(loose) + sq(b.spread) + sq(slope*likely) + sq(0.7*max(0, 1-b.left/0.45)))
}

func sq(v float64) float64 { return v * v }

func medianFloat(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	kept := ranks.Get().(*[]ranked)
	defer ranks.Put(kept)
	r := slices.Grow((*kept)[:0], len(v))[:len(v)]
	*kept = r
	for i, x := range v {
		r[i] = ranked{x, int32(i)}
	}
	return nth(r, (len(r)-1)/2).key
}
