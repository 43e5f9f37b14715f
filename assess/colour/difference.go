package colour

import "math"

// Difference is a colour difference of CIEDE2000. About 1 is just seen side by side.
type Difference float64

// hueTie is how close to opposite two hues may be and still count as exactly
// opposite, in degrees: there the formula jumps, and the last digit of an arctangent,
// which differs between processors, would decide.
const hueTie = 1e-9

// CIEDE2000 is the colour difference of CIE 142-2001 and ISO/CIE 11664-6, with all weights 1.
// The numbers in brackets are the equations of Sharma, Wu & Dalal 2005 (Color Res. Appl. 30(1), 21-30).
func CIEDE2000(x, y Lab) Difference {
	const pow25to7 = 6103515625
	pow7 := func(v float64) float64 { return v * v * v * v * v * v * v }
	rad := func(deg float64) float64 { return deg * math.Pi / 180 }

	mean := (x.Chroma() + y.Chroma()) / 2 // (2), (3)
	c7 := pow7(mean)
	g := 0.5 * (1 - math.Sqrt(c7/(c7+pow25to7))) // (4)
	p1, p2 := Lab{A: (1 + g) * x.A, B: x.B}, Lab{A: (1 + g) * y.A, B: y.B}
	c1, c2 := p1.Chroma(), p2.Chroma() // (5), (6)
	h1, h2 := p1.Hue(), p2.Hue()       // (7)

	dL, dC := y.L-x.L, c2-c1 // (8), (9)
	grey := c1*c2 == 0
	dh := h2 - h1 // (10)
	hMean := (h1 + h2) / 2
	switch {
	case grey:
		dh, hMean = 0, h1+h2 // (14)
	case math.Abs(dh) <= 180+hueTie:
	default:
		if h1+h2 < 360 { // (14)
			hMean += 180
		} else {
			hMean -= 180
		}
		if dh > 0 {
			dh -= 360
		} else {
			dh += 360
		}
	}
	dH := 2 * math.Sqrt(c1*c2) * math.Sin(rad(dh)/2) // (11)

	lMean, cMean := (x.L+y.L)/2, (c1+c2)/2 // (12), (13)
	t := 1 - 0.17*math.Cos(rad(hMean-30)) + 0.24*math.Cos(rad(2*hMean)) +
		0.32*math.Cos(rad(3*hMean+6)) - 0.20*math.Cos(rad(4*hMean-63)) // (15)
	turn := 30 * math.Exp(-math.Pow((hMean-275)/25, 2)) // (16)
	c7 = pow7(cMean)
	rC := 2 * math.Sqrt(c7/(c7+pow25to7)) // (17)
	l2 := (lMean - 50) * (lMean - 50)
	sL := 1 + 0.015*l2/math.Sqrt(20+l2) // (18)
	sC := 1 + 0.045*cMean               // (19)
	sH := 1 + 0.015*cMean*t             // (20)
	rT := -math.Sin(rad(2*turn)) * rC   // (21)

	l, c, h := dL/sL, dC/sC, dH/sH
	return Difference(math.Sqrt(max(l*l+c*c+h*h+rT*c*h, 0))) // (22)
}
