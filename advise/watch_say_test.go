package advise

import (
	"fmt"
	"testing"

	"thirdstop/advise/drift"
)

// Frames of this sitter that missed a target are to be taken again, in one list with those that a drift spoiled.
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
	got := ""
	for _, o := range s.drifting().OffFrames {
		got += fmt.Sprintf("%d to %d %s; ", o.From, o.To, o.Kind)
	}
	if want := "4 to 5 off_target; 7 to 7 odd_frame; 10 to 10 off_target; "; got != want {
		t.Errorf("to take again: %s, want %s", got, want)
	}
}
