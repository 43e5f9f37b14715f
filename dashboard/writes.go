package dashboard

import (
	"context"
	"crypto/sha256"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"thirdstop/advise"
	"thirdstop/advise/plan"
	"thirdstop/advise/shoot"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/legible"
)

// act is what every write carries.
type act struct {
	Client *string `json:"client"` // made by the caller for this one action; a repeat returns the first receipt
	Seen   *uint64 `json:"seen"`   // number of the state on which it was decided; 0 waives the check

	asked [sha256.Size]byte // of the call and its body; zero where the server asks by itself
}

func (a *act) stamp() *act { return a }

// stamped is a body with an act in it.
type stamped interface{ stamp() *act }

var clientID = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)

// mostWait is how long a write may wait for the disk.
const mostWait = 10 * time.Second

// submit hands a request on and answers with the receipt.
func (s *Server) submit(w http.ResponseWriter, r *http.Request, who Device, a *act, req shoot.Request) error {
	receipt, err := s.record(r, who, a, req)
	if err != nil {
		return err
	}
	return answer(w, http.StatusOK, receipt)
}

// record hands a request over, and gives the receipt once it is in effect.
func (s *Server) record(r *http.Request, who Device, a *act, req shoot.Request) (shoot.Receipt, error) {
	// A client's ids are its own: another device's can't be met by chance or on purpose.
	req.Client = who.ID + "/" + *a.Client
	if !s.asked.same(req.Client, a.asked) {
		return shoot.Receipt{}, errReused
	}
	req.Seen = *a.Seen
	req.By = advise.Actor{Device: who.ID, Role: string(who.Role)}
	ctx, stop := context.WithTimeout(r.Context(), mostWait)
	defer stop()
	receipt, err := s.cfg.Shoot.Submit(ctx, req)
	if err != nil && ctx.Err() != nil {
		return receipt, &problem{http.StatusServiceUnavailable, "slow",
			"it took too long, and may be recorded or not; send the same again with the same client id", nil}
	}
	if err != nil {
		s.asked.forget(req.Client) // nothing was done: the id is free for what is sent instead
		return receipt, err
	}
	return receipt, nil
}

var errReused = &problem{http.StatusUnprocessableEntity, "client_reused",
	"this client id stood for another action before, so nothing was done; make a new id for every action, and send one again only with the same body", nil}

// asked remembers what was asked under each client id, so that an id that comes with another body is refused and not
// answered with a receipt that isn't its own. It lives as long as the server: the record holds the ids alone, for a
// sum of what a person wrote would tell it to whoever guesses.
type asked struct {
	mu    sync.Mutex
	sums  map[string][sha256.Size]byte // guarded by mu
	order []string                     // guarded by mu: the ids, the oldest first
}

// mostAsked is how many ids are remembered, many times what a shoot brings.
const mostAsked = 20000

// same notes what is asked under an id; false where it stood for something else.
func (a *asked) same(client string, sum [sha256.Size]byte) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	if sum == [sha256.Size]byte{} {
		return true
	}
	if was, ok := a.sums[client]; ok {
		return was == sum
	}
	if a.sums == nil {
		a.sums = map[string][sha256.Size]byte{}
	}
	if len(a.order) >= mostAsked {
		delete(a.sums, a.order[0])
		a.order = a.order[1:]
	}
	a.sums[client] = sum
	a.order = append(a.order, client)
	return true
}

// forget frees an id.
func (a *asked) forget(client string) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if _, ok := a.sums[client]; ok {
		delete(a.sums, client)
		a.order = slices.DeleteFunc(a.order, func(c string) bool { return c == client })
	}
}

// sumOfCall is what tells one action from another: the call and the body, however it is spaced and its members are ordered,
// without the state that was seen, which may be a newer one when the action is sent again.
func sumOfCall(r *http.Request, text []byte) ([sha256.Size]byte, error) {
	members := map[string]jsontext.Value{}
	if err := json.Unmarshal(text, &members); err != nil {
		return [sha256.Size]byte{}, err
	}
	delete(members, "seen")
	plain, err := json.Marshal(members, json.Deterministic(true))
	if err != nil {
		return [sha256.Size]byte{}, err
	}
	v := jsontext.Value(plain)
	if err := v.Canonicalize(); err != nil {
		return [sha256.Size]byte{}, err
	}
	return sha256.Sum256(append([]byte(r.Method+" "+r.URL.Path+"\n"), v...)), nil
}

