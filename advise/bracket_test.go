package advise

import (
	"math"
	"strings"
	"testing"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
	"thirdstop/assess/tone"
)

// bench is a set before a camera: part of it clips from so many stops under the longest useful time.
type bench struct {
	s State
	n int
}

func newBench() *bench {
	b := &bench{}
	b.s, _ = Apply(State{Phase: Begun}, Input{Bracket: &BracketInput{Do: BracketBegin}})
	return b
}

// take brings a frame of a shutter time; what is over 1/8 s clips, and the more so the longer it is.
func (b *bench) take(t exposure.Shutter, change func(f *Frame)) *Bracket {
	program, white, n, iso := 1, 1, exposure.FNumber(8), exposure.ISO(100)
	over := math.Log2(float64(t) * 8)
	r := &assess.Reading{Kind: assess.Full, Exif: assess.Exif{ExposureTime: &t, Program: &program, WhiteBalance: &white, FNumber: &n, ISO: &iso},
		ClippedShare: assess.Shares{Any: min(max(over, 0)*0.1, 1)}}
	b.n++
	f := Frame{Number: b.n, Revision: 1, Reading: r, Sight: &Sight{}}
	if change != nil {
		change(&f)
	}
	b.s, _ = Apply(b.s, Input{Frame: &f})
	return b.s.Bracket
}

// What can't serve is refused with its reason, and the guide waits on.
func TestFramesThatCantServeAreRefused(t *testing.T) {
	auto, zero := 2, 0
	for _, tc := range []struct {
		why    string
		change func(f *Frame)
	}{
		{"manual exposure", func(f *Frame) { f.Reading.Exif.Program = &auto }},
		{"white balance was automatic", func(f *Frame) { f.Reading.Exif.WhiteBalance = &zero }},
		{"a flash fired", func(f *Frame) { f.Reading.Exif.Flash = &assess.Flash{Fired: true} }},
		{"exposure time was not recorded", func(f *Frame) { f.Reading.Exif.ExposureTime = nil }},
		{"ISO 200", func(f *Frame) { v := exposure.ISO(200); f.Reading.Exif.ISO = &v }},
		{"f/5.6", func(f *Frame) { v := exposure.FNumber(5.6); f.Reading.Exif.FNumber = &v }},
		{"that of frame 1", func(f *Frame) { v := exposure.Shutter(1.0 / 6); f.Reading.Exif.ExposureTime = &v }},
		{"nearly all of it clips", func(f *Frame) { f.Reading.ClippedShare.Any = 0.97 }},
		{"moved", func(f *Frame) { f.Sight.Moved = true }},
		{"another camera", func(f *Frame) { f.Sight.Why = "it is from another camera." }},
		{"not as a camera wrote it", func(f *Frame) { f.Reading.Labels = []assess.Label{{Code: photo.LabelExport}} }},
		{"as phones set them", func(f *Frame) { f.Reading.Labels = []assess.Label{{Code: photo.LabelOwnTones}} }},
		{"raw file", func(f *Frame) { f.Reading.Kind = assess.Approximate }},
	} {
		b := newBench()
		b.take(1.0/6, nil)
		got := b.take(1.0/8, tc.change)
		if !got.Fault || got.Good != 1 || !strings.Contains(got.Says, tc.why) {
			t.Errorf("a frame that can't serve: %d good, %q; want 1 and a word of %q", got.Good, got.Says, tc.why)
		}
		if next := b.take(1.0/8, nil); next.Good != 2 || next.Fault {
			t.Errorf("after %q the frame as asked is refused: %s", tc.why, next.Says)
		}
	}
}

// From wherever it begins, the guide sees the edge in thirds of a stop from both sides, then goes down in stops, in five to nine frames.
func TestTheGuideAsksForThirdsAboutTheEdgeAndThenForStops(t *testing.T) {
	for _, begin := range []exposure.Shutter{1.0 / 2, 1.0 / 4, 1.0 / 5, 1.0 / 6, 1.0 / 30} {
		b := newBench()
		var times []float64
		next := begin
		for b.n < 20 && !b.s.Bracket.Ready {
			x := b.take(next, nil)
			if x.Ready {
				break
			}
			if next = x.Next; next == 0 {
				t.Fatalf("from %v: nothing is asked for after %d frames: %q", begin, b.n, x.Do)
			}
		}
		for _, f := range b.s.Bracket.Frames {
			if tv, _ := f.Shutter.Tv(); f.Serves {
				times = append(times, float64(tv))
			}
		}
		near, over, under := 0, 0, 0
		for _, v := range times {
			if math.Abs(v-3) < 0.5 {
				near++
			}
			if v < 3 {
				over++
			}
			if v > 4.2 {
				under++
			}
		}
		if n := len(times); n < bracketLeast || n > bracketMost || near < 3 || over < 1 || under < 2 {
			t.Errorf("from %v: %d frames at time values %v, want 5 to 9, three within half a stop of the edge at 3, one over it and two stops under it", begin, n, times)
		}
	}
}

// A frame of the guide changes nothing but the guide; leaving it gives the next frame back to the shoot.
func TestTheGuideCanBeLeftAtAnyTime(t *testing.T) {
	b := newBench()
	b.take(1.0/6, nil)
	if f := b.s.Frames[0]; f.Aside == "" || b.s.Shutter != 0 {
		t.Errorf("the frame is %q aside and the camera stands at %v, want a reason and nothing learned of it", f.Aside, b.s.Shutter)
	}
	b.s, _ = Apply(b.s, Input{Bracket: &BracketInput{Do: BracketLeave}})
	b.take(1.0/125, nil)
	if f := b.s.Frames[1]; b.s.Bracket != nil || f.Aside != "" || b.s.Shutter != 1.0/125 {
		t.Errorf("after leaving, frame 2 is %q aside", f.Aside)
	}
}

// Under another curve a level is what its code value shows there, so that taking it there and back changes
// nothing; the edge stays the edge.
func TestALevelGoesToAnotherCurveAndBack(t *testing.T) {
	for v := exposure.Stops(-7); v < 0; v += 0.37 {
		there := assess.Relevelled(v, tone.Default(), tone.SRGB())
		if back := assess.Relevelled(there, tone.SRGB(), tone.Default()); math.Abs(float64(back-v)) > 0.003 {
			t.Errorf("%v is %v under the other curve and %v back again", v, there, back)
		}
		// The source is the definition of both: the code that shows v.
		if want, _ := tone.SRGB().Stops(1, tone.Default().Code(1, math.Exp2(float64(v))), 0); math.Abs(float64(want-there)) > 0.002 {
			t.Errorf("%v becomes %v, want %v", v, there, want)
		}
	}
	if v := assess.Relevelled(0, tone.Default(), tone.SRGB()); v != 0 {
		t.Errorf("the edge becomes %v", v)
	}
}
