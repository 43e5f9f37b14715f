package tone

import (
	"math"
	"slices"
	"testing"

	"thirdstop/assess/studio"
)

// A camera's curve that is known up to a code or two under the edge is carried on to it. The source of the truth is each curve's
// formula; what is missing at the start moves all levels under it.
func TestEndsAreCarriedOn(t *testing.T) {
	for _, x := range []struct{ from, median, most float64 }{{253.5, 0.003, 0.02}, {252, 0.006, 0.04}, {250, 0.012, 0.07}} {
		var off []float64
		for _, k := range append(studio.Curves(), studio.Cameras()...) {
			e, ok := fitEnd(x.from, func(code float64) float64 { return math.Log2(k.Light(code)) })
			if !ok {
				t.Errorf("%v: no end from code %v", k, x.from)
				continue
			}
			off = append(off, math.Abs(e.level(x.from)-math.Log2(k.Light(x.from))))
			for code := x.from; code < White; code += 0.25 {
				if !(e.level(code) < e.level(code+0.25)) {
					t.Errorf("%v: the end stands still at code %v", k, code)
				}
			}
		}
		slices.Sort(off)
		m, most := off[len(off)/2], off[len(off)*9/10] // one in ten bends more over the last codes than any camera that was seen
		t.Logf("from code %v: off by %.3f stop in the median, 90 %% by %.3f, at most %.3f", x.from, m, most, off[len(off)-1])
		if m > x.median || most > x.most {
			t.Errorf("carried on from code %v curves are off by %.3f stop in the median and %.3f for 90 %%, want at most %.3f and %.3f", x.from, m, most, x.median, x.most)
		}
	}
	if _, ok := fitEnd(253, func(float64) float64 { return -1 }); ok {
		t.Error("a curve that stands still has an end")
	}
}

// Of a straight line there is no more to say (derived here).
func TestEndOfALine(t *testing.T) {
	e, ok := fitEnd(253, func(code float64) float64 { return (code - White) / 80 })
	if !ok || math.Abs(e.level(253)+2.0/80) > 1e-6 {
		t.Errorf("80 codes a stop carried on from code 253 give %.5f, want %.5f", e.level(253), -2.0/80)
	}
}

// Half a code of where the edge lies is a hundredth of a stop for one camera and six for another: levels are never known better, and the sigma
// says so. The source of the truth is each curve's formula; half a code either side is a standard deviation of 0.29.
func TestASteepEndIsKnownLess(t *testing.T) {
	all := studio.Cameras()
	for _, k := range []studio.CurveKind{all[2], all[20], all[41], all[45]} {
		f, err := Fit(scene{curve: k.Code, noise: 0.2}.steps(61, third, 0.015), nil)
		if err != nil {
			t.Fatal(err)
		}
		half := -math.Log2(k.Light(254)) * 0.29
		if s := float64(f.EdgeSigma()); s < half {
			t.Errorf("%v: half a code at the end is %.3f stop, and levels are known to %.3f", k, half, s)
		}
	}
}
