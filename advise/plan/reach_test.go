package plan

import (
	"math"
	"strings"
	"testing"

	"thirdstop/assess/exposure"
)

// bare is a plan of one key whose target asks for just what its guide number calls right.
func bare(guide exposure.GuideNumber, d exposure.Metres, n exposure.FNumber, iso exposure.ISO) Plan {
	t := DefaultTargets(White)
	t.WhitePeak = Band{WhiteUnderClip - 0.1, WhiteUnderClip + 0.1}
	return Plan{Version: 1, Backdrop: Backdrop{Colour: White}, Targets: t, Camera: Camera{FNumber: n, ISO: iso, Shutter: 1.0 / 125},
		Lights: []Light{{Role: Key, Group: "B", Scale: exposure.ThirdFractions, Least: -7 * exposure.Stop, Guide: guide, Distance: d, Power: -3 * exposure.Stop}}}
}

func TestPowerNeededAgreesWithPublishedGuideNumberExamples(t *testing.T) {
	ft := exposure.Feet
	for _, tc := range []struct {
		guide  exposure.GuideNumber
		d      exposure.Metres
		n      exposure.FNumber
		iso    exposure.ISO
		want   string
		source string
	}{
		{32, 4, 8, 100, "1/1", "GN 32 m at 4 m: f/8; openphotographicsociety.org"},
		{45, 5, 9, 100, "1/1", "GN 45 at 5 m: f/9; idigitalphoto.com dictionary"},
		{exposure.GuideNumber(80 * ft), 10 * ft, 8, 100, "1/1", "GN 80 ft at 10 ft: f/8; openphotographicsociety.org"},
		{exposure.GuideNumber(120 * ft), 15 * ft, 8, 100, "1/1", "GN 120 ft at 15 ft: f/8; the same"},
		{exposure.GuideNumber(160 * ft), 20 * ft, 8, 100, "1/1", "GN 160 ft at 20 ft: f/8; the same"},
		{30, 1.875, 16, 100, "1/1", "GN 30 at f/16: 1.875 m; sciencezero, Flash"},
		{exposure.GuideNumber(51 / math.Sqrt2), 9, 5.6, 200, "1/1", "GN 51 m at ISO 200, 9 m: f/5.6; a camera manual, tv.manualsonline.com, page 190"},
		{64, 4, 8, 100, "1/4", "twice the guide number is four times the light: GN(P) = GN sqrt(P); derived here"},
		{32, 2, 8, 100, "1/4", "half the distance: inverse square, 2 stops; derived here"},
		{32, 4, 8, 400, "1/4", "four times the speed: 2 stops; GN(S) = GN sqrt(S/100), the same manual's factor 1.414 for one stop"},
		{32, 4, 5.6, 100, "1/2", "one stop wider; derived here"},
	} {
		n := bare(tc.guide, tc.d, tc.n, tc.iso).ReachOf(nil).Lights[0]
		if n.PowerText != tc.want || n.Verdict == TooWeak {
			t.Errorf("GN %.1f m at %v, %v, %v needs %s (%s: %s), want %s (%s)", tc.guide, tc.d, tc.n, tc.iso, n.PowerText, n.Verdict, n.Text, tc.want, tc.source)
		}
	}
}

func TestOutOfReachSaysWhatWouldBringItIntoReach(t *testing.T) {
	p := bare(32, 4, 8, 100)
	p.Lights[0].Modifier = "shoot-through umbrella, 1 m" // about 2 stops
	r := p.ReachOf(nil)
	n := r.Lights[0]
	if n.Verdict != TooWeak || math.Abs(float64(n.Short-2)) > 0.01 {
		t.Fatalf("an umbrella in front of a flash at its limit is %s by %v, want weak by 2 stops", n.Verdict, n.Short)
	}
	// Two stops are half the distance, f/4 instead of f/8, ISO 400 instead of 100 (inverse square, APEX).
	for _, want := range []string{"from 4 m to 2 m", "open from f/8 to f/4", "ISO 400 instead of ISO 100", "take shoot-through umbrella, 1 m off"} {
		if !strings.Contains(strings.Join(n.Mends, "; "), want) {
			t.Errorf("the mends %q lack %q", n.Mends, want)
		}
	}
	if !strings.Contains(r.All, "Open from f/8 to f/4 or set ISO 400") {
		t.Errorf("all lights: %q", r.All)
	}
	p.Lights[0].Distance, p.Lights[0].Least = 0.5, -2*exposure.Stop
	p.Lights[0].Modifier = ""
	if n := p.ReachOf(nil).Lights[0]; n.Verdict != TooMuch || math.Abs(float64(n.Short+4)) > 0.01 || !strings.Contains(strings.Join(n.Mends, ";"), "from 0.5 m to 2 m") {
		t.Errorf("a bare flash at half a metre that goes down to 1/4 is %s by %v with %q, want strong by 4 stops and 2 m", n.Verdict, n.Short, n.Mends)
	}
}

func TestReachSaysWhatThePlanLacks(t *testing.T) {
	p := bare(0, 4, 8, 100)
	if n := p.ReachOf(nil).Lights[0]; n.Verdict != Unsaid || !strings.Contains(n.Text, "guide_number") {
		t.Errorf("without a guide number: %s, %q", n.Verdict, n.Text)
	}
	p.Lights[0].Guide, p.Lights[0].Distance, p.Camera = 32, 0, Camera{}
	if n := p.ReachOf(nil).Lights[0]; !strings.Contains(n.Text, "distance, camera.aperture and camera.iso") {
		t.Errorf("without distance and camera: %q", n.Text)
	}
}

// What earlier shoots taught counts before the maker's number and the modifier's usual loss.
func TestLearnedGuideNumbersCountFirst(t *testing.T) {
	p := bare(32, 4, 8, 100)
	p.Lights[0].Modifier = "softbox"
	known := func(Light) (exposure.GuideNumber, exposure.Stops, bool) { return 64, 0.1, true }
	n := p.ReachOf(known).Lights[0]
	if n.PowerText != "1/4" || !n.Learned || n.Verdict != Within {
		t.Errorf("a learned effective guide number of 64 gives %s (%s, learned %v), want 1/4 within", n.PowerText, n.Verdict, n.Learned)
	}
}

// Brighter targets, more distance, smaller apertures never need less power.
func TestNeedGrowsWithDistanceAndFNumber(t *testing.T) {
	last := exposure.Stops(-99)
	for _, d := range []exposure.Metres{0.6, 0.9, 1.2, 1.8, 2.5, 4, 6} {
		p := bare(40, d, 8, 100)
		if v := p.demand(0, nil).middle; v <= last {
			t.Errorf("at %v the need is %v, not over %v", d, v, last)
		} else {
			last = v
		}
	}
}

func TestLossOfWords(t *testing.T) {
	for _, tc := range []struct {
		text       string
		less, more exposure.Stops
		known      bool
	}{
		{"", 0, 0, true},
		{"shoot-through umbrella, 1 m", 1.5, 2.5, true},
		{"Softbox 60 x 90 cm with grid", 2, 5, true},
		{"bare, flagged from the sitter", 0, 0, true},
		{"a sheet from the kitchen", 0, 3, false},
		{"grid", 1, 2, true},
	} {
		if l := LossOf(tc.text); l.Less != tc.less || l.More != tc.more || l.Known != tc.known {
			t.Errorf("LossOf(%q) = %+v, want %v to %v, known %v", tc.text, l, tc.less, tc.more, tc.known)
		}
	}
}
