package plan

import (
	"fmt"
	"strings"
)

// Direction is where a light stands, seen from above, at the sitter: 0 is towards the camera, 90 is
// square to the right as the camera sees it, -90 to the left, 180 straight behind the sitter. The zero value is not known.
type Direction struct {
	Known   bool
	Degrees float64 // over -180, to 180
}

// String is what a plan holds: "45 right", "30 left", "0", "180".
func (d Direction) String() string {
	switch v := d.Degrees; {
	case !d.Known:
		return "?"
	case v < 0:
		return shortest(-v) + " left"
	case v > 0 && v < 180:
		return shortest(v) + " right"
	default:
		return shortest(v)
	}
}

// parseDirection reads "45 right", also with a degree sign or "degrees".
func parseDirection(text string) (Direction, error) {
	t := strings.ToLower(strings.TrimSpace(text))
	side := 0.0
	for word, s := range map[string]float64{"right": 1, "left": -1} {
		if rest, ok := strings.CutSuffix(t, word); ok {
			t, side = rest, s
		}
	}
	t = strings.TrimSpace(t)
	for _, unit := range []string{"°", "degrees", "deg"} {
		t = strings.TrimSpace(strings.TrimSuffix(t, unit))
	}
	v, err := decimal(t)
	switch {
	case err != nil || v > 180:
	case v == 0 || v == 180:
		return Direction{Known: true, Degrees: v}, nil
	case side != 0:
		return Direction{Known: true, Degrees: side * v}, nil
	}
	return Direction{}, fmt.Errorf("is %s; write degrees from the camera, seen from above at the sitter, and the side as the camera sees it, like 45 right", quote(text))
}
