package sheet

import (
	"slices"
	"testing"

	"thirdstop/advise"
	"thirdstop/advise/account"
)

// The list of frames to look at again says of each why, whether the light drifted, a target was missed without any
// drift, or all targets hold and the sitter clips; a good frame is not on it for being the baseline.
func TestEveryFrameToLookAtAgainSaysWhy(t *testing.T) {
	judged := func(in bool) []advise.Expected {
		return []advise.Expected{{Name: "white reference", NowText: "-0.64", TargetText: "-0.4 to -0.05 stop", InTarget: in}}
	}
	s := sheet{}
	s.off([]account.Frame{
		{Number: 1, Judged: judged(true), OnTarget: true},
		{Number: 2, Judged: judged(true), OnTarget: true, Marks: []string{"baseline"}},
		{Number: 3, Judged: judged(false)},
		{Number: 4, Judged: judged(true)},
		{Number: 5, Judged: judged(true), OnTarget: true, Marks: []string{"drift"}},
		{Number: 6, Damaged: "it ends early", Marks: []string{"damaged"}},
	})
	want := []off{{Number: "3", What: "white reference -0.64 (target -0.4 to -0.05 stop)"}, {Number: "4", What: "more of the sitter clips than the plan allows"},
		{Number: "5", What: "the light drifted"}, {Number: "6", What: "could not be read: it ends early"}}
	if !slices.Equal(s.Off, want) {
		t.Errorf("to look at again: %+v, want %+v", s.Off, want)
	}
}
