package exposure

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Metres is a distance. Zero means not known.
type Metres float64

// Feet are 0.3048 m exactly (international foot).
const Feet Metres = 0.3048

// GuideNumber is f-number times metres at ISO 100 and full power, for a stated
// coverage (ISO 1230 keeps the product constant for one speed). Zero means not known.
type GuideNumber float64

// ErrDistance is wrapped by the refusals of [ParseMetres] and [ParseGuideNumber].
var ErrDistance = errors.New("not a distance")

// ParseMetres reads "1.2 m", "1.2", "120 cm" or "4 ft", over 0 to 200 m, to a tenth of a millimetre
// (so that 190 ft is 57.912 m and nothing behind it).
func ParseMetres(text string) (Metres, error) {
	t, ok := compact(text)
	unit := Metres(1)
	for _, u := range []struct {
		suffix string
		unit   Metres
	}{{"cm", 0.01}, {"ft", Feet}, {"m", 1}} {
		if rest, ok := strings.CutSuffix(t, u.suffix); ok {
			t, unit = rest, u.unit
			break
		}
	}
	v, err := decimal(t)
	if m := Metres(roundTo(v*float64(unit), 4)); ok && err == nil && m > 0 && m <= 200 {
		return m, nil
	}
	return 0, fmt.Errorf("%w: %q is no distance up to 200 m; write one like \"1.2 m\" or \"4 ft\"", ErrDistance, text)
}

// ParseGuideNumber reads "58", "58 m" or "190 ft" (ISO 100, full power).
func ParseGuideNumber(text string) (GuideNumber, error) {
	m, err := ParseMetres(text)
	if err != nil {
		return 0, fmt.Errorf("%w: %q is no guide number; write f-number times metres at ISO 100, like \"58\", or \"190 ft\"", ErrDistance, text)
	}
	return GuideNumber(m), nil
}

// String writes "1.2 m"; an unknown distance is "? m".
func (m Metres) String() string {
	if !(m > 0) {
		return "? m"
	}
	return strconv.FormatFloat(roundTo(float64(m), 2), 'f', -1, 64) + " m"
}

// Falloff is the change in exposure when a light that is small against its
// distance moves from one distance to another: -2 log2(to/from), the inverse
// square. It reports false for unknown distances.
func Falloff(from, to Metres) (Stops, bool) {
	if !(from > 0) || !(to > 0) {
		return 0, false
	}
	return Stops(-2 * math.Log2(float64(to/from))), true
}

// Level is the exposure that a flash of this guide number gives at a distance
// and dial setting, in stops over the exposure that the guide number's own rule
// calls right: 2 log2(GN/(N d)) + dial + log2(S/100). Losses in modifiers are
// not in it. It reports false where something is not known.
func (g GuideNumber) Level(d Metres, power Dial, s ISO, n FNumber) (Stops, bool) {
	gain, ok := Gain(s, n)
	if !ok || !(g > 0) || !(d > 0) {
		return 0, false
	}
	return Stops(2*math.Log2(float64(g)/float64(d))) + power.Stops() + gain, true
}
