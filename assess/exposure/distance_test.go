package exposure

import (
	"errors"
	"math"
	"testing"
)

func TestInverseSquare(t *testing.T) {
	// x2 -2.000, x3 -3.170, x1.5 -1.170, x1.4142 -1, x1.2599 -2/3, x1.1225 -1/3 (3 decimals,
	// derived here; the law itself: cornicello.com, fstoppers.com). 1.0 m to 1.4 m is -0.971.
	for _, c := range []struct{ from, to, want, tolerance float64 }{
		{1, 2, -2, 1e-12}, {1, 3, -3.170, 5e-4}, {1, 1.5, -1.170, 5e-4}, {1, 1.4142, -1, 5e-4},
		{1, 1.2599, -2.0 / 3, 5e-4}, {1, 1.1225, -1.0 / 3, 5e-4}, {1.0, 1.4, -0.971, 5e-4}, {3, 1.5, 2, 1e-12},
	} {
		got, ok := Falloff(Metres(c.from), Metres(c.to))
		if !ok || !close(float64(got), c.want, c.tolerance) {
			t.Errorf("from %v m to %v m the light changes by %.4f, want %.4f", c.from, c.to, float64(got), c.want)
		}
	}
	for _, v := range []Metres{0, -1, Metres(math.NaN())} {
		if _, ok := Falloff(v, 1); ok {
			t.Errorf("the fall-off from %v m is said to be known", float64(v))
		}
		if _, ok := Falloff(1, v); ok {
			t.Errorf("the fall-off to %v m is said to be known", float64(v))
		}
	}
}

func TestGuideNumbersGiveTheirWorkedExamples(t *testing.T) {
	for _, c := range []struct {
		guide, metres float64
		iso           ISO
		n             FNumber
		tolerance     float64 // from the rounding of the printed f-number
		source        string
	}{
		{32, 4, 100, 8, 1e-9, "openphotographicsociety.org: GN 32 m at 4 m is f/8"},
		{45, 5, 100, 9, 0.0066, "idigitalphoto.com dictionary: GN 45 at 5 m is f/9 (f/9 stands for 8.98)"},
		{80 * 0.3048, 10 * 0.3048, 100, 8, 1e-9, "openphotographicsociety.org: GN 80 ft at 10 ft is f/8"},
		{120 * 0.3048, 15 * 0.3048, 100, 8, 1e-9, "openphotographicsociety.org: GN 120 ft at 15 ft is f/8"},
		{160 * 0.3048, 20 * 0.3048, 100, 8, 1e-9, "openphotographicsociety.org: GN 160 ft at 20 ft is f/8"},
		{30, 1.875, 100, 16, 1e-9, "sciencezero, Flash: GN 30 at f/16 reaches 1.875 m"},
	} {
		got, ok := GuideNumber(c.guide).Level(Metres(c.metres), FullPower, c.iso, c.n)
		if !ok || !close(float64(got), 0, c.tolerance) {
			t.Errorf("the level is %.4f stops off, want 0 (%s)", float64(got), c.source)
		}
	}
	// A manual printed at ISO 200: 51 m at 9 m is 5.67, printed "5.6"; factors from 200: 80 -> 0.632, 400 ->
	// 1.414, 800 -> 2, 1600 -> 2.827 (camera manual of 2001 at tv.manualsonline.com, p. 190, 3 decimals). GN goes with sqrt(S).
	at200, _ := GuideNumber(51).Level(9, FullPower, 200, 5.6)
	for _, c := range []struct {
		s         ISO
		factor    float64
		tolerance float64 // stops
		why       string
	}{
		{80, 0.632, 0.0114 + 0.0012, "ISO 80 stands for 79.37 here, 0.0114 stop in the third-stop table"},
		{400, 1.414, 0.0011, "3 decimals"},
		{800, 2, 0.0008, "3 decimals"},
		{1600, 2.827, 0.0016, "the manual prints 2.827 where the square root of 8 is 2.8284"},
	} {
		got, ok := GuideNumber(51).Level(9, FullPower, c.s, 5.6)
		if want := 2 * math.Log2(c.factor); !ok || !close(float64(got-at200), want, c.tolerance) {
			t.Errorf("%v against ISO 200 changes the level by %.4f, want %.4f (printed factor %v; %s)", c.s, float64(got-at200), want, c.factor, c.why)
		}
	}
	// GN goes with sqrt(power): half the power is one stop (derived here).
	full, _ := GuideNumber(58).Level(2, FullPower, 100, 8)
	half, ok := GuideNumber(58).Level(2, -Stop, 100, 8)
	if !ok || !close(float64(full-half), 1, 1e-9) {
		t.Errorf("half power is %v under full, want 1 stop", full-half)
	}
	for _, g := range []GuideNumber{0, -1, GuideNumber(math.NaN())} {
		if _, ok := g.Level(1, 0, 100, 8); ok {
			t.Errorf("the level of guide number %v is said to be known", float64(g))
		}
	}
	if _, ok := GuideNumber(58).Level(0, 0, 100, 8); ok {
		t.Error("the level at an unknown distance is said to be known")
	}
	if _, ok := GuideNumber(58).Level(1, 0, 0, 8); ok {
		t.Error("the level at an unknown speed is said to be known")
	}
}

func TestDistancesAreReadInMetresCentimetresAndFeet(t *testing.T) {
	for text, want := range map[string]float64{"1.2 m": 1.2, "1.2": 1.2, "120 cm": 1.2, "4 ft": 1.2192, "4FT": 1.2192, " 2 m ": 2, ".5 m": 0.5} {
		if got, err := ParseMetres(text); err != nil || !close(float64(got), want, 1e-12) {
			t.Errorf("%q is %v m, %v; want %v (1 ft is 0.3048 m exactly)", text, float64(got), err, want)
		}
	}
	for _, text := range []string{"", "m", "0 m", "-1 m", "201 m", "1e1 m", "1 2 m", "1,2 m", "near", "inf", "nan", "01 m", "4' 2"} {
		if got, err := ParseMetres(text); !errors.Is(err, ErrDistance) {
			t.Errorf("%q is read as %v, %v; it should be refused", text, got, err)
		}
	}
	// GN in feet is 3.2808 times that in metres (4 decimals, derived here).
	m, err1 := ParseGuideNumber("58")
	ft, err2 := ParseGuideNumber("190.29 ft")
	if err1 != nil || err2 != nil || !close(float64(ft/m), 1, 1e-4) {
		t.Errorf("guide number 58 and 190.29 ft are %v and %v (%v, %v), want the same", m, ft, err1, err2)
	}
	if _, err := ParseGuideNumber("big"); !errors.Is(err, ErrDistance) {
		t.Errorf("the guide number \"big\" is not refused: %v", err)
	}
	for cm := 1; cm <= 2000; cm++ {
		want := Metres(cm) / 100
		if got, err := ParseMetres(want.String()); err != nil || !close(float64(got), float64(want), 1e-9) {
			t.Fatalf("%v reads back as %v, %v", want, got, err)
		}
	}
}
