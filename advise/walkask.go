package advise

import (
	"fmt"
	"math"
	"slices"

	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

const (
	// startUnder is how far under its estimate a light starts whose light is not known yet, in
	// stops: a dark frame measures, a blown one doesn't.
	startUnder exposure.Stops = 2
	// measuresWell is how far under its aim a light alone may be and still measure it well enough
	// to set it by calculation.
	measuresWell exposure.Stops = 1
	// edgeAim is where a white backdrop is measured: just under the edge, where it can be.
	edgeAim exposure.Stops = -0.5
	// roomUnder is how far under a target the room's own light must stay: four stops less adds 0.09 stop
	// (log2(1 + 1/16); derived here).
	roomUnder exposure.Stops = 4
	// fillUnder is how far under the key a fill is set where nobody says otherwise: one stop, a
	// ratio of 3:1 of both to the fill alone (common practice, no source).
	fillUnder exposure.Stops = 1
)

// aimAlone is where the own region of a light should lie while it burns alone.
func (s State) aimAlone(light int) (region int, aim exposure.Stops) {
	l := s.Lights[light]
	region = ownRegion(l)
	all := judgedRegions(s.Plan, true)
	t := all[region].target
	switch plan.Role(l.Role) {
	case plan.Background:
		aim = t.Aim
		if s.Plan.Backdrop.Colour == plan.White {
			aim = min(aim, edgeAim)
		}
		n := 0
		for i, o := range s.Lights {
			if o.Role == l.Role && s.takesPart(i) {
				n++
			}
		}
		return region, aim - exposure.Stops(math.Log2(float64(max(n, 1)))) // they share it
	case plan.Fill:
		return region, t.Aim - fillUnder
	case plan.Hair:
		return region, t.Aim - 0.5
	}
	return region, t.Aim - 0.3 // others will add to it
}

// ask fills in what the step at hand asks for. The walk must be this state's own.
func (s State) ask() State {
	x := s.Walk.step()
	powers := make([]exposure.Dial, len(s.Lights))
	off := make([]bool, len(s.Lights))
	for i, l := range s.Lights {
		powers[i], off[i] = l.Power, true
	}
	switch x.Kind {
	case WalkAmbient:
	case WalkAll:
		all := s.allOn()
		powers = all.together()
		for i := range off {
			off[i] = all.Lights[i].Off
		}
	case WalkChart:
		for i := range off {
			off[i] = !s.takesPart(i)
		}
	default:
		if k, ok := s.reflector(x.Group); ok {
			off = s.offWith(k)
		} else if i, ok := s.light(x.Group); ok {
			off = s.offAlone(i)
			powers[i] = s.startOf(i)
		}
	}
	return s.asking(powers, off)
}

// asking writes the step's list of lights and its sentences.
func (s State) asking(powers []exposure.Dial, off []bool) State {
	x := s.Walk.step()
	x.Asks = []WalkAsk{}
	for i, l := range s.Lights {
		x.Asks = append(x.Asks, WalkAsk{Group: l.Group, Light: l.Name, Off: off[i], Power: powers[i], PowerText: s.Plan.Lights[i].Scale.Format(powers[i]),
			Switch: off[i] != l.Off, Turn: !off[i] && powers[i] != l.Power})
	}
	x.Do = s.sentences(*x)
	return s
}

// sentences say what to switch and set, and what the frame has to show.
func (s State) sentences(x WalkStep) []string {
	var on, out, set []string
	for _, a := range x.Asks {
		switch {
		case a.Off:
			out = append(out, a.Light)
		default:
			on = append(on, a.Light)
			set = append(set, a.Light+" to "+a.PowerText)
		}
	}
	say := []string{}
	switch {
	case len(on) == 0:
		say = append(say, "Switch every flash off.")
	case len(out) == 0:
		say = append(say, "Switch every flash on.")
	default:
		say = append(say, fmt.Sprintf("Switch %s on, and %s off.", joinAnd(on), joinAnd(out)))
	}
	if len(set) > 0 {
		say = append(say, "Set "+joinAnd(set)+".")
	}
	say = append(say, s.placing(x)...)
	switch x.Kind {
	case WalkAmbient:
		say = append(say, "Leave the room's lamps and curtains as they will be. The frame should be as good as black.")
	case WalkBackground:
		say = append(say, "Best with nobody in front of the backdrop.")
	case WalkKey, WalkCard:
		say = append(say, "Hold the white card where the face will be, towards the camera.")
		if s.Reference == nil {
			say = append(say, "After the frame, tap the card on the picture: that declares the white reference.")
		}
	case WalkFill, WalkReflector:
		say = append(say, "Leave the card where it is.")
	case WalkHair:
		say = append(say, "Somebody sits where the sitter will.")
	case WalkAll:
		say = append(say, "Leave the card where it is. This frame becomes the baseline if it is on target.")
	case WalkChart:
		say = append(say, "Hold the chart where the face will be. This frame is left out of advice.")
	}
	return append(say, "Then take a frame.")
}

// startOf is where a light's dial starts: its estimate, less about two stops while the
// estimate is a guess.
func (s State) startOf(light int) exposure.Dial {
	l := s.Lights[light]
	if s.FNumber == 0 || s.ISO == 0 {
		return l.Power // nothing to estimate from before the first frame
	}
	if s.taught.Spec.Lights == 0 {
		s.taught = newModel(s.Plan, s.Walk.before, s.gain(), s.Shutter, s.guides...)
	}
	fit := s.taught.Fit()
	region, aim := s.aimAlone(light)
	to := s.dialFor(fit, light, region, aim)
	unsure := fit.Predict(s.alone(light, to))[region].Sigma
	return s.clicked(light, to-exposure.Clicks(min(startUnder, 3*unsure), max(l.Click, 1)))
}

// clicked keeps a setting inside the dial, on one of its clicks.
func (s State) clicked(light int, d exposure.Dial) exposure.Dial {
	l := s.Lights[light]
	click := max(l.Click, 1)
	d = max(l.Least, min(l.Most, d))
	return l.Least + (d-l.Least)/click*click
}

// offAlone says which lights are off while one is measured: all others, but for a hair light
// those on the backdrop, without which a head can't be told from the dark. -1 is the room alone.
func (s State) offAlone(light int) []bool {
	off := make([]bool, s.sources())
	for i := range off {
		off[i] = i != light && !(light >= 0 && i < len(s.Lights) && s.keepsCompany(i, light))
	}
	return off
}

func (s State) keepsCompany(i, light int) bool {
	return s.Lights[light].Role == string(plan.Hair) && s.Lights[i].Role == string(plan.Background) && s.takesPart(i)
}

func (s State) hasCompany(light int) bool {
	for i := range s.Lights {
		if s.keepsCompany(i, light) {
			return true
		}
	}
	return false
}

// alone is the setting in which one light is measured.
func (s State) alone(light int, d exposure.Dial) rig.Setting {
	set := s.setting(s.gain(), s.Shutter)
	set.Power, set.Off = slices.Clone(set.Power), s.offAlone(light)
	set.Power[light] = d.Stops() + s.base(s.Lights[light])
	return set
}

// dialFor is the strongest setting at which a region lies no higher than a level while one light
// burns alone, or the least there is.
func (s State) dialFor(fit rig.Fit, light, region int, level exposure.Stops) exposure.Dial {
	l := s.Lights[light]
	best := l.Least
	for d := l.Least; d <= l.Most; d += max(l.Click, 1) {
		if fit.Predict(s.alone(light, d))[region].Value > level {
			break
		}
		best = d
	}
	return best
}

// together are the powers at which all lights should burn, by what was learned of each alone.
// Every light of the state must be lit as in the end.
func (s State) together() []exposure.Dial {
	now := make([]exposure.Dial, len(s.Lights))
	for i, l := range s.Lights {
		now[i] = l.Power
	}
	if len(s.taught.Seen) == 0 {
		return now
	}
	targets := make([]rig.Target, regionCount)
	for k, j := range judgedRegions(s.Plan, s.Reference != nil) {
		targets[k] = j.target
		targets[k].Judged = j.target.Judged && everSeen(s.taught, k) && s.lit(k)
	}
	sol := s.solve(s.taught.Fit(), s.setting(s.gain(), s.Shutter), targets, func(int) bool { return false })
	return sol.Dials
}

// everSeen tells whether any frame that the model remembers showed a region.
func everSeen(m rig.Model, region int) bool {
	return slices.ContainsFunc(m.Seen, func(o rig.Observation) bool { return o.Levels[region].OK })
}

// keptUp is the step at hand after a person recorded something: a power that was told stands in
// for the one that was asked for.
func (s State) keptUp(in Input) State {
	if !s.Walking() || in.Adjusted == nil && in.Reference == nil {
		return s
	}
	s = s.ownWalk()
	x := s.Walk.step()
	if in.Adjusted != nil && in.Adjusted.Distance != nil && x.Tries == 0 {
		return s.ask() // its estimate is another one now
	}
	powers, off := make([]exposure.Dial, len(s.Lights)), make([]bool, len(s.Lights))
	for i, a := range x.Asks {
		powers[i], off[i] = a.Power, a.Off
		if in.Adjusted != nil && a.Group == in.Adjusted.Group && in.Adjusted.To != in.Adjusted.From {
			powers[i] = in.Adjusted.To
		}
	}
	return s.asking(powers, off)
}
