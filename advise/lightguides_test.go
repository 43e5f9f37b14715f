package advise

import (
	"math"
	"testing"

	"thirdstop/advise/plan"
	"thirdstop/assess/exposure"
)

// A walked hall teaches each light's guide number: put into the guide number's own rule (ISO 1230, as
// exposure.GuideNumber.Level has it) it gives back the level that the light really makes.
func TestAWalkTeachesGuideNumbers(t *testing.T) {
	h := newHall(6, 3, 0.02)
	for i := range h.lights {
		h.lights[i].Distance, h.lights[i].Guide = 1.5, 50
	}
	s, _ := h.walkThrough(t, 30)
	got := s.LightGuides()
	if len(got) != 3 {
		t.Fatalf("%d of 3 lights have a learned guide number", len(got))
	}
	for i, g := range got {
		k, _ := s.aimAlone(i)
		level, ok := g.Guide.Level(1.5, exposure.FullPower, s.ISO, s.FNumber)
		if want := h.c[i][k]; !ok || math.Abs(float64(level+plan.WhiteUnderClip)-want) > 0.15 {
			t.Errorf("%s: the guide number %.1f gives %.2f at full power, in truth %.2f", g.Light.Name(), float64(g.Guide), float64(level+plan.WhiteUnderClip), want)
		}
	}
}

// What an earlier shoot taught makes the first frame foretold: the same hall with its learned numbers is
// expected where it lies, without them nobody knows.
func TestLearnedGuideNumbersAreTheFirstBelief(t *testing.T) {
	h := newHall(6, 3, 0.02)
	for i := range h.lights {
		h.lights[i].Distance = 1.5
	}
	taught, _ := h.walkThrough(t, 30)
	in := PlanText{Name: "hall.yaml", Text: taught.PlanText}
	for _, g := range taught.LightGuides() {
		in.Guides = append(in.Guides, KnownGuide{Group: g.Light.Group, Guide: g.Guide, Sigma: 0.3})
	}
	predict := func(p PlanText) (off, sigma float64) {
		s, _ := Apply(State{}, Input{Plan: &p})
		m := newModel(s.Plan, s.Lights, taught.gain(), taught.Shutter, s.guides...)
		set := s.setting(taught.gain(), taught.Shutter)
		y := m.Fit().Predict(set)[whiteRegion]
		sum := 0.0
		for i, l := range s.Lights {
			sum += math.Exp2(h.c[i][whiteRegion] + float64(l.Power.Stops()))
		}
		return math.Abs(float64(y.Value) - math.Log2(sum)), float64(y.Sigma)
	}
	off, sigma := predict(in)
	if off > 0.4 || sigma > 0.4 {
		t.Errorf("with learned numbers the white is foretold %.2f stop off, known to %.2f; want 0.4 and 0.4", off, sigma)
	}
	in.Guides = nil
	if _, blind := predict(in); blind < 0.8 {
		t.Errorf("without them it is known to %.2f, want over 0.8", blind)
	}
}
