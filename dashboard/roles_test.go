package dashboard

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// needed says, call by call, who may. It was written by hand against the roles'
// meaning, not taken from routes.go.
var needed = map[string]string{
	"GET /api/v1/state":                 "looks",
	"GET /api/v1/live":                  "looks",
	"GET /api/v1/frames/{n}/picture":    "looks",
	"GET /api/v1/readings":              "lights",
	"GET /api/v1/readings/{n}":          "lights",
	"GET /api/v1/advice":                "lights",
	"GET /api/v1/events":                "lights",
	"GET /api/v1/plan":                  "lights",
	"POST /api/v1/adjustments":          "lights",
	"POST /api/v1/white-reference":      "lights",
	"POST /api/v1/marks":                "lights",
	"POST /api/v1/meter":                "lights",
	"POST /api/v1/notes":                "lights",
	"POST /api/v1/answers":              "lights",
	"POST /api/v1/not-now":              "lights",
	"POST /api/v1/walk":                 "lights",
	"POST /api/v1/swaps":                "lights",
	"POST /api/v1/bracket":              "lights",
	"POST /api/v1/plan/reach":           "lights",
	"PUT /api/v1/plan":                  "shoots",
	"GET /api/v1/plan/example":          "shoots",
	"GET /api/v1/plan/roles":            "shoots",
	"POST /api/v1/plan/check":           "shoots",
	"POST /api/v1/plan/answers":         "shoots",
	"POST /api/v1/baseline":             "shoots",
	"POST /api/v1/sitters":              "shoots",
	"POST /api/v1/end":                  "shoots",
	"GET /api/v1/sheet":                 "shoots",
	"GET /api/v1/export":                "shoots",
	"GET /api/v1/shoots":                "shoots",
	"POST /api/v1/rebuild":              "shoots",
	"GET /api/v1/devices":               "shoots",
	"DELETE /api/v1/devices/{id}":       "shoots",
	"POST /api/v1/pair/codes":           "shoots",
	"POST /api/v1/pair":                 "anyone",
	"GET /demo/ (any method, any path)": "lights",
}

func init() {
	for _, call := range []string{"readings/{n}/histogram", "rig", "over-time"} {
		needed["GET /api/v1/"+call] = "lights"
	}
}

func TestEveryCallAsksForItsRole(t *testing.T) {
	demo := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(http.StatusNoContent) })
	rank := map[string]int{"anyone": 0, "looks": 1, "lights": 2, "shoots": 3}
	for _, looksOn := range []bool{false, true} {
		b := start(t, func(_ *Server, c *Config) { c.LooksOn, c.Demo = looksOn, demo })
		headers := map[string]string{"nobody": "X-None: 1", "stranger": "Authorization: Bearer AAAA", "looks": "", "lights": "", "shoots": ""}
		for _, r := range []Role{Looks, Lights, Shoots} {
			headers[string(r)], _ = b.paired(r)
		}
		calls := append(b.s.calls(), call{pattern: "GET /demo/ (any method, any path)"})
		for _, c := range calls {
			want, ok := needed[c.pattern]
			if !ok {
				t.Errorf("%s is missing in this test's table: say who may", c.pattern)
				continue
			}
			method, path, _ := strings.Cut(c.pattern, " ")
			path = strings.NewReplacer("{n}", "1", "{id}", "d-none", " (any method, any path)", "x").Replace(path)
			for who, header := range headers {
				body := ""
				if method != "GET" && method != "DELETE" {
					body = `{}`
				}
				got := b.ask(method, path, body, header)
				rankOfWho := rank[who] // nobody and strangers have 0
				if who == "looks" && !looksOn && want != "anyone" {
					rankOfWho = -1
				}
				switch out := got.status == http.StatusUnauthorized || got.code() == "role" || got.code() == "looks_off"; {
				case rankOfWho >= rank[want] && out:
					t.Errorf("looks on %v: %s by %s = %d %s, want it let through", looksOn, c.pattern, who, got.status, got.text)
				case rankOfWho < rank[want] && !out:
					t.Errorf("looks on %v: %s by %s = %d %s, want it turned away", looksOn, c.pattern, who, got.status, got.text)
				case rankOfWho < rank[want] && rank[who] == 0 && got.status != http.StatusUnauthorized:
					t.Errorf("%s by %s = %d, want 401", c.pattern, who, got.status)
				case rankOfWho < rank[want] && rank[who] > 0 && got.status != http.StatusForbidden:
					t.Errorf("%s by %s = %d, want 403", c.pattern, who, got.status)
				}
			}
		}
		if len(needed) != len(calls) {
			t.Errorf("the table has %d calls and the server %d", len(needed), len(calls))
		}
		if n := len(b.sh.Requests()); n != 0 {
			t.Errorf("%d requests took effect, want none of these empty ones", n)
		}
	}
}

