package dashboard

import (
	"context"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"path"
	"regexp"
	"strings"
	"testing"

	"github.com/rs/zerolog"

	"thirdstop/advise/shoot"
	"thirdstop/dashboard/dashtest"
	"thirdstop/dashboard/web"
)

// startReal runs a server on a real shoot that is kept in a folder.
func startReal(t *testing.T, dir string) (b *bench, stop func()) {
	t.Helper()
	sh, _, err := shoot.Open(shoot.Config{Shoots: dir, Folder: "/boathouse/frames", Version: "test", Log: zerolog.Nop()})
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(Config{Shoot: sh, Pages: testPages, Open: true, Log: zerolog.Nop()})
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, halt := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx, l) }()
	b = &bench{t: t, s: s, addr: l.Addr().String(), client: http.Client{Transport: &http.Transport{DisableKeepAlives: true}}}
	return b, func() {
		halt()
		if err := <-ended; err != nil {
			t.Errorf("Serve() = %v", err)
		}
		if err := sh.Close(); err != nil {
			t.Errorf("closing the shoot: %v", err)
		}
	}
}

func TestWithARealShootARepeatIsKnownAfterARestart(t *testing.T) {
	dir := t.TempDir()
	b, stop := startReal(t, dir)
	c := b.mustSocket()
	before := next(t, c, "state")
	if before["plan"].(map[string]any)["present"] != false || before["advice"].(map[string]any)["status"] != "no_plan" {
		t.Errorf("the state of a new shoot = %v, want no plan and a status that says so", before)
	}
	answers := fmt.Sprintf(`{"client":"begin","seen":%v,"backdrop":"white","lights":[{"power":"1/4","clicks":"thirds"},{"power":"1/8 + 1/3"}]}`, before["state"])
	first := b.ask("POST", "/api/v1/plan/answers", answers)
	if first.status != 200 {
		t.Fatalf("three answers = %d %s", first.status, first.text)
	}
	m := next(t, c, "state")
	for m["state"].(float64) < first.json(t)["state"].(float64) {
		m = next(t, c, "state")
	}
	if lights := m["lights"].([]any); len(lights) != 2 || lights[1].(map[string]any)["power_text"] != "1/8 + 1/3" {
		t.Errorf("after three answers the lights are %v", lights)
	}
	if got := b.ask("POST", "/api/v1/adjustments", fmt.Sprintf(`{"client":"late","seen":%v,"group":"B","to_text":"1/16"}`, before["state"])); got.status != 409 || got.json(t)["current"].(map[string]any)["state"] != m["state"] {
		t.Errorf("an adjustment on the state before = %d %s, want 409 with the state of now", got.status, got.text)
	}
	adjust := fmt.Sprintf(`{"client":"tap","seen":%v,"group":"B","to_text":"1/16"}`, m["state"])
	done := b.ask("POST", "/api/v1/adjustments", adjust)
	if done.status != 200 {
		t.Fatalf("adjusting = %d %s", done.status, done.text)
	}
	if got := b.ask("POST", "/api/v1/notes", `{"client":"note","seen":0,"text":"the umbrella sagged"}`); got.status != 200 {
		t.Errorf("a note = %d %s", got.status, got.text)
	}
	stop()

	b, stop = startReal(t, dir)
	defer stop()
	again := b.ask("POST", "/api/v1/adjustments", adjust)
	if v := again.json(t); again.status != 200 || v["repeat"] != true || v["state"] != done.json(t)["state"] {
		t.Errorf("the same adjustment after a restart = %d %s, want the first receipt %s as a repeat", again.status, again.text, done.text)
	}
	state := b.ask("GET", "/api/v1/state", "").json(t)
	if p := state["lights"].([]any)[1].(map[string]any)["power_text"]; p != "1/16" || state["shoot"].(map[string]any)["phase"] != "resumed" {
		t.Errorf("after the restart the key is at %v in phase %v, want 1/16 and resumed", p, state["shoot"])
	}
	events := b.ask("GET", "/api/v1/events?after=0&limit=500", "").text
	if !strings.Contains(events, "the umbrella sagged") {
		t.Errorf("the shoot log lacks the note: %s", events)
	}
}

// The embedded pages must live under the content policy, and lack nothing they refer to.
func TestTheEmbeddedPagesKeepTheContentPolicy(t *testing.T) {
	p, err := readPages(web.Files)
	if err != nil {
		t.Fatal(err)
	}
	index := string(p.index)
	refs := regexp.MustCompile(`(?:src|href)="([^"]+)"`).FindAllStringSubmatch(index, -1)
	if len(refs) == 0 {
		t.Fatal("index.html refers to nothing")
	}
	for _, r := range refs {
		if name, ok := strings.CutPrefix(r[1], p.prefix); !ok || p.files[name] == nil {
			t.Errorf("index.html refers to %s, which is not handed out", r[1])
		}
	}
	for what, re := range map[string]string{
		"an inline script": `<script(?:\s[^>]*)?>\s*[^\s<]`, "an inline style sheet": `<style`, "a style attribute": `\sstyle=`, "an inline handler": `\son[a-z]+=`,
	} {
		if regexp.MustCompile(re).MatchString(index) {
			t.Errorf("index.html has %s, which the content policy forbids", what)
		}
	}
	imports := regexp.MustCompile(`(?m)^(?:import|export)\s(?:[^'"();=]*\sfrom\s)?['"]([^'"]+)['"]`)
	total, found := 0, 0
	for name, text := range p.files {
		if path.Ext(name) != ".txt" {
			total += len(text)
		}
		if path.Ext(name) != ".js" {
			continue
		}
		for _, m := range imports.FindAllStringSubmatch(string(text), -1) {
			found++
			if !strings.HasPrefix(m[1], ".") || p.files[path.Join(path.Dir(name), m[1])] == nil {
				t.Errorf("%s imports %s, which is not handed out", name, m[1])
			}
		}
	}
	if found == 0 {
		t.Error("no module imports another: this test looks for the wrong thing")
	}
	if total += len(p.index); total > 300<<10 {
		t.Errorf("the pages come to %d KB, want under 300", total>>10)
	}
	t.Logf("%d files, %d bytes", len(p.files)+1, total)
	if _, err := fs.Stat(web.Files, "index.html"); err != nil {
		t.Error(err)
	}
	b := start(t, open, func(_ *Server, c *Config) { c.Pages = web.Files })
	for name := range p.files {
		if got := b.ask("GET", p.prefix+name, ""); got.status != 200 || got.text != string(p.files[name]) {
			t.Errorf("GET %s = %d with %d bytes, want it as embedded", name, got.status, len(got.text))
		}
	}
}

var _ Shoot = (*dashtest.Shoot)(nil)
