package colour

import (
	"errors"
	"math"
	"testing"
)

// shown is how a balanced camera renders a white in another light, as sRGB codes at a luminance.
func shown(light XYZ, y float64) [3]float64 {
	c := SRGB.RGB(scaled(light, y/light.Y))
	return [3]float64{SRGB.Encode(c[0]), SRGB.Encode(c[1]), SRGB.Encode(c[2])}
}

func TestACastIsCalledWhatItIs(t *testing.T) {
	offLocus := func(k Kelvin, duv float64) XYZ {
		p, q := Planck(k), Planck((k.Mired() + 0.01).Kelvin())
		l := math.Hypot(q.U-p.U, q.V-p.V)
		return UV{p.U - duv*(q.V-p.V)/l, p.V + duv*(q.U-p.U)/l}.XYZ()
	}
	for _, c := range []struct {
		what  string
		light XYZ
		want  string
	}{
		{"D65", D65, "neutral"},
		{"daylight of 5500 K", Daylight(5500).XYZ(), "warm"},
		{"daylight of 4500 K", Daylight(4500).XYZ(), "warm"},
		{"a black body of 5000 K", Planck(5000).XYZ(), "warm"},
		{"a black body of 3500 K", Planck(3500).XYZ(), "warm"},
		{"daylight of 7500 K", Daylight(7500).XYZ(), "cool"},
		{"daylight of 12 000 K", Daylight(12_000).XYZ(), "cool"},
		{"a black body of 9000 K", Planck(9000).XYZ(), "cool"},
		{"6500 K, 0.015 over the locus", offLocus(6500, 0.015), "green"},
		{"6500 K, 0.012 under the locus", offLocus(6500, -0.012), "magenta"},
	} {
		got := CastOf(shown(c.light, 0.5), [3]float64{}, SRGB)
		if got.Word != c.want || !near(got.Lab.L, 76.069, 0.1) { // L* of Y 0.5, derived here
			t.Errorf("a white in %s is %v, want %s", c.what, got, c.want)
		}
	}
}

func TestAWhiteThatClipsMayHideACast(t *testing.T) {
	if c := CastOf([3]float64{255, 255, 255}, [3]float64{1, 1, 1}, SRGB); !c.Clipped || c.Word != "neutral" {
		t.Errorf("clipped white is %v", c)
	}
	// One code is less than the eye sees; a cast of 2 % in blue is more.
	if c := CastOf([3]float64{240, 240, 239}, [3]float64{}, SRGB); c.Word != "neutral" || c.Clipped {
		t.Errorf("240 240 239 is %v", c)
	}
	if c := CastOf([3]float64{240, 240, 232}, [3]float64{}, SRGB); c.Word == "neutral" {
		t.Errorf("240 240 232 is %v", c)
	}
}

func TestDriftIsTheShiftOfTheLight(t *testing.T) {
	// The reference may be any colour, exposure any: a shift from 6500 K by the daylight locus is found again.
	from, to := Daylight(6504), Daylight(5500)
	a, b := SRGB.RGB(from.XYZ()), SRGB.RGB(to.XYZ())
	reference := RGB{0.3, 0.5, 0.4}
	var now RGB
	for ch := range now {
		now[ch] = 0.7 * reference[ch] * b[ch] / a[ch]
	}
	got, err := DriftOf(reference, now, SRGB)
	want := Kelvin(5500).Mired() - Kelvin(6504).Mired()
	// The daylight locus runs slightly aslant of the Planckian one, so half a mired is allowed.
	if err != nil || !near(float64(got.Shift), float64(want), 0.5) || got.DE00 < 5 {
		t.Errorf("daylight from 6504 to 5500 K is a drift of %v (%v), want %.1f mired", got, err, want)
	}
	if d, err := DriftOf(reference, reference, SRGB); err != nil || !near(float64(d.Shift), 0, 1e-3) || d.DE00 > 1e-3 {
		t.Errorf("no change is a drift of %v (%v)", d, err)
	}
	if _, err := DriftOf(RGB{0, 1, 1}, reference, SRGB); !errors.Is(err, ErrNoDrift) {
		t.Errorf("a neutral without red gives %v", err)
	}
}
