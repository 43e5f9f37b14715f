package trial

import (
	"testing"

	"thirdstop/testdata"
)

// A small run for every change: whoever turns a light without a word is found out, and nobody is asked for
// nothing. The bounds leave room for chance beside what a larger run gives (derived here).
func TestUnrecordedTurnsAreAskedAbout(t *testing.T) {
	n := 4
	if !testdata.Thorough() {
		n = 2
	}
	f, err := PlayCareless(t.Context(), CarelessOptions{Studios: n, Seed: 300, Turns: 10, Own: true})
	if err != nil {
		t.Fatal(err)
	}
	shown, asked, right, holds, frames := 0, 0, 0, 0, 0
	for _, d := range f.Deeds {
		t.Logf("%+v", d)
		if d.Deed == Click {
			continue // about as small as what scatter and a cautious eye leave alone
		}
		shown, asked, right, holds, frames = shown+d.Counted, asked+d.Asked, right+d.Right, holds+d.Holds, frames+d.Frames
	}
	if shown < n {
		t.Fatalf("only %d deeds showed in %d studios", shown, n)
	}
	if asked < shown*7/10 || right < asked*7/10 {
		t.Errorf("of %d deeds %d were asked about, %d of these rightly at first; want 7 of 10 of each", shown, asked, right)
	}
	if holds > frames/10 {
		t.Errorf("%d of %d frames after a deed were called a hold while off, want a tenth at most", holds, frames)
	}
	if f.Quiet == 0 || f.Questions > f.Quiet/10 || f.Turned > f.Quiet/50 {
		t.Errorf("of %d quiet frames %d brought a question and %d advice to turn what was on target, want a tenth and a fiftieth at most", f.Quiet, f.Questions, f.Turned)
	}
}
