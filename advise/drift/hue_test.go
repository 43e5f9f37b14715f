package drift

import (
	"math"
	"strings"
	"testing"

	"thirdstop/assess/colour"
)

// casts plays a change of colour by size mired from frame 41 on; share says by how much of it each neutral changes.
func casts(t *testing.T, size Mired, backdrop, card float64) []Finding {
	t.Helper()
	h := newHall(10, 0.05).told()
	h.lights = h.lights[:2]
	s := New(Setup{Lights: h.lights})
	var all []Finding
	for i := 1; i <= 60; i++ {
		f := Frame{Number: i}
		by := Mired(0)
		if i > 40 {
			by = size
		}
		noise := func() Mired { return Mired(h.rnd.NormFloat64()) * 2 }
		f.Colours = []Colour{
			{Neutral: "backdrop", Tone: Tone{Shift: by*Mired(backdrop) + noise()}, Sigma: 2, Shares: []float64{0.8, 0.18}},
			{Neutral: "white_reference", Tone: Tone{Shift: by*Mired(card) + noise()}, Sigma: 2, Shares: []float64{0.05, 0.9}},
		}
		var out []Finding
		s, out = s.Next(f)
		all = append(all, out...)
	}
	if n := len(s.Marks); n != 1 || s.Marks[0].From < 40 || s.Marks[0].From > 42 || s.Marks[0].To != 60 || s.Marks[0].Kind != ColourOnly {
		t.Errorf("marked: %+v, want frames 41 to 60 for their colour", s.Marks)
	}
	return all
}

func TestWhereAColourChangedSaysWhat(t *testing.T) {
	for _, c := range []struct {
		name           string
		backdrop, card float64
		want           string
	}{
		{"a gel on the key", 0.18, 0.9, "Key (B)"},
		{"a gel on the background light", 0.8, 0.05, "Background (A)"},
		{"the camera's white balance", 1, 1, "the camera's white balance"},
	} {
		all := casts(t, 25, c.backdrop, c.card)
		if len(all) == 0 {
			t.Errorf("%s: nothing was told", c.name)
			continue
		}
		x := all[len(all)-1]
		if x.Kind != ColourOnly || x.May != OnlyTell || len(x.Candidates) == 0 || x.Candidates[0].Name != c.want || !strings.Contains(x.Remedy, "No power changes") {
			t.Errorf("%s: told %s of %v: %s %s", c.name, x.Kind, x.Candidates, x.Text, x.Remedy)
		}
	}
}

func TestAColourThatComesBackIsOver(t *testing.T) {
	h := newHall(3, 0.05)
	s := New(Setup{Lights: h.lights})
	var all []Finding
	for i := 1; i <= 90; i++ {
		c := Colour{Neutral: "witness", Sigma: 2, Tone: Tone{Shift: Mired(h.rnd.NormFloat64())}}
		if i > 30 && i <= 60 {
			c.Tint -= 0.006
		}
		var out []Finding
		s, out = s.Next(Frame{Number: i, Colours: []Colour{c}})
		all = append(all, out...)
	}
	if len(all) != 2 || all[0].Kind != ColourOnly || !strings.Contains(all[0].Text, "magenta") || all[1].Kind != Back || all[1].ID != all[0].ID || s.Cast != nil {
		t.Errorf("told: %+v", all)
	}
}

// Neutrals without a change, over 20,000 frames: each of the four sums has an in-control run length of RunLength at least.
func TestColourAlarmsSeldom(t *testing.T) {
	h := newHall(4, 0.05)
	s := New(Setup{})
	n := 0
	for i := 1; i <= 20_000; i++ {
		tone := func() Tone {
			return Tone{Shift: Mired(2 * h.rnd.NormFloat64()), Tint: worthTint / Duv(worthShift) * Duv(2*h.rnd.NormFloat64())}
		}
		var out []Finding
		s, out = s.Next(Frame{Number: i, Colours: []Colour{{Neutral: "backdrop", Tone: tone(), Sigma: 2}, {Neutral: "witness", Tone: tone(), Sigma: 2}}})
		n += len(out)
	}
	if n > 3 { // one is expected; more than three come in 2 % of runs (Poisson)
		t.Errorf("%d findings in 20,000 frames without a change of colour", n)
	}
}

// What is worth a finding looks alike on both scales, and is seen: a shift of [worthShift] and a tint of [worthTint] from D65 as
// CIEDE2000, which the colour room holds against the pairs of Sharma, Wu & Dalal 2005.
func TestWhatIsWorthAFindingCanBeSeen(t *testing.T) {
	base, err := colour.TemperatureOf(colour.D65)
	if err != nil {
		t.Fatal(err)
	}
	differs := func(u, v float64) float64 {
		d65, _ := colour.D65.UV()
		x, y := 3*(d65.U+u)/(2*(d65.U+u)-8*(d65.V+v)+4), 2*(d65.V+v)/(2*(d65.U+u)-8*(d65.V+v)+4) // CIE 1960, inverted
		return float64(colour.CIEDE2000(colour.Lab{L: 100}, colour.XyY{X: x, Y: y, Lum: 1}.XYZ().Lab(colour.D65)))
	}
	along := colour.Planck((base.CCT.Mired() + colour.Mired(worthShift)).Kelvin())
	from := colour.Planck(base.CCT)
	du, dv := along.U-from.U, along.V-from.V
	shift := differs(du, dv)
	n := math.Hypot(du, dv)
	tint := differs(-dv/n*float64(worthTint), du/n*float64(worthTint))
	t.Logf("CIEDE2000 of %v mired: %.2f; of a Duv of %v: %.2f", worthShift, shift, worthTint, tint)
	if shift < 1 || tint < 1 || math.Abs(shift-tint) > 0.35*shift {
		t.Errorf("CIEDE2000 of %v mired is %.2f, of a Duv of %v %.2f; both should be over 1 and near each other", worthShift, shift, worthTint, tint)
	}
}