func TestWhoLooksOnSeesFramesAndNothingElse(t *testing.T) {
	b := start(t, func(_ *Server, c *Config) { c.LooksOn = true })
	looks, _ := b.paired(Looks)
	got := b.ask("GET", "/api/v1/state", "", looks)
	for _, word := range []string{"advice", "lights\"", "AQ_", "Key", "reading", "plan", "2026-11-25-alder"} {
		if strings.Contains(got.text, word) {
			t.Errorf("the state for a device that looks on holds %q: %s", word, got.text)
		}
	}
	frame, _ := got.json(t)["frame"].(map[string]any)
	if frame["number"] != 3.0 || frame["picture"] != "/api/v1/frames/3/picture?rev=1" {
		t.Errorf("frame = %v, want number 3 and its picture", frame)
	}
	c := b.mustSocket(looks)
	if m := next(t, c, "state"); m["advice"] != nil || m["lights"] != nil {
		t.Errorf("the live state for a device that looks on holds advice or lights: %v", m)
	}
}

func TestTheDemoIsThereOnlyWhereItWasGiven(t *testing.T) {
	b := start(t, open)
	if got := b.ask("GET", "/demo/lights", ""); got.status != http.StatusNotFound {
		t.Errorf("GET /demo/lights without a demo = %d, want 404", got.status)
	}
	if got := b.ask("GET", "/api/v1/state", ""); got.json(t)["demo"] != false {
		t.Errorf("demo = %v, want false", got.json(t)["demo"])
	}
	var seen string
	b = start(t, open, func(_ *Server, c *Config) {
		c.Demo = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { seen = r.URL.Path })
	})
	if got := b.ask("POST", "/demo/lights", `{}`); got.status != http.StatusOK || seen != "/lights" {
		t.Errorf("POST /demo/lights = %d and the demo saw %q, want 200 and /lights", got.status, seen)
	}
	if got := b.ask("GET", "/api/v1/state", ""); got.json(t)["demo"] != true {
		t.Errorf("demo = %v, want true", got.json(t)["demo"])
	}
	seen = ""
	if got := b.ask("POST", "/demo/lights", `{}`, "Origin: http://evil.example"); got.status != http.StatusForbidden || seen != "" {
		t.Errorf("POST /demo/lights from another site = %d, and it reached the demo: %v", got.status, seen != "")
	}
}

func TestConfigLeavesNoDoorOpenByMistake(t *testing.T) {
	sh := start(t, open).sh
	if _, err := New(Config{Shoot: sh, Pages: testPages}); err == nil {
		t.Error("New without Devices and without Open succeeded: everybody or nobody could come in")
	}
	s, err := New(Config{Shoot: sh, Pages: testPages, Open: true})
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewUnstartedServer(nil)
	defer srv.Close()
	everywhere, err := newListener("0.0.0.0:0")
	if err != nil {
		t.Skipf("this machine lets nobody listen on all addresses: %v", err)
	}
	if err := s.Serve(t.Context(), everywhere); err == nil {
		t.Error("an open server served on all addresses, want a refusal")
	}
}
