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
