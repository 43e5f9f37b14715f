package dashboard

import (
	"net/http"

	"thirdstop/advise/plan"
)

// postPlanReach is POST /api/v1/plan/reach: which power every light of a plan will need, and
// whether it has that. It changes nothing.
func (s *Server) postPlanReach(w http.ResponseWriter, r *http.Request, who Device) error {
	var b struct {
		Text *string `json:"text"`
	}
	if err := readBody(w, r, mostPlanBody, &b); err != nil {
		return err
	}
	if b.Text == nil {
		return missing("text", "the plan as YAML")
	}
	p, faults := plan.Parse("plan", []byte(*b.Text))
	if len(faults) > 0 {
		return faulty(faultParts(faults))
	}
	return answer(w, http.StatusOK, p.ReachOf(s.cfg.Learned))
}
