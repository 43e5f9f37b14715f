package dashboard

import (
	"fmt"
	"net/http"
	"strconv"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
)

// How many readings or events one call gives.
const (
	usualLimit = 50
	mostLimit  = 500
)

// serveState is GET /api/v1/state.
func (s *Server) serveState(w http.ResponseWriter, r *http.Request, who Device) error {
	text, err := s.documentFor(who)
	if err != nil {
		return err
	}
	writeJSON(w, http.StatusOK, text)
	return nil
}

// serveReadings is GET /api/v1/readings?before=N&limit=: the newest first.
func (s *Server) serveReadings(w http.ResponseWriter, r *http.Request, who Device) error {
	limit, err := limitOf(r)
	if err != nil {
		return err
	}
	before := 0
	if text := r.URL.Query().Get("before"); text != "" {
		if before, err = number(text, "before"); err != nil {
			return err
		}
	}
	snap := s.cfg.Shoot.Snapshot()
	out := struct {
		State    uint64      `json:"state"`
		Readings []framePart `json:"readings"`
		More     bool        `json:"more"` // there are older ones that can be asked for
	}{State: snap.State.Seq}
	frames := snap.State.Frames
	for i := len(frames) - 1; i >= 0; i-- {
		if before > 0 && frames[i].Number >= before {
			continue
		}
		if len(out.Readings) == limit {
			out.More = true
			break
		}
		out.Readings = append(out.Readings, s.frame(frames[i], false))
	}
	return answer(w, http.StatusOK, out)
}

// serveReading is GET /api/v1/readings/{frame}: one frame with all its reading.
func (s *Server) serveReading(w http.ResponseWriter, r *http.Request, who Device) error {
	n, err := number(r.PathValue("n"), "the frame")
	if err != nil {
		return err
	}
	snap := s.cfg.Shoot.Snapshot()
	f, ok := frameOf(snap, n)
	if !ok {
		return &problem{http.StatusNotFound, "no_such_frame",
			fmt.Sprintf("there is no frame %d among the newest %d", n, advise.KeepFrames), nil}
	}
	return answer(w, http.StatusOK, s.frame(f, true))
}

// serveAdvice is GET /api/v1/advice.
func (s *Server) serveAdvice(w http.ResponseWriter, r *http.Request, who Device) error {
	st := &s.cfg.Shoot.Snapshot().State
	return answer(w, http.StatusOK, struct {
		State    uint64           `json:"state"`
		Advice   advise.Advice    `json:"advice"`
		Question *advise.Question `json:"question"`
	}{st.Seq, st.Advice, st.Question})
}

// serveEvents is GET /api/v1/events?after=N&limit=: the oldest first.
func (s *Server) serveEvents(w http.ResponseWriter, r *http.Request, who Device) error {
	limit, err := limitOf(r)
	if err != nil {
		return err
	}
	after := uint64(0)
	if text := r.URL.Query().Get("after"); text != "" {
		if after, err = strconv.ParseUint(text, 10, 63); err != nil {
			return bad("number", "after must be the number of an event, 0 or more")
		}
	}
	last := s.cfg.Shoot.Snapshot().LastEvent
	events, err := s.cfg.Shoot.Events(after, limit)
	if err != nil {
		return err
	}
	names := s.names()
	named := make([]namedEvent, len(events))
	for i, e := range events {
		named[i] = namedEvent{e, names[e.By.Device]}
	}
	out := struct {
		Events []namedEvent `json:"events"`
		Last   uint64       `json:"last"` // number of the newest event there is
		More   bool         `json:"more"` // ask again with after = the number of the last one here
	}{Events: named, Last: last}
	if n := len(events); n > 0 {
		out.Last = max(out.Last, events[n-1].Number)
		out.More = events[n-1].Number < out.Last
	}
	return answer(w, http.StatusOK, out)
}

// namedEvent is a line of the shoot log with the name of the device that it came from, "" where that is not paired (any more).
type namedEvent struct {
	shoot.Event
	ByName string `json:"by_name"`
}

// names are those of the paired devices, by id. Whoever can't be named is no reason to show no log.
func (s *Server) names() map[string]string {
	out := map[string]string{}
	if s.cfg.Devices == nil {
		return out
	}
	list, err := s.cfg.Devices.List()
	if err != nil {
		s.log.Warn().Err(err).Msg("the paired devices can't be read")
	}
	for _, d := range list {
		out[d.ID] = d.Name
	}
	return out
}

// serveHealth is GET /healthz.
func (s *Server) serveHealth(w http.ResponseWriter, r *http.Request) {
	recording := s.cfg.Shoot.Snapshot().Recording == ""
	status := http.StatusOK
	if !recording {
		status = http.StatusServiceUnavailable
	}
	text, err := marshal(map[string]any{"recording": recording, "version": s.cfg.Version})
	if err != nil {
		http.Error(w, "", http.StatusInternalServerError)
		return
	}
	writeJSON(w, status, text)
}

func frameOf(snap *shoot.Snapshot, n int) (advise.FrameState, bool) {
	for i := len(snap.State.Frames) - 1; i >= 0; i-- {
		if snap.State.Frames[i].Number == n {
			return snap.State.Frames[i], true
		}
	}
	return advise.FrameState{}, false
}

// number reads a whole number from 1 to a billion.
func number(text, what string) (int, error) {
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > 1e9 {
		return 0, bad("number", what+" must be a whole number from 1")
	}
	return n, nil
}

func limitOf(r *http.Request) (int, error) {
	text := r.URL.Query().Get("limit")
	if text == "" {
		return usualLimit, nil
	}
	n, err := number(text, "limit")
	return min(n, mostLimit), err
}
