package advise

import (
	"fmt"
	"math"
	"slices"

	"thirdstop/advise/plan"
)

// Degrees says where a light stands around the sitter, seen from above: 0 is
// towards the camera, 90 at the camera's right, -90 at its left, 180 behind the sitter.
type Degrees float64

// Normal is the same direction between -180 (not included) and 180, in whole degrees.
func (d Degrees) Normal() Degrees {
	v := math.Mod(math.Round(float64(d)), 360)
	switch {
	case v > 180:
		v -= 360
	case v <= -180:
		v += 360
	}
	return Degrees(v)
}

// String prints "35° to the camera's right".
func (d Degrees) String() string {
	switch d = d.Normal(); {
	case d == 0:
		return "at the camera"
	case d == 180:
		return "behind the sitter"
	case d < 0:
		return fmt.Sprintf("%g° to the camera's left", -float64(d))
	}
	return fmt.Sprintf("%g° to the camera's right", float64(d))
}

// replaced takes what an adjustment says of a light's place, modifier and zoom. What another
// modifier or zoom takes or gives is reckoned with, and known less well until a frame shows it.
func (s State) replaced(i int, a Adjusted) (State, []Output) {
	var out []Output
	l := s.Lights[i]
	was := l
	told := func(format string, args ...any) {
		out = append(out, event("adjusted", Event{Group: l.Group, Text: l.Name + ": " + fmt.Sprintf(format, args...)}))
	}
	if a.Bearing != nil && (l.Bearing == nil || *a.Bearing != *l.Bearing) {
		told("stands %s.", *a.Bearing)
		l.Bearing = a.Bearing
	}
	anew := false
	if a.Modifier != nil && *a.Modifier != l.Modifier {
		switch {
		case *a.Modifier == "":
			told("modifier taken off.")
		default:
			told("modifier is now %s.", *a.Modifier)
		}
		l.Modifier, anew = *a.Modifier, true
	}
	if a.Zoom != nil && *a.Zoom != l.Zoom {
		told("zoom is now %g mm.", float64(*a.Zoom))
		l.Zoom, anew = *a.Zoom, true
	}
	if len(out) == 0 {
		return s, nil
	}
	s.Lights = slices.Clone(s.Lights)
	s.Lights[i] = l
	if anew {
		s = s.swap(out[len(out)-1].Event.Text, s.otherModifier(i, was, l)...)
	}
	return s, out
}

// MostModifier is the longest name of a modifier, in characters.
const MostModifier = 60

// ZoomRange are the zoom positions a flash may have, in millimetres.
var ZoomRange = [2]plan.Millimetres{8, 400}
