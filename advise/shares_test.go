package advise

import (
	"math"
	"testing"
	"time"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// shot is a frame of a white backdrop at a level, by its number, with no more in it.
func backdropFrame(n int, level exposure.Stops) Input {
	f, a, iso := exposure.FNumber(8), exposure.Shutter(1.0/125), exposure.ISO(100)
	r := &assess.Reading{Version: assess.FormatVersion, Width: 6000, Height: 4000, Kind: assess.Full,
		Exif: assess.Exif{FNumber: &f, ExposureTime: &a, ISO: &iso}}
	r.Regions.Backdrop = &assess.Backdrop{Level: assess.Level{Value: level, Sigma: 0.05}, WhiteFloor: level, FloorSigma: 0.05, Confidence: 1, Share: 0.6}
	return Input{At: time.Date(2026, 11, 25, 10, 0, n*10, 0, time.UTC), Frame: &Frame{Number: n, Revision: 1, File: "f", Reading: r}}
}

const twoLights = "version: 1\ncamera: {aperture: f/8, shutter: 1/125, iso: 100}\nbackdrop: {colour: white}\nlights:\n" +
	"  - {role: background, group: A, power: 1/8, clicks: thirds}\n  - {role: key, group: B, power: 1/8, clicks: thirds}\n"

func applied(s State, inputs ...Input) State {
	for _, in := range inputs {
		s, _ = Apply(s, in)
	}
	return s
}

func TestSharesOfARegionAddUpToOne(t *testing.T) {
	s := applied(State{}, Input{Plan: &PlanText{Text: twoLights, Name: "p"}})
	if got := s.RegionLights(); got != nil {
		t.Errorf("before the first frame the shares are %v, want none", got)
	}
	s = applied(s, backdropFrame(1, -0.6))
	seen := map[string]bool{}
	for _, r := range s.RegionLights() {
		seen[r.Region] = true
		sum := r.Ambient
		for _, l := range r.Lights {
			if l.Share < 0 || l.Share > 1 {
				t.Errorf("%s: the share of %s is %g", r.Region, l.Group, l.Share)
			}
			sum += l.Share
		}
		if math.Abs(sum-1) > 0.003 {
			t.Errorf("%s: the shares add up to %.4f, want 1 to the thousandth of each", r.Region, sum)
		}
		if r.Region == "backdrop" && r.Assumed {
			t.Error("a frame has shown the backdrop, and its shares count as assumed")
		}
		if r.Region == "sitter" && !r.Assumed {
			t.Error("no frame has shown the sitter, and its shares count as measured")
		}
	}
	if !seen["backdrop"] || !seen["sitter"] || seen["white"] || seen["hair"] {
		t.Errorf("told are the regions %v; want backdrop and sitter, no white reference that nobody declared and no hair without its light", seen)
	}
}

// A light that is switched off gives nothing; the one that is turned up by a stop
// and gives all the backdrop's light makes the next frame a stop lighter (light adds in linear light).
func TestWhatWasForetoldIsComparedWithWhatCame(t *testing.T) {
	off := true
	s := applied(State{}, Input{Plan: &PlanText{Text: twoLights, Name: "p"}}, Input{Adjusted: &Adjusted{Group: "B", To: -90, From: -90, Off: &off}},
		backdropFrame(1, -2.5), backdropFrame(2, -2.5))
	before := s.RegionLights()[0].Before
	if before == nil || before.Frame != 2 || math.Abs(float64(before.Level-(-2.5))) > 0.15 || before.Measured != -2.5 {
		t.Fatalf("of the second frame was foretold %+v, want -2.5 as the first one was", before)
	}
	at := Input{At: time.Date(2026, 11, 25, 10, 0, 27, 0, time.UTC), Adjusted: &Adjusted{Group: "A", From: -90, To: -60}}
	s = applied(s, at, backdropFrame(3, -1.5)) // sooner than the advice that came of it could be followed
	r := s.RegionLights()[0]
	if r.Before == nil || math.Abs(float64(r.Before.Level-(-1.5))) > 0.25 {
		t.Errorf("after a stop more was foretold %+v, want about -1.5", r.Before)
	}
	if r.Lights[1].Share != 0 {
		t.Errorf("a light that is off has the share %g", r.Lights[1].Share)
	}
}

func TestEveryFrameIsRememberedOnceWithItsLights(t *testing.T) {
	s := applied(State{}, Input{Plan: &PlanText{Text: twoLights, Name: "p"}}, backdropFrame(1, -2.5))
	first := s
	s = applied(s, Input{At: time.Date(2026, 11, 25, 10, 0, 28, 0, time.UTC), Adjusted: &Adjusted{Group: "A", From: -90, To: -60}}, backdropFrame(3, -1.5), backdropFrame(2, -2.5))
	again := backdropFrame(1, -2.4)
	again.Frame.Revision = 2
	s = applied(s, again)
	if old, _ := first.PastAfter(0, 10); len(old) != 1 || old[0].Levels[0].Stops != -2.5 {
		t.Errorf("a state that was handed out changed: %+v", old)
	}
	past, _ := s.PastAfter(0, 10)
	if len(past) != 3 {
		t.Fatalf("%d frames are remembered, want 3", len(past))
	}
	for i, p := range past {
		if p.Number != i+1 {
			t.Errorf("at place %d is frame %d; they must be in order", i, p.Number)
		}
	}
	if p := past[0]; p.Levels[0].Stops != -2.4 || p.Lights[0].Power != -90 {
		t.Errorf("the first frame's revision is remembered as %+v, want its new level and its old light", p)
	}
	if p := past[2]; p.Lights[0].Power != -60 {
		t.Errorf("the third frame is remembered with light A at %d, want -60", p.Lights[0].Power)
	}
}

func TestAnotherModifierIsReckonedWith(t *testing.T) {
	s := applied(State{}, Input{Plan: &PlanText{Text: twoLights, Name: "p"}}, backdropFrame(1, -2.5))
	box, right := "softbox 60 x 90 cm", Degrees(35)
	moved := applied(s, Input{Adjusted: &Adjusted{Group: "B", From: -90, To: -90, Bearing: &right}})
	if moved.Lights[1].Bearing == nil || *moved.Lights[1].Bearing != 35 || moved.RegionLights() == nil {
		t.Errorf("a light that was moved around the sitter is %+v; its bearing must be kept, and what was learned stays", moved.Lights[1])
	}
	if s.Lights[1].Bearing != nil {
		t.Error("the state before changed")
	}
	other := applied(s, Input{Adjusted: &Adjusted{Group: "B", From: -90, To: -90, Modifier: &box}})
	if other.Lights[1].Modifier != box {
		t.Errorf("under another modifier the light is %+v", other.Lights[1])
	}
	// A softbox takes 1 to 3 stops: the sitter's light, most of it the key's, falls by nearly 2.
	before, after := s.RegionLights()[1], other.RegionLights()[1]
	if d := after.Level - before.Level; after.Region != "sitter" || d > -1 || d < -2.2 {
		t.Errorf("a softbox on the key takes the %s from %v to %v, want 1 to 2.2 stops less", after.Region, before.Level, after.Level)
	}
}

func TestBearingsReadAsPeopleSayThem(t *testing.T) {
	for d, want := range map[Degrees]string{0: "at the camera", 35: "35° to the camera's right", -90: "90° to the camera's left", 180: "behind the sitter", -180: "behind the sitter", 270: "90° to the camera's left"} {
		if got := d.Normal().String(); got != want {
			t.Errorf("%g degrees reads %q, want %q", float64(d), got, want)
		}
	}
}

func TestManyFramesAreRememberedInOrderWhateverCameLate(t *testing.T) {
	s := applied(State{}, Input{Plan: &PlanText{Text: twoLights, Name: "p"}})
	var order []int
	for n := 1; n <= 150; n++ {
		if n%10 == 0 {
			continue
		}
		order = append(order, n)
		if n%10 == 5 {
			order = append(order, n-n%10) // 10, 20 ... come five frames late; 0 is none
		}
	}
	for _, n := range order {
		if n > 0 {
			s = applied(s, backdropFrame(n, -2.5))
		}
	}
	got := 0
	for after, more := 0, true; more; {
		var page []PastFrame
		page, more = s.PastAfter(after, 40)
		for _, p := range page {
			if p.Number <= after {
				t.Fatalf("after frame %d comes frame %d", after, p.Number)
			}
			after = p.Number
			got++
		}
	}
	if got != 149 {
		t.Errorf("%d frames are remembered, want 149: 150 but the one that never came", got)
	}
}

// Half of what was advised, recorded on the page, is not taken for all of it: the frame shows just the step that was recorded.
func TestARecordedPartOfTheAdviceIsNotTakenForAllOfIt(t *testing.T) {
	off := true
	s := applied(State{}, Input{Plan: &PlanText{Text: twoLights, Name: "p"}}, Input{Adjusted: &Adjusted{Group: "B", To: -90, From: -90, Off: &off}},
		backdropFrame(1, -2.5), backdropFrame(2, -2.5),
		Input{At: time.Date(2026, 11, 25, 10, 0, 21, 0, time.UTC), Adjusted: &Adjusted{Group: "A", From: -90, To: -60}}, backdropFrame(3, -1.5))
	if s.Lights[0].Power != -60 {
		t.Errorf("light A was set to 1/4 and the frame rose by its one stop, and it counts as %s", s.Lights[0].PowerText)
	}
}
