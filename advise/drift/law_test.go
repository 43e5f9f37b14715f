package drift

import (
	"encoding/json"
	"math"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"thirdstop/assess/exposure"
)

// anyFrames draws frames of all sorts: clean, faulty, wild, with regions and shares missing.
func anyFrames(t *rapid.T) (Setup, []Frame) {
	h := newHall(rapid.Uint64().Draw(t, "seed"), rapid.SampledFrom([]float64{0.01, 0.05, 0.1}).Draw(t, "scatter")).told()
	for i := range h.lights {
		h.lights[i].Limit = FlashesPerMinute(rapid.SampledFrom([]float64{0, 2, 20}).Draw(t, "limit"))
	}
	var out []Frame
	f := fault{}
	for range rapid.IntRange(1, 40).Draw(t, "frames") {
		switch rapid.IntRange(0, 9).Draw(t, "fault") {
		case 0:
			f = fault{}
		case 1:
			f.light[rapid.IntRange(0, 2).Draw(t, "light")] += rapid.Float64Range(-1, 1).Draw(t, "by")
		case 2:
			f.gone = rapid.IntRange(0, 3).Draw(t, "gone")
		case 3:
			f.all = rapid.Float64Range(-1, 1).Draw(t, "all")
		}
		fr := h.frame(f, rapid.SampledFrom([]float64{0, 1, 6, 300}).Draw(t, "pause"))
		fr.NewSitter = rapid.IntRange(0, 9).Draw(t, "sitter") == 0
		if rapid.Bool().Draw(t, "hue") {
			fr.Colours = []Colour{{Neutral: "backdrop", Tone: Tone{Shift: Mired(rapid.Float64Range(-30, 30).Draw(t, "mired"))}, Sigma: 3}}
		}
		for k := range fr.Residuals {
			r := &fr.Residuals[k]
			switch rapid.IntRange(0, 15).Draw(t, "region") {
			case 0:
				r.AtLeast = true
			case 1:
				r.Shares = nil
			case 2:
				r.Value = exposure.Stops(rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), 1e300, -19, 19}).Draw(t, "wild"))
			case 3:
				r.Sigma, r.Doubt = 0, 0.3
			case 4:
				r.Shares = []float64{math.NaN(), 2, -1}
			}
		}
		out = append(out, fr)
	}
	return Setup{Lights: h.lights}, out
}

func encode(t interface{ Fatal(...any) }, v any) string {
	b, err := json.Marshal(v) // refuses what is not finite
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// A state survives JSON at any frame, is never changed by what comes after, and gives the same findings again.
func TestAStateIsAValue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		setup, frames := anyFrames(t)
		s := New(setup)
		for _, f := range frames {
			before := encode(t, s)
			next, out := s.Next(f)
			if now := encode(t, s); now != before {
				t.Fatalf("frame %d changed the state before it:\n%s\n%s", f.Number, before, now)
			}
			var again State
			if err := json.Unmarshal([]byte(before), &again); err != nil {
				t.Fatal(err)
			}
			next2, out2 := again.Next(f)
			if encode(t, next2) != encode(t, next) || encode(t, out2) != encode(t, out) {
				t.Fatalf("after JSON, frame %d gives\n%s\ninstead of\n%s", f.Number, encode(t, out2), encode(t, out))
			}
			if late, none := next.Next(f); len(none) != 0 || !reflect.DeepEqual(late, next) {
				t.Fatalf("frame %d taken in twice is not taken in once", f.Number)
			}
			for _, x := range out {
				if x.Text == "" || x.Remedy == "" || x.Revision < 1 || x.ID < 1 || x.ID > next.NextID || x.Since > x.Frame || x.May == "" {
					t.Fatalf("half a finding: %+v", x)
				}
				if x.May == ChangeLight && (!x.Witnessed || len(x.Candidates) != 1 || x.Candidates[0].What != OneLight) {
					t.Fatalf("may change a light: %+v", x)
				}
			}
			if len(next.Seen) > keepSeen || len(next.Marks) > keepMarks || len(next.Good) > keepGood || len(next.Lows) > keepLows {
				t.Fatal("the state grows without end")
			}
			if f.Number%13 == 0 {
				next = next.Rebased()
			}
			s = next
		}
	})
}

// More and less light are alike to the detectors.
func TestTheDetectorsAreSymmetric(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.SampledFrom(tuned).Draw(t, "cusum")
		var a, b CusumState
		var x, y EwmaState
		for range 50 {
			z := math.Round(rapid.Float64Range(-4, 4).Draw(t, "z")*1000) / 1000
			a, b = c.Next(a, z), c.Next(b, -z)
			x, y = slowly.Next(x, z), slowly.Next(y, -z)
			if a.Up != b.Down || a.Down != b.Up || a.UpFor != b.DownFor || x.Mean != -y.Mean && x.Mean != y.Mean {
				t.Fatalf("%+v against %+v", a, b)
			}
			if a.Up < 0 || a.Down < 0 || (a.Up == 0) != (a.UpFor == 0) {
				t.Fatalf("%+v", a)
			}
		}
	})
}

// What one light does is explained by that light better than by any other, whatever its size.
func TestTheTrueCauseFitsWithoutRemainder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := newHall(1, 0).told()
		s := New(Setup{Lights: h.lights})
		light, by := rapid.IntRange(0, 2).Draw(t, "light"), rapid.Float64Range(-2, 1.5).Draw(t, "by")
		if math.Abs(by) < 0.3 {
			return
		}
		var changes []change
		for k := range h.regions {
			w := h.shares[k][light]
			changes = append(changes, change{by: exposure.Stops(math.Log2(1 + w*(math.Exp2(by)-1))), sigma: 0.02, shares: h.shares[k]})
		}
		all := s.causes(nil, changes)
		if all[0].Group != h.lights[light].Group || math.Abs(float64(all[0].Size)-by) > 0.002 {
			t.Fatalf("%s changed by %.3f; named %+v", h.lights[light].Name, by, all[0])
		}
	})
}

func BenchmarkFrame(b *testing.B) {
	h := newHall(1, 0.05).told()
	s := New(Setup{Lights: h.lights})
	for b.Loop() {
		s, _ = s.Next(h.frame(fault{}, 6))
	}
}

func BenchmarkFrameInADrift(b *testing.B) {
	h := newHall(1, 0.05).told()
	s := New(Setup{Lights: h.lights})
	f := fault{}
	for b.Loop() {
		f.light[1] = 0.4 * math.Sin(float64(h.number)/20)
		s, _ = s.Next(h.frame(f, 6))
	}
}
