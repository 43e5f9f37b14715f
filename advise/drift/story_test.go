package drift

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"thirdstop/assess/exposure"
)

// play runs a course of frames and collects what is found; fault and pause come by frame number.
func play(h *hall, limits bool, frames int, course func(i int) (fault, float64)) (State, []Finding) {
	if limits {
		for i := range h.lights {
			h.lights[i].Limit = 20
		}
	}
	s := New(Setup{Lights: h.lights})
	var all []Finding
	for i := 1; i <= frames; i++ {
		f, pause := course(i)
		var out []Finding
		s, out = s.Next(h.frame(f, pause))
		all = append(all, out...)
	}
	return s, all
}

func kinds(all []Finding) string {
	var out []string
	for _, x := range all {
		out = append(out, fmt.Sprintf("%d %s %s", x.Frame, x.Kind, x.Group))
	}
	return strings.Join(out, "; ")
}

func one(t *testing.T, all []Finding, kind Kind) Finding {
	t.Helper()
	i := slices.IndexFunc(all, func(x Finding) bool { return x.Kind == kind })
	if i < 0 {
		t.Fatalf("no %s among: %s", kind, kinds(all))
	}
	return all[i]
}

const key = 1

func TestASleepingLightIsToldAtOnceAndNeverAnsweredWithPower(t *testing.T) {
	s, all := play(newHall(1, 0.05).told(), false, 60, func(i int) (fault, float64) {
		if i > 40 && i <= 44 {
			return fault{gone: key + 1}, 6
		}
		return fault{}, 6
	})
	x := one(t, all, Absent)
	if x.Frame != 41 || x.Group != "B" || !x.Sure || !x.Retake || x.May != OnlyTell {
		t.Errorf("the key sleeps from frame 41 on; told: %+v", x)
	}
	for _, want := range []string{"Wake it", "trigger", "channel", "Don't turn any power up"} {
		if !strings.Contains(x.Remedy, want) {
			t.Errorf("remedy %q lacks %q", x.Remedy, want)
		}
	}
	if got := kinds(all); got != "41 light_absent B; 43 light_absent B; 45 back B" {
		t.Errorf("told: %s", got)
	}
	if len(s.Marks) != 1 || s.Marks[0].From != 41 || s.Marks[0].To != 44 {
		t.Errorf("frames 41 to 44 were off; marked: %+v", s.Marks)
	}
}

func TestOneLowFrameAfterAShortPauseWasFiredBeforeRecycled(t *testing.T) {
	_, all := play(newHall(2, 0.05).told(), false, 60, func(i int) (fault, float64) {
		f := fault{}
		if i == 41 {
			f.light[key] = -0.6
			return f, 2.5
		}
		return f, 6 + 0.1*float64(i%5)
	})
	x := one(t, all, FiredEarly)
	if len(all) != 1 || x.Frame != 41 || x.Group != "B" || !x.Retake || x.Wait != 6 {
		t.Errorf("told: %s; wait %v s, want 6: the shortest pause that was enough", kinds(all), x.Wait)
	}
	if !strings.Contains(x.Remedy, "at least 6 s") {
		t.Errorf("remedy: %s", x.Remedy)
	}
}

func TestOneLowFrameAfterTheUsualPauseIsJustOdd(t *testing.T) {
	_, all := play(newHall(3, 0.05).told(), false, 60, func(i int) (fault, float64) {
		f := fault{}
		if i == 41 {
			f.light[key] = -0.6
		}
		return f, 6
	})
	if got := kinds(all); got != "41 odd_frame B" {
		t.Errorf("told: %s", got)
	}
}

func TestATurnedDialIsAStepOfOneLight(t *testing.T) {
	_, all := play(newHall(4, 0.05).told(), false, 70, func(i int) (fault, float64) {
		f := fault{}
		if i > 40 {
			f.light[key] = -2.0 / 3
		}
		return f, 6
	})
	x := all[len(all)-1]
	if x.Kind != Step || x.Group != "B" || x.Since != 41 || !x.Sure || !x.Steady || x.May != ChangeLight {
		t.Errorf("last told: %+v", x)
	}
	if d := float64(x.Size) + 2.0/3; d > 0.08 || d < -0.08 {
		t.Errorf("the key fell by %v, told %v +/- %v", -2.0/3, x.Size, x.Sigma)
	}
	for _, y := range all {
		if y.ID != all[0].ID {
			t.Errorf("one drift is told under two numbers: %s", kinds(all))
		}
	}
}

