package evaluate

import (
	"testing"
	"time"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
	"thirdstop/assess/tone"
)

// A bracket is learned together with that of an hour before, and not with that of the day before.
func TestBracketsOfOneSittingAreLearnedTogether(t *testing.T) {
	st := studio.Random(4711, studio.RandomOptions{Curves: studio.Cameras()[30:31]})
	take := func(over exposure.Stops) []assess.Shot {
		shots, err := bracket(st, bracketFrames, over, false)
		if err != nil {
			t.Fatal(err)
		}
		return shots
	}
	key, at := tone.Key{Model: "Quayside One"}, time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	first, err := assess.LearnBracket(take(0.5), key, at)
	if err != nil {
		t.Fatal(err)
	}
	again := take(0.42)
	for _, x := range []struct {
		after           time.Duration
		brackets, shots int
	}{{time.Hour, 2, 2 * bracketFrames}, {24 * time.Hour, 1, bracketFrames}, {-24 * time.Hour, 1, bracketFrames}} {
		l, err := assess.LearnBracket(again, key, at.Add(x.after), first.Entry.Brackets...)
		if err != nil {
			t.Fatal(err)
		}
		if len(l.Entry.Brackets) != x.brackets || l.Entry.Frames != x.shots {
			t.Errorf("after %v the curve comes of %d brackets and %d frames, want %d and %d", x.after, len(l.Entry.Brackets), l.Entry.Frames, x.brackets, x.shots)
		}
		if x.brackets == 2 && l.Fitted.EdgeSigma() >= first.Fitted.EdgeSigma() {
			t.Errorf("the edge is known to %v from two brackets, to %v from the first", l.Fitted.EdgeSigma(), first.Fitted.EdgeSigma())
		}
	}
	l := first
	for i, over := range []exposure.Stops{0.42, 0.6, 0.55} {
		if l, err = assess.LearnBracket(take(over), key, at.Add(time.Duration(i+1)*time.Minute), l.Entry.Brackets...); err != nil {
			t.Fatal(err)
		}
	}
	if n := len(l.Entry.Brackets); n != 3 || !l.Entry.Brackets[0].Taken.After(l.Entry.Brackets[2].Taken) {
		t.Errorf("after four brackets %d are kept, want the newest three, the newest first", n)
	}
}
