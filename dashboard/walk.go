package dashboard

import (
	"net/http"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
)

type walkBody struct {
	act
	Do   *string `json:"do"`   // begin, skip, redo or leave
	Step *string `json:"step"` // id of the step, for skip and redo
}

// postWalk is POST /api/v1/walk: the guided set-up is begun, a step skipped or redone, or it is left.
func (s *Server) postWalk(w http.ResponseWriter, r *http.Request, who Device) error {
	var b walkBody
	if err := readAct(w, r, mostBody, &b); err != nil {
		return err
	}
	if b.Do == nil {
		return missing("do", "begin, skip, redo or leave")
	}
	in := advise.WalkInput{Do: advise.WalkDo(*b.Do)}
	switch in.Do {
	case advise.WalkBegin, advise.WalkLeave:
		if b.Step != nil {
			return bad("field", `"step" is for skip and redo`)
		}
	case advise.WalkSkip, advise.WalkRedo:
		if b.Step == nil {
			return missing("step", `the id of a step, like "key:B"`)
		}
		in.Step = *b.Step
	default:
		return bad("field", `"do" must be begin, skip, redo or leave`)
	}
	return s.submit(w, r, who, &b.act, shoot.Request{Walk: &in})
}
