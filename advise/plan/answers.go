package plan

import (
	"fmt"
	"strings"

	"thirdstop/assess/exposure"
)

// Answers are what a person says to begin without a plan: the backdrop's colour, how many
// lights, and what each dial says. Everything else is filled in.
type Answers struct {
	Shoot    string
	Backdrop BackdropColour
	Camera   Camera // as the first frame has it; zero: not known
	Lights   []Answer
}

// Answer is one light. Power alone is enough.
type Answer struct {
	Role   Role   // empty: by the place in the list, as [Roles] has it
	Group  string // empty: the next free letter
	Power  string // what the dial says: "1/8 + 1/3", "7.3"
	Clicks string // "thirds", "tenths", "whole"; empty: from what Power looks like
	Top    string // what a dial that counts in numbers shows at full power: "10.0"; else empty
}

// Roles are what so many lights usually do with a backdrop of the colour, in the
// order in which they are asked for. A white backdrop takes the first of two lights, a grey
// or coloured one the first of three, a black one none (common practice, no source). It
// reports false for a number of lights that has no usual answer: then each role must be told.
func Roles(c BackdropColour, lights int) ([]Role, bool) {
	var all []Role
	if c == White && lights >= 2 || (c == Grey || c == Coloured) && lights >= 3 {
		all = append(all, Background)
	}
	all = append(all, Key, Fill, Hair)
	if lights < 1 || lights > len(all) {
		return nil, false
	}
	return all[:lights:lights], true
}

// FromAnswers makes a plan. A fault's pointer names the answer that is missing or wrong as it
// would stand in a plan: "backdrop.colour", "lights[1].power", "lights[0].clicks" (thirds or tenths can't be
// told from the dial), "lights[2].top" (a number without what it shows at full power).
func FromAnswers(a Answers) (Plan, Faults) {
	r := &reader{where: map[string][2]int{}}
	if usual, ok := Roles(a.Backdrop, len(a.Lights)); ok {
		a.Lights = append([]Answer(nil), a.Lights...)
		for i := range a.Lights {
			if a.Lights[i].Role == "" {
				a.Lights[i].Role = usual[i]
			}
		}
	}
	root := node{kind: mapping}
	root.put("version", "1")
	if a.Shoot != "" {
		root.put("shoot", a.Shoot)
	}
	backdrop := node{kind: mapping, pointer: "backdrop"}
	if a.Backdrop != "" {
		backdrop.put("colour", string(a.Backdrop))
	}
	root.pairs = append(root.pairs, pair{key: "backdrop", value: backdrop})
	lights := node{kind: list, pointer: "lights"}
	taken := map[string]bool{}
	for _, l := range a.Lights {
		taken[strings.ToUpper(strings.TrimSpace(l.Group))] = true
	}
	next := 'A'
	for i, l := range a.Lights {
		n := node{kind: mapping, pointer: fmt.Sprintf("lights[%d]", i)}
		if l.Group == "" {
			for taken[string(next)] {
				next++
			}
			l.Group = string(next)
			next++
		}
		for _, v := range [][2]string{{"role", string(l.Role)}, {"group", l.Group}, {"power", l.Power}, {"clicks", l.Clicks}, {"top", l.Top}} {
			if strings.TrimSpace(v[1]) != "" {
				n.put(v[0], v[1])
			}
		}
		lights.items = append(lights.items, n)
	}
	root.pairs = append(root.pairs, pair{key: "lights", value: lights})
	p := r.plan(root)
	p.Camera = stateable(a.Camera)
	if len(r.faults) > 0 {
		return p, r.faults
	}
	return p, nil
}

// stateable leaves out what a plan could not state: Exif holds odd numbers at times.
func stateable(c Camera) Camera {
	if _, err := exposure.ParseFNumber(shortest(float64(c.FNumber))); err != nil {
		c.FNumber, c.TStops = 0, false
	}
	if _, err := exposure.ParseISO(shortest(float64(c.ISO))); err != nil {
		c.ISO = 0
	}
	if _, err := exposure.ParseShutter(seconds(c.Shutter)); err != nil {
		c.Shutter = 0
	}
	if _, err := exposure.ParseShutter(seconds(c.Sync)); err != nil {
		c.Sync = 0
	}
	return c
}

func (n *node) put(key, text string) {
	n.pairs = append(n.pairs, pair{key: key, value: node{kind: scalar, text: text, pointer: join(n.pointer, key)}})
}
