package tone

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
)

// Decoded sRGB codes: the transfer function of IEC 61966-2-1, computed to six decimals with the
// colour-science library's constants, whose own test has sRGB(0.18) = 0.461356129500442.
func TestPlainSRGBDecodesAsTheStandard(t *testing.T) {
	for _, tc := range []struct{ code, light float64 }{
		{118, 0.181164}, {128, 0.215861}, {188, 0.502886}, {200, 0.577580}, {235, 0.830770},
		{240, 0.871367}, {250, 0.955973}, {254, 0.991102}, {255, 1}, {0, 0},
		{10, 10.0 / 255 / 12.92}, // the straight part
	} {
		if got := SRGB().Linear(0, tc.code); math.Abs(got-tc.light) > 1e-6 {
			t.Errorf("code %v is %.7f of the edge, want %.6f (IEC 61966-2-1)", tc.code, got, tc.light)
		}
	}
	if got := SRGB().Code(1, 0.18) / White; math.Abs(got-0.461356129500442) > 2e-5 {
		t.Errorf("light 0.18 is code %.6f of 1, want 0.461356 (colour-science test suite)", got)
	}
	// Stops under the edge to codes, two decimals.
	for stops, code := range map[float64]float64{-1.0 / 3: 230.31, -0.5: 218.83, -1: 187.52, -2: 136.96, -3: 99.09} {
		if got := SRGB().Code(1, math.Exp2(stops)); math.Abs(got-code) > 0.006 {
			t.Errorf("%.3f stops is code %.3f, want %.2f (sRGB, derived from the standard)", stops, got, code)
		}
	}
}

func curves(t *testing.T) map[string]*Curve {
	learned, err := Learned("test-1", []Knot{{8, -8, 0.3}, {40, -5, 0.1}, {120, -3, 0.05}, {200, -1.5, 0.05}, {240, -0.6, 0.1}, {255, 0, 0.2}})
	if err != nil {
		t.Fatal(err)
	}
	three, err := Learned("test-3",
		[]Knot{{5, -9, 0.3}, {100, -3.1, 0.1}, {255, 0, 0.2}},
		[]Knot{{5, -9, 0.3}, {100, -3, 0.1}, {255, 0, 0.2}},
		[]Knot{{5, -9, 0.3}, {100, -2.9, 0.1}, {255, 0, 0.2}})
	if err != nil {
		t.Fatal(err)
	}
	return map[string]*Curve{"default": Default(), "sRGB": SRGB(), "learned": learned, "learned by channel": three}
}

// A curve rises strictly, from 0 to 1, and back from light to code gives the code (law).
func TestCurvesRiseAndInvert(t *testing.T) {
	for name, c := range curves(t) {
		for ch := range 3 {
			if c.Linear(ch, 0) != 0 || c.Linear(ch, White) != 1 || c.Linear(ch, 300) != 1 || c.Linear(ch, -5) != 0 || c.Linear(ch, math.NaN()) != 0 {
				t.Errorf("%s: the ends are %v and %v, want 0 and 1", name, c.Linear(ch, 0), c.Linear(ch, White))
			}
		}
		rapid.Check(t, func(t *rapid.T) {
			ch := rapid.IntRange(0, 2).Draw(t, "channel")
			a := rapid.Float64Range(0, 254.9).Draw(t, "code")
			b := a + rapid.Float64Range(0.01, 255-a).Draw(t, "more")
			if la, lb := c.Linear(ch, a), c.Linear(ch, b); !(lb > la) {
				t.Fatalf("%s: code %v has light %v and %v has %v: not rising", name, a, la, b, lb)
			}
			if back := c.Code(ch, c.Linear(ch, a)); math.Abs(back-a) > 2e-3 {
				t.Fatalf("%s: code %v came back as %v", name, a, back)
			}
		})
	}
}

// The second-order mean against its slow twin, the mean of a great many samples of
// normal noise (derived here; seed 1).
func TestMeanOfNoisySamples(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for name, c := range curves(t) {
		if name == "learned" || name == "learned by channel" {
			continue // piecewise cubics have no smooth second derivative to compare by
		}
		for _, mean := range []float64{40, 90, 160, 220} {
			for _, sd := range []float64{2, 5, 9} {
				var sum, light, square float64
				const n = 200_000
				for range n {
					v := mean + sd*rng.NormFloat64()
					sum, square, light = sum+v, square+v*v, light+c.Linear(1, v)
				}
				m := sum / n
				want := exposure.Stops(math.Log2(light / n))
				got, _ := c.Stops(1, m, square/n-m*m)
				if math.Abs(float64(got-want)) > 0.012 {
					t.Errorf("%s: codes %v ± %v have a mean level of %.4f stops, want %.4f", name, mean, sd, float64(got), float64(want))
				}
			}
		}
	}
}

// Whatever the variance, a mean stays between no light and the edge (fuzzed law).
func TestMeanStaysInRange(t *testing.T) {
	for name, c := range curves(t) {
		rapid.Check(t, func(t *rapid.T) {
			m := rapid.Float64Range(0, 255).Draw(t, "mean")
			v := rapid.Float64Range(0, 128*128).Draw(t, "variance")
			if l := c.Mean(1, m, v); !(l >= 0 && l <= 1) {
				t.Fatalf("%s: mean %v, variance %v has light %v", name, m, v, l)
			}
			if l, s := c.Stops(1, m, v); !(l >= Floor && l <= 0 && s >= 0 && s <= maxSigma) {
				t.Fatalf("%s: mean %v, variance %v has level %v ± %v", name, m, v, l, s)
			}
		})
	}
}

