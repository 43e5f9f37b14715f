package assess

import (
	"math"

	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
	"thirdstop/assess/tone"
)

// Where light that spectacles mirror shows, in sizes of the face's box from its middle, and what it must look like.
const (
	bandTop, bandEnd   = -0.24, 0.14
	bandSide           = 0.40
	mirrorLevel        = -0.35  // stops to clipping, from which a block may be a mirrored lamp
	overSkin           = 1.2    // stops over the cheeks, by which it must be lighter: nothing that scatters light is
	leastGlare         = 0.0025 // of the box's area, of a spot over each eye, some 8 mm across: a catchlight has a tenth of that
	aloneGlare         = 0.006  // of one over one eye only
	mostGlare          = 0.05   // more is a bright backdrop or hair
	nearNose, farOut   = 0.05, 0.32
	apartFrom, apartTo = 0.22, 0.55 // sizes of the box between two spots: the lenses mirror one lamp at the same place
	levelWithin        = 0.10       // and as high
	leastBlocksAcross  = 24         // of a box, under which a catchlight can't be told from a lens
)

// spot is a connected part of the band that is as light as a lamp.
type spot struct {
	x0, y0, x1, y1 float64 // in sizes of the box from its middle
	area           float64 // in sizes squared
	touches        bool    // the band's border
}

func (s spot) middle() (float64, float64) { return (s.x0 + s.x1) / 2, (s.y0 + s.y1) / 2 }

// glare looks for lamps mirrored in spectacles. It says nothing where it is unsure.
func (m *meter) glare(p *placed) (*Glare, string) {
	const none = "no light that spectacles mirror is seen over the eyes"
	s := m.s
	across := p.wide * float64(s.Width) / 8
	if across < leastBlocksAcross {
		return nil, "the face is too small in the picture to tell spectacles by"
	}
	var level exposure.Stops = tone.Floor // of the lighter cheek, in its weakest channel: skin is no white, and a lamp is
	for _, side := range [2][2]float64{{-cheekTo, -cheekFrom}, {cheekFrom, cheekTo}} {
		cheek := m.blocksIn(p, 0, side[0], side[1], cheekTop, cheekEnd)
		if len(cheek) == 0 {
			return nil, none
		}
		var least exposure.Stops
		for ch := range 3 {
			l, _ := m.middling(cheek, ch)
			least = min(least, l)
		}
		level = max(level, least)
	}
	if level > -overSkin {
		return nil, "the face is so light that a mirrored lamp can't be told from it"
	}
	c0, c1 := between(s.BlockColEdges, s.Width, max(p.f.X-bandSide*p.wide, 0), min(p.f.X+bandSide*p.wide, 1))
	r0, r1 := between(s.BlockRowEdges, s.Height, max(p.f.Y+bandTop*p.f.Size, 0), min(p.f.Y+bandEnd*p.f.Size, 1))
	w, h := c1-c0, r1-r0
	if w < 3 || h < 3 {
		return nil, none
	}
	limit := max(mirrorLevel, level+overSkin)
	var codes photo.Block // a lamp is light in every channel
	for ch := range codes {
		codes[ch] = uint16(256 * m.c.Code(ch, limit.Factor()))
	}
	bright := make([]bool, w*h)
	for j := range h {
		for i := range w {
			b := s.BlockAt(c0+i, r0+j)
			bright[j*w+i] = b[0] >= codes[0] && b[1] >= codes[1] && b[2] >= codes[2]
		}
	}
	spots := m.spots(p, bright, c0, r0, w, h)
	var best *Glare
	for i, a := range spots {
		ax, ay := a.middle()
		if a.area >= aloneGlare && math.Abs(ax) > nearNose && math.Abs(ax) < farOut {
			g := Glare{Sides: "left", Area: a.area}
			if ax > 0 {
				g.Sides = "right"
			}
			best = more(best, g)
		}
		for _, b := range spots[i+1:] {
			bx, by := b.middle()
			if (ax < 0) != (bx < 0) && math.Abs(ax-bx) > apartFrom && math.Abs(ax-bx) < apartTo && math.Abs(ay-by) < levelWithin {
				best = more(best, Glare{Sides: "both", Area: a.area + b.area})
			}
		}
	}
	if best == nil {
		return nil, none
	}
	best.Area = math.Round(1e4*best.Area) / 1e4
	return best, ""
}

func more(a *Glare, b Glare) *Glare {
	if a == nil || b.Area > a.Area {
		return &b
	}
	return a
}

// spots are the connected bright parts that may be glare.
func (m *meter) spots(p *placed, bright []bool, c0, r0, w, h int) []spot {
	s := m.s
	at := func(edges []int, i, size int, middle, scale float64) float64 {
		return (float64(edges[i])/float64(size) - middle) / scale
	}
	seen := make([]bool, len(bright))
	var out []spot
	for k, is := range bright {
		if !is || seen[k] {
			continue
		}
		q := spot{x0: 1, y0: 1, x1: -1, y1: -1}
		todo := []int{k}
		seen[k] = true
		for len(todo) > 0 {
			n := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			i, j := n%w, n/w
			x0, x1 := at(s.BlockColEdges, c0+i, s.Width, p.f.X, p.wide), at(s.BlockColEdges, c0+i+1, s.Width, p.f.X, p.wide)
			y0, y1 := at(s.BlockRowEdges, r0+j, s.Height, p.f.Y, p.f.Size), at(s.BlockRowEdges, r0+j+1, s.Height, p.f.Y, p.f.Size)
			q.x0, q.y0, q.x1, q.y1 = min(q.x0, x0), min(q.y0, y0), max(q.x1, x1), max(q.y1, y1)
			q.area += (x1 - x0) * (y1 - y0)
			q.touches = q.touches || i == 0 || j == 0 || i == w-1 || j == h-1
			for _, d := range [4][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
				x, y := i+d[0], j+d[1]
				if x >= 0 && y >= 0 && x < w && y < h && bright[y*w+x] && !seen[y*w+x] {
					seen[y*w+x] = true
					todo = append(todo, y*w+x)
				}
			}
		}
		if !q.touches && q.area >= leastGlare && q.area <= mostGlare {
			out = append(out, q)
		}
	}
	return out
}

// Advice says what to do about it. It is about places and angles: no power takes a mirror image away.
func (g *Glare) Advice() string {
	over := "over the eye at the picture's " + g.Sides
	if g.Sides == "both" {
		over = "over both eyes"
	}
	return "the spectacles mirror a lamp " + over + ": raise the key on its stand, or have the frames tilted a little down"
}
