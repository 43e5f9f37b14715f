package advise

import (
	"fmt"
	"math"
	"slices"

	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

// Swap says that something was swapped that no light's own record holds: another lens, aperture, ISO
// or backdrop. Lights are recorded as [Adjusted].
type Swap struct {
	What    SwapKind          `json:"what"`
	FNumber *exposure.FNumber `json:"f_number,omitempty"` // for aperture; for a lens if it is set otherwise
	ISO     *exposure.ISO     `json:"iso,omitempty"`
}

// SwapKind is what was swapped.
type SwapKind string

// The kinds of swap.
const (
	SwapLens     SwapKind = "lens"
	SwapAperture SwapKind = "aperture"
	SwapISO      SwapKind = "iso"
	SwapBackdrop SwapKind = "backdrop" // another of the same colour; another colour is another plan
)

// Match is the level that pictures shall come out at after something was swapped: as before it. It
// ends with the first frame that is there.
type Match struct {
	Frame   int           `json:"frame"`   // the baseline, or the newest frame before the swap; 0 none
	Changes []string      `json:"changes"` // what was swapped, a sentence each
	Regions []MatchRegion `json:"regions"`
	Frames  int           `json:"frames"` // frames since
	Text    string        `json:"text"`
}

// MatchRegion is a region's level before the swap.
type MatchRegion struct {
	Region RegionName     `json:"region"`
	Name   string         `json:"name"`
	Was    exposure.Stops `json:"was_stops"`

	index int
}

// What a swap may change, one standard deviation (common practice, no source): lenses of one marked
// aperture let through up to a third of a stop more or less, and frame otherwise; another paper or cloth of one
// colour; where a modifier's light goes besides; a zoomed reflector.
const (
	lensSigma     exposure.Stops = 0.3
	clothSigma    exposure.Stops = 0.7
	colourSigma   exposure.Stops = 1.2
	elsewhere     exposure.Stops = 0.7
	zoomSigma     exposure.Stops = 0.4
	zoomPerDouble exposure.Stops = 0.5 // a zoom head gains about a stop from wide to tele, some two doublings (a photographer's published readings, whatdoineed2do.blogspot.com, October 2010)
)

var everyRegion = []int{backdropRegion, whiteRegion, crownRegion, sitterRegion}

func (s State) everyLight() []int {
	out := []int{rig.Ambient}
	for i := range s.sources() {
		out = append(out, i)
	}
	return out
}

// swap carries what was learned over, and aims at how pictures came out before.
func (s State) swap(what string, shifts ...rig.Shift) State {
	if !s.taught.Known() || s.taught.Spec.Lights != s.sources() {
		s.model, s.taught, s.lastSet = rig.Model{}, rig.Model{}, rig.Setting{}
		return s
	}
	s = s.matching(what)
	if len(shifts) > 0 {
		s.taught = s.taught.Swapped(shifts...)
		s.model = s.taught
		s.lastSet = rig.Setting{}
		s.watch.drop() // its levels were those of another set-up; the next frame on target is the new baseline
		s.Drift = s.drifting()
	}
	return s
}

// matching notes how the judged regions came out before the swap.
func (s State) matching(what string) State {
	m := Match{Changes: []string{what}, Regions: []MatchRegion{}}
	if s.Match != nil {
		m = *s.Match
		m.Changes = append(slices.Clone(m.Changes), what)
	} else if last := s.newest(); last != nil && s.lastSet.Power != nil {
		base := last
		for i, f := range s.Frames {
			if f.Number == s.Baseline && f.Reading != nil {
				base = &s.Frames[i]
			}
		}
		m.Frame = base.Number
		seen := measuredRegions(s.Plan, base.Reading)
		now := s.taught.Fit().Predict(s.lastSet)
		for k, j := range judgedRegions(s.Plan, s.Reference != nil) {
			if k == crownRegion || !j.target.Judged || j.target.UpperOnly || !seen[k].OK {
				continue
			}
			v := seen[k].Value
			if seen[k].AtLeast {
				v = max(v, now[k].Value) // how far over it was is the model's word
			}
			if j.target.Miss(v) == 0 { // what was off is no model
				m.Regions = append(m.Regions, MatchRegion{Region: j.name, Name: j.words, Was: v.Round(), index: k})
			}
		}
	}
	m.Frames = 0
	m.Text = s.matchText(m)
	s.Match = &m
	s.heldHere = false // the set changes here anyway
	return s
}

func (s State) matchText(m Match) string {
	if len(m.Regions) == 0 {
		return "What was learned is carried over as far as it holds; the next frame tells."
	}
	var parts []string
	for _, r := range m.Regions {
		parts = append(parts, fmt.Sprintf("%s %s", r.Name, r.Was.Signed()))
	}
	return fmt.Sprintf("Wanted as in frame %d: %s.", m.Frame, joinAnd(parts))
}

// aimed takes the levels to be matched for aims, inside the plan's targets.
func (s State) aimed(region int, t rig.Target) rig.Target {
	if s.Match == nil || !t.Judged {
		return t
	}
	for _, r := range s.Match.Regions {
		if r.index == region {
			v := max(t.Low, min(t.High, r.Was))
			t.Low, t.High, t.Aim = v, v, v
		}
	}
	return t
}

// offMatch says how far a region lies off the level it had before the swap; "" where it is not matched.
func (s State) offMatch(region int, v exposure.Stops, t rig.Target) string {
	if s.Match == nil {
		return ""
	}
	for _, r := range s.Match.Regions {
		if d := v - t.Aim; r.index == region && math.Abs(float64(d)) > 0.005 {
			side := "over"
			if d < 0 {
				side = "under"
			}
			return fmt.Sprintf("the %s is %s %s what it was in frame %d", r.Name, stopsWords(d), side, s.Match.Frame)
		}
	}
	return ""
}

// counted notes that a frame has shown what was swapped: from then on it is no longer waited for.
func (s State) counted() State {
	if s.Match != nil {
		m := *s.Match
		m.Frames++
		s.Match = &m
	}
	return s
}

// matched ends the matching with the first frame that came out as before.
func (s State) matched(frame int) (State, []Output) {
	if s.Match == nil {
		return s, nil
	}
	m := *s.Match
	if s.Advice.Status != Hold {
		return s, nil
	}
	s.Match = nil
	if len(m.Regions) == 0 {
		return s, nil
	}
	return s, []Output{event("matched", Event{Frame: frame, Text: fmt.Sprintf("Frame %d comes out as frame %d did.", frame, m.Frame)})}
}

func (s State) swapped(in Swap) (State, []Output) {
	if s.Plan == nil {
		return s, nil
	}
	var text string
	was := s.FNumber
	var shifts []rig.Shift
	switch in.What {
	case SwapLens:
		text = "Another lens is on the camera."
		shifts = []rig.Shift{{Of: rig.All(s.everyLight(), everyRegion), Sigma: lensSigma}}
	case SwapBackdrop:
		text = "Another backdrop hangs."
		shifts = []rig.Shift{{Of: rig.All(s.everyLight(), []int{backdropRegion}), Sigma: clothSigma}}
	case SwapAperture, SwapISO:
	default:
		return s, nil
	}
	if f := in.FNumber; f != nil && *f != was {
		text += fmt.Sprintf(" Aperture from %s to %s.", s.marked(was), s.marked(*f))
	}
	if v := in.ISO; v != nil && *v != s.ISO {
		text += fmt.Sprintf(" %s instead of %s.", *v, s.ISO)
	}
	if text == "" {
		return s, nil
	}
	text = trimLeft(text)
	s = s.swap(text, shifts...)
	if in.FNumber != nil {
		s.FNumber = *in.FNumber
	}
	if in.ISO != nil {
		s.ISO = *in.ISO
	}
	s.pending, s.putAside = nil, nil
	return s, []Output{event("swapped", Event{Text: text})}
}

func trimLeft(t string) string {
	for len(t) > 0 && t[0] == ' ' {
		t = t[1:]
	}
	return t
}

// otherModifier is what another modifier or zoom does to a light: what it takes more or less, in every region
// alike, and less surely elsewhere than where the light is aimed.
func (s State) otherModifier(light int, old, next LightState) []rig.Shift {
	own := ownRegion(next)
	var rest []int
	for _, r := range everyRegion {
		if r != own && !(own == whiteRegion && r == sitterRegion) {
			rest = append(rest, r)
		}
	}
	var by exposure.Stops
	var v float64
	if old.Modifier != next.Modifier {
		a, b := plan.LossOf(old.Modifier), plan.LossOf(next.Modifier)
		by += a.Middle() - b.Middle()
		for _, l := range []plan.Loss{a, b} { // a range is taken for two standard deviations either way
			v += math.Pow(float64(l.More-l.Less)/4, 2) + 0.04
		}
	}
	if old.Zoom != next.Zoom {
		if old.Zoom > 0 && next.Zoom > 0 && next.Modifier == "" {
			by += zoomPerDouble * exposure.Stops(math.Log2(float64(next.Zoom/old.Zoom)))
		}
		v += float64(zoomSigma * zoomSigma)
	}
	return []rig.Shift{
		{Of: rig.All(s.withReflectors(light), everyRegion), By: by.Round(), Sigma: exposure.Stops(math.Sqrt(v)).Round()},
		{Of: rig.All(s.withReflectors(light), rest), Sigma: elsewhere},
	}
}

// anotherBackdrop carries what was learned over to a plan that differs in the backdrop's colour.
func (s State) anotherBackdrop(from, to plan.Plan) State {
	s = s.swap(fmt.Sprintf("Another backdrop hangs, %s instead of %s.", to.Backdrop.Colour, from.Backdrop.Colour), s.otherBackdrop(from.Backdrop.Colour, to.Backdrop.Colour))
	if s.Match != nil {
		m := *s.Match
		m.Regions = slices.DeleteFunc(slices.Clone(m.Regions), func(r MatchRegion) bool { return r.index == backdropRegion })
		m.Text = s.matchText(m)
		s.Match = &m
	}
	return s
}

func withBackdrop(p plan.Plan, b plan.Backdrop) plan.Plan {
	p.Backdrop = b
	return p
}

// reflectance is what backdrops of a colour send back (common practice, no source; greys go
// from about 10 to 60 %).
var reflectance = map[plan.BackdropColour]float64{plan.White: 0.9, plan.Grey: 0.3, plan.Black: 0.03, plan.Coloured: 0.45}

// otherBackdrop is what a backdrop of another colour does to its region.
func (s State) otherBackdrop(from, to plan.BackdropColour) rig.Shift {
	by := exposure.Stops(math.Log2(reflectance[to] / reflectance[from]))
	return rig.Shift{Of: rig.All(s.everyLight(), []int{backdropRegion}), By: by.Round(), Sigma: colourSigma}
}
