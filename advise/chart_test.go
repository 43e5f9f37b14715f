package advise

import (
	"testing"
	"time"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// A backdrop that had one colour in the colour chart's frame and another from the baseline on has shifted since the chart;
// without a chart the baseline is all that there is to hold it against. 0.1 stop more red and less blue is some 20 mired warmer.
func TestColourIsHeldAgainstTheChartsFrame(t *testing.T) {
	for _, c := range []struct {
		name    string
		chart   bool
		auto    bool
		shifted exposure.Stops
		want    bool
	}{
		{"shifted since the chart", true, false, 0.1, true},
		{"as in the chart's frame", true, false, 0, false},
		{"no chart", false, false, 0.1, false},
		{"a chart under automatic white balance", true, true, 0.1, false},
	} {
		s, at := State{}, time.Date(2026, 5, 9, 10, 0, 0, 0, time.UTC)
		n := 0
		apply := func(in Input) {
			at = at.Add(10 * time.Second)
			in.At = at
			s, _ = Apply(s, in)
		}
		frame := func(by exposure.Stops, chart bool) {
			n++
			f, iso, tv, manual, fixed := exposure.FNumber(8), exposure.ISO(100), exposure.Shutter(1.0/125), 1, 1
			if chart && c.auto {
				fixed = 0
			}
			r := assess.Reading{Kind: assess.Full, Exif: assess.Exif{FNumber: &f, ISO: &iso, ExposureTime: &tv, Program: &manual, WhiteBalance: &fixed}}
			level := func(v exposure.Stops) assess.Level { return assess.Level{Value: v, Sigma: 0.05} }
			r.Regions.Backdrop = &assess.Backdrop{Level: level(-2.5), WhiteFloor: -2.5, FloorSigma: 0.05,
				Channels: &assess.Channels{Red: -2.5 + by, Green: -2.5, Blue: -2.5 - by}}
			if chart {
				shift, tint := 4.0, 0.0
				r.Chart = &assess.Chart{Shift: &shift, Tint: &tint}
			} else {
				r.Regions.WhiteReference = &assess.WhiteReference{Level: level(-0.2), Peak: -0.2, Declared: true}
			}
			apply(Input{Frame: &Frame{Number: n, Revision: 1, Reading: &r}})
		}
		apply(Input{Plan: &PlanText{Name: "chart.yaml", Text: planOf(t, []string{"grey", "A:background:1/8", "B:key:1/32"})}})
		apply(Input{Reference: &Reference{Box: &assess.Box{X0: 0.4, Y0: 0.6, X1: 0.6, Y1: 0.8}}})
		if c.chart {
			apply(Input{Walk: &WalkInput{Do: WalkBegin}})
			for s.Walking() && s.Walk.step().Kind != WalkChart {
				apply(Input{Walk: &WalkInput{Do: WalkSkip, Step: s.Walk.step().ID}})
			}
			if frame(0, true); s.Walking() || (s.Chart == nil) != c.auto {
				t.Fatalf("%s: after the chart's frame the walk stands at %+v, and the reference is %+v", c.name, s.Walk, s.Chart)
			}
		}
		told := false
		for range 12 {
			frame(c.shifted, false)
			for _, d := range s.Drift.Stands {
				told = told || d.Kind == "colour"
			}
		}
		if s.Baseline == 0 {
			t.Fatalf("%s: no baseline was reached: %+v", c.name, s.Advice)
		}
		if told != c.want {
			t.Errorf("%s: told of a shift of colour: %v, want %v", c.name, told, c.want)
		}
	}
}