func TestWithoutAWitnessADriftOnlyPromptsACardCheck(t *testing.T) {
	_, all := play(newHall(5, 0.05).bare(), false, 100, func(i int) (fault, float64) {
		f := fault{}
		if i > 40 {
			f.light[key] = -0.9
		}
		return f, 6
	})
	if len(all) == 0 {
		t.Fatal("a key that fell by 0.9 stop is not noticed on face and clothes")
	}
	prompts := map[int]bool{}
	for _, x := range all {
		prompts[x.ID] = true
		if x.May != CardCheck && x.Kind != Back || !strings.Contains(x.Remedy, "card") {
			t.Errorf("without a witness: %s may %s: %s", x.Kind, x.May, x.Remedy)
		}
	}
	if len(prompts) > 3 { // one per region at the most
		t.Errorf("%d prompts with one sitter: %s", len(prompts), kinds(all))
	}
}

func TestEverythingAlikeIsTheCamera(t *testing.T) {
	_, all := play(newHall(6, 0.05).told(), false, 70, func(i int) (fault, float64) {
		f := fault{}
		if i > 40 {
			f.all = -1.0 / 3
		}
		return f, 6
	})
	if x := all[len(all)-1]; x.Kind != AllLights || x.May != OnlyTell || !strings.Contains(x.Remedy, "aperture, ISO") {
		t.Errorf("last told: %+v", x)
	}
}

func TestTheWindowIsTheRoom(t *testing.T) {
	h := newHall(7, 0.03).told()
	for k := range h.shares { // more room light, and most of it on the backdrop
		room := []float64{0.25, 0.04, 0.05, 0.01}[k]
		for i := range h.shares[k] {
			h.shares[k][i] *= 1 - room
		}
	}
	_, all := play(h, false, 70, func(i int) (fault, float64) {
		f := fault{}
		if i > 40 {
			f.room = 1.5
		}
		return f, 6
	})
	if x := all[len(all)-1]; x.Kind != Ambient || x.May != OnlyTell {
		t.Errorf("last told: %+v, all: %s", x, kinds(all))
	}
}

func TestASagThatARestBringsBackIsHeatAndOneThatItDoesNotIsABattery(t *testing.T) {
	sag := func(rests bool) func(i int) (fault, float64) {
		return func(i int) (fault, float64) {
			f := fault{}
			pause := 6.0
			switch {
			case i > 40 && i < 70:
				f.light[key] = -0.02 * float64(i-40)
			case i >= 70 && !rests:
				f.light[key] = -0.02 * 30
			}
			if i == 70 {
				pause = 180
			}
			return f, pause
		}
	}
	_, hot := play(newHall(8, 0.05).told(), true, 80, sag(true))
	x := one(t, hot, Heat)
	if x.Group != "B" || x.Frame < 70 || x.Size > -0.45 || x.Size < -0.65 { // it fell to 0.58 stop
		t.Errorf("told: %s, size %v", kinds(hot), x.Size)
	}
	for _, want := range []string{"Let it rest", "less power and more ISO"} {
		if !strings.Contains(x.Remedy, want) {
			t.Errorf("remedy %q lacks %q", x.Remedy, want)
		}
	}
	for _, want := range []string{"Don't cool it by force", "never open it", "manual"} {
		if !strings.Contains(x.Caution, want) {
			t.Errorf("caution %q lacks %q", x.Caution, want)
		}
	}
	if i := slices.IndexFunc(hot, func(x Finding) bool { return x.May == ChangeLight && x.Kind == Heat }); i >= 0 {
		t.Error("heat may change a light")
	}
	_, empty := play(newHall(8, 0.05).told(), true, 80, sag(false))
	if slices.ContainsFunc(empty, func(x Finding) bool { return x.Kind == Heat }) {
		t.Errorf("output that stays low after a rest is called heat: %s", kinds(empty))
	}
	if x := one(t, empty, Battery); x.Group != "B" || x.Frame < 70 {
		t.Errorf("told: %s", kinds(empty))
	}
}

func TestManyLowFramesAreATiredFlash(t *testing.T) {
	for limit, want := range map[bool]Kind{true: Heat, false: Battery} {
		_, all := play(newHall(9, 0.05).told(), limit, 60, func(i int) (fault, float64) {
			f := fault{}
			if i > 40 && i%4 == 0 {
				f.light[key] = -0.5
			}
			return f, 6
		})
		if x := one(t, all, want); x.Group != "B" {
			t.Errorf("told: %s", kinds(all))
		}
	}
}

func TestColourAloneIsNoPower(t *testing.T) {
	h := newHall(10, 0.05).told()
	s := New(Setup{Lights: h.lights})
	var all []Finding
	for i := 1; i <= 60; i++ {
		f := h.frame(fault{}, 6)
		c := Colour{Neutral: "backdrop", Tone: Tone{Shift: Mired(2 * h.rnd.NormFloat64())}, Sigma: 2}
		if i > 40 {
			c.Shift += 15
		}
		f.Colours = []Colour{c}
		var out []Finding
		s, out = s.Next(f)
		all = append(all, out...)
	}
	if len(all) != 1 || all[0].Kind != ColourOnly || all[0].Since < 39 || all[0].Since > 42 || all[0].Tone.Shift < 11 || all[0].May != OnlyTell {
		t.Errorf("told: %+v", all)
	}
}

