package studio

import (
	"math/rand/v2"

	"thirdstop/assess/exposure"
)

// Committee is the committee of the Alder Quay Rowing Club, which exists nowhere.
func Committee() []Sitter {
	var (
		navy   = RGB{0.014, 0.022, 0.050}
		green  = RGB{0.012, 0.040, 0.026}
		maroon = RGB{0.065, 0.012, 0.017}
		cream  = RGB{0.62, 0.56, 0.43}
		grey   = RGB{0.16, 0.17, 0.18}
		teal   = RGB{0.035, 0.20, 0.20}
		straw  = RGB{0.62, 0.50, 0.22}
		rust   = RGB{0.30, 0.09, 0.035}
	)
	return []Sitter{
		{Role: "captain", Skin: 0.62, Hair: RGB{0.014, 0.011, 0.009}, Style: CurlyHair, Wear: Blazer, Cloth: navy, Trim: straw},
		{Role: "treasurer", Skin: 0.16, Hair: RGB{0.30, 0.29, 0.28}, Style: ShortHair, Wear: Blazer, Cloth: green, Trim: straw, Tie: true, Spectacles: true, Build: 1.06},
		{Role: "secretary", Skin: 0.34, Hair: RGB{0.030, 0.018, 0.010}, Style: BunHair, Wear: WhiteShirt, Cloth: grey, Trim: teal},
		{Role: "boatman", Skin: 0.92, Hair: RGB{0.020, 0.018, 0.017}, Style: NoHair, Beard: true, Wear: Jumper, Cloth: teal, Trim: straw, Build: 1.12},
		{Role: "juniors' coach", Skin: 0.06, Hair: RGB{0.26, 0.10, 0.035}, Style: LongHair, Wear: Jumper, Cloth: cream, Trim: teal, Build: 0.92},
		{Role: "welfare officer", Skin: 0.44, Hair: RGB{0.012, 0.010, 0.009}, Style: Scarf, Wear: Blazer, Cloth: maroon, Trim: teal, Spectacles: true, Build: 0.95},
		{Role: "safety adviser", Skin: 0.24, Hair: RGB{0.10, 0.055, 0.028}, Style: ShortHair, Beard: true, Wear: WhiteShirt, Cloth: grey, Trim: navy, Tie: true},
		{Role: "president", Skin: 0.80, Hair: RGB{0.42, 0.42, 0.42}, Style: ShortHair, Wear: Blazer, Cloth: navy, Trim: rust, Tie: true, Build: 1.04},
	}
}

// BoatHouse is the demo's scene: the club's boathouse with a roll of white paper,
// background light (A), key (B), fill (C) and hair light (D). The lights have
// been put up but not yet set right: background and key are some clicks off.
// The captain holds a white card. Sizes and losses are common practice.
func BoatHouse(seed uint64) *Studio {
	s := &Studio{
		Camera:   NewCamera(),
		Backdrop: Backdrop{Colour: Grey(0.88), Distance: 1.9, HalfWidth: 1.36},
		Ambient:  Ambient{Value: 4.5, Warmth: 25},
		Sitter:   Committee()[0],
		Sway:     0.012,
		Scatter:  0.03,
		Seed:     seed,
		Lights: []Light{
			{Role: Background, Group: "A", Guide: 36, Loss: 0.7, Distance: 1.6, Azimuth: 7, Elevation: -9, Beam: -2, Warmth: -2},
			{Role: Key, Group: "B", Guide: 58, Loss: 2, Distance: 1.2, Azimuth: 40, Elevation: 30, Beam: 1.5, Softness: 0.25},
			{Role: Fill, Group: "C", Guide: 52, Loss: 2.2, Distance: 1.9, Azimuth: -48, Elevation: 10, Beam: 1, Softness: 0.4, Warmth: 3},
			{Role: Hair, Group: "D", Guide: 36, Loss: 1.2, Distance: 1.3, Azimuth: -152, Elevation: 48, Beam: 6, Softness: 0.1},
		},
	}
	s.Sitter.Card = true
	for i := range s.Lights {
		l := &s.Lights[i]
		l.On, l.Power, l.Click = true, -4*exposure.Stop, exposure.Third
		l.Least, l.Most = -7*exposure.Stop, exposure.FullPower
	}
	s.Light("D").Click, s.Light("D").Power = exposure.Tenth, -5*exposure.Stop
	s.Balance(0.25, -0.35)
	r := rand.New(rand.NewPCG(seed, 0xa1de4))
	s.knock(s.Light("A"), exposure.Third*exposure.Dial(3+r.IntN(2)), r.IntN(4) == 0)
	s.knock(s.Light("B"), exposure.Third*exposure.Dial(2+r.IntN(2)), r.IntN(3) == 0)
	return s
}

// knock turns a light off its setting, up or down, within its range.
func (s *Studio) knock(l *Light, by exposure.Dial, up bool) {
	if !up {
		by = -by
	}
	l.Power = min(max(l.Power+by, l.Least), l.Most)
}

// Balance turns background and key to the clicks that bring the white floor of
// the backdrop and the peak of the white reference nearest to the levels asked
// for, within the range of the flashes, and the fill to 1 2/3 stop under the
// key. It looks at [Studio.Expected], as no photographer can.
func (s *Studio) Balance(floor, peak exposure.Stops) {
	var key, fill, background *Light
	for i := range s.Lights {
		switch l := &s.Lights[i]; l.Role {
		case Key:
			key = l
		case Fill:
			fill = l
		case Background:
			background = l
		}
	}
	turned := true
	turn := func(l *Light, by exposure.Stops) {
		if l == nil {
			return
		}
		to := min(max(l.Power+exposure.Clicks(by, l.Click), l.Least), l.Most)
		turned = turned || to != l.Power
		l.Power = to
	}
	for i := 0; i < 8 && turned; i++ {
		turned = false
		t, err := s.Expected()
		if err != nil {
			return
		}
		ref, seen := t.Region(WhiteReference)
		if seen && key != nil {
			turn(key, peak-ref.Peak)
		}
		if key != nil && fill != nil {
			turn(fill, s.onAxis(key)-exposure.Stops(5.0/3)-s.onAxis(fill))
		}
		if background != nil && t.WhiteFloor > NoLight {
			turn(background, floor-t.WhiteFloor)
		}
	}
}

// onAxis is the level of a light at what it is aimed at, against a right reading.
func (s *Studio) onAxis(l *Light) exposure.Stops {
	v, _ := l.Guide.Level(l.Distance, l.Power, s.Camera.ISO, s.Camera.FNumber)
	return v - l.Loss
}
