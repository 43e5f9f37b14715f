package colour

import (
	"errors"
	"fmt"
	"math"
)

// NeutralChroma is up to which chroma C*ab a white passes for neutral. A difference of about 2.3 in CIELAB is
// just noticed (Mahy, Van Eycken & Oosterlinck 1994, from memory); a cast has the rest of the picture
// beside it, so a little less is asked.
const NeutralChroma = 2.0

// Cast is the colour of what should be neutral: a white backdrop, a card. It is the colour as a screen
// shows it, in CIELAB under D65.
type Cast struct {
	Lab    Lab     `json:"lab"`
	Chroma float64 `json:"chroma"`  // C*ab
	Hue    float64 `json:"hue_deg"` // hue angle, 0 up to 360; without meaning under [NeutralChroma]
	Word   string  `json:"word"`    // neutral, warm, yellow, green, cyan, cool, magenta or pink
	// Clipped: over 1 % of some channel's samples clip, so that the light may be more
	// coloured than the picture. A white that clips in all channels looks neutral in any light.
	Clipped bool `json:"clipped"`
}

// hues are the words for a cast, by where in CIELAB each begins. Daylight and black bodies
// warmer than D65 lie at 50 to 95 degrees, cooler ones at 240 to 290 (derived here, tested), so
// that a white balance that is off by kelvins alone is called warm or cool.
var hues = [...]struct {
	from float64
	word string
}{{0, "pink"}, {40, "warm"}, {100, "yellow"}, {125, "green"}, {195, "cyan"}, {235, "cool"}, {300, "magenta"}, {345, "pink"}}

// CastOf is the cast of a region from its mean code values and the share of clipped samples in each channel.
func CastOf(code [3]float64, clipped [3]float64, space Space) Cast {
	var c RGB
	for ch := range c {
		c[ch] = space.Decode(min(max(code[ch], 0), 255))
	}
	lab := space.XYZ(c).Lab(D65)
	cast := Cast{Lab: lab, Chroma: lab.Chroma(), Hue: lab.Hue(), Word: "neutral",
		Clipped: max(clipped[0], clipped[1], clipped[2]) > clippedShare}
	if cast.Chroma > NeutralChroma {
		for _, h := range hues {
			if cast.Hue >= h.from {
				cast.Word = h.word
			}
		}
	}
	return cast
}

// String says a cast in a sentence's part: "warm, a* +0.4, b* +5.2".
func (c Cast) String() string {
	s := fmt.Sprintf("%s, a* %+.1f, b* %+.1f", c.Word, c.Lab.A, c.Lab.B)
	if c.Clipped {
		s += " (clips: the light may be more coloured)"
	}
	return s
}

// Drift is by how much the colour of the light changed between two frames, seen on the same neutral
// under the same white balance of the camera.
type Drift struct {
	Shift Mired      `json:"shift_mired"` // over 0: warmer
	Tint  Duv        `json:"tint_duv"`    // over 0: greener
	DE00  Difference `json:"de00"`        // of a white at equal luminance
}

// ErrNoDrift is wrapped where two neutrals can't be held against each other.
var ErrNoDrift = errors.New("no colour drift can be told")

// DriftOf holds a neutral's linear light against that of the reference: a chart's or a card's. Exposure
// doesn't matter. Their ratio is taken as a light that a balanced camera shows, beside D65.
func DriftOf(reference, now RGB, space Space) (Drift, error) {
	var ratio RGB
	for ch := range ratio {
		if !(reference[ch] > 0) || !(now[ch] > 0) || math.IsInf(now[ch]/reference[ch], 0) {
			return Drift{}, fmt.Errorf("%w: a neutral has no light in a channel", ErrNoDrift)
		}
		ratio[ch] = now[ch] / reference[ch]
	}
	xyz := space.XYZ(ratio)
	t, err := TemperatureOf(xyz)
	if err != nil {
		return Drift{}, fmt.Errorf("%w: %w", ErrNoDrift, err)
	}
	d65 := d65Temperature()
	return Drift{
		Shift: t.CCT.Mired() - d65.CCT.Mired(), Tint: t.Duv - d65.Duv,
		DE00: CIEDE2000(Lab{L: 100}, scaled(xyz, 1/xyz.Y).Lab(D65)),
	}, nil
}

// Neutral is the mean linear light of the chart's neutrals over what they reflect, for [DriftOf]; false where
// none could be measured.
func (c *Chart) Neutral() (RGB, bool) {
	if c.White == nil {
		return RGB{}, false
	}
	return c.White.rgb, true
}