func TestALoadIsWarnedOfBeforeItsLimit(t *testing.T) {
	light := Light{Group: "B", Name: "Key (B)", Limit: 2} // 5 full flashes in 2.5 minutes
	s := New(Setup{Lights: []Light{light}})
	at := time.Date(2026, 5, 2, 10, 0, 0, 0, time.UTC)
	var said []string
	for i := 1; i <= 14; i++ {
		var out []Finding
		s, out = s.Next(Frame{Number: i, At: at.Add(time.Duration(10*i) * time.Second), Power: []exposure.Dial{-exposure.Stop}}) // half power
		for _, x := range out {
			said = append(said, fmt.Sprintf("%d %s %v", i, x.Kind, x.Load))
			if !strings.Contains(x.Caution, "manual") {
				t.Errorf("%s without a word of the manual: %s", x.Kind, x.Caution)
			}
		}
	}
	// Derived here: half flashes; 4 full ones after the 8th frame are 0.8 of the limit, 5.5 after the 11th over it.
	if got := strings.Join(said, "; "); got != "8 load_near 1.6; 11 load_over 2.2" {
		t.Errorf("said: %s", got)
	}
	end := at.Add(140 * time.Second)
	if n, ok := s.Loads[0].Left(light.Limit, -exposure.Stop, end.Add(time.Hour)); !ok || n != 10 {
		t.Errorf("after an hour %d half flashes fit, want 10", n)
	}
	if got := s.Loads[0].Per(light.Limit, end.Add(time.Hour)); got != 0 {
		t.Errorf("after an hour the load is %v", got)
	}
	// 20 full = 40 half = 80 quarter: energy goes with power (common practice, no source).
	for dial, want := range map[exposure.Dial]int{0: 20, -exposure.Stop: 40, -2 * exposure.Stop: 80} {
		if n, _ := (Load{}).Left(20, dial, at); n != want {
			t.Errorf("%d flashes at %v fit under 20 full ones a minute, want %d", n, dial, want)
		}
	}
}

func TestASitterIsNotAskedForACardAgainAndAgain(t *testing.T) {
	h := newHall(11, 0.05).bare()
	s := New(Setup{Lights: h.lights})
	prompts := map[int]int{} // by sitter
	for i := 1; i <= 400; i++ {
		f := fault{}
		f.all = 0.9 * float64(i/20%2) // up and down every 20 frames: someone walks to and fro
		fr := h.frame(f, 6)
		fr.NewSitter = i%200 == 1
		var out []Finding
		s, out = s.Next(fr)
		for _, x := range out {
			if x.May == CardCheck && x.Revision == 1 {
				prompts[i/201]++
			}
		}
	}
	for sitter := range 2 {
		if n := prompts[sitter]; n < 1 || n > len(h.regions) {
			t.Errorf("sitter %d was asked for a card %d times, want one to %d: once per region at most", sitter, n, len(h.regions))
		}
	}
}

func TestAnOddFrameOnFacesAloneOnlyPromptsACardCheck(t *testing.T) {
	_, all := play(newHall(12, 0.05).bare(), false, 60, func(i int) (fault, float64) {
		if i == 41 {
			return fault{all: -2}, 6
		}
		return fault{}, 6
	})
	if len(all) != 1 || all[0].Frame != 41 || all[0].May != CardCheck || !all[0].Retake || all[0].Witnessed {
		t.Errorf("told: %+v", all)
	}
}

// A shoot goes on after a drift was answered: what the plan or a new baseline explains is not told again.
func TestAfterANewBaselineTheSameLightIsNoDrift(t *testing.T) {
	h := newHall(13, 0.05).told()
	s := New(Setup{Lights: h.lights})
	for i := 1; i <= 60; i++ {
		f := fault{}
		if i > 40 {
			f.light[key] = -2.0 / 3
		}
		s, _ = s.Next(h.frame(f, 6))
	}
	if s.Open == nil {
		t.Fatal("no drift stands")
	}
	s = s.Rebased()
	if s.Open != nil {
		t.Error("the drift stands after it was explained")
	}
	for range 60 {
		var out []Finding
		if s, out = s.Next(h.frame(fault{}, 6)); len(out) > 0 { // predicted again
			t.Fatalf("told after a new baseline: %s", kinds(out))
		}
	}
	if m := s.Marks[len(s.Marks)-1]; m.To > 60 {
		t.Errorf("frames after a new baseline are marked as off: %+v", s.Marks)
	}
}
