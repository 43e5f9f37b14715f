package studio

import (
	"math"
	"testing"
)

func TestCurvesRiseAndInvert(t *testing.T) {
	for _, k := range Curves() {
		last := -1.0
		for i := 0; i <= 4000; i++ {
			l := float64(i) / 4000
			c := k.Code(l)
			if !(c > last) {
				t.Fatalf("%v curve: Code(%v) = %v, not over %v before it", k, l, c, last)
			}
			last = c
			if back := k.Light(c); math.Abs(back-l) > 1e-9 {
				t.Errorf("%v curve: Light(Code(%v)) = %v", k, l, back)
			}
		}
		if k.Code(1) != 255 || k.Code(3) != 255 || k.Code(0) != 0 || k.Code(-1) != 0 {
			t.Errorf("%v curve: ends are %v, %v, %v, %v, want 255, 255, 0, 0", k, k.Code(1), k.Code(3), k.Code(0), k.Code(-1))
		}
		if c := k.Code(0.999); c < 254 || c >= 255 {
			t.Errorf("%v curve: Code(0.999) = %v; it must meet 255 without a jump", k, c)
		}
	}
}

// How much one true stop reads when the code values are decoded as plain sRGB.
// On a real camera that is 1.3 to 1.6 in the mid-tones and 0.75 to 0.95 near
// white (the project's own measurement of real brackets).
func TestSteepCurveReadsLikeARealCamera(t *testing.T) {
	reads := func(k CurveKind, from, to float64) float64 {
		at := func(l float64) float64 { return math.Log2(unsrgb(k.Code(math.Exp2(l)) / 255)) }
		return at(to) - at(from)
	}
	for _, k := range Curves() {
		mid, white := reads(k, -3.3, -2.3), reads(k, -1, 0)
		t.Logf("%-10v one stop reads %.3f in the mid-tones, %.3f under white; -1 is code %.1f, -2 %.1f, -3 %.1f, -6 %.1f",
			k, mid, white, k.Code(0.5), k.Code(0.25), k.Code(0.125), k.Code(1.0/64))
		switch k {
		case PlainCurve:
			if math.Abs(mid-1) > 1e-9 || math.Abs(white-1) > 1e-9 {
				t.Errorf("plain curve reads %.3f and %.3f, want 1 and 1", mid, white)
			}
		case SteepCurve:
			if mid < 1.3 || mid > 1.6 || white < 0.75 || white > 0.95 {
				t.Errorf("steep curve reads %.3f and %.3f, want 1.3 to 1.6 and 0.75 to 0.95", mid, white)
			}
		default:
			if white > 0.97 {
				t.Errorf("%v curve reads %.3f under white; a shoulder reads less than 1", k, white)
			}
		}
	}
}

// IEC 61966-2-1 values as listed in colour-science's tests and computed from
// the standard's formula: code 118 is -2.4646 stops, 188 -0.9917, 240 -0.1986, 254 -0.0129.
func TestPlainCurveIsSRGB(t *testing.T) {
	for _, c := range []struct{ code, stops float64 }{{118, -2.4646}, {188, -0.9917}, {240, -0.1986}, {254, -0.0129}} {
		if got := math.Log2(PlainCurve.Light(c.code)); math.Abs(got-c.stops) > 5e-5 {
			t.Errorf("code %v is %.4f stops under clipping, want %.4f (sRGB)", c.code, got, c.stops)
		}
	}
	// sRGB(0.18) = 0.461356129500442, colour-science's test of its sRGB function.
	if got := PlainCurve.Code(0.18) / 255; math.Abs(got-0.461356129500442) > 1e-12 {
		t.Errorf("sRGB(0.18) = %.15f, want 0.461356129500442", got)
	}
}

// Source: ISO 12232:2006 as quoted in colour-hdri's dsc.py, 78/10 between saturation and the
// mid-tone of the exposure index; its code 118 is from memory.
func TestIndexCurvePutsTheMidTone(t *testing.T) {
	if code := IndexCurve.Code(10.0 / 78); math.Abs(code-118) > 1 {
		t.Errorf("the mid-tone of the exposure index shows as code %.1f, want 118 +- 1", code)
	}
}
