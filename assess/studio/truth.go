package studio

import (
	"math"

	"thirdstop/assess/exposure"
)

// NoLight stands for the level of a region that gets no light at all, and is
// the lowest level there is.
const NoLight exposure.Stops = -30

// Box is a rectangle in fractions of the upright picture.
type Box struct{ X0, Y0, X1, Y1 float64 }

// Offset is how far the sitter is from the rest position: to the picture's
// right, up, and towards the camera.
type Offset struct{ X, Y, Z exposure.Metres }

// Flash is what one light did in one frame.
type Flash struct {
	Group string
	Fired bool
	Off   exposure.Stops // against what its dial says: scatter and fault
}

// Share is one source's part of a region's light, 0 to 1, in the green channel;
// the veil counts with the source it comes from.
type Share struct {
	Group string // empty for the ambient light
	Part  float64
}

// Exposed is the true exposure of a region at the sensor, vignetting and veil
// included, noise left out. Levels are in stops relative to clipping and may be over 0.
type Exposed struct {
	Level      exposure.Stops // median, in its brightest channel
	Floor      exposure.Stops // median, in its weakest channel
	Peak       exposure.Stops // 98th percentile, in its brightest channel
	Channel    [3]exposure.Stops
	Size       float64 // share of the picture, borders left out, 0 to 1
	Clipped    float64 // share of its pixels of which the sensor clipped any channel; 0 in Expected
	ClippedAll float64 // and all three
	Box        Box
	Shares     []Share // lights in order, then the ambient
}

// Area is a ninth of the upright picture, as far as it shows backdrop.
type Area struct {
	Level, Floor exposure.Stops // medians, as in Exposed
	Size         float64        // share of the area that is backdrop, 0 to 1
}

// Clip is the share of the picture's pixels that the sensor clipped, 0 to 1.
type Clip struct{ R, G, B, Any float64 }

// Truth is all that is known of a frame.
type Truth struct {
	Frame   int
	Sitter  string // role; empty where nobody is in the picture
	Moved   Offset
	Flashes []Flash
	Clip    Clip

	// The backdrop in 3x3 areas, upright, first row on top. WhiteFloor is the
	// lowest Floor and Evenness the largest less the smallest Level among those
	// of which at least AreaLeast is backdrop.
	Areas      [3][3]Area
	WhiteFloor exposure.Stops
	Evenness   exposure.Stops

	Cells CellMap

	Head Box // the smallest box around the skull; the zero box where nobody is in the picture

	// Cheeks is the light that falls on the face's two sides, the picture's left one first, whatever the skin.
	Cheeks [2]Cheek

	regions [regions]*Exposed
}

// Cheek is the light on one side of a face, before lens and skin: 1 is what makes a perfect diffuser clip.
// By tells it by source, lights in order, then the ambient; all is of the green channel.
type Cheek struct {
	Light float64
	By    []float64
}

// cheeks adds up the light on the cheeks of a head at p: the mean over places 2.6 to 6 cm to either side of its middle
// and 1 to 5 cm below it. A light that comes from one side lights them by the cosine law, as it does all of the figure.
func (s *Studio) cheeks(lamps []lamp, p vec) (out [2]Cheek) {
	amb := s.ambient()
	n := len(lamps)
	for k, side := range [2]float64{-1, 1} {
		out[k].By = make([]float64, n+1)
		const cols, rows = 5, 5
		for i := range cols * rows {
			x := side * (0.026 + 0.034*float64(i%cols)/(cols-1))
			y := -0.010 - 0.040*float64(i/cols)/(rows-1)
			const w, h, d = headW * headScale, headH * headScale, headD * headScale
			u, v := x/w, y/h
			z := math.Sqrt(math.Max(1-u*u-v*v, 0.0025))
			at, normal := vec{p.x + x, p.y + y, p.z + d*z}, vec{u / w, v / h, z / d}.unit()
			back := (1 - normal.z) / 2
			for l := range lamps {
				if m := &lamps[l]; m.on {
					e := back * m.bounce[1]
					if m.reaches > 0 {
						e += m.onSurface(at, normal) * m.power[1]
					}
					out[k].By[l] += e / (cols * rows)
				}
			}
			out[k].By[n] += amb[1] * (0.75 + 0.25*normal.z) / (cols * rows)
		}
		for _, e := range out[k].By {
			out[k].Light += e
		}
	}
	return out
}

// AreaLeast is the share of an area that must be backdrop before the area counts.
const AreaLeast = 0.1

// Region gives what is true of a region; false where the frame shows none of it.
func (t *Truth) Region(r Region) (Exposed, bool) {
	if r >= regions || t.regions[r] == nil {
		return Exposed{}, false
	}
	return *t.regions[r], true
}

