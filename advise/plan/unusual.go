package plan

import (
	"fmt"

	"thirdstop/assess/exposure"
)

// Unusual says what is allowed but unusual, why, and what to look at. The remarks
// have pointers but no lines; [Check] adds those. The limits are common practice without
// a source where nothing else is said.
func (p Plan) Unusual() []Fault {
	u := &remarks{}
	u.camera(p.Camera)
	u.backdrop(p)
	u.lights(p)
	u.targets(p)
	return u.list
}

type remarks struct{ list []Fault }

func (u *remarks) add(pointer, format string, a ...any) {
	u.list = append(u.list, Fault{Pointer: pointer, Text: fmt.Sprintf(format, a...)})
}

func (u *remarks) camera(c Camera) {
	switch {
	case c.Sync > 0 && c.Shutter > 0 && c.Shutter < c.Sync:
		u.add("camera.shutter", "is %v, faster than the sync time %v: part of the frame would be dark; use %v or slower", c.Shutter, c.Sync, c.Sync)
	case c.Sync == 0 && c.Shutter > 0 && c.Shutter < 1.0/250:
		u.add("camera.shutter", "is %v, faster than most cameras can show the whole frame to a flash; look for a dark band, and write the time from the manual as sync", c.Shutter)
	case c.Shutter > 1.0/60:
		u.add("camera.shutter", "is %v: the light of the room counts more and more; 1/125 s is usual", c.Shutter)
	}
	if c.ISO > 1600 {
		u.add("camera.iso", "is %v: flashes rarely need it, and noise makes levels less sure; look whether the flashes have power left", c.ISO)
	}
	if c.FNumber > 16 {
		u.add("camera.aperture", "is %s: it asks for much flash power and costs sharpness", c.Aperture())
	}
}

func (u *remarks) backdrop(p Plan) {
	b := p.Backdrop
	has := map[Role]bool{}
	for _, l := range p.Lights {
		has[l.Role] = true
	}
	if !has[Key] {
		u.add("lights", "hold no key light: nothing says which one lights the face")
	}
	switch {
	case b.Colour == White && !has[Background]:
		u.add("backdrop.colour", "is white without a background light: the key's spill alone has to bring it to the edge, and the two can't be set apart")
	case b.Colour == Black && has[Background]:
		u.add("backdrop.colour", "is black with a background light on it: it will look grey")
	}
	switch d := b.Distance; {
	case d > 0 && d < 1 && b.Colour == White:
		u.add("backdrop.distance", "is %v: a white backdrop this close throws its light round the sitter's edges; 2 m and more are usual", d)
	case d > 0 && d < 0.3:
		u.add("backdrop.distance", "is %v, hardly room for a sitter; it is measured from the sitter", d)
	case d > 15:
		u.add("backdrop.distance", "is %v; look whether the unit is right", d)
	}
}

func (u *remarks) lights(p Plan) {
	without := []string{}
	for i, l := range p.Lights {
		at := fmt.Sprintf("lights[%d]", i)
		if l.Guide == 0 {
			without = append(without, l.Name())
		} else if l.Guide < 5 || l.Guide > 120 {
			u.add(at+".guide_number", "is %s m: most flashes lie between 10 and 120; look whether the unit is right", shortest(float64(l.Guide)))
		}
		switch {
		case l.Power == exposure.FullPower:
			u.add(at+".power", "of %s is full: nothing is left to go up, and it recycles slowest and heats most; open the aperture, raise ISO or bring the light nearer, and mind what its manual says about heat", l.Name())
		case l.Power == l.Most:
			u.add(at+".power", "of %s is the most that the plan allows: nothing is left to go up", l.Name())
		case l.Power == l.Least:
			u.add(at+".power", "of %s is the least it has: nothing is left to go down", l.Name())
		}
		if l.Power != exposure.FullPower && l.Power > -exposure.Stop && l.Limit == 0 {
			u.add(at+".power", "of %s is over half power, and the plan does not say how many full flashes a minute its manual allows", l.Name())
		}
		switch d := l.Distance; {
		case d > 0 && d < 0.3:
			u.add(at+".distance", "of %s is %v: too near to people, and so near that a small move changes much; look whether the unit is right", l.Name(), d)
		case d > 15:
			u.add(at+".distance", "of %s is %v; look whether the unit is right", l.Name(), d)
		}
		if l.Scale.Marking == exposure.Numbers && l.Scale.Top%10 != 0 {
			u.add(at+".top", "of %s is %s: most dials that count in numbers show a whole number at full power", l.Name(), l.Scale.Format(exposure.FullPower))
		}
		if l.Role == Key && p.Camera.FNumber > 0 && p.Camera.ISO > 0 {
			// The guide number's own rule, before any modifier takes light away.
			if bare, ok := l.Guide.Level(l.Distance, l.Most, p.Camera.ISO, p.Camera.FNumber); ok && bare+p.Camera.transmits() < -exposure.Stops(1)/3 {
				u.add(at+".guide_number", "of %s says that %s at %v gives %s than %v at %v needs, even with nothing in front of it; open the aperture, raise ISO or bring it nearer",
					l.Name(), l.Scale.Format(l.Most), l.Distance, under(bare+p.Camera.transmits()), p.Camera.Aperture(), p.Camera.ISO)
			}
		}
	}
	if len(without) > 0 {
		u.add("lights", "%s without a guide number: thirdstop learns from the frames what each light does, but can't say before the first one whether its power is within reach", andList(without))
	}
}