// readAct reads the body of a write and checks what all of them carry.
func readAct(w http.ResponseWriter, r *http.Request, most int64, body stamped) error {
	text, err := bodyOf(w, r, most)
	if err != nil {
		return err
	}
	if err := parseBody(text, body); err != nil {
		return err
	}
	a := body.stamp()
	if a.asked, err = sumOfCall(r, text); err != nil {
		return err
	}
	switch {
	case a.Client == nil:
		return missing("client", "an id that you make for this action, so that a repeat does nothing twice")
	case !clientID.MatchString(*a.Client):
		return bad("field", `"client" must be 1 to 64 letters, digits, dots, dashes or underscores`)
	case a.Seen == nil:
		return missing("seen", "the number of the state you saw; 0 if it doesn't matter")
	}
	return nil
}

type adjustmentBody struct {
	act
	Group    *string        `json:"group"`
	To       *exposure.Dial `json:"to"`      // thirtieths of a stop from full power
	ToText   *string        `json:"to_text"` // as the flash shows it
	Off      *bool          `json:"off"`
	Distance *float64       `json:"distance_m"`
	Bearing  *float64       `json:"bearing_deg"`
	Turned   *float64       `json:"turned_deg"` // of a reflector
	Modifier *string        `json:"modifier"`
	Zoom     *float64       `json:"zoom_mm"`
}

// postAdjustment is POST /api/v1/adjustments: a person changed a light.
func (s *Server) postAdjustment(w http.ResponseWriter, r *http.Request, who Device) error {
	var b adjustmentBody
	if err := readAct(w, r, mostBody, &b); err != nil {
		return err
	}
	adj, err := adjusted(&s.cfg.Shoot.Snapshot().State, b)
	if err != nil {
		return err
	}
	return s.submit(w, r, who, &b.act, shoot.Request{Adjusted: adj})
}

// adjusted makes the absolute adjustment that a body means in a state.
func adjusted(st *advise.State, b adjustmentBody) (*advise.Adjusted, error) {
	if b.Group == nil {
		return nil, missing("group", "the light's group letter")
	}
	if b.To == nil && b.ToText == nil && b.Off == nil && b.Distance == nil && b.Bearing == nil && b.Turned == nil && b.Modifier == nil && b.Zoom == nil {
		return nil, bad("field", `nothing is adjusted: send "to", "to_text", "off", "distance_m", "bearing_deg", "turned_deg", "modifier" or "zoom_mm"`)
	}
	var light *advise.LightState
	var groups []string
	for i := range st.Lights {
		groups = append(groups, st.Lights[i].Group)
		if strings.EqualFold(st.Lights[i].Group, *b.Group) {
			light = &st.Lights[i]
		}
	}
	for _, m := range st.Reflectors {
		groups = append(groups, m.Group)
		if strings.EqualFold(m.Group, *b.Group) {
			return reflectorAdjusted(m, b)
		}
	}
	if light == nil {
		if len(groups) == 0 {
			return nil, refused("there is no light yet; give a plan first")
		}
		return nil, refused(fmt.Sprintf("there is no light of group %q; the groups are %s", *b.Group, strings.Join(groups, ", ")))
	}
	a := &advise.Adjusted{Group: light.Group, From: light.Power, To: light.Power, Off: b.Off}
	if b.To != nil {
		a.To = *b.To
	}
	if b.ToText != nil {
		d, err := scaleOf(st, *light).Parse(*b.ToText)
		if err != nil {
			return nil, refused(light.Name + ": " + err.Error())
		}
		if b.To != nil && *b.To != d {
			return nil, bad("field", `"to" and "to_text" name different settings; send one of them`)
		}
		a.To = d
	}
	if a.To < light.Least || a.To > light.Most || light.Click > 0 && a.To%light.Click != 0 && a.To != light.Power {
		return nil, refused(fmt.Sprintf("%s has no such setting; it goes from %s to %s in clicks of %s", light.Name,
			scaleOf(st, *light).Format(light.Least), scaleOf(st, *light).Format(light.Most), scaleOf(st, *light).FormatChange(light.Click)))
	}
	if b.Distance != nil {
		if !(*b.Distance > 0 && *b.Distance <= 200) {
			return nil, bad("field", `"distance_m" must be over 0 and at most 200 metres`)
		}
		m := exposure.Metres(*b.Distance)
		a.Distance = &m
	}
	a.Modifier = b.Modifier
	if b.Turned != nil {
		d := advise.Degrees(*b.Turned)
		a.Turned = &d
	}
	if b.Bearing != nil {
		d := advise.Degrees(*b.Bearing)
		a.Bearing = &d
	}
	if b.Zoom != nil {
		z := plan.Millimetres(*b.Zoom)
		a.Zoom = &z
	}
	return a, nil
}

