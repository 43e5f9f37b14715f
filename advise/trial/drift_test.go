package trial

import (
	"context"
	"math"
	"reflect"
	"testing"

	"thirdstop/assess/exposure"
	"thirdstop/testdata"
)

// A small run of what `thirdstop evaluate drift` does at length: the bounds allow for few runs.
func TestDriftIsFoundAndNamedInVirtualStudios(t *testing.T) {
	testdata.Long(t)
	o := DriftOptions{Frames: 1200, Runs: 6, Faults: 3, Seed: 3, Scatters: []exposure.Stops{0.05}}
	f, err := Drift(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range both(f.Clean) {
		if c.Frames < o.Frames || c.Alarms > 1 { // the goal is 1 in 10,000
			t.Errorf("witness %v: %d findings in %d clean frames: %v", c.Witness, c.Alarms, c.Frames, c.Kinds)
		}
	}
	within, among, runs := 0, 0, 0
	for _, c := range f.Courses {
		if !c.Witness { // face and clothes: a pose is as much
			continue
		}
		within, among, runs = within+c.Within, among+c.Candidate, runs+c.Runs
	}
	if runs < 3*o.Runs || within*10 < runs*7 || among*10 < runs*9 {
		t.Errorf("of %d drifts %d were found within 6 frames, and of %d the light is among the named", runs, within, among)
	}
	cause, of := 0, 0
	for _, c := range f.Faults {
		cause, of = cause+c.Among, of+c.Runs // two regions can't tell the room from the aperture: then both are to be named
	}
	if of < 6*o.Faults || cause*10 < of*8 {
		t.Errorf("of %d faults %d were called by their name, or it was among the named: %+v", of, cause, f.Faults)
	}
}

func TestTheSameDriftOptionsGiveTheSameFigures(t *testing.T) {
	testdata.Long(t)
	o := DriftOptions{Frames: 150, Seed: 5, Scatters: []exposure.Stops{0.05}}
	a, err1 := Drift(context.Background(), o)
	b, err2 := Drift(context.Background(), o)
	if err1 != nil || err2 != nil || !reflect.DeepEqual(a, b) {
		t.Errorf("twice the same options give %+v, %v and %+v, %v", a, err1, b, err2)
	}
}

// Source: the rule of three's exact form, 1 - 0.025^(1/n), for no hits; and for 8 of 50 the interval 7.17 to 29.11 %
// that R's binom.test gives (from memory, to four digits).
func TestExactIntervals(t *testing.T) {
	if _, high := exact(0, 30000); math.Abs(high-(1-math.Pow(0.025, 1.0/30000))) > 1e-9 {
		t.Errorf("no hits in 30000: up to %g", high)
	}
	if low, high := exact(8, 50); math.Abs(low-0.0717) > 5e-4 || math.Abs(high-0.2911) > 5e-4 {
		t.Errorf("8 of 50: %g to %g, want 0.0717 to 0.2911", low, high)
	}
}
