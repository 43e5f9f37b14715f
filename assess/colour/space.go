package colour

import (
	"fmt"
	"math"
)

// XYZ are CIE 1931 tristimulus values, 2 degree observer. Y is 1 for a perfect
// white under the light, so of a surface 0 to 1.
type XYZ struct{ X, Y, Z float64 }

// XyY is a chromaticity with the luminance that goes with it, Y as in [XYZ].
type XyY struct{ X, Y, Lum float64 }

// UV is a chromaticity in the CIE 1960 uniform chromaticity scale, in which
// correlated colour temperature is defined.
type UV struct{ U, V float64 }

// Lab is a colour in CIELAB (CIE 15:2018): L is 0 for black and 100 for the white
// it refers to; a runs from green to red, b from blue to yellow, both without unit.
type Lab struct {
	L float64 `json:"l"`
	A float64 `json:"a"`
	B float64 `json:"b"`
}

// String prints L*, a* and b* to a tenth.
func (c Lab) String() string { return fmt.Sprintf("L* %.1f, a* %+.1f, b* %+.1f", c.L, c.A, c.B) }

// Chroma is the distance from neutral, C*ab.
func (c Lab) Chroma() float64 { return math.Hypot(c.A, c.B) }

// Hue is the hue angle h_ab in degrees, 0 up to 360. A neutral has none: it gives 0.
func (c Lab) Hue() float64 {
	if c.A == 0 && c.B == 0 {
		return 0
	}
	h := math.Atan2(c.B, c.A) * 180 / math.Pi
	if h < 0 {
		h += 360
	}
	return h
}

// The white points, Y = 1.
var (
	// D65 is the white of sRGB and Adobe RGB: xy 0.3127, 0.3290 (IEC 61966-2-1).
	D65 = XyY{0.3127, 0.3290, 1}.XYZ()
	// D50 is the white the charts' references are given under: xy 0.3457, 0.3585 (CIE 15:2018).
	// The white that ICC profiles connect through differs in the fourth digit.
	D50 = XyY{0.3457, 0.3585, 1}.XYZ()
	// A is tungsten light: xy 0.44757, 0.40745 (CIE 15:2018).
	A = XyY{0.44757, 0.40745, 1}.XYZ()
)

// XYZ turns a chromaticity into tristimulus values. A y of 0 or less has none and gives black.
func (c XyY) XYZ() XYZ {
	if !(c.Y > 0) {
		return XYZ{}
	}
	return XYZ{c.X * c.Lum / c.Y, c.Lum, (1 - c.X - c.Y) * c.Lum / c.Y}
}

// XyY is the chromaticity and luminance; false where there is no light.
func (c XYZ) XyY() (XyY, bool) {
	sum := c.X + c.Y + c.Z
	if !(sum > 0) || math.IsInf(sum, 0) {
		return XyY{}, false
	}
	return XyY{c.X / sum, c.Y / sum, c.Y}, true
}

// UV is the CIE 1960 chromaticity, u = 4X/(X+15Y+3Z), v = 6Y/(X+15Y+3Z); false where
// there is no light.
func (c XYZ) UV() (UV, bool) {
	sum := c.X + 15*c.Y + 3*c.Z
	if !(sum > 0) || math.IsInf(sum, 0) {
		return UV{}, false
	}
	return UV{4 * c.X / sum, 6 * c.Y / sum}, true
}

// XYZ is the light of a chromaticity at Y = 1, with x = 3u/(2u-8v+4) and
// y = 2v/(2u-8v+4) (CIE 15:2018, the inverse of the 1960 scale).
func (c UV) XYZ() XYZ {
	d := 2*c.U - 8*c.V + 4
	return XyY{3 * c.U / d, 2 * c.V / d, 1}.XYZ()
}

// The constants of CIELAB as fractions (CIE 15:2018), whose product is 8.
const (
	labEpsilon = 216.0 / 24389
	labKappa   = 24389.0 / 27
)

// Lab is the colour against a white, which must have light in all three values.
func (c XYZ) Lab(white XYZ) Lab {
	f := func(t float64) float64 {
		if t > labEpsilon {
			return math.Cbrt(t)
		}
		return (labKappa*t + 16) / 116
	}
	x, y, z := f(c.X/white.X), f(c.Y/white.Y), f(c.Z/white.Z)
	return Lab{116*y - 16, 500 * (x - y), 200 * (y - z)}
}

// XYZ is the inverse of [XYZ.Lab].
func (c Lab) XYZ(white XYZ) XYZ {
	g := func(f float64) float64 {
		if t := f * f * f; t > labEpsilon {
			return t
		}
		return (116*f - 16) / labKappa
	}
	y := (c.L + 16) / 116
	return XYZ{white.X * g(y+c.A/500), white.Y * g(y), white.Z * g(y-c.B/200)}
}

// matrix is 3x3, row by row.
type matrix [9]float64

func (m *matrix) times(a, b, c float64) (x, y, z float64) {
	return m[0]*a + m[1]*b + m[2]*c, m[3]*a + m[4]*b + m[5]*c, m[6]*a + m[7]*b + m[8]*c
}

func (m *matrix) mul(n *matrix) (p matrix) {
	for c := range 3 {
		p[c], p[3+c], p[6+c] = m.times(n[c], n[3+c], n[6+c])
	}
	return p
}

