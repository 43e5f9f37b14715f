package tone

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/interp"

	"thirdstop/assess/exposure"
)

// White is the highest code value, and the edge of clipping: light 1, 0 stops.
const White = 255

// Floor is the lowest level a curve gives. Codes near 0 hold noise and rounding,
// so deeper levels would be made up.
const Floor exposure.Stops = -12

// Source says where a curve comes from.
type Source string

// The sources of a curve.
const (
	FromDefault Source = "default" // the stated default: no camera of its own
	FromFrames  Source = "learned" // fitted to frames whose exposure ratio is known
	FromRaw     Source = "raw"     // linear sensor data: no curve was needed
)

// Curve maps a code value, 0 to 255, to linear light relative to the edge of
// clipping. It rises strictly. A Curve is never changed after it was made and may
// be shared between goroutines. The zero value is not a curve; see [Default].
type Curve struct {
	name     string
	source   Source
	channels []channel // one for all three, or red, green, blue
	knots    [][]Knot  // what a learned curve was made of; nil for those made by formula
}

// channel holds the curve at whole code values.
type channel struct {
	light [White + 1]float64 // 0 at code 0, 1 at code 255
	slope [White + 1]float64 // of light, per code value; never negative
	bend  [White + 1]float64 // second derivative, per code value squared
	steep [White + 1]float64 // of the level, stops per code value
	sigma [White + 1]float64 // stops
}

// Knot is a point of a learned curve.
type Knot struct {
	Code  float64        `json:"code"`        // 0 to 255
	Level exposure.Stops `json:"level_stops"` // stops relative to the edge of clipping, 0 or less
	Sigma exposure.Stops `json:"sigma_stops"` // one standard deviation of Level, 0 or more
}

// Name tells curves apart in readings and trails; a change of the curve changes it.
func (c *Curve) Name() string { return c.name }

// Source says where the curve comes from.
func (c *Curve) Source() Source { return c.source }

func (c *Curve) channel(ch int) *channel {
	if ch < 0 || ch >= len(c.channels) {
		ch = 0
	}
	return &c.channels[ch]
}

// Linear is the light of a code value in a channel (0 red, 1 green, 2 blue):
// 0 at code 0 and 1 at code 255. Codes outside 0 to 255 are taken as the nearest.
func (c *Curve) Linear(ch int, code float64) float64 {
	t := c.channel(ch)
	i, f := split(code)
	if f == 0 {
		return t.light[i]
	}
	return t.between(i, f)
}

// between is the light at code i+f, 0 < f < 1, by cubic Hermite interpolation. The slopes come from
// a rising curve sampled at every code and are limited in fill, which keeps it
// rising (Fritsch & Carlson 1980).
func (t *channel) between(i int, f float64) float64 {
	d := t.light[i+1] - t.light[i]
	a, b := t.slope[i], t.slope[i+1]
	return t.light[i] + f*(a+f*((3*d-2*a-b)+f*(a+b-2*d)))
}

// Mean is the mean light of samples of which only the mean and the (population) variance
// in code values are known, to second order: c(m) + v/2 times the second derivative at m. It is kept
// between half of c(m) and the chord m/255, which bounds it where the curve is convex (Jensen's
// inequality), so that cells across an edge can't run away.
func (c *Curve) Mean(ch int, mean, variance float64) float64 {
	t := c.channel(ch)
	i, f := split(mean)
	e, bend := t.light[i], t.bend[i]
	if f > 0 {
		e = t.between(i, f)
		bend += f * (t.bend[i+1] - t.bend[i])
	}
	if !(variance > 0) {
		return e
	}
	hi := max(e, (float64(i)+f)/White)
	return min(max(e+bend*variance/2, e*0.5), hi)
}

// Stops is the level of samples with the given mean and variance in code
// values, and the curve's share of its uncertainty, one standard deviation.
// The level is 0 at the edge of clipping and never under [Floor].
func (c *Curve) Stops(ch int, mean, variance float64) (level, sigma exposure.Stops) {
	level, ok := exposure.FromFactor(c.Mean(ch, mean, variance))
	if !ok || level < Floor {
		level = Floor
	}
	return min(level, 0), c.Sigma(ch, mean)
}

