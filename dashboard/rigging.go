package dashboard

import (
	"net/http"
	"sync"

	"thirdstop/advise"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// histogramPart is a frame's histogram in stops to clipping, region by region. null:
// the frame does not show the region.
type histogramPart struct {
	Number         int             `json:"number"`
	Revision       int             `json:"revision"`
	Curve          string          `json:"curve"`
	Backdrop       *assess.InStops `json:"backdrop"`
	Sitter         *assess.InStops `json:"sitter"`
	WhiteReference *assess.InStops `json:"white_reference"`
}

// serveHistogram is GET /api/v1/readings/{n}/histogram.
func (s *Server) serveHistogram(w http.ResponseWriter, r *http.Request, who Device) error {
	n, err := number(r.PathValue("n"), "the frame")
	if err != nil {
		return err
	}
	f, ok := frameOf(s.cfg.Shoot.Snapshot(), n)
	if !ok || f.Reading == nil {
		return errNoReading
	}
	out := histogramPart{Number: f.Number, Revision: f.Revision, Curve: f.Reading.Tone.Curve}
	in := func(c assess.Codes) *assess.InStops {
		h, ok := s.inStops(out.Curve, c)
		if !ok {
			return nil
		}
		return &h
	}
	if b := f.Reading.Regions.Backdrop; b != nil {
		out.Backdrop = in(b.Codes)
	}
	if b := f.Reading.Regions.Sitter; b != nil {
		out.Sitter = in(b.Codes)
	}
	if b := f.Reading.Regions.WhiteReference; b != nil {
		out.WhiteReference = in(b.Codes)
	}
	return answer(w, http.StatusOK, out)
}

func (s *Server) inStops(curve string, c assess.Codes) (assess.InStops, bool) {
	if s.cfg.InStops != nil {
		return s.cfg.InStops(curve, c)
	}
	return c.InStops(nil)
}

var errNoReading = &problem{status: http.StatusNotFound, Code: "no_such_frame", Text: "there is no such frame with a reading among the newest"}

// rigs keeps what the newest state gave, for it takes two fits to find out.
type rigs struct {
	mu    sync.Mutex
	state uint64               // guarded by mu
	id    string               // guarded by mu
	last  []advise.RegionLight // guarded by mu
	known bool                 // guarded by mu
	apart *advise.TestFrame    // guarded by mu
}

// serveRig is GET /api/v1/rig: what each light adds to each region, and what was foretold of the newest frame.
func (s *Server) serveRig(w http.ResponseWriter, r *http.Request, who Device) error {
	snap := s.cfg.Shoot.Snapshot()
	s.rigs.mu.Lock()
	if !s.rigs.known || s.rigs.state != snap.State.Seq || s.rigs.id != snap.ID {
		s.rigs.last, s.rigs.state, s.rigs.id, s.rigs.known = snap.State.RegionLights(), snap.State.Seq, snap.ID, true
		s.rigs.apart = snap.State.Apart()
	}
	regions, apart := s.rigs.last, s.rigs.apart
	s.rigs.mu.Unlock()
	var back *exposure.Metres
	if p := snap.State.Plan; p != nil && p.Backdrop.Distance > 0 {
		back = &p.Backdrop.Distance
	}
	return answer(w, http.StatusOK, struct {
		State   uint64               `json:"state"`
		Regions []advise.RegionLight `json:"regions"`
		Back    *exposure.Metres     `json:"backdrop_m"` // from the sitter to the backdrop; null not known
		Apart   *advise.TestFrame    `json:"apart"`      // the frame that would tell lights apart; null where they are
		Loads   []advise.Load        `json:"loads"`      // how hard each light is worked that has a limit in the plan
	}{snap.State.Seq, regions, back, apart, snap.State.LoadsAt(s.now())})
}

// serveOverTime is GET /api/v1/over-time?after=N: every frame after a number, the oldest first, as it stood
// against its targets, with how the lights stood.
func (s *Server) serveOverTime(w http.ResponseWriter, r *http.Request, who Device) error {
	after := 0
	if text := r.URL.Query().Get("after"); text != "" && text != "0" {
		var err error
		if after, err = number(text, "after"); err != nil {
			return err
		}
	}
	st := &s.cfg.Shoot.Snapshot().State
	past, more := st.PastAfter(after, mostPast)
	return answer(w, http.StatusOK, struct {
		State  uint64             `json:"state"`
		Frames []advise.PastFrame `json:"frames"`
		More   bool               `json:"more"` // ask again with after = the number of the last one here
	}{st.Seq, past, more})
}

// mostPast is how many past frames one call gives.
const mostPast = 500
