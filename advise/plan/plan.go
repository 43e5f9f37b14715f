package plan

import (
	"fmt"
	"strings"

	"thirdstop/assess/exposure"
)

// FormatVersion is the version of the plan's YAML form that is read and written here.
const FormatVersion = 1

// MostLights is how many lights a plan may hold.
const MostLights = 12

// Role is the job that one light does.
type Role string

// The roles. Several lights may share the backdrop; the others are single.
const (
	Key        Role = "key"
	Fill       Role = "fill"
	Background Role = "background"
	Hair       Role = "hair"

	// Passive is the role of a [Reflector]: it stands among the lights of a plan, and is none.
	Passive Role = "reflector"
)

// roles are all of them, in the order in which light is built up.
var roles = []Role{Background, Key, Fill, Hair}

// Millimetres is a focal length, or a flash's zoom position, which is marked as the focal
// length it covers on a 24 x 36 mm frame. Zero means not known.
type Millimetres float64

// FlashesPerMinute counts flashes as if each were at full power: two at 1/2
// count as one (energy goes with power; common practice, no source). Zero means not known.
type FlashesPerMinute float64

// Light is one flash.
type Light struct {
	Role      Role
	Group     string               // 1 to 3 letters or digits, upper case; "A"
	Power     exposure.Dial        // as its dial stands now; inside Least to Most
	Scale     exposure.Scale       // how the dial is marked and clicks
	Least     exposure.Dial        // the weakest setting it has
	Most      exposure.Dial        // the strongest it has, or that its user allows
	Guide     exposure.GuideNumber // m at ISO 100, full power, at Zoom; 0 unknown
	Zoom      Millimetres          // 0 unknown
	Modifier  string               // free text; empty: none stated
	Distance  exposure.Metres      // to the sitter; of a background light to the backdrop; 0 unknown
	Direction Direction            // from the sitter
	Height    exposure.Metres      // of its middle over the floor; 0 unknown
	Limit     FlashesPerMinute     // what its manual allows for long; 0 unknown
}

// Name is how a light is called on screens: "Key (B)".
func (l Light) Name() string {
	r := string(l.Role)
	if r != "" {
		r = strings.ToUpper(r[:1]) + r[1:]
	}
	return r + " (" + l.Group + ")"
}

// Setting is the dial as the flash shows it: "1/8 + 1/3".
func (l Light) Setting() string { return l.Scale.Format(l.Power) }

// Reflector is a passive light: a panel or cloth that sends a flash's light back. It has no dial; what it
// gives follows the light that it reflects.
type Reflector struct {
	Group     string          // 1 to 3 letters or digits of its own; "R"
	Of        string          // group of the light that it reflects
	Distance  exposure.Metres // to the sitter; 0 unknown
	Direction Direction       // from the sitter
	Height    exposure.Metres // of its middle over the floor; 0 unknown
}

// Name is how a reflector is called on screens: "Reflector (R)".
func (r Reflector) Name() string { return "Reflector (" + r.Group + ")" }

// Camera is how the camera is set for the shoot. A zero field is not stated, and
// is then taken from the frames.
type Camera struct {
	FNumber exposure.FNumber // as marked on the lens
	TStops  bool             // FNumber is a T-stop: the lens is marked by the light that comes through
	Shutter exposure.Shutter
	ISO     exposure.ISO
	Sync    exposure.Shutter // the shortest time that frames a flash fully, trigger included
}

// Aperture is the opening as it is marked: "f/8", "T2.8".
func (c Camera) Aperture() string {
	if c.TStops {
		return exposure.TStop(c.FNumber).String()
	}
	return c.FNumber.String()
}

// transmits is what a lens marked in T-stops lets through beyond one whose f-number is the same number.
func (c Camera) transmits() exposure.Stops {
	if !c.TStops {
		return 0
	}
	return exposure.TStop(c.FNumber).OverFNumber()
}

// BackdropColour says what the backdrop should look like in the picture. It
// decides which target applies to it.
type BackdropColour string

// The colours. Coloured stands for any hue.
const (
	White    BackdropColour = "white"
	Grey     BackdropColour = "grey"
	Black    BackdropColour = "black"
	Coloured BackdropColour = "coloured"
)

var colours = []BackdropColour{White, Grey, Black, Coloured}

// Backdrop is the paper, cloth or wall behind the sitter.
type Backdrop struct {
	Colour   BackdropColour
	Distance exposure.Metres // from the sitter; 0 unknown
}

// Band is a range of levels in stops to clipping, both ends inside. The zero
// value is no target.
type Band struct{ Low, High exposure.Stops }

// IsZero tells that there is no target.
func (b Band) IsZero() bool { return b == Band{} }

// Holds tells whether a level is on target.
func (b Band) Holds(s exposure.Stops) bool { return s >= b.Low && s <= b.High }

// Middle is the level to aim at.
func (b Band) Middle() exposure.Stops { return (b.Low + b.High) / 2 }

// Width is the band from end to end.
func (b Band) Width() exposure.Stops { return b.High - b.Low }

