package dashboard

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
)

// example is one ```http-example block of DEVELOPERS.md.
type example struct {
	line         int
	method, path string
	header       []string
	body         string
	status       string
	want         string // JSON; "" nothing is shown
}

func examples(text string) ([]example, error) {
	var out []example
	lines := strings.Split(text, "\n")
	for i := 0; i < len(lines); i++ {
		if lines[i] != "```http-example" {
			continue
		}
		e := example{line: i + 1}
		var part []string
		end := i + 1
		for ; end < len(lines) && lines[end] != "```"; end++ {
			part = append(part, lines[end])
		}
		request, answer, ok := strings.Cut(strings.Join(part, "\n"), "\nHTTP ")
		if !ok || end == len(lines) {
			return nil, fmt.Errorf("DEVELOPERS.md:%d: the example has no line \"HTTP STATUS\" or no end", e.line)
		}
		head, body, _ := strings.Cut(request, "\n\n")
		headLines := strings.Split(strings.TrimSpace(head), "\n")
		e.method, e.path, ok = strings.Cut(headLines[0], " ")
		e.header, e.body = headLines[1:], strings.TrimSpace(body)
		e.status, e.want, _ = strings.Cut(answer, "\n")
		e.want = strings.TrimSpace(e.want)
		if !ok {
			return nil, fmt.Errorf("DEVELOPERS.md:%d: the example begins with no method and path", e.line)
		}
		out = append(out, e)
		i = end
	}
	return out, nil
}

// differs says where an answer is not as shown: every member that is shown must
// be there, lists in full length, and "..." stands for any text.
func differs(at string, want, got any) string {
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			return fmt.Sprintf("%s is %v, want an object", at, got)
		}
		for k, v := range w {
			if _, there := g[k]; !there {
				return fmt.Sprintf("%s.%s is missing", at, k)
			}
			if d := differs(at+"."+k, v, g[k]); d != "" {
				return d
			}
		}
		return ""
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			return fmt.Sprintf("%s is %v, want a list of %d", at, got, len(w))
		}
		for i := range w {
			if d := differs(fmt.Sprintf("%s[%d]", at, i), w[i], g[i]); d != "" {
				return d
			}
		}
		return ""
	case string:
		if g, ok := got.(string); ok && w == "..." && g != "" {
			return ""
		}
	}
	if want != got {
		return fmt.Sprintf("%s is %v, want %v", at, got, want)
	}
	return ""
}

func TestTheExamplesInDEVELOPERSHold(t *testing.T) {
	text, err := os.ReadFile("../DEVELOPERS.md")
	if err != nil {
		t.Fatalf("the API must be described in DEVELOPERS.md: %v", err)
	}
	all, err := examples(string(text))
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
		if e.path == "/api/v1/pair" || strings.Contains(strings.Join(e.header, "\n"), "Authorization") {
			b = paired
		}
		for i := range e.header {
			e.header[i] = fill.Replace(e.header[i])
		}
		path, _, _ := strings.Cut(e.path, "?")
		for _, c := range b.s.calls() {
			if _, p, _ := strings.Cut(c.pattern, " "); strings.HasPrefix(c.pattern, e.method+" ") && matches(p, path) {
				shown[c.pattern] = true
			}
		}
		var got reply
		if e.status == "101" {
			c := b.mustSocket(e.header...)
			_, first, err := c.ReadMessage()
			if err != nil {
				t.Errorf("DEVELOPERS.md:%d: %v", e.line, err)
			}
			got = reply{status: 101, text: string(first)}
		} else {
			got = b.ask(e.method, e.path, fill.Replace(e.body), e.header...)
		}
		if fmt.Sprint(got.status) != e.status {
			t.Errorf("DEVELOPERS.md:%d: %s %s = %d %s, want %s", e.line, e.method, e.path, got.status, got.text, e.status)
			continue
		}
		if e.want == "" {
			continue
		}
		var want any
		if err := json.Unmarshal([]byte(e.want), &want); err != nil {
			t.Errorf("DEVELOPERS.md:%d: the answer shown is no JSON: %v", e.line, err)
			continue
		}
		if d := differs("answer", want, any(got.json(t))); d != "" {
			t.Errorf("DEVELOPERS.md:%d: %s %s: %s", e.line, e.method, e.path, d)
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
