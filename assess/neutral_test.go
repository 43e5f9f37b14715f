package assess_test

import (
	"math"
	"testing"

	"thirdstop/assess"
	"thirdstop/assess/colour"
	"thirdstop/assess/exposure"
)

// Source: chromaticities of the CIE standard illuminants D65, D55 and A (CIE 15:2018, from memory), and their
// correlated colour temperatures 6504, 5503 and 2856 K: a neutral balanced for D65 and lit by D55 comes out
// 1e6/5503 - 1e6/6504 = 28.0 mired warmer, by A 196.4.
func TestANeutralsColourIsThatOfItsLight(t *testing.T) {
	under := func(x, y float64) assess.Channels {
		l := colour.SRGB.RGB(colour.XyY{X: x, Y: y, Lum: 0.3}.XYZ())
		s := func(ch int) exposure.Stops { return exposure.Stops(math.Log2(l[ch])) }
		return assess.Channels{Red: s(0), Green: s(1), Blue: s(2)}
	}
	var r assess.Reading
	d65 := under(0.31272, 0.32903)
	for _, c := range []struct {
		name string
		x, y float64
		want float64
		off  float64 // chromaticities have five digits, temperatures four
	}{{"D65", 0.31272, 0.32903, 0, 0.1}, {"D55", 0.33243, 0.34744, 28.0, 0.3}, {"A", 0.44758, 0.40745, 196.4, 0.3}} {
		got, err := r.Colour(d65, under(c.x, c.y))
		if err != nil || math.Abs(float64(got.Shift)-c.want) > c.off {
			t.Errorf("a neutral under %s is %.2f mired off that under D65 (%v), want %.1f (CIE 15)", c.name, float64(got.Shift), err, c.want)
		}
	}
	darker := under(0.33243, 0.34744)
	darker.Red, darker.Green, darker.Blue = darker.Red-1, darker.Green-1, darker.Blue-1
	if a, _ := r.Colour(d65, under(0.33243, 0.34744)); true {
		if b, _ := r.Colour(d65, darker); math.Abs(float64(a.Shift-b.Shift)) > 1e-6 {
			t.Errorf("a stop darker, the same light is %v in place of %v off", b.Shift, a.Shift)
		}
	}
}
