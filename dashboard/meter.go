package dashboard

import (
	"net/http"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
	"thirdstop/assess/exposure"
)

type meterBody struct {
	act
	Group    *string `json:"group"`
	Aperture *string `json:"aperture"`
	ISO      *string `json:"iso"`
}

// postMeter is POST /api/v1/meter: what a hand-held meter showed, for the record.
func (s *Server) postMeter(w http.ResponseWriter, r *http.Request, who Device) error {
	var b meterBody
	if err := readAct(w, r, mostBody, &b); err != nil {
		return err
	}
	if b.Aperture == nil {
		return missing("aperture", "what the meter shows, like \"f/8\"")
	}
	m := advise.Metered{ISO: s.cfg.Shoot.Snapshot().State.ISO}
	if b.Group != nil {
		m.Group = *b.Group
	}
	var err error
	if m.FNumber, err = exposure.ParseFNumber(*b.Aperture); err != nil {
		return refused(err.Error())
	}
	if b.ISO != nil {
		if m.ISO, err = exposure.ParseISO(*b.ISO); err != nil {
			return refused(err.Error())
		}
	}
	if m.ISO == 0 {
		return missing("iso", "the ISO that the meter is set to, for no frame has told the camera's yet")
	}
	return s.submit(w, r, who, &b.act, shoot.Request{Metered: &m})
}