// reflectorAdjusted is what a body means of a reflector, which has no dial.
func reflectorAdjusted(m advise.ReflectorState, b adjustmentBody) (*advise.Adjusted, error) {
	if b.To != nil || b.ToText != nil || b.Modifier != nil || b.Zoom != nil {
		return nil, refused(m.Name + ` has no dial, modifier or zoom: send "off", "distance_m", "bearing_deg" or "turned_deg"`)
	}
	a := &advise.Adjusted{Group: m.Group, Off: b.Off}
	if b.Distance != nil {
		d := exposure.Metres(*b.Distance)
		a.Distance = &d
	}
	if b.Bearing != nil {
		d := advise.Degrees(*b.Bearing)
		a.Bearing = &d
	}
	if b.Turned != nil {
		d := advise.Degrees(*b.Turned)
		a.Turned = &d
	}
	return a, nil
}

// scaleOf is how a light's dial is marked, as its plan has it.
func scaleOf(st *advise.State, l advise.LightState) exposure.Scale {
	if st.Plan != nil {
		if p, ok := st.Plan.Light(l.Group); ok {
			return p.Scale
		}
	}
	return exposure.Scale{Marking: exposure.Fractions, Click: l.Click}
}

type referenceBody struct {
	act
	Frame *int          `json:"frame"`
	Box   optional[box] `json:"box"`
}

type box struct {
	X0 *float64 `json:"x0"`
	Y0 *float64 `json:"y0"`
	X1 *float64 `json:"x1"`
	Y1 *float64 `json:"y1"`
}

// inFrame is a box as it is meant, nil where none was sent.
func (v *box) inFrame() (*assess.Box, error) {
	switch {
	case v == nil:
		return nil, nil
	case v.X0 == nil || v.Y0 == nil || v.X1 == nil || v.Y1 == nil:
		return nil, bad("field", `"box" needs x0, y0, x1 and y1`)
	case !(0 <= *v.X0 && *v.X0 < *v.X1 && *v.X1 <= 1 && 0 <= *v.Y0 && *v.Y0 < *v.Y1 && *v.Y1 <= 1):
		return nil, bad("field", `"box" must lie inside the frame: 0 <= x0 < x1 <= 1 and 0 <= y0 < y1 <= 1`)
	}
	return &assess.Box{X0: *v.X0, Y0: *v.Y0, X1: *v.X1, Y1: *v.Y1}, nil
}

type markBody struct {
	act
	Part  *advise.Part  `json:"part"`
	Frame *int          `json:"frame"`
	Box   optional[box] `json:"box"` // for "empty": none
	Back  *bool         `json:"back"`
}

// postMark is POST /api/v1/marks: where a part of the frame is that was found wrongly, or that this is taken back.
func (s *Server) postMark(w http.ResponseWriter, r *http.Request, who Device) error {
	var b markBody
	if err := readAct(w, r, mostBody, &b); err != nil {
		return err
	}
	if b.Part == nil {
		return missing("part", `"backdrop", "face", "witness" or "empty"`)
	}
	m := &advise.Marked{Part: *b.Part, Back: b.Back != nil && *b.Back}
	if m.Back {
		if b.Box.given && b.Box.value != nil {
			return bad("field", `"box" makes no sense with "back": leave one of them out`)
		}
		return s.submit(w, r, who, &b.act, shoot.Request{Marked: m})
	}
	if b.Frame == nil {
		return missing("frame", "the number of the frame it was shown on")
	}
	m.Frame = *b.Frame
	var err error
	if m.Box, err = b.Box.value.inFrame(); err != nil {
		return err
	}
	if (m.Box == nil) != (m.Part == advise.EmptyPart) {
		return bad("field", `"box" is needed for backdrop, face and witness, and means nothing for "empty"`)
	}
	return s.submit(w, r, who, &b.act, shoot.Request{Marked: m})
}

