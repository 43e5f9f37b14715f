package dashboard

import (
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"path"
	"strings"

	"thirdstop/advise"
	"thirdstop/advise/plan"
	"thirdstop/advise/shoot"
)

// faultPart is one thing that is wrong or unusual in a plan.
type faultPart struct {
	Line    int    `json:"line"` // from 1; 0 where the plan was not read from text
	Column  int    `json:"column"`
	Pointer string `json:"pointer"` // "lights[1].power"
	Text    string `json:"text"`
}

func faultParts(faults []plan.Fault) []faultPart {
	out := make([]faultPart, len(faults))
	for i, f := range faults {
		out[i] = faultPart{f.Line, f.Column, f.Pointer, f.Text}
	}
	return out
}

// checked is what a look at a plan gave.
type checked struct {
	OK      bool        `json:"ok"`
	Faults  []faultPart `json:"faults"`  // it can't be used until these are put right
	Unusual []faultPart `json:"unusual"` // it can; a person should look
}

func check(name, text string) checked {
	_, faults, unusual := plan.Check(name, []byte(text))
	return checked{len(faults) == 0, faultParts(faults), faultParts(unusual)}
}

// faulty is the refusal of a plan, with everything that is wrong with it.
func faulty(faults []faultPart) *problem {
	text := "the plan has a fault; put it right and send it again"
	if len(faults) > 1 {
		text = fmt.Sprintf("the plan has %d faults; put them right and send it again", len(faults))
	}
	return &problem{http.StatusUnprocessableEntity, "plan", text, map[string]any{"faults": faults}}
}

// getPlan is GET /api/v1/plan.
func (s *Server) getPlan(w http.ResponseWriter, r *http.Request, who Device) error {
	st := &s.cfg.Shoot.Snapshot().State
	out := struct {
		State   uint64 `json:"state"`
		Present bool   `json:"present"`
		Name    string `json:"name"`
		Text    string `json:"text"` // YAML
		checked
	}{State: st.Seq, Present: st.PlanText != "", Name: st.PlanName, Text: st.PlanText, checked: checked{OK: true}}
	if out.Present {
		out.checked = check(st.PlanName, st.PlanText)
	}
	return answer(w, http.StatusOK, out)
}

// getPlanExample is GET /api/v1/plan/example: every key, explained.
func (s *Server) getPlanExample(w http.ResponseWriter, r *http.Request, who Device) error {
	return answer(w, http.StatusOK, map[string]string{"text": string(plan.Annotated())})
}

type planBody struct {
	act
	Name *string `json:"name"`
	Text *string `json:"text"`
	File *string `json:"file"` // the plan file's text as the caller saw it, where that is not the plan in force
}

// putPlan is PUT /api/v1/plan. An empty text takes the plan away, and leaves the file. Any other is written into the plan's file
// once it is in force; where the file holds neither the plan that was in force nor what the caller says it holds, somebody
// edited it, and nothing is done.
func (s *Server) putPlan(w http.ResponseWriter, r *http.Request, who Device) error {
	var b planBody
	if err := readAct(w, r, mostPlanBody, &b); err != nil {
		return err
	}
	if b.Text == nil {
		return missing("text", "the plan as YAML; empty to take the plan away")
	}
	name := "plan"
	if b.Name != nil {
		var err error
		if name, err = planName(*b.Name); err != nil {
			return err
		}
	}
	p := advise.PlanText{Text: *b.Text, Name: name}
	if strings.TrimSpace(p.Text) == "" {
		p = advise.PlanText{}
	} else if _, faults := plan.Parse(name, []byte(p.Text)); len(faults) > 0 {
		return faulty(faultParts(faults))
	}
	if s.cfg.Plan == nil || p.Text == "" {
		return s.submit(w, r, who, &b.act, shoot.Request{Plan: &p})
	}
	switch now, err := s.cfg.Plan.Read(); {
	case errors.Is(err, fs.ErrNotExist): // it is written anew
	case err != nil:
		return refused("the plan file can't be read, so nothing was changed: " + err.Error())
	case now != p.Text && now != s.cfg.Shoot.Snapshot().State.PlanText && (b.File == nil || *b.File != now):
		return &problem{http.StatusConflict, "plan_file", "the plan file holds another plan than the one in force, so nothing was changed; look at both, and send yours again to write it over the file", map[string]any{"file": now}}
	}
	receipt, err := s.record(r, who, &b.act, shoot.Request{Plan: &p})
	if err != nil {
		return err
	}
	out := struct {
		shoot.Receipt
		File string `json:"file"` // "" once the file is written, else why it is not
	}{Receipt: receipt}
	if err := s.cfg.Plan.Write(p.Text); err != nil {
		out.File = "the plan is in force, but its file could not be written: " + err.Error()
		s.log.Warn().Err(err).Msg("the plan file can't be written")
	}
	return answer(w, http.StatusOK, out)
}

