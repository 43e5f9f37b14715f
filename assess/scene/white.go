package scene

// What a white reference may look like (derived here, on the portraits the tests name).
const (
	leastWhite   = 120.0 // lightness in code values, under which nothing counts as white
	whiteTint    = 0.09  // colour difference from neutral, as a share of lightness
	whiteTexture = 20.0  // standard deviation within survey cells: folds and weave, not hair or glints
	whiteShare   = 0.004 // of the frame, at least: larger than teeth, spectacles and buttons
)

// seekWhite looks for the brightest neutral, diffuse patch of the sitter. What it finds is a
// guess to show, never to act on: a cream jumper isn't an under-exposed white.
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
	least := max(3, int(whiteShare*float64(len(inner))))
	n := len(inner)
	neutral := make([]bool, n)
	for i, in := range inner {
		c := l.colour[i]
		tint := c.distance(vec{c[0]})
		neutral[i] = in && c[0] >= leastWhite && tint < max(6, whiteTint*c[0]) && l.texture[i] < whiteTexture
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
		mask := make([]bool, n)
		for _, i := range parts[0] {
			mask[i] = true
		}
		size := float64(len(parts[0])) / float64(n)
		conf := sc.Sitter.Confidence * (0.4 + 0.3*ramp(size, whiteShare, 4*whiteShare) + 0.3*ramp(floor, leastWhite, 210))
		if conf < Sure {
			sc.White.Confidence = conf
			return
		}
		sc.White = White{Region: Region{Mask: mask, Confidence: conf}, Box: l.BoxOf(mask)}
		return
	}
}