// String prints "0 to +1/2 stop".
func (b Band) String() string { return formatStops(b.Low) + " to " + formatStops(b.High) + " stop" }

// Targets are the levels that a frame should have, in stops to clipping.
type Targets struct {
	// WhiteFloor is for a white backdrop: its weakest channel in the darkest area
	// around the head. How far it is over the edge can't be read from a clipped
	// frame, so the upper end binds what is predicted; MostClipped binds what is seen.
	WhiteFloor Band

	// MostClipped is the largest share, 0 to 1, of the sitter's pixels that may
	// have a clipped channel. A white backdrop that is far too strong wraps round
	// the sitter's edges, and this is where it shows. Zero is a limit like any
	// other: nothing may clip.
	MostClipped float64

	// BackdropLevel is for the other colours: the median, in the brightest channel.
	BackdropLevel Band

	// WhitePeak is for a declared white card or shirt: its brightest channel at the
	// 98th percentile.
	WhitePeak Band

	// HairMost is an upper limit for what the hair light brightens.
	HairMost exposure.Stops
}

// DefaultTargets are what a plan aims at where it says nothing else.
//
//   - WhiteFloor 0 to +1/2 stop: just under the edge costs retouching, much over
//     it brings wrap and flare. Published advice runs from +1/3 to +2 over the key
//     with warnings against the latter, so it is a setting (common practice, no source).
//   - WhitePeak -0.4 to -0.05: the upper end is about three codes under clipping (sRGB code 251,
//     derived here), as a sample counts as clipped from 254 on; the middle leaves two
//     standard deviations to a flash that scatters by 0.1 stop; and it is wider than a third of
//     a stop, so that a light with third clicks can always be set into it (derived here).
//   - BackdropLevel, grey: -2.8 to -2.2. An 18 % grey is 2.47 stops under a perfect
//     white, and one lit like a white card at -0.225 reads -2.5 (derived here). Black: -4.5
//     and less, black paper lit no more than the sitter. Coloured: -1.5 to -1, so that
//     the strongest channel stays clear of clipping (both common practice, no source).
//   - MostClipped 2 %, HairMost -1/3 stop (common practice, no source).
func DefaultTargets(c BackdropColour) Targets {
	t := Targets{
		MostClipped: 0.02,
		WhitePeak:   Band{-0.4, -0.05},
		HairMost:    exposure.Stops(-1) / 3,
	}
	switch c {
	case White:
		t.WhiteFloor = Band{0, 0.5}
	case Grey:
		t.BackdropLevel = Band{-2.8, -2.2}
	case Black:
		t.BackdropLevel = Band{-12, -4.5}
	case Coloured:
		t.BackdropLevel = Band{-1.5, -1}
	}
	return t
}

// Plan is the light plan of a shoot. One that [Parse] returned without faults is
// complete: every light has a scale and a range, every target that applies is set.
type Plan struct {
	Version    int
	Shoot      string // what the shoot is called; may be empty
	Camera     Camera
	Backdrop   Backdrop
	Lights     []Light     // at least one; in the order of the file
	Reflectors []Reflector // likewise, out of the same list; may be none
	Targets    Targets
}

// Light finds a light by its group letter, in either case.
func (p Plan) Light(group string) (Light, bool) {
	for _, l := range p.Lights {
		if strings.EqualFold(l.Group, group) {
			return l, true
		}
	}
	return Light{}, false
}

// WithPower is the plan with another power at one light. The plan it is called
// on stays as it was. It reports false where no light has the group.
func (p Plan) WithPower(group string, d exposure.Dial) (Plan, bool) {
	for i, l := range p.Lights {
		if strings.EqualFold(l.Group, group) {
			p.Lights = append([]Light(nil), p.Lights...)
			p.Lights[i].Power = d
			return p, true
		}
	}
	return p, false
}

// Fault is one thing that is wrong, or unusual, in a plan.
type Fault struct {
	File    string // the name given to [Parse]; may be empty
	Line    int    // from 1; 0 where the plan was not read from text
	Column  int    // from 1
	Pointer string // where in the plan: "lights[1].power"; empty: the file as a whole
	Text    string // what is wrong and what to write
}

// String prints "boathouse.yaml:14: lights[1].power: ...", without what is not known.
func (f Fault) String() string {
	var b strings.Builder
	switch {
	case f.File != "" && f.Line > 0:
		fmt.Fprintf(&b, "%s:%d: ", f.File, f.Line)
	case f.File != "":
		b.WriteString(f.File + ": ")
	case f.Line > 0:
		fmt.Fprintf(&b, "line %d: ", f.Line)
	}
	if f.Pointer != "" {
		b.WriteString(f.Pointer + ": ")
	}
	b.WriteString(f.Text)
	return b.String()
}

// Faults are all that is wrong with a plan, in the order of the file. Nil is a
// plan that can be used.
type Faults []Fault

// Error prints one fault a line.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, x := range f {
		lines[i] = x.String()
	}
	return strings.Join(lines, "\n")
}

// Err is the faults as an error, nil where there are none.
func (f Faults) Err() error {
	if len(f) == 0 {
		return nil
	}
	return f
}
