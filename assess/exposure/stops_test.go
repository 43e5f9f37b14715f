package exposure

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestLightsAddInLinearLight(t *testing.T) {
	// Equal and equal +1.000; main and -1 +0.585; -2 +0.322; -3 +0.170; -1/2 +0.772; -1/3
	// +0.843; three at -1 each +0.585 over the main (3 decimals, derived here).
	for _, c := range []struct {
		lights []Stops
		want   float64
	}{
		{[]Stops{0, 0}, 1}, {[]Stops{0, -1}, 0.585}, {[]Stops{0, -2}, 0.322}, {[]Stops{0, -3}, 0.170},
		{[]Stops{0, -0.5}, 0.772}, {[]Stops{0, -1.0 / 3}, 0.843}, {[]Stops{-1, -1, -1}, 0.585}, {[]Stops{-2.5}, -2.5},
		{[]Stops{0, -5}, 0.044},  // ambient five stops under adds 0.044
		{[]Stops{0, 0, 0, 0}, 2}, // four heads in place of one
		{[]Stops{Stops(math.Log2(800)), Stops(math.Log2(200))}, math.Log2(1000)}, // Wikipedia, Lighting ratio: 800 and 200 fc make 1000, 5:1
	} {
		if got, ok := Sum(c.lights...); !ok || !close(float64(got), c.want, 5e-4) {
			t.Errorf("the sum of %v is %v, want %.3f", c.lights, got, c.want)
		}
	}
	// Ambient: EV at ISO 100 of 5 in the room, camera at f/8, 1/160, ISO 100: adds 0.0045 stop (derived here).
	ev, _ := EV(8, 1.0/160)
	if got, _ := Sum(0, 5-ev); !close(float64(got), 0.0045, 5e-4) {
		t.Errorf("a room at EV 5 adds %.4f stop, want 0.0045", float64(got))
	}
	if _, ok := Sum(); ok {
		t.Error("no light at all is said to have a level")
	}
	if _, ok := Sum(Stops(math.NaN())); ok {
		t.Error("a light that is not a number is said to have a level")
	}
}

func TestTheOrderOfLightsDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Float64Range(-12, 6), 2, 6).Draw(t, "stops")
		lights := make([]Stops, len(v))
		for i := range v {
			lights[i] = Stops(v[i])
		}
		a, ok1 := Sum(lights...)
		back := make([]Stops, len(lights))
		for i := range lights {
			back[len(lights)-1-i] = lights[i]
		}
		b, ok2 := Sum(back...)
		if !ok1 || !ok2 || !close(float64(a), float64(b), 1e-12) {
			t.Fatalf("the sum of %v is %v, and %v in the other order", lights, a, b)
		}
		for _, l := range lights {
			if a < l {
				t.Fatalf("the sum %v of %v is under one of its lights", a, lights)
			}
		}
	})
}

func TestFactorsAndStopsAreEachOthersInverse(t *testing.T) {
	for i := -360; i <= 360; i++ {
		s := Stops(i) / 30
		if got, ok := FromFactor(s.Factor()); !ok || !close(float64(got), float64(s), 1e-12) {
			t.Errorf("%v becomes the factor %v, which is %v", s, s.Factor(), got)
		}
	}
	for _, f := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, ok := FromFactor(f); ok {
			t.Errorf("the factor %v is said to have a difference in stops", f)
		}
	}
}

func TestStopsArePrintedWithSignAndUnit(t *testing.T) {
	for _, c := range []struct {
		s    Stops
		want string
	}{
		{0, "0.00 stop"}, {-0.001, "0.00 stop"}, {2.0 / 3, "+0.67 stop"}, {-1, "-1.00 stop"}, {1.004, "+1.00 stop"}, {1.01, "+1.01 stops"}, {-2.5, "-2.50 stops"},
	} {
		if got := c.s.String(); got != c.want {
			t.Errorf("%v stops print %q, want %q", float64(c.s), got, c.want)
		}
	}
}

func TestRoundingGoesToAThousandth(t *testing.T) {
	for _, c := range []struct{ s, want Stops }{{0.12345, 0.123}, {-0.6666, -0.667}, {-0.0004, 0}, {2, 2}} {
		got := c.s.Round()
		if got != c.want || math.Signbit(float64(got)) != (c.want < 0) {
			t.Errorf("%v is rounded to %v, want %v", float64(c.s), float64(got), float64(c.want))
		}
	}
}
