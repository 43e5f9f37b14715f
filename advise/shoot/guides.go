package shoot

import (
	"thirdstop/advise"
	"thirdstop/advise/plan"
)

// withGuides is a plan with what earlier shoots taught of its lights: recorded with it, so that a replay
// knows what was known then.
func (s *Shoot) withGuides(in advise.PlanText, p plan.Plan) *advise.PlanText {
	in.Guides = nil
	if s.c.Learned == nil {
		return &in
	}
	for _, l := range p.Lights {
		if g, sigma, ok := s.c.Learned(l); ok {
			in.Guides = append(in.Guides, advise.KnownGuide{Group: l.Group, Guide: g, Sigma: sigma.Round()})
		}
	}
	return &in
}
