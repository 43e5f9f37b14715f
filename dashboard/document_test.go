package dashboard

import (
	"strings"
	"testing"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
	"thirdstop/assess"
)

// Advice that newer frames have overtaken, or that none can follow, says so.
func TestAdviceThatIsNotCurrentSaysSo(t *testing.T) {
	state := advise.State{Advice: advise.Advice{Frame: 7, Status: advise.Adjust, Headline: "Key (B): power up 1 stop, set 1/8"}}
	for _, tc := range []struct {
		name string
		snap shoot.Snapshot
		want []string // none: current
	}{
		{"all is well", shoot.Snapshot{State: state}, nil},
		{"a trouble with one file", shoot.Snapshot{State: state, Troubles: []shoot.Trouble{{Code: "damaged"}}}, nil},
		{"frames go unrecorded", shoot.Snapshot{State: state, Unrecorded: &advise.FrameState{Number: 8}}, []string{"can't be recorded", "frame 7"}},
		{"the folder is gone", shoot.Snapshot{State: state, Troubles: []shoot.Trouble{{Code: "folder-gone"}}}, []string{"folder is gone", "frame 7"}},
	} {
		got := adviceOld(&tc.snap)
		if (got == "") != (tc.want == nil) {
			t.Errorf("%s: adviceOld = %q", tc.name, got)
		}
		for _, w := range tc.want {
			if !strings.Contains(got, w) {
				t.Errorf("%s: adviceOld = %q lacks %q", tc.name, got, w)
			}
		}
	}
}

// What a preview tells stands beside the advice that holds, never in its place.
func TestAPreviewStandsBesideTheAdvice(t *testing.T) {
	srv := &Server{}
	snap := shoot.Snapshot{State: advise.State{Seq: 3, Advice: advise.Advice{Frame: 7, Status: advise.Hold}},
		Provisional: &shoot.Provisional{Frame: advise.FrameState{Number: 8, Reading: &assess.Reading{Kind: assess.Provisional}},
			Advice: advise.Advice{Frame: 8, Status: advise.Adjust}}}
	d := srv.document(&snap)
	if d.Advice.Frame != 7 || d.State != 3 || d.Frame != nil {
		t.Errorf("the advice is that of frame %d in state %d", d.Advice.Frame, d.State)
	}
	if p := d.Provisional; p == nil || p.Number != 8 || p.Advice.Status != advise.Adjust || p.Reading.Kind != assess.Provisional {
		t.Errorf("the preview reads %+v", p)
	}
	snap.Provisional = nil
	if srv.document(&snap).Provisional != nil {
		t.Error("a preview is told where there is none")
	}
}
