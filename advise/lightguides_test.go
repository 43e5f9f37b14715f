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
