package studio

import "thirdstop/assess/exposure"

// flashTime is how long a flash shines: about half a thousandth of a second (common practice, no source). In that time the
// curtain moves on, which makes the border of the dark band soft.
const flashTime exposure.Shutter = 1.0 / 2000

// curtain takes the flashes' light from what the second curtain covers already. A flash fires when the first
// curtain has run across, Sync after it began; the second began Shutter after it, so that at this moment 1 - Shutter/Sync of
// the frame lies behind it. Curtains run along the short side, and begin where the picture's bottom is: a lens turns it upside
// down (common practice, no source). The room's light comes through the slit and stays. What is a flash's is known in green alone;
// as in a [Pose], all light is taken to have one colour here.
func (s *Studio) curtain(g *scene) {
	c := &s.Camera
	if !(c.Sync > 0) || c.Shutter >= c.Sync {
		return
	}
	open, soft := float64(c.Shutter/c.Sync), float64(flashTime/c.Sync)
	room := 3 + g.sources - 1
	for j := range g.h {
		for i := range g.w {
			down := (float64(j*g.step) + 0.5) / float64(g.height) // in the picture as stored
			switch across := (float64(i*g.step) + 0.5) / float64(g.width); c.Orientation {
			case 3:
				down = 1 - down
			case 6:
				down = 1 - across
			case 8:
				down = across
			}
			lit := float32(clamp((open-down)/soft, 0, 1))
			if lit == 1 {
				continue
			}
			px := g.pix[(j*g.w+i)*g.stride:][:g.stride]
			var was, now float32
			for k := 3; k < room; k++ {
				was += px[k]
				px[k] *= lit
				now += px[k]
			}
			if was += px[room]; was <= 0 {
				continue
			}
			part := (now + px[room]) / was
			for k := range 3 {
				px[k] *= part
			}
		}
	}
}
