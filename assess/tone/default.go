package tone

import (
	"math"

	"thirdstop/assess/exposure"
)

// The default curve's two numbers. A camera is taken to render light x (1 at the edge) as
//
//	d = (1 + shoulder) x^contrast / (x^contrast + shoulder)
//
// before the sRGB transfer function: the saturating response of Naka & Rushton
// 1966 (J. Physiol. 185, 536), scaled to reach 1 at the edge. Contrast is the slope in the
// shadows, in displayed stops per true stop. A small shoulder squeezes
// the highlights; a very large one with contrast 1 is plain sRGB. Read as plain sRGB,
// a true stop shows as 1.3 to 1.5 around codes 80 to 120 and as 0.7 to 0.95
// around codes 160 to 190.
//
// Both numbers are rounded: one real camera's exposure bracket is fitted as well by 1.5 to 1.65 with
// 0.12 to 0.2, whichever half of its frames is taken, and what one camera does past that
// is not a default's business. The tests state the errors.
const (
	defaultContrast = 1.6
	defaultShoulder = 0.15
)

// How far cameras lie from the default, one standard deviation (derived here
// from the ranges a true stop was seen to show as, which are 10 % either side
// of their middle: the standard deviation of an even spread over them is 0.06): a share
// of the level itself, and a number of code values, which counts for more
// where the curve is steep in stops, that is in the shoulder and in the deep shadows. Third, a
// part of the distance to plain sRGB, which a flat rendering may come near. It is the largest of the
// three in the mid-tones: how far these lie under the edge is what cameras differ in most.
const (
	defaultScaleSigma = 0.07
	defaultCodeSigma  = 5.0
	defaultFlatSigma  = 0.5
)

// Default is the curve for a camera of which nothing is known. It is one object.
func Default() *Curve { return defaultCurve }

// SRGB is the plain transfer function of IEC 61966-2-1 with no camera in it: for
// pictures known to be rendered so, such as test charts. Its sigma is that of rounding to codes.
func SRGB() *Curve { return srgbCurve }

var (
	defaultCurve = byFormula("default-1", FromDefault, render(defaultContrast, defaultShoulder),
		func(code, level, steep float64) float64 {
			flat := level - max(math.Log2(decode(code/White)), float64(Floor))
			return math.Hypot(math.Hypot(defaultScaleSigma*level, defaultCodeSigma*steep), defaultFlatSigma*flat)
		})
	srgbCurve = byFormula("srgb", FromDefault,
		func(code float64) float64 { return decode(code / White) },
		func(_, _, steep float64) float64 { return steep / math.Sqrt(12) })
)

func byFormula(name string, source Source, light func(float64) float64, sigma func(_, _, _ float64) float64) *Curve {
	return &Curve{name: name, source: source, channels: []channel{fill(light, sigma)}}
}

// render is the light of a code under the formula above.
func render(contrast, shoulder float64) func(code float64) float64 {
	return func(code float64) float64 {
		d := decode(code / White)
		return math.Pow(shoulder*d/(1+shoulder-d), 1/contrast)
	}
}

// decode is the sRGB transfer function's inverse (IEC 61966-2-1), 0 to 1.
func decode(c float64) float64 {
	if c <= 0.04045 {
		return c / 12.92
	}
	return math.Pow((c+0.055)/1.055, 2.4)
}

// SigmaOneStopUnder is a curve's uncertainty at the code that shows one stop under the
// edge in green, the figure a reading states for the whole curve.
func (c *Curve) SigmaOneStopUnder() exposure.Stops {
	return c.Sigma(1, c.Code(1, 0.5))
}
