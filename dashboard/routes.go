package dashboard

import (
	"net/http"
	"runtime/debug"
	"strings"
	"time"
)

// call is one call of the API: who may, and what answers.
type call struct {
	pattern string
	needs   access
	serve   func(http.ResponseWriter, *http.Request, Device) error
}

func (s *Server) calls() []call {
	const v1 = "/api/v1/"
	return []call{
		{"GET " + v1 + "state", looking, s.serveState},
		{"GET " + v1 + "live", looking, s.live.serve},
		{"GET " + v1 + "frames/{n}/picture", looking, s.servePicture},

		{"GET " + v1 + "readings", lighting, s.serveReadings},
		{"GET " + v1 + "readings/{n}", lighting, s.serveReading},
		{"GET " + v1 + "readings/{n}/histogram", lighting, s.serveHistogram},
		{"GET " + v1 + "rig", lighting, s.serveRig},
		{"GET " + v1 + "over-time", lighting, s.serveOverTime},
		{"GET " + v1 + "advice", lighting, s.serveAdvice},
		{"GET " + v1 + "events", lighting, s.serveEvents},
		{"GET " + v1 + "plan", lighting, s.getPlan},
		{"POST " + v1 + "adjustments", lighting, s.postAdjustment},
		{"POST " + v1 + "white-reference", lighting, s.postReference},
		{"POST " + v1 + "marks", lighting, s.postMark},
		{"POST " + v1 + "meter", lighting, s.postMeter},
		{"POST " + v1 + "notes", lighting, s.postNote},
		{"POST " + v1 + "answers", lighting, s.postAnswer},
		{"POST " + v1 + "not-now", lighting, s.postNotNow},
		{"POST " + v1 + "walk", lighting, s.postWalk},
		{"POST " + v1 + "swaps", lighting, s.postSwap},
		{"POST " + v1 + "bracket", lighting, s.postBracket},

		{"PUT " + v1 + "plan", shooting, s.putPlan},
		{"GET " + v1 + "plan/example", shooting, s.getPlanExample},
		{"GET " + v1 + "plan/roles", shooting, s.getPlanRoles},
		{"POST " + v1 + "plan/check", shooting, s.postPlanCheck},
		{"POST " + v1 + "plan/reach", lighting, s.postPlanReach},
		{"POST " + v1 + "plan/answers", shooting, s.postPlanAnswers},
		{"POST " + v1 + "baseline", shooting, s.postBaseline},
		{"POST " + v1 + "sitters", shooting, s.postSitter},
		{"GET " + v1 + "sheet", shooting, s.serveSheet},
		{"GET " + v1 + "export", shooting, s.serveExport},
		{"GET " + v1 + "shoots", shooting, s.getShoots},
		{"POST " + v1 + "rebuild", shooting, s.postRebuild},
		{"POST " + v1 + "end", shooting, s.postEnd},
		{"GET " + v1 + "devices", shooting, s.getDevices},
		{"DELETE " + v1 + "devices/{id}", shooting, s.deleteDevice},
		{"POST " + v1 + "pair/codes", shooting, s.postCode},

		{"POST " + v1 + "pair", anyone, s.postPair},
	}
}

// handler is the whole server. Every request passes, in this order: headers, Host and
// Origin, then for a call the device and its role.
func (s *Server) handler() http.Handler {
	mux := http.NewServeMux()
	for _, c := range s.calls() {
		mux.HandleFunc(c.pattern, func(w http.ResponseWriter, r *http.Request) { s.serveCall(w, r, c) })
	}
	mux.HandleFunc("/api/", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-store")
		if allow := otherMethods(mux, r); allow != "" {
			w.Header().Set("Allow", allow)
			s.fail(w, r, Device{}, errNoMethod)
			return
		}
		s.fail(w, r, Device{}, errNoCall)
	})
	mux.HandleFunc("GET /healthz", s.serveHealth)
	mux.HandleFunc("GET /{$}", s.pages.serveIndex)
	mux.HandleFunc("GET /assets/", s.pages.serveAsset)
	if s.cfg.Demo != nil {
		demo := http.StripPrefix("/demo", s.cfg.Demo)
		mux.HandleFunc("/demo/", func(w http.ResponseWriter, r *http.Request) {
			s.serveCall(w, r, call{"/demo/", lighting, func(w http.ResponseWriter, r *http.Request, _ Device) error {
				demo.ServeHTTP(w, r)
				return nil
			}})
		})
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		begun := time.Now()
		defer func() {
			if p := recover(); p != nil && p != http.ErrAbortHandler {
				s.log.Error().Interface("panic", p).Bytes("stack", debug.Stack()).Str("call", r.Pattern).Msg("a call went down")
				panic(http.ErrAbortHandler) // the connection is closed: half an answer may have left
			} else if p != nil {
				panic(p)
			}
			// The pattern, not the address: that may hold anything.
			s.log.Debug().Str("call", r.Pattern).Dur("took", time.Since(begun)).Msg("call")
		}()
		secure(w.Header())
		if p := s.hosts.admit(r); p != nil {
			w.Header().Set("Cache-Control", "no-store")
			s.log.Warn().Str("why", p.Code).Msg("a request was turned away")
			s.fail(w, r, Device{}, p)
			return
		}
		mux.ServeHTTP(w, r)
	})
}

// serveCall lets a device through to a call if its role may.
func (s *Server) serveCall(w http.ResponseWriter, r *http.Request, c call) {
	w.Header().Set("Cache-Control", "no-store")
	var who Device
	if c.needs != anyone {
		var err error
		if who, err = s.caller(r); err != nil {
			s.fail(w, r, who, err)
			return
		}
		if !who.Role.may(c.needs, s.cfg.LooksOn) {
			p := errRole
			if c.needs == looking {
				p = errLooksOff
			}
			s.fail(w, r, who, p)
			return
		}
	}
	if err := c.serve(w, r, who); err != nil {
		s.fail(w, r, who, err)
	}
}

// otherMethods lists the methods that a path of the API does know.
func otherMethods(mux *http.ServeMux, r *http.Request) string {
	var known []string
	for _, m := range []string{"GET", "POST", "PUT", "DELETE"} {
		other := r.Clone(r.Context())
		other.Method = m
		if _, pattern := mux.Handler(other); strings.HasPrefix(pattern, m+" ") {
			known = append(known, m)
		}
	}
	return strings.Join(known, ", ")
}

// policy lets the page load its own files and speak to this server, and nothing else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; font-src 'self'; " +
	"connect-src 'self'; manifest-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"

func secure(h http.Header) {
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
}
