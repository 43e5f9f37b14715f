package studio

import (
	"fmt"

	"thirdstop/assess/exposure"
)

// Studio is a room, its lights, a camera and somebody in front of it. Fields
// may be changed between frames: the next frame shows it. A Studio is not safe
// for concurrent use.
type Studio struct {
	Camera   Camera
	Lights   []Light
	Backdrop Backdrop
	Ambient  Ambient
	Sitter   Sitter
	Sway     exposure.Metres // how far the sitter moves about between frames, one standard deviation per axis
	Empty    bool            // nobody is in front of the backdrop
	Scatter  exposure.Stops  // flash-to-flash scatter of each light, one standard deviation
	Coarse   bool            // small pictures are drawn at half the density too: for evaluations by the ten thousand
	Seed     uint64          // all that is random follows from Seed and the frame's number

	// Fault, where set, is asked once per frame for each light that is on, in
	// order: how far off the flash is, and whether it fires at all.
	Fault func(frame int, light *Light) (off exposure.Stops, absent bool)

	frame int // number of the last frame
}

// Role says what a light is for.
type Role string

// The roles of lights.
const (
	Key        Role = "key"
	Fill       Role = "fill"
	Background Role = "background" // aimed at the backdrop, from behind the sitter
	Hair       Role = "hair"       // aimed at the sitter, from above and behind
)

// Degrees is an angle.
type Degrees float64

// Mired is a shift of a light's colour, a million over its temperature in
// kelvin: positive is warmer.
type Mired float64

// Light is one flash on its stand.
type Light struct {
	Role  Role
	Group string // letter of its radio group

	Power       exposure.Dial
	Click       exposure.Dial // smallest change of Power
	Least, Most exposure.Dial // range of Power
	On          bool

	Guide exposure.GuideNumber // of the bare flash at its zoom setting
	Loss  exposure.Stops       // what the modifier costs, positive

	Distance  exposure.Metres // from the front of the modifier to what it is aimed at: the head, or the backdrop
	Azimuth   Degrees         // of the lamp as seen from there: 0 towards the camera, positive to the picture's right
	Elevation Degrees         // positive is above

	Beam     float64 // fall-off to the sides: intensity goes with cos^Beam; 0 is all around, 1 an umbrella, 8 a grid; under 0 a wide reflector
	Softness float64 // how far the light reaches around curves, 0 bare to 0.5 a huge softbox
	Warmth   Mired   // against the camera's white balance
}

// Turn sets the light's power. It refuses what the flash has no setting for.
func (l *Light) Turn(to exposure.Dial) error {
	if to > l.Most || to < l.Least {
		return fmt.Errorf("light %s (%s) goes from %v to %v; %v is out of its range", l.Role, l.Group, l.Least, l.Most, to)
	}
	if l.Click > 0 && to%l.Click != 0 {
		return fmt.Errorf("light %s (%s) has clicks of %d thirtieths of a stop; %v lies between", l.Role, l.Group, l.Click, to)
	}
	l.Power = to
	return nil
}

// Light finds a light by its group letter; nil where there is none.
func (s *Studio) Light(group string) *Light {
	for i := range s.Lights {
		if s.Lights[i].Group == group {
			return &s.Lights[i]
		}
	}
	return nil
}

// GoOn has the next frame numbered after one that another studio took, as a camera
// goes on counting after it was switched off.
func (s *Studio) GoOn(after int) { s.frame = after }

// Only turns on the light of one group and turns off all others, as when the
// light is built one lamp at a time. With an unknown group all are off: ambient alone.
func (s *Studio) Only(group string) {
	for i := range s.Lights {
		s.Lights[i].On = s.Lights[i].Group == group
	}
}

// Backdrop is the paper, cloth or wall behind the sitter.
type Backdrop struct {
	Colour    RGB             // diffuse reflectance per channel in linear light, 0 to 1
	Distance  exposure.Metres // behind the sitter's head
	HalfWidth exposure.Metres // of the roll; what lies beyond is boathouse wall. 0 reaches out of every picture
	Mottle    exposure.Stops  // slow unevenness of the cloth, largest deviation
}

// RGB is red, green and blue in linear light with sRGB primaries.
type RGB [3]float64

// Grey is a neutral reflectance.
func Grey(reflectance float64) RGB { return RGB{reflectance, reflectance, reflectance} }