// postReference is POST /api/v1/white-reference: where the white card or shirt is, or null.
func (s *Server) postReference(w http.ResponseWriter, r *http.Request, who Device) error {
	var b referenceBody
	if err := readAct(w, r, mostBody, &b); err != nil {
		return err
	}
	if b.Frame == nil {
		return missing("frame", "the number of the frame it was shown on")
	}
	if !b.Box.given {
		return missing("box", "x0, y0, x1, y1 in fractions of the upright frame, or null to take the declaration back")
	}
	ref := &advise.Reference{Frame: *b.Frame}
	var err error
	if ref.Box, err = b.Box.value.inFrame(); err != nil {
		return err
	}
	return s.submit(w, r, who, &b.act, shoot.Request{Reference: ref})
}

type noteBody struct {
	act
	Text *string `json:"text"`
}

// postNote is POST /api/v1/notes.
func (s *Server) postNote(w http.ResponseWriter, r *http.Request, who Device) error {
	var b noteBody
	if err := readAct(w, r, mostBody, &b); err != nil {
		return err
	}
	text, err := written(b.Text, "text", shoot.MaxNote, true)
	if err != nil {
		return err
	}
	return s.submit(w, r, who, &b.act, shoot.Request{Note: &text})
}

type sitterBody struct {
	act
	Name *string `json:"name"`
}

// postSitter is POST /api/v1/sitters: another person sits now.
func (s *Server) postSitter(w http.ResponseWriter, r *http.Request, who Device) error {
	var b sitterBody
	if err := readAct(w, r, mostBody, &b); err != nil {
		return err
	}
	name, err := words(b.Name, "name", 200)
	if err != nil {
		return err
	}
	return s.submit(w, r, who, &b.act, shoot.Request{Sitter: &name})
}

type answerBody struct {
	act
	Question *int  `json:"question"`
	Yes      *bool `json:"yes"`
}

// postAnswer is POST /api/v1/answers: the answer to the waiting question.
func (s *Server) postAnswer(w http.ResponseWriter, r *http.Request, who Device) error {
	var b answerBody
	if err := readAct(w, r, mostBody, &b); err != nil {
		return err
	}
	if b.Question == nil {
		return missing("question", "the question's number")
	}
	if b.Yes == nil {
		return missing("yes", "true or false")
	}
	return s.submit(w, r, who, &b.act, shoot.Request{Answer: &advise.Answer{Question: *b.Question, Yes: *b.Yes}})
}

type notNowBody struct {
	act
	Advice *int `json:"advice"`
}

// postNotNow is POST /api/v1/not-now: put the current advice aside.
func (s *Server) postNotNow(w http.ResponseWriter, r *http.Request, who Device) error {
	var b notNowBody
	if err := readAct(w, r, mostBody, &b); err != nil {
		return err
	}
	if b.Advice == nil {
		return missing("advice", "the advice's number")
	}
	return s.submit(w, r, who, &b.act, shoot.Request{NotNow: &advise.NotNow{Advice: *b.Advice}})
}

type baselineBody struct {
	act
	Frame *int `json:"frame"`
}

// postBaseline is POST /api/v1/baseline: a frame's reading is right.
func (s *Server) postBaseline(w http.ResponseWriter, r *http.Request, who Device) error {
	var b baselineBody
	if err := readAct(w, r, mostBody, &b); err != nil {
		return err
	}
	if b.Frame == nil {
		return missing("frame", "the number of the frame that is right")
	}
	return s.submit(w, r, who, &b.act, shoot.Request{Baseline: &advise.Baseline{Frame: *b.Frame}})
}

type endBody struct{ act }

// postEnd is POST /api/v1/end: the shoot is over.
func (s *Server) postEnd(w http.ResponseWriter, r *http.Request, who Device) error {
	var b endBody
	if err := readAct(w, r, mostBody, &b); err != nil {
		return err
	}
	return s.submit(w, r, who, &b.act, shoot.Request{End: true})
}

// words checks a name that a person wrote, on one line.
func words(text *string, name string, most int) (string, error) {
	return written(text, name, most, false)
}

// written checks a text that a person wrote.
func written(text *string, name string, most int, severalLines bool) (string, error) {
	if text == nil {
		return "", missing(name, "a text")
	}
	t := strings.TrimSpace(*text)
	if t == "" || utf8.RuneCountInString(t) > most {
		return "", bad("field", strconv.Quote(name)+fmt.Sprintf(" must have 1 to %d characters", most))
	}
	if fault := legible.Fault(t, severalLines); fault != "" {
		return "", bad("field", strconv.Quote(name)+" "+fault)
	}
	return t, nil
}
