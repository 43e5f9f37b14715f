package dashboard

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"

	"thirdstop/dashboard/dashtest"
)

func TestTheExamplesInDEVELOPERSHold(t *testing.T) {
	text, err := os.ReadFile("../DEVELOPERS.md")
	if err != nil {
		t.Fatalf("the API must be described in DEVELOPERS.md: %v", err)
	}
	all, err := dashtest.Examples(string(text), "http-example")
	if err != nil {
		t.Fatal(err)
	}
	if len(all) < 25 {
		t.Fatalf("DEVELOPERS.md holds %d examples of the API, want at least 25", len(all))
	}
	local, paired := start(t, open), start(t)
	photographer, token, err := paired.s.cfg.Devices.Add("photographer", Shoots, paired.clock.now())
	if err != nil {
		t.Fatal(photographer, err)
	}
	code, _, _ := paired.s.NewCode(Lights)
	fill := strings.NewReplacer("Bearer TOKEN", "Bearer "+token, "ACDE-3467", code)
	shown := map[string]bool{}
	for _, e := range all {
		b := local
		if e.Path == "/api/v1/pair" || strings.Contains(strings.Join(e.Header, "\n"), "Authorization") {
			b = paired
		}
		for i := range e.Header {
			e.Header[i] = fill.Replace(e.Header[i])
		}
		path, _, _ := strings.Cut(e.Path, "?")
		for _, c := range b.s.calls() {
			if _, p, _ := strings.Cut(c.pattern, " "); strings.HasPrefix(c.pattern, e.Method+" ") && matches(p, path) {
				shown[c.pattern] = true
			}
		}
		var got reply
		if e.Status == "101" {
			c := b.mustSocket(e.Header...)
			_, first, err := c.ReadMessage()
			if err != nil {
				t.Errorf("DEVELOPERS.md:%d: %v", e.Line, err)
			}
			got = reply{status: 101, text: string(first)}
		} else {
			got = b.ask(e.Method, e.Path, fill.Replace(e.Body), e.Header...)
		}
		if fmt.Sprint(got.status) != e.Status {
			t.Errorf("DEVELOPERS.md:%d: %s %s = %d %s, want %s", e.Line, e.Method, e.Path, got.status, got.text, e.Status)
			continue
		}
		if e.Want == "" {
			continue
		}
		var want any
		if err := json.Unmarshal([]byte(e.Want), &want); err != nil {
			t.Errorf("DEVELOPERS.md:%d: the answer shown is no JSON: %v", e.Line, err)
			continue
		}
		if d := dashtest.Differs("answer", want, any(got.json(t))); d != "" {
			t.Errorf("DEVELOPERS.md:%d: %s %s: %s", e.Line, e.Method, e.Path, d)
		}
	}
	for _, c := range local.s.calls() {
		_, path, _ := strings.Cut(c.pattern, " ")
		if !shown[c.pattern] && !strings.Contains(string(text), path) {
			t.Errorf("%s has no example in DEVELOPERS.md and isn't named there", c.pattern)
		}
	}
}

// matches tells whether a path fits a pattern with {parts}.
func matches(pattern, path string) bool {
	a, b := strings.Split(pattern, "/"), strings.Split(path, "/")
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] && !strings.HasPrefix(a[i], "{") {
			return false
		}
	}
	return true
}
