package studio

import (
	"fmt"
	"math"
	"sync"
)

// Cameras lists tone curves that lie within what cameras are known to do: code 118, sRGB's 18 % grey, lies
// 2.47 to 3.47 stops under the edge of clipping. The lower end is sRGB's own place for it (IEC 61966-2-1), a rendering that
// leaves no room over white; in the middle lies ISO 12232:2006's 2.96 stops from the mid-tone of the
// exposure index to saturation (78 over 10, as quoted in colour-hdri's dsc.py); a real camera's bracket puts it at 3.4
// (the one of the HDRICalibrationTool's repository, learned by the tone package). Three shapes, none of them the
// default's or the fit's, so that what is learned from one says nothing of another.
func Cameras() []CurveKind {
	var all []CurveKind
	for shape := range shapes {
		for i := range places {
			all = append(all, firstCamera+CurveKind(shape*places+i))
		}
	}
	return all
}

const (
	firstCamera CurveKind = 1000
	shapes                = 3
	places                = 21 // of code 118, a twentieth of a stop apart
	greyCode              = 118.0
	leastRoom             = 2.47
)

// room is how many stops under the edge a camera-like curve shows code 118.
func (k CurveKind) room() float64 { return leastRoom + 0.05*float64(int(k-firstCamera)%places) }

func (k CurveKind) isCamera() bool { return k >= firstCamera && k < firstCamera+shapes*places }

func (k CurveKind) cameraName() string {
	return fmt.Sprintf("camera %c, grey at -%.2f", 'a'+rune(int(k-firstCamera)/places), k.room())
}

// cameraCode is the code of a light under 1 through a camera-like curve.
func (k CurveKind) cameraCode(light float64) float64 {
	return shaped(int(k-firstCamera)/places, renderings()[k-firstCamera], light)
}

// shaped are the three shapes, each with one number p that moves the grey. All end at 255 at light 1.
func shaped(shape int, p, light float64) float64 {
	switch shape {
	case 0: // a film-like exponential before sRGB
		const n = 1.35
		return 255 * srgb(-math.Expm1(-p*math.Pow(light, n))/-math.Expm1(-p))
	case 1: // a hyperbolic tangent of a power, no sRGB in it
		const g = 0.7
		return 255 * math.Tanh(p*math.Pow(light, g)) / math.Tanh(p)
	}
	// An S in stops before sRGB, and a squeeze of the highlights that fades over a stop and a half.
	const c, middle, w, tail = 0.35, -3.4, 0.7, 1.5
	x := math.Log2(light)
	logistic := func(x float64) float64 { return 1 / (1 + math.Exp(-(x-middle)/w)) }
	return 255 * srgb(math.Exp2(x+c*(logistic(x)-logistic(0))-p*math.Expm1(x/tail)))
}

// renderings are the numbers that put code 118 where each curve has it, by bisection.
var renderings = sync.OnceValue(func() []float64 {
	out := make([]float64, shapes*places)
	for i := range out {
		k := firstCamera + CurveKind(i)
		low, high := 1e-3, 12.0
		for range 80 {
			mid := (low + high) / 2
			if shaped(i/places, mid, math.Exp2(-k.room())) < greyCode {
				low = mid
			} else {
				high = mid
			}
		}
		out[i] = (low + high) / 2
	}
	return out
})