// inverse is by the adjugate; callers only invert fixed, regular matrices.
func (m *matrix) inverse() matrix {
	a, b, c, d, e, f, g, h, i := m[0], m[1], m[2], m[3], m[4], m[5], m[6], m[7], m[8]
	det := a*(e*i-f*h) - b*(d*i-f*g) + c*(d*h-e*g)
	inv := matrix{e*i - f*h, c*h - b*i, b*f - c*e, f*g - d*i, a*i - c*g, c*d - a*f, d*h - e*g, b*g - a*h, a*e - b*d}
	for k := range inv {
		inv[k] /= det
	}
	return inv
}

// bradford turns tristimulus values into the sharpened responses of Lam 1985,
// in the numbers that ICC.1:2010 annex E gives.
var (
	bradford        = matrix{0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296}
	bradfordInverse = bradford.inverse()
)

// Adaptation carries colours seen under one white over to another.
type Adaptation struct{ m matrix }

// Bradford is the linear Bradford adaptation (ICC.1:2010 annex E): the responses to
// the whites are scaled into each other, one by one.
func Bradford(from, to XYZ) Adaptation {
	r0, g0, b0 := bradford.times(from.X, from.Y, from.Z)
	r1, g1, b1 := bradford.times(to.X, to.Y, to.Z)
	scaled := bradford
	for k := range 3 {
		scaled[k] *= r1 / r0
		scaled[3+k] *= g1 / g0
		scaled[6+k] *= b1 / b0
	}
	return Adaptation{bradfordInverse.mul(&scaled)}
}

// Of is the colour that a colour becomes.
func (a Adaptation) Of(c XYZ) XYZ {
	x, y, z := a.m.times(c.X, c.Y, c.Z)
	return XYZ{x, y, z}
}

var d65ToD50, d50ToD65 = Bradford(D65, D50), Bradford(D50, D65)

// RGB is linear light in the three channels of a [Space]: 1, 1, 1 is its white.
type RGB [3]float64

// Space says what code values stand for.
type Space int

// The spaces a camera offers.
const (
	SRGB     Space = iota // IEC 61966-2-1
	AdobeRGB              // Adobe RGB (1998)
)

// String names the space.
func (s Space) String() string {
	if s == AdobeRGB {
		return "Adobe RGB (1998)"
	}
	return "sRGB"
}

// primaries derives the matrix to XYZ from the chromaticities of red, green and
// blue and a white (SMPTE RP 177-1993). Deriving it gives more digits than
// the standards print, and exact inverses.
func primaries(r, g, b XyY, white XYZ) matrix {
	var m matrix
	for k, c := range [3]XyY{r, g, b} {
		v := XyY{c.X, c.Y, 1}.XYZ()
		m[k], m[3+k], m[6+k] = v.X, v.Y, v.Z
	}
	inv := m.inverse()
	sr, sg, sb := inv.times(white.X, white.Y, white.Z)
	for row := 0; row < 9; row += 3 {
		m[row], m[row+1], m[row+2] = m[row]*sr, m[row+1]*sg, m[row+2]*sb
	}
	return m
}

var (
	toXYZ = [2]matrix{
		SRGB:     primaries(XyY{X: 0.64, Y: 0.33}, XyY{X: 0.30, Y: 0.60}, XyY{X: 0.15, Y: 0.06}, D65), // ITU-R BT.709
		AdobeRGB: primaries(XyY{X: 0.64, Y: 0.33}, XyY{X: 0.21, Y: 0.71}, XyY{X: 0.15, Y: 0.06}, D65), // Adobe RGB (1998), 4.3.1
	}
	fromXYZ = [2]matrix{toXYZ[SRGB].inverse(), toXYZ[AdobeRGB].inverse()}
)

// XYZ is the colour of linear light, under D65.
func (s Space) XYZ(c RGB) XYZ {
	x, y, z := toXYZ[s&1].times(c[0], c[1], c[2])
	return XYZ{x, y, z}
}

// RGB is the linear light that shows a colour under D65. What the space can't
// show has values under 0 or over 1; they are not cut off.
func (s Space) RGB(c XYZ) RGB {
	r, g, b := fromXYZ[s&1].times(c.X, c.Y, c.Z)
	return RGB{r, g, b}
}

// adobeGamma is the exponent of Adobe RGB (1998), section 4.3.1.2: 2 + 51/256.
const adobeGamma = 563.0 / 256

// Decode turns a code value, 0 to 255, into linear light, 0 to 1.
func (s Space) Decode(code float64) float64 {
	c := code / 255
	if s == AdobeRGB {
		return math.Pow(max(c, 0), adobeGamma)
	}
	if c <= 0.04045 {
		return c / 12.92
	}
	return math.Pow((c+0.055)/1.055, 2.4)
}

// Encode is the inverse of [Space.Decode]. Light outside 0 to 1 is taken as the nearest.
func (s Space) Encode(light float64) float64 {
	light = min(max(light, 0), 1)
	if s == AdobeRGB {
		return 255 * math.Pow(light, 1/adobeGamma)
	}
	if light <= 0.0031308 {
		return 255 * 12.92 * light
	}
	return 255 * (1.055*math.Pow(light, 1/2.4) - 0.055)
}
