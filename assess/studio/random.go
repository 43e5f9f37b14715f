package studio

import (
	"math"
	"math/rand/v2"

	"thirdstop/assess/exposure"
)

// RandomOptions bounds the scenes of [Random]. The zero value allows everything
// at about a third of a megapixel.
type RandomOptions struct {
	Width, PictureHeight int            // as stored; 0 is 720 x 480
	Curves               []CurveKind    // one of these; empty is any
	Orientations         []int          // one of these; empty is 1, 6 or 8
	WhiteBackdrop        bool           // white only
	NoNarrow             bool           // the backdrop always fills the picture
	Off                  exposure.Stops // lights are at most so far off target; 0 is 2 stops
	Lights               int            // 2 to 4; 0 is any
	Still                bool           // no scatter and nobody moves
	Clean                bool           // no noise, no veil, no vignetting, no cast
}

// Random is a scene that nobody chose: one to three lights and a background
// light on some sitter before some backdrop, more or less off target. The same
// seed and options give the same scene.
func Random(seed uint64, opt RandomOptions) *Studio {
	r := rand.New(rand.NewPCG(seed, 0x5ca1e))
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	s := &Studio{Camera: NewCamera(), Seed: seed}
	c := &s.Camera
	c.Width, c.PictureHeight = 720, 480
	if opt.Width > 0 && opt.PictureHeight > 0 {
		c.Width, c.PictureHeight = opt.Width, opt.PictureHeight
	}
	c.Orientation = []int{1, 6, 8}[r.IntN(3)]
	if n := len(opt.Orientations); n > 0 {
		c.Orientation = opt.Orientations[r.IntN(n)]
	}
	c.Curve = CurveKind(r.IntN(int(curves)))
	if n := len(opt.Curves); n > 0 {
		c.Curve = opt.Curves[r.IntN(n)]
	}
	c.FNumber = exposure.FNumberMarks[12+r.IntN(8)] // f/4 to f/9
	c.ISO = exposure.ISOMarks[3+r.IntN(7)]          // 100 to 400
	c.Shutter = 1 / []exposure.Shutter{60, 100, 125, 160, 200}[r.IntN(5)]
	c.Distance, c.Height = exposure.Metres(between(1.6, 3)), exposure.Metres(between(0.68, 1.0))
	c.White = exposure.Stops(between(-0.65, -0.1))
	c.Vignette, c.Flare = exposure.Stops(between(0, 0.4)), between(0, 0.03)
	for i := range c.Cast {
		c.Cast[i] = exposure.Stops(between(-0.12, 0.12))
	}
	c.FullWell, c.Read = between(15000, 80000), between(2, 8)

	s.Backdrop = Backdrop{Distance: exposure.Metres(between(0.9, 2.6)), HalfWidth: exposure.Metres(between(1.1, 1.8))}
	floor := exposure.Stops(0.25)
	switch white := between(0.82, 0.92); {
	case opt.WhiteBackdrop || r.IntN(3) > 0:
		s.Backdrop.Colour = RGB{white, white * between(0.985, 1), white * between(0.96, 1)}
	default:
		grey := between(0.08, 0.5)
		s.Backdrop.Colour = RGB{grey * between(0.9, 1.1), grey, grey * between(0.9, 1.1)}
		s.Backdrop.Mottle = exposure.Stops(between(0, 0.15))
		floor = exposure.Stops(between(-3, -1))
	}
	if !opt.NoNarrow && r.IntN(5) == 0 {
		s.Backdrop.HalfWidth = exposure.Metres(between(0.42, 0.7))
	}
	s.Ambient = Ambient{Value: exposure.Stops(between(1, 7)), Warmth: Mired(between(-20, 150))}

	s.Sitter = randomSitter(r, between)
	s.Sway, s.Scatter = exposure.Metres(between(0.003, 0.03)), exposure.Stops(between(0.01, 0.06))

	side := Degrees(1)
	if r.IntN(2) == 0 {
		side = -1
	}
	lights := []Light{
		{Role: Background, Distance: exposure.Metres(between(0.8, 1.3) * math.Max(float64(s.Backdrop.Distance)*0.7, 0.8)),
			Azimuth: Degrees(between(-40, 40)), Elevation: Degrees(between(-30, 20)), Beam: between(-2, 1), Loss: exposure.Stops(between(0, 1.5))},
		{Role: Key, Distance: exposure.Metres(between(0.8, 2)), Azimuth: side * Degrees(between(20, 60)), Elevation: Degrees(between(15, 45)),
			Beam: between(0.5, 4), Loss: exposure.Stops(between(0.5, 3)), Softness: between(0, 0.4)},
		{Role: Fill, Distance: exposure.Metres(between(1.2, 3)), Azimuth: -side * Degrees(between(10, 70)), Elevation: Degrees(between(0, 30)),
			Beam: between(0, 2), Loss: exposure.Stops(between(1, 3)), Softness: between(0.1, 0.5)},
		{Role: Hair, Distance: exposure.Metres(between(1, 1.8)), Azimuth: side * Degrees(between(130, 170)), Elevation: Degrees(between(35, 65)),
			Beam: between(2, 8), Loss: exposure.Stops(between(0.5, 2)), Softness: 0.1},
	}
	n := 2 + r.IntN(3)
	if opt.Lights >= 2 && opt.Lights <= 4 {
		n = opt.Lights
	}
	click := []exposure.Dial{exposure.Third, exposure.Tenth}[r.IntN(2)]
	for i, l := range lights[:n] {
		l.Group, l.On = string(rune('A'+i)), true
		l.Guide = exposure.GuideNumber(between(30, 64))
		l.Warmth = Mired(between(-8, 8))
		l.Click, l.Least, l.Most = click, -7*exposure.Stop, exposure.FullPower
		l.Power = -4 * exposure.Stop
		s.Lights = append(s.Lights, l)
	}
	if opt.Clean {
		c.FullWell, c.Read, c.Flare, c.Vignette, c.Cast = 0, 0, 0, 0, [3]exposure.Stops{}
	}
	if opt.Still {
		s.Sway, s.Scatter = 0, 0
	}
	s.Balance(floor, exposure.Stops(between(-0.6, -0.15)))
	most := float64(opt.Off)
	if most == 0 {
		most = 2
	}
	for i := range s.Lights {
		l := &s.Lights[i]
		s.knock(l, exposure.Clicks(exposure.Stops(between(0, most)), l.Click), r.IntN(2) == 0)
	}
	return s
}

func randomSitter(r *rand.Rand, between func(a, b float64) float64) Sitter {
	hairs := []RGB{{0.012, 0.010, 0.009}, {0.03, 0.018, 0.010}, {0.09, 0.05, 0.026}, {0.24, 0.10, 0.035}, {0.36, 0.26, 0.13}, {0.3, 0.3, 0.29}, {0.6, 0.6, 0.58}}
	cloth := RGB{between(0.01, 0.3), between(0.01, 0.3), between(0.01, 0.3)}
	if r.IntN(5) == 0 { // light clothes are what a white reference is mistaken for
		cloth = RGB{between(0.5, 0.75), between(0.5, 0.7), between(0.4, 0.65)}
	}
	return Sitter{
		Role: "visitor", Skin: r.Float64(), Hair: hairs[r.IntN(len(hairs))],
		Style: HairStyle(r.IntN(6)), Beard: r.IntN(4) == 0, Wear: Wear(r.IntN(3)),
		Cloth: cloth, Trim: RGB{between(0.02, 0.6), between(0.02, 0.5), between(0.02, 0.5)},
		Tie: r.IntN(2) == 0, Spectacles: r.IntN(3) == 0, Card: r.IntN(3) == 0, Build: between(0.88, 1.15),
	}
}
