package dashboard

import (
	"net/http"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
	"thirdstop/assess/exposure"
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
		return missing("do", "begin, check, skip, redo or leave")
	}
	in := advise.WalkInput{Do: advise.WalkDo(*b.Do)}
	switch in.Do {
	case advise.WalkBegin, advise.WalkLeave, advise.WalkCheck:
		if b.Step != nil {
			return bad("field", `"step" is for skip and redo`)
		}
	case advise.WalkSkip, advise.WalkRedo:
		if b.Step == nil {
			return missing("step", `the id of a step, like "key:B"`)
		}
		in.Step = *b.Step
	default:
		return bad("field", `"do" must be begin, check, skip, redo or leave`)
	}
	return s.submit(w, r, who, &b.act, shoot.Request{Walk: &in})
}

type swapBody struct {
	act
	What    *string  `json:"what"` // lens, aperture, iso or backdrop
	FNumber *float64 `json:"f_number"`
	ISO     *float64 `json:"iso"`
}

// postSwap is POST /api/v1/swaps: something was swapped, and pictures shall come out as before.
func (s *Server) postSwap(w http.ResponseWriter, r *http.Request, who Device) error {
	var b swapBody
	if err := readAct(w, r, mostBody, &b); err != nil {
		return err
	}
	if b.What == nil {
		return missing("what", "lens, aperture, iso or backdrop")
	}
	in := advise.Swap{What: advise.SwapKind(*b.What)}
	if b.FNumber != nil {
		n := exposure.FNumber(*b.FNumber)
		in.FNumber = &n
	}
	if b.ISO != nil {
		v := exposure.ISO(*b.ISO)
		in.ISO = &v
	}
	return s.submit(w, r, who, &b.act, shoot.Request{Swap: &in})
}
