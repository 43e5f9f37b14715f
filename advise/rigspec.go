package advise

import (
	"math"

	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

// What is believed of a rig before its first frame, in stops. These are ranges
// wide enough that one frame outweighs them; they only decide which of several
// lights is thought to make a region's light (common practice, no source, unless said otherwise).
const (
	// A white lit as its guide number demands lies this far under clipping: FACTS of
	// the trade put the paper 0.15 to 0.65 stop under (derived from ISO 12232's saturation speed, 141 % reflectance clips).
	whiteUnderClip = -0.4
	// What a modifier takes, and how far that range reaches: umbrellas and
	// softboxes take 1 to 3 stops.
	modifierLoss  = -1.5
	modifierSigma = 1.0
	blindSigma    = 3.0 // a light of which only the dial is known
	// Of a light without a guide number that much is known: flashes for portraits have 30 to 64 m at ISO 100, a
	// stop either way; what is on them takes as in modifierLoss; and a distance is told to a fifth or so.
	usualGuide exposure.GuideNumber = 45
	usualSigma                      = 1.4
)

// newModel is the light model of a plan before its first frame. gain and shutter are
// the camera's at that moment: without guide numbers, all that is known is that
// somebody set the lights so that pictures come out at all.
func newModel(p *plan.Plan, lights []LightState, gain exposure.Stops, shutter exposure.Shutter, known ...KnownGuide) rig.Model {
	spec := rig.Spec{Lights: len(p.Lights) + len(p.Reflectors), Regions: regionCount, Passive: reflected(p)}
	own := func(light, region int, mean, sigma float64) {
		spec.Priors = append(spec.Priors, rig.Prior{Of: rig.Param{Light: light, Region: region},
			Mean: exposure.Stops(mean), Sigma: exposure.Stops(sigma)})
	}
	than := func(light, region, other int, mean, sigma float64) {
		spec.Priors = append(spec.Priors, rig.Prior{Of: rig.Param{Light: light, Region: region},
			Than: &rig.Param{Light: light, Region: other}, Mean: exposure.Stops(mean), Sigma: exposure.Stops(sigma)})
	}
	for i, l := range p.Lights {
		main, mean, spill, spread := whiteRegion, -1.0, -2.5, 1.2
		switch l.Role {
		case plan.Background:
			main, mean, spill, spread = backdropRegion, -0.5, -5, 1.5
		case plan.Fill:
			mean = -3
		case plan.Hair:
			main, mean, spill, spread = crownRegion, -1.5, -4, 1.5
		}
		// From the sitter on to the backdrop the inverse square holds.
		if l.Role == plan.Key || l.Role == plan.Fill {
			if f, ok := exposure.Falloff(l.Distance, l.Distance+p.Backdrop.Distance); ok && p.Backdrop.Distance > 0 {
				spill, spread = float64(f), 1.0
			}
		}
		dark, unlike := 0.0, 0.0 // what the lit region sends back less than white, and how far that is known
		if p.Backdrop.Colour != plan.White {
			// A darker backdrop shows the less of what the other lights spill on it, too, and a white sitter the more of its own light's.
			back := math.Log2(reflectance[p.Backdrop.Colour] / reflectance[plan.White])
			spread = math.Hypot(spread, float64(colourSigma))
			if main == backdropRegion {
				dark, unlike, spill = back, float64(colourSigma), spill-back
			} else {
				spill += back
			}
		}
		learned := KnownGuide{}
		for _, g := range known {
			if g.Group == l.Group {
				learned = g
			}
		}
		if level, ok := learned.Guide.Level(l.Distance, exposure.FullPower, 100, 1); ok {
			// What is in front of the light and how it is tilted is in a learned number.
			own(i, main, float64(level)+whiteUnderClip, math.Max(float64(learned.Sigma), 0.2))
		} else if level, ok := l.Guide.Level(l.Distance, exposure.FullPower, 100, 1); ok {
			loss, sigma := dark, math.Hypot(0.7, unlike)
			if l.Modifier != "" {
				loss, sigma = loss+modifierLoss, math.Hypot(sigma, modifierSigma)
			}
			if l.Role == plan.Fill || l.Role == plan.Hair {
				loss, sigma = loss-1, math.Hypot(sigma, 1) // seen at a slant
			}
			own(i, main, float64(level)+loss+whiteUnderClip, sigma)
		} else {
			own(i, main, mean-float64(gain)-float64(lights[i].Power.Stops()), blindSigma)
			if level, ok := usualGuide.Level(l.Distance, exposure.FullPower, 100, 1); ok {
				loss, sigma := modifierLoss-0.5, usualSigma // half a stop by the cosine law for a key at 45 degrees
				if l.Role == plan.Fill || l.Role == plan.Hair {
					loss, sigma = loss-1, math.Hypot(sigma, 1)
				}
				own(i, main, float64(level)+loss+whiteUnderClip+dark, math.Hypot(sigma, unlike))
			}
		}
		switch main {
		case backdropRegion: // flagged from the sitter, as it should be
			than(i, whiteRegion, main, spill, spread)
			than(i, crownRegion, main, spill, spread)
		case whiteRegion:
			than(i, backdropRegion, main, spill, spread)
			than(i, crownRegion, main, -3, 2.5) // hair against white: black or grey
		case crownRegion: // from above and behind
			than(i, backdropRegion, main, spill, spread)
			than(i, whiteRegion, main, -2, 1.5)
		}
		than(i, sitterRegion, whiteRegion, -2, 1.5) // skin and cloth against white
	}
	for k, m := range p.Reflectors {
		spec.Priors = append(spec.Priors, reflectorPriors(p, m, len(p.Lights)+k, spec.Passive[k])...)
	}
	tv, ok := shutter.Tv()
	if !ok {
		tv = 7
	}
	for r := range regionCount {
		own(rig.Ambient, r, -7-float64(gain)+float64(tv), 2.5)
	}
	return rig.Model{Spec: spec}
}

// setting is how camera and lights stand, with each light's distance counted
// against where it stood when the model began.
func (s State) setting(gain exposure.Stops, shutter exposure.Shutter) rig.Setting {
	set := rig.Setting{Gain: gain.Round(), Shutter: shutter}
	for _, l := range s.Lights {
		set.Power = append(set.Power, l.Power.Stops()+s.base(l))
		set.Off = append(set.Off, l.Off)
	}
	for _, m := range s.Reflectors {
		set.Power = append(set.Power, s.moved(m.Group, m.Distance)+turnedBy(m.Angle))
		set.Off = append(set.Off, m.Away)
	}
	return set
}

func (s State) base(l LightState) exposure.Stops { return s.moved(l.Group, l.Distance) }

// moved is what a light gives more or less than where it stood when the model began.
func (s State) moved(group string, at exposure.Metres) exposure.Stops {
	for _, d := range s.references {
		if d.group == group {
			if f, ok := exposure.Falloff(d.at, at); ok {
				return f.Round()
			}
		}
	}
	return 0
}

// sources is how many sources of light the model tells apart besides the room's: lights, then reflectors.
func (s State) sources() int { return len(s.Lights) + len(s.Reflectors) }

// gain is the camera's at the newest frame, as far as it is known.
func (s State) gain() exposure.Stops {
	g, ok := exposure.Gain(s.ISO, s.FNumber)
	if !ok {
		return 0 // unknown, but one and the same for all frames until told otherwise
	}
	if s.TStops {
		g += exposure.TStop(s.FNumber).OverFNumber()
	}
	return g
}
