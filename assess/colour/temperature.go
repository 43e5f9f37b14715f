package colour

import (
	"errors"
	"fmt"
	"math"
	"sync"
)

// Kelvin is a colour temperature.
type Kelvin float64

// String prints whole tens of kelvin: no camera knows better.
func (k Kelvin) String() string { return fmt.Sprintf("%.0f K", math.Round(float64(k)/10)*10) }

// Mired is a reciprocal colour temperature, a million divided by kelvin. Equal
// differences look about equally large, and a filter shifts by the same number
// anywhere. Larger is warmer.
type Mired float64

// Mired is the reciprocal; of a temperature over 0 only.
func (k Kelvin) Mired() Mired { return Mired(1e6 / float64(k)) }

// Kelvin is the inverse of [Kelvin.Mired].
func (m Mired) Kelvin() Kelvin { return Kelvin(1e6 / float64(m)) }

// Duv is the distance from the Planckian locus in the CIE 1960 chromaticity scale:
// over 0 is above the locus, towards green; under 0 below it, towards magenta
// (ANSI C78.377 gives it the sign).
type Duv float64

// Temperature is what a light's chromaticity says of it.
type Temperature struct {
	CCT Kelvin `json:"cct_k"` // correlated colour temperature
	Duv Duv    `json:"duv"`
	// DaylightDuv is the distance to the nearest point of the daylight locus, signed
	// alike: over 0 on the green side. The locus runs from 4000 to 25 000 K.
	DaylightDuv Duv `json:"daylight_duv"`
	// Meaningful is false further than 0.05 from the Planckian locus, where CIE 15:2018
	// says that a correlated colour temperature should not be used.
	Meaningful bool `json:"meaningful"`
}

// The range in which a temperature is looked for.
const (
	coldest Kelvin = 1000
	hottest Kelvin = 100_000
)

const farOff = 0.05 // CIE 15:2018, note on correlated colour temperature

// ErrNoTemperature is wrapped where a light has no colour temperature.
var ErrNoTemperature = errors.New("no colour temperature")

// secondRadiation is c2 of Planck's law in nm K. Of the values used over the years
// this is that of the ITS-90 scale, which CIE 15:2018 takes for the Planckian locus.
const secondRadiation = 1.4388e7

// Planck is the chromaticity of a black body, by summing Planck's law over the standard
// observer in steps of 5 nm. The temperature is taken as within 1000 to 100 000 K.
func Planck(t Kelvin) UV {
	t = min(max(t, coldest), hottest)
	var c XYZ
	for i, f := range &observer {
		nm := float64(observerFrom + i*observerStep)
		m := math.Pow(nm/560, -5) / math.Expm1(secondRadiation/(nm*float64(t)))
		c.X += m * f[0]
		c.Y += m * f[1]
		c.Z += m * f[2]
	}
	// Scaling changes nothing of a chromaticity and keeps the sums away from the smallest numbers.
	sum := c.X + 15*c.Y + 3*c.Z
	return UV{4 * c.X / sum, 6 * c.Y / sum}
}

// Daylight is the chromaticity of a phase of daylight (CIE 15:2018, 4.1.2), 4000 to 25 000 K;
// temperatures outside are taken as the nearest.
func Daylight(t Kelvin) XyY {
	k := float64(min(max(t, 4000), 25_000))
	var x float64
	if k <= 7000 {
		x = -4.6070e9/(k*k*k) + 2.9678e6/(k*k) + 0.09911e3/k + 0.244063 // (4.1)
	} else {
		x = -2.0064e9/(k*k*k) + 1.9018e6/(k*k) + 0.24748e3/k + 0.237040 // (4.2)
	}
	return XyY{x, -3.000*x*x + 2.870*x - 0.275, 1} // (4.3)
}

func daylightUV(t Kelvin) UV {
	uv, _ := Daylight(t).XYZ().UV()
	return uv
}

// locus is a sampled curve of temperatures, for the first step of a search.
type locus struct {
	at    func(Kelvin) UV
	mired []Mired
	uv    []UV
}

