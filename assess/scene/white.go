package scene

import "math"

// What a white reference may look like (derived here, on the portraits the tests name).
const (
	leastWhite   = 120.0 // lightness in code values, under which nothing counts as white
	whiteTint    = 0.09  // colour difference from neutral, as a share of lightness
	whiteTexture = 20.0  // standard deviation within survey cells: folds and weave, not hair or glints
	whiteShare   = 0.004 // of the frame, at least: larger than buttons and clips
	whiteStep    = 5.0   // code values from one cell to the next on one card or shirt
	whiteFalls   = 30.0  // by how many code values it may get darker away from the light
)

// seekWhite looks for the brightest neutral, diffuse patch of the sitter, below the chin: hair, eyes, teeth and
// spectacles are no reference. What it finds is a guess to show, never to act on: a cream jumper isn't an
// under-exposed white. The box lies wholly on the patch.
func (l *look) seekWhite(sc *Scene) {
	if !sc.Sitter.Found() {
		sc.White.Reason = "no sitter was found to look for it on"
		return
	}
	sc.White.Reason = "the sitter shows no bright neutral patch of sufficient size"
	inner := l.shrink(sc.Sitter.Mask)
	if l.surface.at(sc.HeadX, sc.HeadY)[0] > leastWhite {
		inner = l.shrink(inner) // a bright backdrop shines through hair and round the outline
	}
	least := max(4, int(whiteShare*float64(len(inner))))
	n := len(inner)
	neutral := make([]bool, n)
	for i, in := range inner {
		c := l.colour[i]
		tint := c.distance(vec{c[0]})
		// Where light cloth melts into light paper, nobody knows which of the two it is.
		open := sc.Doubtful != nil && sc.Doubtful[i]
		neutral[i] = in && !l.head[i] && !open && c[0] >= leastWhite && tint < max(6, whiteTint*c[0]) && l.texture[i] < whiteTexture
	}
	for floor := 250.0; floor >= leastWhite; floor -= 5 {
		bright := make([]bool, n)
		for i := range bright {
			bright[i] = neutral[i] && l.colour[i][0] >= floor
		}
		parts := l.components(bright)
		if len(parts) == 0 || len(parts[0]) < least {
			continue
		}
		mask := l.inscribed(l.patch(parts[0], neutral))
		cells := count(mask)
		if cells < least {
			continue
		}
		size := float64(cells) / float64(n)
		conf := sc.Sitter.Confidence * (0.4 + 0.3*ramp(size, whiteShare, 4*whiteShare) + 0.3*ramp(floor, leastWhite, 210))
		if conf < Sure {
			sc.White.Confidence = conf
			return
		}
		sc.White = White{Region: Region{Mask: mask, Confidence: conf}, Box: l.BoxOf(mask)}
		return
	}
}

// patch goes on from the brightest part of a card or shirt over what of it gets less light, up to its edges.
func (l *look) patch(part []int, neutral []bool) []bool {
	mask := make([]bool, len(neutral))
	var light []float64
	for _, i := range part {
		mask[i] = true
		light = append(light, l.colour[i][0])
	}
	lowest := median(light) - whiteFalls
	queue := append([]int(nil), part...)
	for k := 0; k < len(queue); k++ {
		i := queue[k]
		l.neighbours(i, func(j int) {
			if !mask[j] && neutral[j] && l.colour[j][0] > lowest && math.Abs(l.colour[i][0]-l.colour[j][0]) < whiteStep {
				mask[j] = true
				queue = append(queue, j)
			}
		})
	}
	return mask
}

// inscribed is the largest rectangle within a mask, of cells; the topmost and leftmost of equals.
func (g Grid) inscribed(mask []bool) []bool {
	height := make([]int, g.Cols)
	best, bx0, by0, bx1, by1 := 0, 0, 0, 0, 0
	for y := range g.Rows {
		for x := range g.Cols {
			if mask[y*g.Cols+x] {
				height[x]++
			} else {
				height[x] = 0
			}
		}
		for x := range g.Cols {
			low := height[x]
			for to := x; to < g.Cols && height[to] > 0; to++ {
				low = min(low, height[to])
				if size := low * (to - x + 1); size > best {
					best, bx0, by0, bx1, by1 = size, x, y-low+1, to+1, y+1
				}
			}
		}
	}
	out := make([]bool, len(mask))
	for y := by0; y < by1; y++ {
		for x := bx0; x < bx1; x++ {
			out[y*g.Cols+x] = true
		}
	}
	return out
}