// CellMap says what each cell of a survey shows and the mean light it got. Cells
// are 16x16 pixels of the stored picture, upright, row by row.
type CellMap struct {
	Cols, Rows int
	Region     []Region     // Mixed unless the cell shows one thing only
	Light      [][3]float32 // mean linear light, 1 is the edge of clipping; may be over 1
}

// truth measures the grid. n is nil where no picture was developed.
func (s *Studio) truth(g *scene, n *counts) Truth {
	t := Truth{Frame: s.frame, Moved: g.moved, Flashes: g.flashes}
	if !s.Empty {
		t.Sitter = s.Sitter.Role
		p := vec{float64(g.moved.X), float64(g.moved.Y), float64(g.moved.Z)}
		t.Cheeks = s.cheeks(s.lamps(g.flashes), p)
		v := s.view(g.width, g.height)
		across, down := v.metre*float64(g.width), v.metre*float64(g.height)
		const w, h = headW * headScale, headH * headScale
		t.Head = Box{(p.x - w - v.left) / across, (v.top - p.y - h) / down, (p.x + w - v.left) / across, (v.top - p.y + h) / down}
	}
	var seen [regions]struct {
		count          int
		x0, y0, x1, y1 int
		sum            [16]float64 // by source, as many as fit; the rest is not told apart
	}
	for r := range seen {
		seen[r].x0, seen[r].y0 = g.w, g.h
	}
	// The grid reaches one sample over the picture's right and lower border.
	w, h := (g.width-1)/g.step+1, (g.height-1)/g.step+1
	sources := min(g.sources, 16)
	for j := range h {
		for i := range w {
			k := j*g.w + i
			q := &seen[g.region[k]]
			q.count++
			q.x0, q.y0, q.x1, q.y1 = min(q.x0, i), min(q.y0, j), max(q.x1, i+1), max(q.y1, j+1)
			for l := range sources {
				q.sum[l] += float64(g.pix[k*g.stride+3+l])
			}
		}
	}
	for r := BackdropRegion; r < regions; r++ {
		q := &seen[r]
		if q.count == 0 {
			continue
		}
		v := g.values(r, 0, 0, w, h, q.count)
		e := v.exposed()
		e.Size = float64(q.count) / float64(w*h)
		e.Box = Box{float64(q.x0) / float64(w), float64(q.y0) / float64(h), float64(q.x1) / float64(w), float64(q.y1) / float64(h)}
		var total float64
		for l := range sources {
			total += q.sum[l]
		}
		for l := range sources {
			sh := Share{}
			if l < len(s.Lights) {
				sh.Group = s.Lights[l].Group
			}
			if total > 0 {
				sh.Part = q.sum[l] / total
			}
			e.Shares = append(e.Shares, sh)
		}
		if n != nil && n.pixels[r] > 0 {
			e.Clipped = float64(n.any[r]) / float64(n.pixels[r])
			e.ClippedAll = float64(n.all[r]) / float64(n.pixels[r])
		}
		t.regions[r] = &e
	}
	s.areas(&t, g, w, h)
	if n != nil {
		all := float64(g.width * g.height)
		var any int
		for _, c := range n.any {
			any += c
		}
		t.Clip = Clip{float64(n.channel[0]) / all, float64(n.channel[1]) / all, float64(n.channel[2]) / all, float64(any) / all}
	}
	return t
}

func (s *Studio) areas(t *Truth, g *scene, w, h int) {
	first := true
	var low, high exposure.Stops
	for r := range 3 {
		for c := range 3 {
			x0, y0, x1, y1 := c*w/3, r*h/3, (c+1)*w/3, (r+1)*h/3
			count := 0
			for j := y0; j < y1; j++ {
				for i := x0; i < x1; i++ {
					if g.region[j*g.w+i] == BackdropRegion {
						count++
					}
				}
			}
			if count == 0 {
				t.Areas[r][c] = Area{NoLight, NoLight, 0}
				continue
			}
			e := g.values(BackdropRegion, x0, y0, x1, y1, count).exposed()
			a := Area{e.Level, e.Floor, float64(count) / float64((x1-x0)*(y1-y0))}
			t.Areas[r][c] = a
			if a.Size < AreaLeast {
				continue
			}
			if first {
				low, high, t.WhiteFloor, first = a.Level, a.Level, a.Floor, false
			}
			low, high = min(low, a.Level), max(high, a.Level)
			t.WhiteFloor = min(t.WhiteFloor, a.Floor)
		}
	}
	if first {
		t.WhiteFloor = NoLight
	}
	t.Evenness = high - low
}

// channels holds the light of a region's samples, one slice per channel.
type channels [3][]float32