func newLocus(at func(Kelvin) UV, from, to Kelvin, n int) *locus {
	l := &locus{at: at}
	lo, hi := to.Mired(), from.Mired()
	for i := range n {
		m := lo + (hi-lo)*Mired(i)/Mired(n-1)
		l.mired = append(l.mired, m)
		l.uv = append(l.uv, at(m.Kelvin()))
	}
	return l
}

var (
	planckian  = sync.OnceValue(func() *locus { return newLocus(Planck, coldest, hottest, 240) })
	daylightly = sync.OnceValue(func() *locus { return newLocus(daylightUV, 4000, 25_000, 80) })
)

// nearest finds the point nearest to uv: the sample, then by golden section between its
// neighbours. The sign of the distance is that of the side on which v is larger.
func (l *locus) nearest(uv UV) (Mired, Duv) {
	distance := func(p UV) float64 { return math.Hypot(uv.U-p.U, uv.V-p.V) }
	best := 0
	for i, p := range l.uv {
		if distance(p) < distance(l.uv[best]) {
			best = i
		}
	}
	lo, hi := l.mired[max(best-1, 0)], l.mired[min(best+1, len(l.mired)-1)]
	const golden = 0.6180339887498949
	at := func(m Mired) float64 { return distance(l.at(m.Kelvin())) }
	a, b := hi-golden*(hi-lo), lo+golden*(hi-lo)
	da, db := at(a), at(b)
	for hi-lo > 1e-5 {
		if da <= db {
			hi, b, db = b, a, da
			a = hi - golden*(hi-lo)
			da = at(a)
		} else {
			lo, a, da = a, b, db
			b = lo + golden*(hi-lo)
			db = at(b)
		}
	}
	m := (lo + hi) / 2
	p := l.at(m.Kelvin())
	d := distance(p)
	// The locus runs with u rising in mired; which side uv is on is the side of its tangent.
	q := l.at((m + 0.01).Kelvin())
	if (q.U-p.U)*(uv.V-p.V)-(q.V-p.V)*(uv.U-p.U) < 0 {
		d = -d
	}
	return m, Duv(d)
}

// TemperatureOf finds the black body nearest in the CIE 1960 chromaticity scale, which is
// the definition of correlated colour temperature (CIE 15:2018, 9.5), and Duv (Ohno 2014, LEUKOS
// 10(1), 47-55). Ohno interpolates a table; here the locus itself is searched, so there is no
// table's error: what differs from tables of 1 nm is the observer's steps of 5 nm, which cost 1.4e-5
// of Duv and 1.5 K at 6500 K. The error wraps [ErrNoTemperature]: no light, or beyond the locus' ends.
func TemperatureOf(light XYZ) (Temperature, error) {
	uv, ok := light.UV()
	if !ok {
		return Temperature{}, fmt.Errorf("%w: there is no light", ErrNoTemperature)
	}
	return temperatureOf(uv)
}

func temperatureOf(uv UV) (Temperature, error) {
	m, duv := planckian().nearest(uv)
	t := Temperature{CCT: m.Kelvin(), Duv: duv, Meaningful: math.Abs(float64(duv)) <= farOff}
	if t.CCT > hottest*0.999 || t.CCT < coldest*1.0001 {
		return Temperature{}, fmt.Errorf("%w: the light is bluer or redder than any black body from %v to %v", ErrNoTemperature, coldest, hottest)
	}
	_, t.DaylightDuv = daylightly().nearest(uv)
	return t, nil
}

// McCamy is the correlated colour temperature by the cubic of McCamy 1992 (Color Res. Appl. 17(2),
// 142-144): a check on [TemperatureOf], good near the locus from about 2000 to 12 500 K
// (that range from memory). False for the chromaticity at which it has no answer.
func McCamy(c XyY) (Kelvin, bool) {
	if math.Abs(c.Y-0.1858) < 1e-6 {
		return 0, false
	}
	n := (c.X - 0.3320) / (c.Y - 0.1858)
	t := ((-449*n+3525)*n-6823.3)*n + 5520.33
	return Kelvin(t), t > 0
}
