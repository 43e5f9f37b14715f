package dashboard

import (
	"errors"
	"net/http"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"thirdstop/advise/shoot"
)

// problem is a refusal as it is answered: {"error": {"code": ..., "text": ...}}.
// Codes are stable; texts are sentences for people.
type problem struct {
	status int
	Code   string         `json:"code"`
	Text   string         `json:"text"`
	more   map[string]any // further members of the answer, beside "error"
}

func (p *problem) Error() string { return p.Text }

func bad(code, text string) *problem {
	return &problem{status: http.StatusBadRequest, Code: code, Text: text}
}

func refused(text string) *problem {
	return &problem{status: http.StatusUnprocessableEntity, Code: "refused", Text: text}
}

var (
	errUnpaired  = &problem{http.StatusUnauthorized, "unpaired", "this device is not paired; enter a pairing code", nil}
	errRole      = &problem{http.StatusForbidden, "role", "this device's role does not allow that", nil}
	errLooksOff  = &problem{http.StatusForbidden, "looks_off", "the photographer has not opened the frames to those who look on", nil}
	errNoCall    = &problem{http.StatusNotFound, "no_such_call", "there is no such call", nil}
	errNoMethod  = &problem{http.StatusMethodNotAllowed, "method", "this call does not know that method", nil}
	errNoPicture = &problem{http.StatusNotFound, "no_such_frame", "there is no picture of that frame", nil}
	errInternal  = &problem{http.StatusInternalServerError, "internal", "something went wrong in thirdstop itself; its log says what", nil}
)

// answer writes a JSON document. Lists that are empty are [], never null.
func answer(w http.ResponseWriter, status int, v any) error {
	text, err := marshal(v)
	if err != nil {
		return err
	}
	writeJSON(w, status, text)
	return nil
}

func marshal(v any) ([]byte, error) {
	// A name of a foreign file system may hold any bytes.
	return json.Marshal(v, json.Deterministic(true), jsontext.AllowInvalidUTF8(true))
}

func writeJSON(w http.ResponseWriter, status int, text []byte) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.Header().Set("Content-Length", strconv.Itoa(len(text)))
	w.WriteHeader(status)
	_, _ = w.Write(text) // the caller is gone; nobody to tell
}

// fail answers an error. What is no [problem] and no refusal of the shoot is ours, and goes to the log.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, who Device, err error) {
	var p *problem
	if !errors.As(err, &p) {
		p = s.refusal(who, err)
	}
	if p == errInternal && r.Context().Err() == nil { // else the caller went away
		s.log.Error().Err(err).Str("call", r.Pattern).Msg("a call failed")
	}
	body := map[string]any{"error": p}
	for k, v := range p.more {
		body[k] = v
	}
	text, merr := marshal(body)
	if merr != nil {
		text, _ = marshal(map[string]any{"error": errInternal})
		s.log.Error().Err(merr).Str("call", r.Pattern).Msg("a refusal could not be written")
	}
	writeJSON(w, p.status, text)
}

// refusal turns an error of the shoot into what is answered.
func (s *Server) refusal(who Device, err error) *problem {
	switch {
	case errors.Is(err, shoot.ErrStale):
		p := &problem{status: http.StatusConflict, Code: "stale", Text: err.Error()}
		if text, derr := s.documentFor(who); derr == nil {
			p.more = map[string]any{"current": jsontext.Value(text)}
		}
		return p
	case errors.Is(err, shoot.ErrNoFrame):
		return &problem{status: http.StatusNotFound, Code: "no_such_frame", Text: err.Error()}
	case errors.Is(err, shoot.ErrRefused):
		return refused(strings.TrimPrefix(err.Error(), shoot.ErrRefused.Error()+": ")) // the code says that already
	case errors.Is(err, shoot.ErrNotRecorded):
		return &problem{status: http.StatusServiceUnavailable, Code: "not_recorded", Text: err.Error()}
	}
	return errInternal
}
