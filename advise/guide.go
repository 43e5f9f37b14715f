package advise

import (
	"math"

	"thirdstop/advise/plan"
	"thirdstop/assess/exposure"
)

// whiteUnderClipSigma is how far cameras differ in where a rightly exposed white lies (derived here: half of the range of 0.15 to 0.65).
const whiteUnderClipSigma = 0.15

// Guide is a guide number as the frames show it: of the light with whatever is on it.
type Guide struct {
	Number exposure.GuideNumber // f-number times metres, at ISO 100 and full power
	Sigma  exposure.Stops       // one standard deviation of the light it stands for; half of that in stops of the number
}

// LearnedGuide is the guide number that a key light showed: f-number times distance at which a white is exposed rightly
// (ISO 1230's product), out of what the light alone does to the declared white reference. It reports false for other lights,
// whose light does not meet the white squarely, where the distance is not in the plan, and while the frames don't tell.
func (s State) LearnedGuide(group string) (Guide, bool) {
	i, ok := s.light(group)
	if !ok || plan.Role(s.Lights[i].Role) != plan.Key || !(s.Lights[i].Distance > 0) || s.Reference == nil || s.ISO <= 0 || s.FNumber <= 0 {
		return Guide{}, false
	}
	alone := s.Alone(group)
	if alone == nil {
		return Guide{}, false
	}
	// The level at ISO 100, f/1 and full power is twice the log2 of guide number over distance.
	full := float64(alone.Value-s.gain()-s.Lights[i].Power.Stops()) - whiteUnderClip
	return Guide{Number: exposure.GuideNumber(float64(s.Lights[i].Distance) * math.Exp2(full/2)),
		Sigma: exposure.Stops(math.Hypot(float64(alone.Sigma), whiteUnderClipSigma)).Round()}, true
}