// values gathers the samples of a region.
func (g *scene) values(r Region, x0, y0, x1, y1, count int) channels {
	var v channels
	for c := range v {
		v[c] = make([]float32, 0, count)
	}
	for j := y0; j < y1; j++ {
		for i := x0; i < x1; i++ {
			k := j*g.w + i
			if g.region[k] != r {
				continue
			}
			px := g.pix[k*g.stride:][:3]
			for c := range v {
				v[c] = append(v[c], px[c])
			}
		}
	}
	return v
}

// exposed takes the quantiles, and leaves the samples in another order.
func (v channels) exposed() Exposed {
	e := Exposed{Level: NoLight, Peak: NoLight, Floor: -NoLight}
	for c := range v {
		m := level(quantile(v[c], 0.5))
		e.Channel[c] = m
		e.Level, e.Floor = max(e.Level, m), min(e.Floor, m)
		e.Peak = max(e.Peak, level(quantile(v[c], 0.98)))
	}
	return e
}

// quantile is the sample nearest to a rank, by Hoare's selection (1961). It reorders v.
func quantile(v []float32, p float64) float64 {
	if len(v) == 0 {
		return 0
	}
	k := int(p*float64(len(v)-1) + 0.5)
	for low, high := 0, len(v)-1; low < high; {
		pivot := v[(low+high)/2]
		i, j := low, high
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			low = high
		}
	}
	return float64(v[k])
}

func level(light float64) exposure.Stops {
	if s, ok := exposure.FromFactor(light); ok {
		return max(s, NoLight)
	}
	return NoLight
}

// cells fills in the map that lies over a survey's cells.
func (g *scene) cells(colEdges, rowEdges []int) CellMap {
	m := CellMap{Cols: len(colEdges) - 1, Rows: len(rowEdges) - 1}
	m.Region = make([]Region, m.Cols*m.Rows)
	m.Light = make([][3]float32, m.Cols*m.Rows)
	for row := range m.Rows {
		for col := range m.Cols {
			i0, i1 := inside(colEdges[col], colEdges[col+1], g.step)
			j0, j1 := inside(rowEdges[row], rowEdges[row+1], g.step)
			var sum [3]float64
			reg := g.region[j0*g.w+i0]
			for j := j0; j < j1; j++ {
				for i := i0; i < i1; i++ {
					k := j*g.w + i
					if g.region[k] != reg {
						reg = Mixed
					}
					for c := range sum {
						sum[c] += float64(g.pix[k*g.stride+c])
					}
				}
			}
			k := row*m.Cols + col
			m.Region[k] = reg
			for c := range sum {
				m.Light[k][c] = float32(sum[c] / float64((i1-i0)*(j1-j0)))
			}
		}
	}
	return m
}

// inside gives the samples whose pixels lie in [from, to), at least one.
func inside(from, to, step int) (int, int) {
	a, b := (from+step-1)/step, (to+step-1)/step
	return a, max(b, a+1)
}

// Expected is the truth of the next frame if the lights gave what their dials
// say and the sitter kept still: no scatter, no fault. It shoots nothing.
func (s *Studio) Expected() (Truth, error) {
	t, _, err := s.ExpectedIn(Box{}, 0)
	return t, err
}

// ExpectedIn is that truth together with the exposure of the part of one region that lies in a
// box of the upright picture; of size 0 where nothing of it does.
func (s *Studio) ExpectedIn(in Box, of Region) (Truth, Exposed, error) {
	if err := s.check(); err != nil {
		return Truth{}, Exposed{}, err
	}
	flashes := make([]Flash, len(s.Lights))
	for i := range s.Lights {
		flashes[i] = Flash{Group: s.Lights[i].Group, Fired: s.Lights[i].On}
	}
	w, h := s.Camera.Upright()
	const enough = 30_000 // pixels; medians hardly change beyond
	if scale := math.Sqrt(float64(w*h) / enough); scale > 1 {
		w, h = max(int(float64(w)/scale), 8), max(int(float64(h)/scale), 8)
	}
	g := s.draw(w, h, flashes, Offset{}, 0)
	t := s.truth(g, nil)
	t.Frame = 0
	var part Exposed
	across, down := float64(w-1)/float64(g.step), float64(h-1)/float64(g.step)
	v := g.values(of, int(in.X0*across), int(in.Y0*down), int(in.X1*across), int(in.Y1*down), 0)
	if n := len(v[0]); n > 0 {
		part = v.exposed()
		part.Box, part.Size = in, float64(n)/(across*down)
	}
	return t, part, nil
}

// Exposure is a region of [Studio.Expected]; false where the picture shows none of it.
func (s *Studio) Exposure(r Region) (Exposed, bool) {
	t, err := s.Expected()
	if err != nil {
		return Exposed{}, false
	}
	return t.Region(r)
}
