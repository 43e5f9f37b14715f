package advise

import (
	"encoding/json"
	"testing"
	"time"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// longShoot is a state after many frames of a room with three lights, drift watched all along.
func longShoot(tb testing.TB, frames int) (*room, State) {
	r := newRoom(3, 0.05, exposure.ThirdFractions)
	s, _ := Apply(State{}, Input{Plan: &PlanText{Text: r.plan(), Name: "room.yaml"}})
	s, _ = Apply(s, Input{Reference: &Reference{Box: &assess.Box{X1: 1, Y1: 1}}})
	for n := 1; n <= frames; n++ {
		s = r.frame(s, n)
		r.follow(s.Advice)
	}
	if s.watch.Base == 0 {
		tb.Fatal("no baseline after many frames")
	}
	return r, s
}

// A frame is advised in well under 5 ms, drift watched as well.
func BenchmarkApplyWithDriftWatched(b *testing.B) {
	r, s := longShoot(b, 200)
	reading := r.reading()
	b.ReportAllocs()
	b.ResetTimer()
	for b.Loop() {
		Apply(s, Input{At: time.Date(2026, 5, 9, 12, 0, 0, 0, time.UTC), Frame: &Frame{Number: 201, Revision: 1, Reading: reading}})
	}
}

// What is kept of drift does not grow with the shoot: under 100 KB as JSON after 60 frames and after 600.
func TestDriftIsWatchedInLittleSpace(t *testing.T) {
	var sizes []int
	for _, frames := range []int{100, 400} {
		_, s := longShoot(t, frames)
		b, err := json.Marshal(s.watch)
		if err != nil {
			t.Fatal(err)
		}
		sizes = append(sizes, len(b))
	}
	if sizes[1] > 100_000 || sizes[1] > sizes[0]*12/10 {
		t.Errorf("what is kept of drift takes %d bytes after 100 frames and %d after 400; want under 100000, and no growth", sizes[0], sizes[1])
	}
	t.Log(sizes)
}