// Ambient is the light of the room, the same on everything.
type Ambient struct {
	Value  exposure.Stops // incident light value: the EV at ISO 100 that a meter reads; a dim room is 5
	None   bool           // no ambient light at all
	Warmth Mired
}

// Camera is a camera on its stand in front of the sitter, in manual mode.
type Camera struct {
	FNumber  exposure.FNumber
	ISO      exposure.ISO
	Shutter  exposure.Shutter
	Sync     exposure.Shutter // the shortest time that shows the whole frame to a flash, which is how long a curtain runs; 0 cuts no frame
	Distance exposure.Metres  // to the sitter's head
	Height   exposure.Metres  // of what the upright picture shows at the sitter

	Width, PictureHeight int // pixels as stored
	Orientation          int // Exif: 1 level, 6 and 8 held upright, 3 upside down
	Quality              int // of the JPEG, 1 to 100; 0 is 96

	Curve    CurveKind
	White    exposure.Stops    // level of a perfect white diffuser whose incident reading is exactly right
	Cast     [3]exposure.Stops // white balance that is off, per channel
	Vignette exposure.Stops    // lost in the corners
	Flare    float64           // veiling glare: the share of the picture's mean that is added everywhere
	FullWell float64           // electrons at clipping, ISO 100; 0 is no shot noise
	Read     float64           // electrons of read noise, one standard deviation, ISO 100

	Make, Model, Lens, Serial string
	Focal                     float64 // mm
	Prefix                    string  // of file names
}

// NewCamera is the studio's invented camera at f/8, ISO 200, 1/125 s, held
// upright, with a frame of about 1.5 megapixels.
//
// A perfect diffuser lit right comes half a stop under clipping: saturation
// speed by ISO 12232:2006 leaves that much, 141 % just clips (as quoted in
// colour-hdri's dsc.py). Flare of 1 to 5 % is usual (from memory).
func NewCamera() Camera {
	return Camera{
		FNumber: 8, ISO: 200, Shutter: 1.0 / 125, Sync: 1.0 / 200, Distance: 2, Height: 0.82,
		Width: 1500, PictureHeight: 1000, Orientation: 8,
		Curve: IndexCurve, White: -0.5, Vignette: 0.15, Flare: 0.01,
		FullWell: 40000, Read: 4,
		Make: "Quayside", Model: "Quayside One", Lens: "Quayside 85mm F1.8", Serial: "AQ000117",
		Focal: 85, Prefix: "AQ_",
	}
}

// Upright is the size of the picture as a person sees it, in pixels.
func (c *Camera) Upright() (width, height int) {
	if c.Orientation >= 5 {
		return c.PictureHeight, c.Width
	}
	return c.Width, c.PictureHeight
}

// Frame is the number of the last frame shot; 0 before the first.
func (s *Studio) Frame() int { return s.frame }

// check refuses what cannot be rendered, by name.
func (s *Studio) check() error {
	c := &s.Camera
	switch c.Orientation {
	case 1, 3, 6, 8:
	default:
		return fmt.Errorf("camera orientation %d is not one a camera can be held in; use 1, 3, 6 or 8", c.Orientation)
	}
	if c.Width < 16 || c.PictureHeight < 16 || c.Width > 65500 || c.PictureHeight > 65500 {
		return fmt.Errorf("a picture of %d x %d pixels can't be stored; use 16 to 65500", c.Width, c.PictureHeight)
	}
	if _, ok := exposure.Gain(c.ISO, c.FNumber); !ok || !(c.Shutter > 0) {
		return fmt.Errorf("the camera needs an aperture, a speed and a time, not %v, %v, %v", c.FNumber, c.ISO, c.Shutter)
	}
	if !(c.Distance > 0) || !(c.Height > 0) || !(s.Backdrop.Distance > 0) {
		return fmt.Errorf("camera distance %v, picture height %v and backdrop distance %v must all be over 0", c.Distance, c.Height, s.Backdrop.Distance)
	}
	if (c.Curve < 0 || c.Curve >= curves) && !c.Curve.isCamera() {
		return fmt.Errorf("tone curve %d is unknown; there are %d", c.Curve, curves)
	}
	for i := range s.Lights {
		if l := &s.Lights[i]; !(l.Guide > 0) || !(l.Distance > 0) {
			return fmt.Errorf("light %s (%s) needs a guide number and a distance", l.Role, l.Group)
		}
	}
	return nil
}
