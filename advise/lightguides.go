package advise

import (
	"math"

	"thirdstop/advise/plan"
	"thirdstop/assess/exposure"
)

// LightGuide is the guide number that a light has in effect, with what is in front of it and as it is
// tilted: f-number times metres at ISO 100 and full power.
type LightGuide struct {
	Light plan.Light
	Guide exposure.GuideNumber
}

// guideSure is how well a light must be known for its guide number to be kept.
const guideSure exposure.Stops = 0.25

// LightGuides are the effective guide numbers that the shoot's frames taught: of key and fill by the declared
// white, of a background light by a white backdrop. The distance is the plan's, so that a distance that is wrong is in them.
func (s State) LightGuides() []LightGuide {
	if s.Plan == nil || s.taught.Spec.Lights != s.sources() || len(s.taught.Seen) == 0 || s.FNumber == 0 || s.ISO == 0 {
		return nil
	}
	fit := s.taught.Fit()
	var out []LightGuide
	for i, l := range s.Lights {
		k := ownRegion(l)
		if k == crownRegion || k == backdropRegion && s.Plan.Backdrop.Colour != plan.White || !(l.Distance > 0) || !everSeen(s.taught, k) {
			continue
		}
		set := s.alone(i, exposure.FullPower)
		set.Gain, set.Shutter = 0, 0 // ISO 100 at f/1, and no light of the room
		y := fit.Predict(set)[k]
		if y.Sigma > guideSure {
			continue
		}
		p := s.Plan.Lights[i]
		p.Modifier, p.Zoom, p.Distance = l.Modifier, l.Zoom, l.Distance
		// The rule of the guide number, solved for it: level = 2 log2(GN/d), a white lying plan.WhiteUnderClip under the edge.
		g := float64(l.Distance) * math.Exp2(float64(y.Value-plan.WhiteUnderClip)/2)
		out = append(out, LightGuide{Light: p, Guide: exposure.GuideNumber(g)})
	}
	return out
}