// The default's sigma is about as large as its errors on cameras it doesn't know: over seven curves
// of other families and all codes clear of black, errors in sigmas have a root mean square of about 1, and none
// is over 2.8. And it grows into the shadows; at the edge it doesn't fall under 0.2, for where a
// camera's edge is in light is itself unknown.
func TestDefaultKnowsHowWrongItIs(t *testing.T) {
	c := Default()
	var sum float64
	n := 0
	for _, k := range studio.Curves() {
		for code := 20.0; code <= 250; code += 5 {
			z := (float64(c.level(1, code)) - math.Log2(k.Light(code))) / float64(c.Sigma(1, code))
			if math.Abs(z) > 2.8 {
				t.Errorf("%v: at code %v the default is off by %.1f of its sigmas, want at most 2.8", k, code, z)
			}
			sum += z * z
			n++
		}
	}
	if rms := math.Sqrt(sum / float64(n)); rms < 0.6 || rms > 1.6 {
		t.Errorf("the default's errors on unknown cameras are %.2f of its sigmas, want 0.6 to 1.6", rms)
	}
	if a, b := c.Sigma(1, 6), c.Sigma(1, 40); a <= b {
		t.Errorf("sigma is %v at code 6 and %v at code 40, must grow into the shadows", a, b)
	}
	if s := c.Sigma(1, 255); s < 0.2 || s > 0.45 {
		t.Errorf("sigma at the edge is %v, want 0.2 to 0.45", s)
	}
}

// What JSON writes, JSON reads back, to the same light at every code.
func TestCurvesSurviveJSON(t *testing.T) {
	for name, c := range curves(t) {
		text, err := json.Marshal(c)
		if err != nil {
			t.Fatal(err)
		}
		var back Curve
		if err := json.Unmarshal(text, &back); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if back.Name() != c.Name() || back.Source() != c.Source() {
			t.Errorf("%s came back as %s (%s)", name, back.Name(), back.Source())
		}
		for code := 0.0; code <= 255; code += 0.37 {
			for ch := range 3 {
				if back.Linear(ch, code) != c.Linear(ch, code) || back.Sigma(ch, code) != c.Sigma(ch, code) {
					t.Fatalf("%s differs at code %v, channel %d", name, code, ch)
				}
			}
		}
	}
}

func TestBadCurvesAreRefused(t *testing.T) {
	good := []Knot{{8, -8, 0}, {100, -3, 0}, {255, 0, 0}}
	for why, channels := range map[string][][]Knot{
		"no channel":       {},
		"two channels":     {good, good},
		"two knots":        {{{8, -8, 0}, {255, 0, 0}}},
		"falls":            {{{8, -8, 0}, {100, -3, 0}, {120, -3.5, 0}, {255, 0, 0}}},
		"stands still":     {{{8, -8, 0}, {100, -3, 0}, {120, -3, 0}, {255, 0, 0}}},
		"begins too high":  {{{60, -4, 0}, {100, -3, 0}, {255, 0, 0}}},
		"ends under white": {{{8, -8, 0}, {100, -3, 0}, {250, 0, 0}}},
		"ends under 0":     {{{8, -8, 0}, {100, -3, 0}, {255, -0.1, 0}}},
		"not a number":     {{{8, -8, 0}, {100, exposure.Stops(math.NaN()), 0}, {255, 0, 0}}},
		"negative sigma":   {{{8, -8, -1}, {100, -3, 0}, {255, 0, 0}}},
	} {
		if _, err := Learned("bad", channels...); !errors.Is(err, ErrCurve) {
			t.Errorf("%s: the error is %v, want one that is ErrCurve", why, err)
		}
	}
	if _, err := Learned("", good); !errors.Is(err, ErrCurve) {
		t.Errorf("a curve without a name gave %v", err)
	}
	for _, text := range []string{`{"name":"default-9","source":"default"}`, `{"name":"x","source":"raw","channels":[[]]}`, `7`} {
		var c Curve
		if err := json.Unmarshal([]byte(text), &c); err == nil {
			t.Errorf("%s was taken for a curve", text)
		}
	}
}

// Any bytes are refused or give a curve that rises and writes itself back.
func FuzzCurveJSON(f *testing.F) {
	f.Add([]byte(`{"name":"default-1","source":"default"}`))
	f.Add([]byte(`{"name":"x","source":"learned","channels":[[{"code":8,"level_stops":-8,"sigma_stops":0},{"code":100,"level_stops":-3,"sigma_stops":0},{"code":255,"level_stops":0,"sigma_stops":0}]]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var c Curve
		if json.Unmarshal(data, &c) != nil || c.name == "" {
			return
		}
		for code := 0; code < 255; code++ {
			if !(c.Linear(1, float64(code+1)) >= c.Linear(1, float64(code))) {
				t.Fatalf("the curve falls after code %d", code)
			}
		}
		text, err := json.Marshal(&c)
		var back Curve
		if err != nil || json.Unmarshal(text, &back) != nil || back.Linear(0, 77.7) != c.Linear(0, 77.7) {
			t.Fatalf("%s did not come back (%v)", text, err)
		}
	})
}
