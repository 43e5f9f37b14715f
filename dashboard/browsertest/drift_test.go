package browsertest

import (
	"testing"

	"thirdstop/advise"
	"thirdstop/dashboard/browsertest/fake"
)

// sagged is a shoot whose key has sagged over its last two frames of three.
func sagged() *fake.Shoot {
	s := rigged((*fake.Shoot).OnTarget, (*fake.Shoot).Shot, (*fake.Shoot).Shot)
	s.Change(func(st *advise.State) []advise.Event {
		st.Drift = advise.Drifting{
			Stands: []advise.Drift{{ID: 1, Kind: "slope", Frame: 3, Since: 2, Group: "B", Light: "Key (B)", Candidates: []string{"Key (B)"}, Size: -0.4, Witnessed: true, May: "light",
				Text: "Key (B) has been going down since about frame 2.", Remedy: "Look for a sagging stand.", Caution: "Lower a stand before changing its load."}},
			OffFrames: []advise.OffFrames{
				{From: 1, To: 1, Kind: "light_absent", Group: "A", Text: "Frame 1: Background (A) did not fire"},
				{From: 2, To: 3, Kind: "slope", Group: "B", ThisSitter: true, Text: "Frames 2 to 3: Key (B) changed slowly, down 0.40 stop"}},
		}
		st.Advice.Warnings = append(st.Advice.Warnings, advise.Warning{Code: "drift_slope", Text: "Key (B) has been going down since about frame 2. Look for a sagging stand."})
		for i := range st.Frames[1:] {
			st.Frames[i+1].Off = "slope"
		}
		return nil
	})
	return s
}

func TestDriftIsSaidOnceWithCauseRemedyAndCare(t *testing.T) {
	t.Parallel()
	p := open(t, 1180, 820, serve(t, sagged()).url())
	p.says("Key (B) has been going down since about frame 2.")
	p.says("Look for a sagging stand.")
	p.until("it is said once, not as a warning as well", `document.body.innerText.split('going down since about frame 2').length === 2`)
	p.press(".drifts summary")
	p.says("Lower a stand before changing its load.")
}

func TestFramesToTakeAgainAreListedAndMarked(t *testing.T) {
	t.Parallel()
	p := open(t, 1180, 820, serve(t, sagged()).url()+"#frames")
	p.until("this sitter's frames come first", `(() => { const h = [...document.querySelectorAll('.retakes h4')].map((e) => e.textContent); return h.length === 2 && h[0].includes('still there'); })()`)
	p.until("every spoiled frame carries the mark, back to the first", `[...document.querySelectorAll('.reel span')].filter((e) => e.textContent.includes('↺')).length === 3`)
	p.until("a reader is told why", `!!document.querySelector('[aria-label^="Frame 3,"][aria-label*="spoiled by drift"]')`)
	p.pressText("Frames 2 to 3: Key (B) changed slowly, down 0.40 stop")
	p.until("the first of them is shown", `document.querySelector('.reel [aria-current]').innerText.trim().startsWith('2')`)
}

// A frame that is on target is not listed as one to take again, whatever was thought of it before it was judged to its end.
func TestAFrameOnTargetIsNotToBeTakenAgain(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).OnTarget, (*fake.Shoot).OnTarget)
	s.Change(func(st *advise.State) []advise.Event {
		st.Drift.OffFrames = []advise.OffFrames{{From: 2, To: 2, Kind: "off_target", ThisSitter: true, Text: "Frame 2: off target"}}
		return nil
	})
	p := open(t, 1180, 820, serve(t, s).url()+"#frames")
	p.until("the frames are there", `document.querySelectorAll('.reel button').length === 2`)
	if eval[bool](p, `document.body.innerText.includes('off target') || !!document.querySelector('.retakes')`) {
		t.Error("frame 2 is shown on target and to be taken again")
	}
}
