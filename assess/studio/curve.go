package studio

import "math"

// CurveKind is a camera's tone curve: from linear light, where 1 is the edge of
// clipping, to code values. All rise strictly and end at 255.
type CurveKind int

// The curves, from different families so that no fit can be tuned to one.
const (
	PlainCurve      CurveKind = iota // sRGB's transfer function (IEC 61966-2-1) and nothing else
	ShoulderCurve                    // sRGB after a hyperbola that squeezes the highlights
	SteepCurve                       // sRGB after a strong S in stops: mid-tones 1.3 to 1.6 times, whites 0.75 to 0.95 times
	GentleCurve                      // the same family at half strength
	TanhCurve                        // a power under a hyperbolic tangent, no sRGB in it
	SaturatingCurve                  // x^n/(x^n + s^n), as photoreceptors saturate (Naka & Rushton 1966, from memory)
	IndexCurve                       // a film-like exponential whose mid-tone lies where ISO 12232's exposure index puts it
	curves
)

// Curves lists every curve of a family of its own; see [Cameras] for those within the span of cameras.
func Curves() []CurveKind {
	all := make([]CurveKind, curves)
	for i := range all {
		all[i] = CurveKind(i)
	}
	return all
}

// String names the curve.
func (k CurveKind) String() string {
	switch k {
	case PlainCurve:
		return "plain"
	case ShoulderCurve:
		return "shoulder"
	case SteepCurve:
		return "steep"
	case GentleCurve:
		return "gentle"
	case TanhCurve:
		return "tanh"
	case SaturatingCurve:
		return "saturating"
	case IndexCurve:
		return "index"
	}
	if k.isCamera() {
		return k.cameraName()
	}
	return "unknown"
}

// Code turns linear light into a code value, 0 to 255, not rounded. Light at 1
// and over is clipped, under 0 is 0.
func (k CurveKind) Code(light float64) float64 {
	if !(light > 0) {
		return 0
	}
	if light >= 1 {
		return 255
	}
	if k.isCamera() {
		return k.cameraCode(light)
	}
	switch k {
	case ShoulderCurve:
		const s = 0.45
		return 255 * srgb(light*(1+s)/(1+s*light))
	case SteepCurve:
		return 255 * srgb(sigmoid(light, 1.7, -2.9, 0.8, 0.40))
	case GentleCurve:
		return 255 * srgb(sigmoid(light, 0.9, -2.6, 0.9, 0.25))
	case TanhCurve:
		const a, g = 1.15, 0.58
		return 255 * math.Tanh(a*math.Pow(light, g)) / math.Tanh(a)
	case SaturatingCurve:
		const n, s = 0.82, 0.55
		p := math.Pow(light, n)
		q := math.Pow(s, n)
		return 255 * (1 + q) * p / (p + q)
	case IndexCurve:
		// ISO 12232:2006: saturation is 78/S and the mid-tone of the exposure index 10/S, 2.96 stops
		// under it (as quoted in colour-hdri's dsc.py); the mid-tone shows as code 118 of 255 (from
		// memory). The slope in the shadows is in the range seen on cameras, 1.3 to 1.6.
		const a, n = 3.43, 1.4
		return 255 * srgb((1-math.Exp(-a*math.Pow(light, n)))/(1-math.Exp(-a)))
	}
	return 255 * srgb(light)
}

// sigmoid bends light in stops: about the middle, one true stop becomes up to
// 1 + c/(4w), and the last stop under clipping is squeezed by d. 1 stays 1.
func sigmoid(light, c, middle, w, d float64) float64 {
	const tail = 0.7 // stops over which the squeeze fades
	x := math.Log2(light)
	logistic := func(x float64) float64 { return 1 / (1 + math.Exp(-(x-middle)/w)) }
	y := x + c*(logistic(x)-logistic(0)) - d*(math.Exp(x/tail)-1)
	return math.Exp2(y)
}

// Light is the inverse of Code, by bisection to about 1e-12.
func (k CurveKind) Light(code float64) float64 {
	if !(code > 0) {
		return 0
	}
	if code >= 255 {
		return 1
	}
	low, high := 0.0, 1.0
	for range 60 {
		if mid := (low + high) / 2; k.Code(mid) < code {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// srgb is the transfer function of IEC 61966-2-1.
func srgb(l float64) float64 {
	if l <= 0.0031308 {
		return 12.92 * l
	}
	return 1.055*math.Pow(l, 1/2.4) - 0.055
}

// unsrgb is its inverse.
func unsrgb(c float64) float64 {
	if c <= 0.04045 {
		return c / 12.92
	}
	return math.Pow((c+0.055)/1.055, 2.4)
}
