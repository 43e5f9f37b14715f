package dashboard

import "fmt"

// Role is what a device may do.
type Role string

// The roles, from everything to almost nothing.
const (
	Shoots Role = "shoots" // the photographer: everything
	Lights Role = "lights" // at the lights: sees all, adjusts, answers and notes
	Looks  Role = "looks"  // a client or the sitter: frames only, if the photographer allows it
)

// ParseRole reads a role.
func ParseRole(text string) (Role, error) {
	switch r := Role(text); r {
	case Shoots, Lights, Looks:
		return r, nil
	}
	return "", fmt.Errorf("there is no role %q; write %s, %s or %s", text, Shoots, Lights, Looks)
}

// access is what a call demands.
type access int

const (
	anyone   access = iota // no pairing needed
	looking                // every paired device; one that looks on only if Config.LooksOn
	lighting               // those at the lights and who shoots
	shooting               // who shoots
)

// may tells whether a role reaches as far as a call demands.
func (r Role) may(a access, looksOn bool) bool {
	switch a {
	case anyone:
		return true
	case looking:
		return r == Shoots || r == Lights || r == Looks && looksOn
	case lighting:
		return r == Shoots || r == Lights
	case shooting:
		return r == Shoots
	}
	return false
}
