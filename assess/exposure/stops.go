package exposure

import (
	"fmt"
	"math"
)

// Stops is a difference in exposure on a log2 scale: +1 is twice the light, -1 half.
//
// Stops add where factors multiply, one after another: power, distance, aperture.
// Lights that reach the same region do not: add their [Stops.Factor] values.
type Stops float64

// Factor is the ratio of light that a difference stands for, 2^s.
func (s Stops) Factor() float64 { return math.Exp2(float64(s)) }

// FromFactor turns a ratio of light into stops, log2(f). It reports false
// where there is no answer: for zero, negative and non-finite ratios.
func FromFactor(f float64) (Stops, bool) {
	if !(f > 0) || math.IsInf(f, 0) {
		return 0, false
	}
	return Stops(math.Log2(f)), true
}

// Round gives s on the grid of a thousandth of a stop, the resolution at which
// levels cross into the advice. Minus zero becomes zero.
func (s Stops) Round() Stops {
	return Stops(math.Round(float64(s)*1000)/1000) + 0
}

// String prints a difference with its sign and unit to a hundredth: "+0.67 stop".
func (s Stops) String() string {
	unit := "stops"
	if math.Abs(float64(s)) < 1.005 {
		unit = "stop"
	}
	return s.Signed() + " " + unit
}

// Signed prints the difference to a hundredth with its sign and no unit; a value
// that rounds to zero has no sign.
func (s Stops) Signed() string {
	t := fmt.Sprintf("%+.2f", float64(s))
	if t == "+0.00" || t == "-0.00" {
		return "0.00"
	}
	return t
}

// Sum adds lights that reach the same region, each given in stops against one
// reference: log2 of the sum of their factors. Two equal lights give +1. An
// empty sum is no light at all and reports false.
func Sum(lights ...Stops) (Stops, bool) {
	var f float64
	for _, s := range lights {
		f += s.Factor()
	}
	return FromFactor(f)
}
