package advise

import (
	"fmt"
	"math"
	"slices"

	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

// Earlier is the light of an earlier shoot as it stood when its baseline was accepted, to be built again.
type Earlier struct {
	Shoot   string           `json:"shoot"` // its id
	Head    string           `json:"head"`  // of its record when it was read, so that it can be told what was built upon
	Name    string           `json:"name"`  // what it was called, "" where it had no name
	Frame   int              `json:"frame"` // its baseline
	FNumber exposure.FNumber `json:"f_number"`
	ISO     exposure.ISO     `json:"iso"`
	Shutter exposure.Shutter `json:"shutter_s"`
	Lights  []EarlierLight   `json:"lights"`
	Levels  []EarlierLevel   `json:"levels"`
	Rules   string           `json:"rules"` // under which the lights were told apart
}

// EarlierLight is one light then.
type EarlierLight struct {
	Group     string          `json:"group"`
	Role      string          `json:"role"`
	Name      string          `json:"name"`
	Power     exposure.Dial   `json:"power"`
	PowerText string          `json:"power_text"`
	Off       bool            `json:"off"`
	Distance  exposure.Metres `json:"distance_m"`  // 0 not known
	Bearing   *Degrees        `json:"bearing_deg"` // nil not told
	Modifier  string          `json:"modifier"`
	Alone     *Alone          `json:"alone"` // nil where the frames had not told it apart
}

// EarlierLevel is one judged region of the baseline.
type EarlierLevel struct {
	Region  RegionName     `json:"region"`
	Name    string         `json:"name"`
	Value   exposure.Stops `json:"level_stops"`
	Sigma   exposure.Stops `json:"sigma_stops"`
	AtLeast bool           `json:"at_least"`
}

// Alone is what a light does to the region that it is set for, with the others off: by the light
// model, at the camera's settings of the moment.
type Alone struct {
	Region string         `json:"region"` // in words
	Value  exposure.Stops `json:"level_stops"`
	Sigma  exposure.Stops `json:"sigma_stops"`
}

// FromThen is how far one light is from then.
type FromThen struct {
	Group    string          `json:"group"`
	Light    string          `json:"light"`
	Then     string          `json:"then"`       // "1/8 + 1/3 at 1.2 m"
	Now      string          `json:"now"`        // likewise; "" where the plan has no such light
	Power    exposure.Dial   `json:"power"`      // its dial now minus then, in thirtieths of a stop
	Moved    exposure.Metres `json:"moved_m"`    // its distance now minus then; 0 also where one is not known
	Measured *exposure.Stops `json:"apart_from"` // what it does now minus then, in stops; nil where the frames don't tell yet
	Sigma    exposure.Stops  `json:"sigma_stops"`
	Same     bool            `json:"same"` // nothing is known to differ by more than half a click and the scatter
	Text     string          `json:"text"` // a sentence
}

// toldApart is the largest sigma of what a light does alone that counts as known: with it, a third of a
// stop can still be told from none (derived here).
const toldApart exposure.Stops = 0.25

// earlier takes the light of an earlier shoot as what is to be built.
func (s State) earlier(in Earlier) (State, []Output) {
	s.Earlier = &in
	name := in.Name
	if name == "" {
		name = in.Shoot
	}
	return s, []Output{event("rebuild", Event{Text: fmt.Sprintf("The light of an earlier shoot is built again: %s, its frame %d.", name, in.Frame)})}
}

// Alone is what the light of that group does to its own region by what was learned, nil while that is not known well enough.
func (s State) Alone(group string) *Alone {
	i, ok := s.light(group)
	if !ok || s.Plan == nil || len(s.taught.Seen) == 0 || s.Lights[i].Off {
		return nil
	}
	set := s.setting(s.gain(), s.Shutter)
	set.Off = slices.Clone(set.Off)
	for k := range set.Off {
		set.Off[k] = k != i
	}
	k := ownRegion(s.Lights[i])
	l := s.taught.Fit().Predict(set)[k]
	if l.Sigma > toldApart {
		return nil
	}
	words := judgedRegions(s.Plan, s.Reference != nil)[k].words
	return &Alone{Region: words, Value: l.Value.Round(), Sigma: l.Sigma.Round()}
}

// Since says light by light how far this shoot is from the earlier one that it builds again; nil where it builds none.
func (s State) Since() []FromThen {
	if s.Earlier == nil {
		return nil
	}
	out := []FromThen{}
	for _, then := range s.Earlier.Lights {
		out = append(out, s.since(then))
	}
	return out
}

func (s State) since(then EarlierLight) FromThen {
	a := FromThen{Group: then.Group, Light: then.Name, Then: standing(then.PowerText, then.Off, then.Distance)}
	i, ok := s.light(then.Group)
	if !ok {
		a.Text = fmt.Sprintf("%s stood at %s then; the plan has no light of that group now.", then.Name, a.Then)
		return a
	}
	now := s.Lights[i]
	a.Now = standing(now.PowerText, now.Off, now.Distance)
	a.Power = now.Power - then.Power
	slack := max(now.Click, 1).Stops()/2 + scatter
	what := []string{}
	if now.Off != then.Off {
		what = append(what, "it is "+map[bool]string{true: "off", false: "on"}[now.Off]+" now")
	}
	if a.Power != 0 && !then.Off {
		what = append(what, "set "+then.PowerText+" as then")
	}
	if now.Distance > 0 && then.Distance > 0 {
		a.Moved = now.Distance - then.Distance
		if math.Abs(float64(a.Moved)) > 0.02 {
			what = append(what, fmt.Sprintf("it stood at %v then and stands at %v now", then.Distance, now.Distance))
		}
	}
	if then.Bearing != nil && now.Bearing != nil && math.Abs(float64((*then.Bearing-*now.Bearing).Normal())) > 5 {
		what = append(what, fmt.Sprintf("it stood %s then and stands %s now", *then.Bearing, *now.Bearing))
	}
	if then.Modifier != now.Modifier && then.Modifier != "" {
		what = append(what, "it had "+then.Modifier)
	}
	if alone := s.Alone(then.Group); alone != nil && then.Alone != nil && !then.Off {
		d := (alone.Value - then.Alone.Value).Round()
		a.Measured, a.Sigma = &d, exposure.Stops(math.Hypot(float64(alone.Sigma), float64(then.Alone.Sigma))).Round()
		a.Same = math.Abs(float64(d)) <= float64(slack)+float64(a.Sigma)
		words := fmt.Sprintf("%s: %s over then on the %s", now.Name, stopsWords(d), alone.Region)
		switch {
		case a.Same:
			words = fmt.Sprintf("%s: as then on the %s (%s, give or take %.2f)", now.Name, alone.Region, stopsWords(d), float64(a.Sigma))
		case d < 0:
			words = fmt.Sprintf("%s: %s under then on the %s", now.Name, stopsWords(d), alone.Region)
		}
		a.Text = words + "."
		if !a.Same && len(what) > 0 {
			a.Text = words + "; " + joinAnd(what) + "."
		}
		return a
	}
	a.Same = len(what) == 0
	if a.Same {
		a.Text = fmt.Sprintf("%s: stands as then (%s); the frames don't tell yet what it does.", now.Name, a.Then)
	} else {
		a.Text = fmt.Sprintf("%s: %s.", now.Name, joinAnd(what))
	}
	return a
}

func standing(power string, off bool, d exposure.Metres) string {
	if off {
		power = "off"
	}
	if d > 0 {
		power += " at " + d.String()
	}
	return power
}

// EarlierOf is how a state's lights are handed to a shoot that builds them again. shoot, head and frame say where they are from.
func (s State) EarlierOf(shoot, head string, frame FrameState) Earlier {
	e := Earlier{Shoot: shoot, Head: head, Frame: frame.Number, FNumber: s.FNumber, ISO: s.ISO, Shutter: s.Shutter, Rules: Rules,
		Lights: []EarlierLight{}, Levels: []EarlierLevel{}}
	if s.Plan != nil {
		e.Name = s.Plan.Shoot
	}
	for _, l := range s.Lights {
		e.Lights = append(e.Lights, EarlierLight{Group: l.Group, Role: l.Role, Name: l.Name, Power: l.Power, PowerText: l.PowerText, Off: l.Off,
			Distance: l.Distance, Bearing: l.Bearing, Modifier: l.Modifier, Alone: s.Alone(l.Group)})
	}
	for _, x := range frame.Expected {
		e.Levels = append(e.Levels, EarlierLevel{Region: x.Region, Name: x.Name, Value: x.Now, Sigma: x.NowSigma, AtLeast: x.AtLeast})
	}
	return e
}

// narrow is half the width of a target that is drawn from an earlier baseline: a third of a stop in all and a little
// more, so that lights with third clicks can always be set into it (derived here).
const narrow exposure.Stops = 0.175

// RebuildPlan is the earlier plan with its lights as they stood, the camera as it was, and targets drawn closely around the
// levels of its baseline. A backdrop that clipped keeps its old target, for how far it was over can't be known.
func (e Earlier) RebuildPlan(p plan.Plan) plan.Plan {
	p.Lights = slices.Clone(p.Lights)
	for i := range p.Lights {
		for _, l := range e.Lights {
			if l.Group == p.Lights[i].Group {
				p.Lights[i].Power, p.Lights[i].Distance = min(max(l.Power, p.Lights[i].Least), p.Lights[i].Most), l.Distance
				p.Lights[i].Modifier = l.Modifier
				if l.Bearing != nil {
					p.Lights[i].Direction = plan.Direction{Known: true, Degrees: float64(*l.Bearing)}
				}
			}
		}
	}
	if e.FNumber > 0 {
		p.Camera.FNumber = e.FNumber
	}
	if e.ISO > 0 {
		p.Camera.ISO = e.ISO
	}
	if e.Shutter > 0 {
		p.Camera.Shutter = e.Shutter
	}
	around := func(v exposure.Stops, most exposure.Stops) plan.Band {
		b := plan.Band{Low: (v - narrow).Round(), High: (v + narrow).Round()}
		if over := b.High - most; over > 0 { // what must hold its detail keeps clear of the edge
			b.Low, b.High = (b.Low - over).Round(), (b.High - over).Round()
		}
		return b
	}
	for _, l := range e.Levels {
		if l.AtLeast {
			continue
		}
		switch l.Region {
		case WhitePeak:
			p.Targets.WhitePeak = around(l.Value, -0.02)
		case BackdropFloor:
			p.Targets.WhiteFloor = around(l.Value, 4)
		case BackdropLevel:
			p.Targets.BackdropLevel = around(l.Value, 4)
		}
	}
	return p
}

// rebuilt is how far a light that was set up again after notes gives something else than then, one standard
// deviation, in stops (common practice, no source).
const rebuilt = 0.4

// withEarlier adds to a model before its first frame what the lights did in the earlier shoot, as far as they stand as then:
// so a clipped backdrop that was right then is not first turned down to be seen.
func (s State) withEarlier(m rig.Model) rig.Model {
	e := s.Earlier
	if e == nil {
		return m
	}
	gain, ok := exposure.Gain(e.ISO, e.FNumber)
	if !ok {
		return m
	}
	m.Spec.Priors = slices.Clone(m.Spec.Priors)
	for _, then := range e.Lights {
		i, ok := s.light(then.Group)
		if !ok || then.Off || then.Alone == nil || then.Role != s.Lights[i].Role || then.Modifier != s.Lights[i].Modifier {
			continue
		}
		full := then.Alone.Value - gain - then.Power.Stops()
		for _, at := range s.references {
			if at.group == then.Group {
				if f, ok := exposure.Falloff(then.Distance, at.at); ok {
					full += f
				}
			}
		}
		m.Spec.Priors = append(m.Spec.Priors, rig.Prior{Of: rig.Param{Light: i, Region: ownRegion(s.Lights[i])}, Mean: full.Round(),
			Sigma: exposure.Stops(math.Hypot(rebuilt, float64(then.Alone.Sigma))).Round()})
	}
	return m
}