// Code is the inverse of [Curve.Linear]: the code value that shows a light from 0 to 1,
// to a thousandth of a code.
func (c *Curve) Code(ch int, light float64) float64 {
	lo, hi := 0.0, float64(White)
	for hi-lo > 1e-3 {
		mid := (lo + hi) / 2
		if c.Linear(ch, mid) < light {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// Sigma is how far the level at a code value may be off because this is not the
// camera's very curve: one standard deviation in stops. It grows towards clipping,
// where the shoulder is steep and unknown, and in the deep shadows.
func (c *Curve) Sigma(ch int, code float64) exposure.Stops {
	t := c.channel(ch)
	i, f := split(code)
	s := t.sigma[i]
	if f > 0 {
		s += f * (t.sigma[i+1] - t.sigma[i])
	}
	return exposure.Stops(s)
}

// Steepness is the change in level per code value: what a noise of one code means
// in stops. Under code 1 it is that of code 1.
func (c *Curve) Steepness(ch int, code float64) exposure.Stops {
	i, f := split(max(code, 1))
	t := c.channel(ch)
	s := t.steep[i]
	if f > 0 {
		s += f * (t.steep[i+1] - t.steep[i])
	}
	return exposure.Stops(s)
}

// split takes a code apart into the whole code below and the rest, 0 <= f < 1.
func split(code float64) (int, float64) {
	if !(code > 0) { // also NaN
		return 0, 0
	}
	if code >= White {
		return White, 0
	}
	i := int(code)
	return i, code - float64(i)
}

// ErrCurve is wrapped by the refusals of [Learned] and of reading a curve from JSON.
var ErrCurve = errors.New("not a tone curve")

// Learned makes a curve from points, for all channels alike (one list) or
// for red, green and blue (three). Each list holds at least three knots rising strictly in
// code and level, from code 16 or lower to exactly (255, 0). Between the knots
// the level is a monotone cubic (Fritsch & Butland 1984); under the first knot
// light falls to 0 at code 0 in proportion to the code.
func Learned(name string, channels ...[]Knot) (*Curve, error) {
	if name == "" {
		return nil, fmt.Errorf("%w: it has no name", ErrCurve)
	}
	if len(channels) != 1 && len(channels) != 3 {
		return nil, fmt.Errorf("%w: %q has %d channels, need 1 or 3", ErrCurve, name, len(channels))
	}
	c := &Curve{name: name, source: FromFrames}
	for n, knots := range channels {
		if err := checkKnots(knots); err != nil {
			return nil, fmt.Errorf("%w: %q, channel %d: %w", ErrCurve, name, n, err)
		}
		xs, ys, ss := make([]float64, len(knots)), make([]float64, len(knots)), make([]float64, len(knots))
		for i, k := range knots {
			xs[i], ys[i], ss[i] = k.Code, float64(k.Level), float64(k.Sigma)
		}
		var cubic interp.FritschButland
		var line interp.PiecewiseLinear
		if err := errors.Join(cubic.Fit(xs, ys), line.Fit(xs, ss)); err != nil {
			return nil, fmt.Errorf("%w: %q, channel %d: %w", ErrCurve, name, n, err)
		}
		c.channels = append(c.channels, fill(
			func(code float64) float64 {
				if code < xs[0] {
					return math.Exp2(ys[0]) * code / xs[0]
				}
				return math.Exp2(cubic.Predict(code))
			},
			func(code, _, _ float64) float64 { return line.Predict(max(code, xs[0])) },
		))
		c.knots = append(c.knots, append([]Knot(nil), knots...))
	}
	return c, nil
}

func checkKnots(knots []Knot) error {
	if len(knots) < 3 {
		return fmt.Errorf("%d knots are too few, need 3 or more", len(knots))
	}
	for i, k := range knots {
		if !(k.Code >= 0 && k.Code <= White) || !(k.Level >= -20 && k.Level <= 0) || !(k.Sigma >= 0 && k.Sigma <= 20) {
			return fmt.Errorf("knot %d (code %v, level %v, sigma %v) is out of range", i, k.Code, float64(k.Level), float64(k.Sigma))
		}
		if i > 0 && !(k.Code-knots[i-1].Code >= 0.5 && k.Level-knots[i-1].Level >= 1e-4) {
			return fmt.Errorf("knot %d does not rise over the one before by half a code and 0.0001 stop", i)
		}
	}
	if knots[0].Code > 16 || knots[0].Code <= 0 {
		return fmt.Errorf("the first knot is at code %v, must be over 0 and at most 16", knots[0].Code)
	}
	if last := knots[len(knots)-1]; last.Code != White || last.Level != 0 {
		return fmt.Errorf("the last knot is at code %v and %v stops, must be (255, 0)", last.Code, float64(last.Level))
	}
	return nil
}

// fill samples a rising function of light at every code. sigma gets code, level and steepness.
func fill(light func(code float64) float64, sigma func(code, level, steep float64) float64) channel {
	var t channel
	for i := range t.light {
		t.light[i] = light(float64(i))
	}
	t.light[White] = 1
	for i := range t.light {
		lo, hi := max(i-1, 0), min(i+1, White)
		t.slope[i] = (t.light[hi] - t.light[lo]) / float64(hi-lo)
		// Three times the smaller neighbouring step keeps the interpolation rising.
		for _, j := range [2]int{lo, hi} {
			if j != i {
				t.slope[i] = min(t.slope[i], 3*math.Abs(t.light[j]-t.light[i]))
			}
		}
		b := min(max(i, 2), White-2) // a wide stencil: a learned curve's cubic has kinks in its second derivative
		t.bend[i] = (t.light[b+2] - 2*t.light[b] + t.light[b-2]) / 4
	}
	for i := White; i >= 1; i-- {
		lo, hi := max(i-1, 1), min(i+1, White)
		t.steep[i] = math.Log2(t.light[hi]/t.light[lo]) / float64(hi-lo)
		level := max(math.Log2(t.light[i]), float64(Floor))
		t.sigma[i] = min(max(sigma(float64(i), level, t.steep[i]), 0), maxSigma)
	}
	t.steep[0], t.sigma[0] = t.steep[1], t.sigma[1]
	return t
}

// maxSigma bounds what is said of black: more than this is "unknown".
const maxSigma = 4