// planName keeps folders out of messages and the trail.
func planName(name string) (string, error) {
	name, err := words(&name, "name", 100)
	if err != nil {
		return "", err
	}
	return path.Base(strings.ReplaceAll(name, `\`, "/")), nil
}

// postPlanCheck is POST /api/v1/plan/check: what would be said of a plan. It changes nothing.
func (s *Server) postPlanCheck(w http.ResponseWriter, r *http.Request, who Device) error {
	var b struct {
		Text *string `json:"text"`
	}
	if err := readBody(w, r, mostPlanBody, &b); err != nil {
		return err
	}
	if b.Text == nil {
		return missing("text", "the plan as YAML")
	}
	return answer(w, http.StatusOK, check("plan", *b.Text))
}

type planAnswersBody struct {
	act
	Shoot    string            `json:"shoot"`
	Backdrop *string           `json:"backdrop"`
	Lights   []planAnswersPart `json:"lights"`
}

type planAnswersPart struct {
	Role   string `json:"role"`
	Group  string `json:"group"`
	Power  string `json:"power"`
	Clicks string `json:"clicks"`
	Top    string `json:"top"`
}

// postPlanAnswers is POST /api/v1/plan/answers: the three answers with which
// a shoot without a plan begins to be advised. What the camera is set to comes
// from the newest frame.
func (s *Server) postPlanAnswers(w http.ResponseWriter, r *http.Request, who Device) error {
	var b planAnswersBody
	if err := readAct(w, r, mostBody, &b); err != nil {
		return err
	}
	if b.Backdrop == nil {
		return missing("backdrop", "white, grey, black or coloured")
	}
	if len(b.Lights) == 0 {
		return missing("lights", `a list of lights, each with what its dial says, like {"power": "1/8 + 1/3"}`)
	}
	if len(b.Lights) > plan.MostLights {
		return bad("field", fmt.Sprintf(`"lights" holds more than %d lights`, plan.MostLights))
	}
	st := &s.cfg.Shoot.Snapshot().State
	a := plan.Answers{
		Shoot:    b.Shoot,
		Backdrop: plan.BackdropColour(*b.Backdrop),
		Camera:   plan.Camera{FNumber: st.FNumber, ISO: st.ISO, Shutter: st.Shutter},
	}
	for _, l := range b.Lights {
		a.Lights = append(a.Lights, plan.Answer{Role: plan.Role(l.Role), Group: l.Group, Power: l.Power, Clicks: l.Clicks, Top: l.Top})
	}
	p, faults := plan.FromAnswers(a)
	if len(faults) > 0 {
		return faulty(faultParts(faults))
	}
	return s.submit(w, r, who, &b.act, shoot.Request{Plan: &advise.PlanText{Text: string(p.Marshal()), Name: "plan from three answers"}})
}

// getPlanRoles is GET /api/v1/plan/roles?backdrop=white&lights=3: what so many
// lights usually do. An empty list: each role must be told.
func (s *Server) getPlanRoles(w http.ResponseWriter, r *http.Request, who Device) error {
	n, err := number(r.URL.Query().Get("lights"), "lights")
	if err != nil {
		return err
	}
	roles, _ := plan.Roles(plan.BackdropColour(r.URL.Query().Get("backdrop")), n)
	return answer(w, http.StatusOK, struct {
		Roles []plan.Role `json:"roles"`
	}{roles})
}
