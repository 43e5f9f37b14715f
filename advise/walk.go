package advise

import (
	"fmt"
	"slices"
	"strings"

	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

// Walk is the guided set-up: the room's light alone, each light alone, all together, a colour
// chart. Each step says what to switch and set, takes the next frame as its answer, and says
// good or what to turn. It ends in a baseline.
//
// While a step waits, the next frame is taken to be lit as the step asked; [WalkStep.Verdict]
// "doubt" says that it does not look so.
type Walk struct {
	Steps  []WalkStep `json:"steps"`
	At     int        `json:"at"`     // the step that waits for a frame; len(Steps) once all are done
	Done   bool       `json:"done"`   // every step was answered or skipped
	Frames int        `json:"frames"` // frames that the walk has taken

	before  []LightState // how the lights stood when it began
	stood   []bool       // which reflectors were away then
	doubted bool         // this step has doubted a frame once; it takes the next as it comes
	judged  int          // the newest frame that was judged
	answers int          // the step that it answered
}

// WalkKind is what a step is about.
type WalkKind string

// The kinds of step, in the order in which they come.
const (
	WalkAmbient    WalkKind = "ambient"    // the room's light: every flash off
	WalkBackground WalkKind = "background" // one background light alone
	WalkKey        WalkKind = "key"        // the key alone, on a declared white reference
	WalkFill       WalkKind = "fill"       // the fill alone
	WalkHair       WalkKind = "hair"       // the hair light alone
	WalkReflector  WalkKind = "reflector"  // a reflector with the light that it reflects
	WalkAll        WalkKind = "all"        // all lights, set by calculation
	WalkChart      WalkKind = "chart"      // a colour chart, left out of advice
	WalkCard       WalkKind = "card"       // between sitters: one frame of the white card under the lights as they stand
)

// Verdict is what a step says of the frame that answered it.
type Verdict string

// The verdicts. Only good leads on by itself.
const (
	NoVerdict Verdict = ""        // no frame yet
	Good      Verdict = "good"    // measured as wanted; the next step follows
	Turn      Verdict = "turn"    // set what Asks say and take another frame
	Doubt     Verdict = "doubt"   // the frame does not look as it was asked for
	Missing   Verdict = "missing" // what the step measures was not found, or is not declared yet
	Stuck     Verdict = "stuck"   // the dial can't do it: Says tells what else can
)

// WalkStep is one step. Its texts are ready to be shown.
type WalkStep struct {
	ID      string    `json:"id"` // "ambient", "key:B"; stays the same
	Kind    WalkKind  `json:"kind"`
	Group   string    `json:"group"` // of the light that burns alone; "" for the others
	Name    string    `json:"name"`  // "Key (B) alone"
	Do      []string  `json:"do"`    // what to switch and set, one sentence each
	Asks    []WalkAsk `json:"asks"`  // every light, in the plan's order; filled in once the step is reached
	Tries   int       `json:"tries"` // frames that answered it
	Frame   int       `json:"frame"` // the newest of them, 0 none
	Verdict Verdict   `json:"verdict"`
	Says    string    `json:"says"` // of the newest frame: good, or what to turn
	Care    string    `json:"care"` // the caution of this step
	Skipped bool      `json:"skipped"`
}

// WalkAsk is how one light should stand for a step's next frame.
type WalkAsk struct {
	Group     string        `json:"group"`
	Light     string        `json:"light"` // "Key (B)"
	Off       bool          `json:"off"`
	Power     exposure.Dial `json:"power"`
	PowerText string        `json:"power_text"` // as the flash shows it
	Switch    bool          `json:"switch"`     // differs from how it stands in being on or off
	Turn      bool          `json:"turn"`       // differs from how it stands in its power
}

// WalkInput is what a person asks of the set-up walk.
type WalkInput struct {
	Do   WalkDo `json:"do"`
	Step string `json:"step,omitempty"` // id of the step, for skip and redo
}

// WalkDo is one of the things that can be asked of the walk.
type WalkDo string

// What can be asked. Begin starts over where a walk is under way.
const (
	WalkBegin WalkDo = "begin"
	WalkSkip  WalkDo = "skip"
	WalkRedo  WalkDo = "redo" // goes back to a step that was passed
	WalkLeave WalkDo = "leave"
	WalkCheck WalkDo = "check" // the card check alone, one frame
)

// Walking tells whether the set-up walk waits for a frame. Frames that answer it
// advise nothing and are no drift.
func (s State) Walking() bool {
	return s.Walk != nil && !s.Walk.Done && s.Plan != nil && s.Phase != Ended
}

// step is the one that waits. The walk must be under way.
func (w *Walk) step() *WalkStep { return &w.Steps[w.At] }

// StepAt finds a step by its id.
func (w *Walk) StepAt(id string) (int, bool) {
	i := slices.IndexFunc(w.Steps, func(x WalkStep) bool { return x.ID == id })
	return i, i >= 0
}

// ownWalk is the state with a walk of its own to change: states are values.
func (s State) ownWalk() State {
	w := *s.Walk
	w.Steps = slices.Clone(w.Steps)
	s.Walk = &w
	return s
}

func (s State) walked(in WalkInput) (State, []Output) {
	if in.Do == WalkBegin {
		if s.Plan == nil || s.Phase == Ended {
			return s, nil // refused before it was recorded
		}
		s = s.beginWalk()
		return s, []Output{event("walk", Event{Text: "The set-up walk begins: " + joinAnd(s.Walk.names()) + "."})}
	}
	if in.Do == WalkCheck {
		return s.beginCheck()
	}
	if !s.Walking() && !(in.Do == WalkRedo && s.Walk != nil && s.Plan != nil && s.Phase != Ended) {
		return s, nil
	}
	switch in.Do {
	case WalkSkip:
		if s.Walk.step().ID != in.Step {
			return s, nil // it has gone on meanwhile
		}
		name := s.Walk.step().Name
		s = s.ownWalk()
		s.Walk.step().Skipped = true
		s, out := s.nextStep()
		return s, append([]Output{event("walk", Event{Text: "Set-up: skipped " + lowerFirst(name) + "."})}, out...)
	case WalkRedo:
		i, ok := s.Walk.StepAt(in.Step)
		if !ok || i > s.Walk.At {
			return s, nil
		}
		s = s.redo(i)
		return s, []Output{event("walk", Event{Text: "Set-up: again " + lowerFirst(s.Walk.step().Name) + "."})}
	case WalkLeave:
		text := "The set-up walk was left."
		if on := s.switchedOff(); len(on) > 0 {
			text = fmt.Sprintf("The set-up walk was left. %s off for it; switch on what shall burn before the next frame.", were(on))
		}
		s = s.relit()
		s.Walk = nil
		return s, []Output{event("walk", Event{Text: text})}
	}
	return s, nil
}

func were(names []string) string {
	if len(names) == 1 {
		return names[0] + " was"
	}
	return joinAnd(names) + " were"
}

func lowerFirst(t string) string {
	if t == "" {
		return t
	}
	return strings.ToLower(t[:1]) + t[1:]
}

func (w *Walk) names() []string {
	var out []string
	for _, x := range w.Steps {
		out = append(out, lowerFirst(x.Name))
	}
	return out
}

// switchedOff are the lights that burned before the walk and don't now.
func (s State) switchedOff() []string {
	var out []string
	for i, l := range s.Lights {
		if l.Off && i < len(s.Walk.before) && !s.Walk.before[i].Off {
			out = append(out, l.Name)
		}
	}
	return out
}

// relit counts as on again what burned before the walk.
func (s State) relit() State {
	s.Lights = slices.Clone(s.Lights)
	for i := range s.Lights {
		if i < len(s.Walk.before) {
			s.Lights[i].Off = s.Walk.before[i].Off
		}
	}
	return s.panels(s.Walk.stood)
}

// beginWalk lays the steps out: the plan's lights in the order in which light is built up.
func (s State) beginWalk() State {
	if s.Walk != nil {
		s = s.relit()
	}
	w := &Walk{before: slices.Clone(s.Lights), stood: s.stands()}
	s.Walk = w
	add := func(kind WalkKind, group, name, care string) {
		id := string(kind)
		if group != "" {
			id += ":" + group
		}
		w.Steps = append(w.Steps, WalkStep{ID: id, Kind: kind, Group: group, Name: name, Care: care, Do: []string{}, Asks: []WalkAsk{}})
	}
	add(WalkAmbient, "", "The room alone", "")
	for _, role := range []plan.Role{plan.Background, plan.Key, plan.Fill, plan.Hair} {
		for i, l := range s.Lights {
			if plan.Role(l.Role) == role && s.takesPart(i) {
				name := l.Name + " alone"
				if s.hasCompany(i) {
					name = l.Name + " before the lit backdrop"
				}
				add(WalkKind(role), l.Group, name, cares[role])
			}
		}
	}
	for _, m := range s.Reflectors {
		if i, ok := s.light(m.Of); ok && s.takesPart(i) && !m.Away {
			add(WalkReflector, m.Group, fmt.Sprintf("%s with %s", m.Name, s.Lights[i].Name), "A panel on a stand is a sail: weigh it down, and keep it clear of hot lamps.")
		}
	}
	add(WalkAll, "", "All lights", "Say before each flash that it comes, and let the flashes rest between frames; the manual says how long.")
	add(WalkChart, "", "A colour chart", "")
	s.Question, s.tentative, s.pending, s.putAside, s.heldHere, s.absent, s.recent = nil, nil, nil, nil, false, nil, nil
	s.watch.drop() // the light is built anew
	s.Drift = s.drifting()
	if len(s.taught.Seen) == 0 {
		s.model = rig.Model{}
		s.taught = rig.Model{}
	}
	return s.ask()
}

// beginCheck asks for one frame of the white card under the lights as they stand. What was learned
// and the baseline stay.
func (s State) beginCheck() (State, []Output) {
	if s.Plan == nil || s.Phase == Ended {
		return s, nil
	}
	if s.Walk != nil && !s.Walk.Done {
		s = s.relit()
	}
	s.Walk = &Walk{before: slices.Clone(s.Lights), stood: s.stands(), Steps: []WalkStep{{ID: string(WalkCard), Kind: WalkCard, Name: "A card check", Do: []string{}, Asks: []WalkAsk{},
		Care: cares[plan.Key]}}}
	powers, off := make([]exposure.Dial, len(s.Lights)), make([]bool, len(s.Lights))
	for i, l := range s.Lights {
		powers[i], off[i] = l.Power, l.Off
	}
	return s.asking(powers, off), []Output{event("walk", Event{Text: "A card check: one frame of the white card."})}
}

// cares are the cautions of the steps in which one light is handled.
var cares = map[plan.Role]string{
	plan.Background: "Let a head that was in use cool before you touch it, and weigh its stand down: it is out of sight behind the backdrop's edge.",
	plan.Key:        "Ask first whether flashing light troubles the sitter, say when it flashes, and fire nothing close to the eyes. Hold the card, not the head, while a lamp is hot.",
	plan.Fill:       "Mind leads and stand feet on the way between the lights; switch off before you move a head.",
	plan.Hair:       "A light over people needs a second line and a weighed-down stand. Don't look up into it; let it cool before you reach for it.",
}

// takesPart tells whether a light is walked: one that was off before is not, unless all were.
func (s State) takesPart(light int) bool {
	lights := s.Lights
	if s.Walk != nil && s.Walk.before != nil {
		lights = s.Walk.before
	}
	return !lights[light].Off || !slices.ContainsFunc(lights, func(l LightState) bool { return !l.Off })
}

// nextStep goes to the next step that was not answered yet; behind the last one the walk is done.
func (s State) nextStep() (State, []Output) {
	s = s.ownWalk()
	w := s.Walk
	w.doubted = false
	for w.At++; w.At < len(w.Steps) && w.Steps[w.At].Verdict == Good && !w.Steps[w.At].Skipped; w.At++ {
		// answered before somebody went back
	}
	if w.At < len(w.Steps) {
		return s.ask(), nil
	}
	w.Done = true
	s = s.allOn()
	if w.Steps[0].Kind == WalkCard {
		return s, []Output{event("walk", Event{Text: "The card check is done."})}
	}
	text := "The set-up walk is done"
	if s.Baseline > 0 {
		text += fmt.Sprintf("; frame %d is the baseline", s.Baseline)
	}
	return s, []Output{event("walk", Event{Text: text + "."})}
}

// allOn counts every light that takes part as on, at the power that was asked for last.
func (s State) allOn() State {
	lights := slices.Clone(s.Lights)
	for i := range lights {
		lights[i].Off = !s.takesPart(i)
	}
	s.Lights = lights
	return s.panels(s.Walk.stood)
}

// redo goes back to a step, and forgets what its frames taught.
func (s State) redo(i int) State {
	s = s.ownWalk()
	w := s.Walk
	w.At, w.Done, w.doubted = i, false, false
	x := w.step()
	last := slices.Clone(x.Asks)
	x.Tries, x.Frame, x.Verdict, x.Says, x.Skipped = 0, 0, NoVerdict, "", false
	for k := i + 1; k < len(w.Steps); k++ { // what rests on it is asked again
		if kind := w.Steps[k].Kind; kind == WalkAll {
			w.Steps[k].Verdict, w.Steps[k].Says, w.Steps[k].Tries, w.Steps[k].Skipped = NoVerdict, "", 0, false
		}
	}
	if x.Kind != WalkAll && x.Kind != WalkChart {
		k, ok := s.light(x.Group)
		if !ok {
			k = -1
		}
		off := s.offAlone(k)
		if k, ok := s.reflector(x.Group); ok {
			off = s.offWith(k)
		}
		s.model, s.taught = withoutOff(s.model, off), withoutOff(s.taught, off)
	}
	s = s.ask()
	if k, ok := s.light(x.Group); ok && k < len(last) { // from where it measured before
		powers := make([]exposure.Dial, len(s.Lights))
		off := make([]bool, len(s.Lights))
		for n, a := range x.Asks {
			powers[n], off[n] = a.Power, a.Off
		}
		powers[k] = last[k].Power
		return s.asking(powers, off)
	}
	return s
}

// withoutOff forgets the frames in which just these lights were off.
func withoutOff(m rig.Model, off []bool) rig.Model {
	m.Seen = slices.DeleteFunc(slices.Clone(m.Seen), func(o rig.Observation) bool { return slices.Equal(o.Off, off) })
	return m
}
