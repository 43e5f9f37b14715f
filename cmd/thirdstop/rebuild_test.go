package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rs/zerolog"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
)

// accepted records a shoot with the demo, accepts its newest frame as right and ends it.
func accepted(t *testing.T) (data, id string) {
	t.Helper()
	data, id = tape(t)
	s, _, err := shoot.Open(shoot.Config{Shoots: filepath.Join(data, "shoots"), Folder: filepath.Join(filepath.Dir(data), "captures"), Version: "test",
		Measurer: measurer{}, Log: zerolog.Nop()})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range []shoot.Request{{Baseline: &advise.Baseline{Frame: s.Snapshot().State.FrameCount}}, {End: true}} {
		if _, err := s.Submit(t.Context(), r); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return data, id
}

func TestALightIsBuiltAgainAndStaysSoOverARestart(t *testing.T) {
	home := lonely(t)
	data, id := accepted(t)
	capture := filepath.Join(home, "tonight")
	if err := os.Mkdir(capture, 0o700); err != nil {
		t.Fatal(err)
	}
	args := []string{"--data", data, "--listen", "127.0.0.1:0", "--rebuild", id, capture}
	d := started(t, args...)
	s := d.state("the earlier light is in force", func(s map[string]any) bool { return s["rebuild"] != nil })
	r := s["rebuild"].(map[string]any)
	lights := r["lights"].([]any)
	if r["shoot"] != id || len(lights) < 2 || !strings.Contains(lights[0].(map[string]any)["text"].(string), "stands as then") {
		t.Errorf("the page is told %v", r)
	}
	if out := d.out.String(); !strings.Contains(out, "Set the lights as they stood:") || !strings.Contains(out, "Key (") || !strings.Contains(out, "manuals come first") {
		t.Errorf("the terminal is told %q", out)
	}
	if code := d.stop(); code != 0 {
		t.Errorf("stopped with %d", code)
	}
	again := started(t, args...)
	if out := again.out.String(); !strings.Contains(out, "goes on") || strings.Contains(out, "Set the lights") {
		t.Errorf("after a restart: %q", out)
	}
	if code := again.stop(); code != 0 {
		t.Errorf("stopped with %d", code)
	}
	// Another wish begins another shoot in the same folder.
	other := started(t, "--data", data, "--listen", "127.0.0.1:0", capture)
	if out := other.out.String(); !strings.Contains(out, "goes on") {
		t.Errorf("without --rebuild: %q", out)
	}
	other.stop()
	for _, tc := range []struct {
		args string
		code int
		says string
	}{
		{"run --rebuild gone --data " + data + " " + capture, 1, "holds no shoot"},
		{"run --rebuild " + id + " --plan x.yaml " + capture, 2, "leave --plan out"},
		{"shoots", 2, "search WORD"},
		{"shoots sort", 2, `"sort"`},
		{"shoots list x", 2, `"x"`},
		{"shoots search", 2, "what to look for"},
		{"shoots compare " + id, 2, "two shoots"},
		{"shoots compare --data " + data + " " + id + " gone", 1, "no such shoot"},
	} {
		if code, _, errs := ran(t, strings.Fields(tc.args)...); code != tc.code || !strings.Contains(errs, tc.says) {
			t.Errorf("%s = %d %q, want %d and %q", tc.args, code, errs, tc.code, tc.says)
		}
	}
}

func TestShootsAreListedFoundAndCompared(t *testing.T) {
	lonely(t)
	data, id := accepted(t)
	t.Setenv("THIRDSTOP_DATA", data)
	for _, tc := range []struct{ args, says string }{
		{"shoots list", id + "  "},
		{"shoots list", "Alder Quay Rowing Club, committee portraits"},
		{"shoots search alder portraits", id},
		{"shoots search octagon", "No shoot holds all of that"},
		{"shoots compare " + id + " " + id, "Key (B)"},
		{"shoots learned", ""},
	} {
		code, out, errs := ran(t, strings.Fields(tc.args)...)
		if code != 0 || errs != "" || !strings.Contains(out, tc.says) {
			t.Errorf("%s = %d %q %q, want %q", tc.args, code, out, errs, tc.says)
		}
	}
	t.Setenv("THIRDSTOP_DATA", t.TempDir())
	if code, out, _ := ran(t, "shoots", "list"); code != 0 || !strings.Contains(out, "No shoot was recorded") {
		t.Errorf("an empty data folder = %d %q", code, out)
	}
}
