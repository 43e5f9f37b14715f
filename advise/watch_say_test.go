package advise

import (
	"fmt"
	"strings"
	"testing"

	"thirdstop/advise/drift"
)

// Frames that missed a target are to be taken again, in one list with those that a drift spoiled: of this sitter now, and of those
// before at the end, however long the shoot was.
func TestFramesOffTargetAreToBeTakenAgain(t *testing.T) {
	judged := []Expected{{}}
	s := State{Frames: []FrameState{
		{Number: 1, Expected: judged}, // before the baseline
		{Number: 2, Expected: judged, OnTarget: true},
		{Number: 3, Expected: judged}, // of another sitter
		{Number: 4, Expected: judged},
		{Number: 5, Expected: judged},
		{Number: 6, Expected: judged, OnTarget: true},
		{Number: 7, Expected: judged}, // marked
		{Number: 8},                   // not judged
		{Number: 9, Expected: judged, Aside: "the floor"},
		{Number: 10, Expected: judged},
	}}
	s.watch.Base, s.watch.Since = 2, 4
	s.watch.Drift.Marks = []drift.Mark{{From: 7, To: 7, Kind: drift.OddFrame}}
	list := func() (got string) {
		s.noteMissed()
		for _, o := range s.drifting().OffFrames {
			got += fmt.Sprintf("%d to %d %s %v; ", o.From, o.To, o.Kind, o.ThisSitter)
		}
		return got
	}
	const want = "3 to 3 off_target false; 4 to 5 off_target true; 7 to 7 odd_frame true; 10 to 10 off_target true; "
	if got := list(); got != want {
		t.Errorf("to take again: %s, want %s", got, want)
	}
	s.Frames = append(s.Frames[7:], FrameState{Number: 11, Expected: judged}) // older ones are not carried any more
	if got, want := list(), strings.Replace(want, "10 to 10", "10 to 11", 1); got != want {
		t.Errorf("to take again, later: %s, want %s", got, want)
	}
	s.Frames[len(s.Frames)-1].OnTarget = true // measured again
	s, _ = Apply(s, Input{Session: &Session{Phase: Ended}})
	if got := list(); got != want {
		t.Errorf("to take again, measured anew: %s, want %s", got, want)
	}
}

// Beside something to turn no warning says to change nothing, and where the lights are to be recorded none speaks of the same change.
func TestWarningsOfDriftDoNotContradictTheAdvice(t *testing.T) {
	const seen, leave = "Frame 2 alone is off: Key (B) down 1.04 stops.", "Take it again, and change nothing for one frame."
	s := State{Drift: Drifting{Stands: []Drift{{Kind: string(drift.OddFrame), Frame: 2, May: string(drift.OnlyTell), Text: seen, Remedy: leave}}}}
	for _, c := range []struct {
		status  Status
		recheck bool
		want    string
	}{{Hold, false, seen + " " + leave}, {Adjust, false, seen}, {Look, true, ""}} {
		s.recheck = c.recheck
		got := ""
		for _, w := range s.driftWarnings(Advice{Status: c.status}) {
			got += w.Text
		}
		if got != c.want {
			t.Errorf("beside %s, recheck %v, the warnings say %q, want %q", c.status, c.recheck, got, c.want)
		}
	}
	s.Drift.Stands[0].Kind, s.recheck = string(drift.Slope), false
	if got := s.driftWarnings(Advice{Status: Adjust}); len(got) != 1 || !strings.HasSuffix(got[0].Text, leave) {
		t.Errorf("of a slope beside an adjustment the warnings are %v, want what to do as well", got)
	}
}
