package dashboard

import (
	"net/http"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
)

type bracketBody struct {
	act
	Do *string `json:"do"` // begin, learn or leave
}

// postBracket is POST /api/v1/bracket: the guide to the tone curve is begun, asked to learn from what is there, or left.
func (s *Server) postBracket(w http.ResponseWriter, r *http.Request, who Device) error {
	var b bracketBody
	if err := readAct(w, r, mostBody, &b); err != nil {
		return err
	}
	if b.Do == nil {
		return missing("do", "begin, learn or leave")
	}
	in := advise.BracketInput{Do: advise.BracketDo(*b.Do)}
	switch in.Do {
	case advise.BracketBegin, advise.BracketLearn, advise.BracketLeave:
	default:
		return bad("field", `"do" must be begin, learn or leave`)
	}
	return s.submit(w, r, who, &b.act, shoot.Request{Bracket: &in})
}