// under writes a shortfall: "1.3 stops less".
func under(s exposure.Stops) string {
	unit := "stops"
	if s > -1.05 {
		unit = "stop"
	}
	return fmt.Sprintf("%.1f %s less", -float64(s), unit)
}

func (u *remarks) targets(p Plan) {
	t, colour := p.Targets, p.Backdrop.Colour
	white := colour == White
	switch {
	case !white && !t.WhiteFloor.IsZero():
		u.add("targets.white_floor", "is for white backdrops, and this one is %s: it is not used; backdrop_level is", colour)
	case white && t.WhiteFloor.Low < 0:
		u.add("targets.white_floor", "allows %s, under the edge: the backdrop would be light grey there and need retouching", t.WhiteFloor)
	case white && t.WhiteFloor.High > 1:
		u.add("targets.white_floor", "allows %s: so much light on the backdrop wraps round the sitter and veils the picture", t.WhiteFloor)
	}
	if white && !t.BackdropLevel.IsZero() {
		u.add("targets.backdrop_level", "is for backdrops that are not white: it is not used; white_floor is")
	}
	if !white && t.BackdropLevel.High >= 0 {
		u.add("targets.backdrop_level", "reaches clipping, so a %s backdrop would turn white", colour)
	} else if colour == Black && t.BackdropLevel.High > -3 {
		u.add("targets.backdrop_level", "allows %s: that is grey rather than black", t.BackdropLevel)
	} else if colour == Grey && t.BackdropLevel.High > t.WhitePeak.Low {
		u.add("targets.backdrop_level", "allows a grey backdrop to be as light as the white reference; the two targets contradict each other")
	}
	if t.WhitePeak.High >= 0 {
		u.add("targets.white_peak", "allows %s: at 0 the reference clips, and how far it is over can't be measured", t.WhitePeak)
	} else if t.WhitePeak.Low < -2 {
		u.add("targets.white_peak", "allows %s: a white reference that dark leaves faces dark as well", t.WhitePeak)
	}
	if t.HairMost > 0 {
		u.add("targets.hair_most", "is %s, over clipping: hair would lose its detail", formatStops(t.HairMost))
	}
	switch {
	case t.MostClipped == 0:
		u.add("targets.most_clipped", "is 0 %%: one glint on a pair of glasses is enough to miss it")
	case t.MostClipped > 0.1:
		u.add("targets.most_clipped", "is %s: light that wraps round the sitter would go unnoticed", formatShare(t.MostClipped))
	}
	for _, l := range p.Lights {
		click := l.Scale.Click.Stops()
		switch {
		case l.Role == Key && t.WhitePeak.Width() < click-1e-9:
			u.add("targets.white_peak", "is narrower than one click of %s (%s): it may lie between two settings", l.Name(), l.Scale.FormatChange(l.Scale.Click))
		case l.Role == Background && white && t.WhiteFloor.Width() < click-1e-9:
			u.add("targets.white_floor", "is narrower than one click of %s (%s): it may lie between two settings", l.Name(), l.Scale.FormatChange(l.Scale.Click))
		case l.Role == Background && !white && t.BackdropLevel.Width() < click-1e-9:
			u.add("targets.backdrop_level", "is narrower than one click of %s (%s): it may lie between two settings", l.Name(), l.Scale.FormatChange(l.Scale.Click))
		}
	}
}
