package advise

import (
	"fmt"
	"math"
	"slices"

	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

// ReflectorState is a reflector of the plan as it stands now. It has no dial: what it gives follows the light
// that it reflects, and it is moved, turned or taken away.
type ReflectorState struct {
	Group    string          `json:"group"`
	Role     string          `json:"role"`        // "reflector"
	Name     string          `json:"name"`        // "Reflector (R)"
	Of       string          `json:"of"`          // group of the light that it reflects
	Distance exposure.Metres `json:"distance_m"`  // to the sitter; 0 where not known
	Bearing  *Degrees        `json:"bearing_deg"` // nil where not told
	Angle    Degrees         `json:"turned_deg"`  // how far it is turned away from where it gives most, 0 to 90
	Away     bool            `json:"away"`        // it was taken away
}

func reflectorState(m plan.Reflector) ReflectorState {
	st := ReflectorState{Group: m.Group, Role: string(plan.Passive), Name: m.Name(), Of: m.Of, Distance: m.Distance}
	if m.Direction.Known {
		d := Degrees(m.Direction.Degrees).Normal()
		st.Bearing = &d
	}
	return st
}

// reflected says of each reflector which light's it sends on, by index.
func reflected(p *plan.Plan) []int {
	var out []int
	for _, m := range p.Reflectors {
		out = append(out, slices.IndexFunc(p.Lights, func(l plan.Light) bool { return l.Group == m.Of }))
	}
	return out
}

// What a reflector gives against the light that it reflects, on what faces the camera: two to three stops less where it stands
// about as near, for a panel sends back four fifths at the most, into all directions (common practice, no source).
const (
	reflectorUnder  = -2.5
	reflectorSpread = 1.2
)

// reflectorPriors is what is believed of a reflector before it is seen: so far under its light in every
// region, and on the backdrop what the way from the sitter on leaves by the inverse square.
func reflectorPriors(p *plan.Plan, m plan.Reflector, source, of int) []rig.Prior {
	of0 := rig.Param{Light: of, Region: whiteRegion}
	own := rig.Param{Light: source, Region: whiteRegion}
	out := []rig.Prior{{Of: own, Than: &of0, Mean: reflectorUnder, Sigma: reflectorSpread}}
	add := func(region int, mean, sigma exposure.Stops) {
		out = append(out, rig.Prior{Of: rig.Param{Light: source, Region: region}, Than: &own, Mean: mean, Sigma: sigma})
	}
	spill, spread := exposure.Stops(-2.5), exposure.Stops(1.5)
	if f, ok := exposure.Falloff(m.Distance, m.Distance+p.Backdrop.Distance); ok && p.Backdrop.Distance > 0 {
		spill, spread = f, 1
	}
	add(backdropRegion, spill, spread)
	add(crownRegion, -3, 2.5)
	add(sitterRegion, -2, 1.5)
	return out
}

// reflector finds a reflector of the plan by its group letter.
func (s State) reflector(group string) (int, bool) {
	i := slices.IndexFunc(s.Reflectors, func(m ReflectorState) bool { return m.Group == group })
	return i, i >= 0
}

// withReflectors are a light and what sends its light on, as sources of the model.
func (s State) withReflectors(light int) []int {
	out := []int{light}
	for k, m := range s.Reflectors {
		if m.Of == s.Lights[light].Group {
			out = append(out, len(s.Lights)+k)
		}
	}
	return out
}

// marked writes an opening as the lens is marked.
func (s State) marked(n exposure.FNumber) string {
	return plan.Camera{FNumber: n, TStops: s.TStops}.Aperture()
}

// Aperture is the opening as the lens is marked: "f/8", "T8".
func (s State) Aperture() string { return s.marked(s.FNumber) }

// turnedBy is what it costs to turn a flat reflector away by an angle: the cosine law, 45 degrees half a stop, 60
// one (derived here). Near a right angle the law says nothing that holds: there it is as good as away.
func turnedBy(d Degrees) exposure.Stops {
	c := math.Cos(float64(max(0, min(80, d))) * math.Pi / 180)
	return exposure.Stops(math.Log2(c)).Round()
}

// reflectorAdjusted takes over what was done to a reflector.
func (s State) reflectorAdjusted(k int, a Adjusted) (State, []Output) {
	if s.Plan == nil {
		return s, nil
	}
	var out []Output
	m := s.Reflectors[k]
	told := func(format string, args ...any) {
		out = append(out, event("adjusted", Event{Group: m.Group, Text: m.Name + ": " + fmt.Sprintf(format, args...)}))
	}
	if a.Bearing != nil && (m.Bearing == nil || *a.Bearing != *m.Bearing) {
		m.Bearing = a.Bearing
		told("stands %s.", *a.Bearing)
	}
	if a.Turned != nil && *a.Turned != m.Angle {
		m.Angle = *a.Turned
		told("turned away by %g degrees.", float64(m.Angle))
	}
	if a.Off != nil && *a.Off != m.Away {
		m.Away = *a.Off
		if m.Away {
			told("taken away.")
		} else {
			told("put in place.")
		}
	}
	if a.Distance != nil && *a.Distance != m.Distance {
		told("moved from %s to %s.", m.Distance, *a.Distance)
		if !(m.Distance > 0) { // where it stood before is not known: what was learned holds for here
			s.references = slices.Clone(s.references)
			for i := range s.references {
				if s.references[i].group == m.Group {
					s.references[i].at = *a.Distance
				}
			}
		}
		m.Distance = *a.Distance
	}
	if len(out) == 0 {
		return s, nil
	}
	s.Reflectors = slices.Clone(s.Reflectors)
	s.Reflectors[k] = m
	s.putAside = nil
	if s.taught.Known() {
		s = s.matching(out[len(out)-1].Event.Text)
	}
	return s, out
}

// reflectorWays are what moving or turning a reflector does where power alone can't: by the inverse square and the
// cosine law, so about.
func (s State) reflectorWays(fit rig.Fit, set rig.Setting, ranges []rig.Range, targets []rig.Target) []Way {
	var out []Way
	for k, m := range s.Reflectors {
		if m.Away {
			continue
		}
		for _, w := range s.reflectorMoves(m) {
			trial := set
			trial.Power, trial.Off = slices.Clone(set.Power), slices.Clone(set.Off)
			i := len(s.Lights) + k
			trial.Power[i] += w.by
			trial.Off[i] = w.away
			sol := fit.Solve(trial, ranges, targets)
			if !sol.Met {
				continue
			}
			way := Way{Group: m.Group, Distance: w.distance, Turned: w.turned, Adjustments: []Adjustment{}, Text: m.Name + ": " + w.text,
				Price: "the shadows' side of the face changes with it; look at the picture"}
			for n, d := range sol.Dials {
				if d != ranges[n].Now {
					way = way.then(s.turn(n, ranges[n].Now, d))
				}
			}
			out = append(out, way)
			break
		}
	}
	return out
}

// reflectorMove is one thing that can be done to a reflector.
type reflectorMove struct {
	text     string
	by       exposure.Stops
	distance *exposure.Metres
	turned   *Degrees
	away     bool
}

// reflectorMoves are what can be done to one, the least first.
func (s State) reflectorMoves(m ReflectorState) []reflectorMove {
	var out []reflectorMove
	if m.Distance > 0 {
		for cm := 10; cm <= 300; cm += 10 {
			for _, sign := range []exposure.Metres{-1, 1} {
				to := exposure.Metres(math.Round(float64(m.Distance+sign*exposure.Metres(cm)/100)*100) / 100)
				f, ok := exposure.Falloff(m.Distance, to)
				if !ok || to < nearestPanel || to > farthestStand {
					continue
				}
				out = append(out, reflectorMove{text: fmt.Sprintf("move from %s to %s, about %s", m.Distance, to, moreOrLess(f)), by: f.Round(), distance: &to})
			}
		}
	}
	for _, d := range []Degrees{30, 45, 60} {
		if d > m.Angle {
			by := turnedBy(d) - turnedBy(m.Angle)
			out = append(out, reflectorMove{text: fmt.Sprintf("turn it away by %g degrees, about %s", float64(d-m.Angle), moreOrLess(by)), by: by.Round(), turned: &d})
		}
	}
	return append(out, reflectorMove{text: "take it away", away: true})
}

// nearestPanel is the nearest that a reflector is held: nearer it is in the picture (common practice, no source).
const nearestPanel exposure.Metres = 0.4

// moreOrLess says a change of a light without a dial.
func moreOrLess(by exposure.Stops) string {
	if by < 0 {
		return stopsWords(by) + " less of its light"
	}
	return stopsWords(by) + " more of its light"
}

// besides says how each reflector has to stand for a step: true is away. Reflectors are measured after the lights, each
// with its own.
func (s State) besides(x WalkStep) []bool {
	out := make([]bool, len(s.Reflectors))
	for k, m := range s.Reflectors {
		switch x.Kind {
		case WalkAll, WalkChart, WalkCard:
			out[k] = s.Walk.stood != nil && s.Walk.stood[k]
		case WalkReflector:
			out[k] = m.Group != x.Group
		default:
			out[k] = true
		}
	}
	return out
}

// panels is the state with the reflectors as a step wants them.
func (s State) panels(away []bool) State {
	s.Reflectors = slices.Clone(s.Reflectors)
	for k := range s.Reflectors {
		s.Reflectors[k].Away = k < len(away) && away[k]
	}
	return s
}

// stands says for each reflector whether it is away.
func (s State) stands() []bool {
	var out []bool
	for _, m := range s.Reflectors {
		out = append(out, m.Away)
	}
	return out
}

// offWith is the setting in which a reflector is measured: its light alone, and itself.
func (s State) offWith(k int) []bool {
	i, ok := s.light(s.Reflectors[k].Of)
	if !ok {
		i = -1
	}
	off := s.offAlone(i)
	off[len(s.Lights)+k] = false
	return off
}

// placing says what to do with the reflectors for a step; "" where there are none.
func (s State) placing(x WalkStep) []string {
	var in, away []string
	for k, a := range s.besides(x) {
		if a {
			away = append(away, s.Reflectors[k].Name)
		} else {
			in = append(in, s.Reflectors[k].Name)
		}
	}
	var out []string
	if len(in) > 0 {
		out = append(out, "Put "+joinAnd(in)+" in place.")
	}
	if len(away) > 0 {
		out = append(out, "Take "+joinAnd(away)+" away.")
	}
	return out
}

// judgeReflector says what a reflector adds where it can be seen.
func (s State) judgeReflector(k int, seen [regionCount]rig.Measured) (Verdict, string) {
	m := s.Reflectors[k]
	with := s.setting(s.gain(), s.Shutter)
	without := with
	without.Off = slices.Clone(with.Off)
	without.Off[len(s.Lights)+k] = true
	fit := s.taught.Fit()
	a, b := fit.Predict(with), fit.Predict(without)
	var adds []string
	for _, r := range []int{whiteRegion, sitterRegion, backdropRegion} {
		if seen[r].OK && !seen[r].AtLeast {
			adds = append(adds, fmt.Sprintf("%s to the %s", stopsWords(a[r].Value-b[r].Value), regionWords[r].name))
		}
	}
	switch {
	case len(adds) == 0 && slices.ContainsFunc(seen[:], func(y rig.Measured) bool { return y.OK }):
		return Turn, fmt.Sprintf("All clips that %s lights. Move it back or turn it away, and take the frame again.", m.Name)
	case len(adds) == 0:
		return Missing, fmt.Sprintf("Nothing was found that %s lights. See that somebody sits there or the card is held, or skip this step.", m.Name)
	}
	return Good, fmt.Sprintf("Good: %s adds %s. It is set by moving it nearer or back, or by turning it.", m.Name, joinAnd(adds))
}
