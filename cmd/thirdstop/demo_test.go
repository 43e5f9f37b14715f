package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"thirdstop/assess/studio"
	"thirdstop/dashboard/dashtest"
)

func TestTheDemoComesOnTargetAndSaysHow(t *testing.T) {
	lonely(t)
	seeds := []string{"1", "2", "3"}
	if testing.Short() {
		seeds = seeds[:1]
	}
	for _, seed := range seeds {
		var out, errs bytes.Buffer
		if code := playDemo(t.Context(), []string{"--headless", "--seed", seed}, &out, &errs, &leap{}); code != 0 {
			t.Errorf("seed %s: exit %d\n%s%s", seed, code, &out, &errs)
		}
		for _, want := range []string{"Frame 1, measured and advised", "stops to clipping, target", "(truth: backdrop ", "On target after "} {
			if !strings.Contains(out.String(), want) {
				t.Errorf("seed %s: %q is missing in\n%s", seed, want, &out)
			}
		}
		if regexp.MustCompile(`advised 0 ms`).MatchString(out.String()) {
			t.Errorf("seed %s: a frame took no time:\n%s", seed, &out)
		}
	}
}

// Real flashes keep their settings overnight, and a camera goes on counting.
func TestADemoOnAKeptFolderGoesOnWhereItWas(t *testing.T) {
	lonely(t)
	keep := t.TempDir()
	play := func(args ...string) string {
		t.Helper()
		var out, errs bytes.Buffer
		if code := playDemo(t.Context(), append([]string{"--headless", "--keep", keep}, args...), &out, &errs, &leap{}); code != 0 {
			t.Fatalf("exit %d\n%s%s", code, &out, &errs)
		}
		return out.String()
	}
	truth := regexp.MustCompile(`\(truth: backdrop \+0\.`) // 0 to +1/2 stop over the edge: on target
	first := play()
	captures := func() int {
		list, err := os.ReadDir(filepath.Join(keep, "captures"))
		if err != nil {
			t.Fatal(err)
		}
		return len(list)
	}
	n := captures()
	again := play()
	if !strings.Contains(again, fmt.Sprintf("goes on after %s", count(n))) || !strings.Contains(again, fmt.Sprintf("Frame %d,", n+1)) || captures() != n+1 {
		t.Errorf("after %d frames the demo goes on with\n%s%d captures, want one more, of a name of its own", n, again, captures())
	}
	if !truth.MatchString(again) || !strings.Contains(again, "On target after 1 frame.") {
		t.Errorf("it ended with\n%s\nand goes on with\n%s\nwant the lights as they were left, in truth", first, again)
	}
}

func TestTheDemoFailsWhereTheFramesRunOut(t *testing.T) {
	lonely(t)
	var out, errs bytes.Buffer
	if code := playDemo(t.Context(), []string{"--headless", "--frames", "1"}, &out, &errs, &leap{}); code != 1 || !strings.Contains(errs.String(), "not on target after 1 frame") {
		t.Errorf("exit %d and %q, want 1 and the reason", code, &errs)
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	errs.Reset()
	if code := playDemo(ctx, []string{"--headless"}, &out, &errs, &leap{}); code != 1 || !strings.Contains(errs.String(), "stopped") {
		t.Errorf("a demo that is stopped exits %d and says %q", code, &errs)
	}
}

func TestTheStudiosExamplesInDEVELOPERSHold(t *testing.T) {
	text, err := os.ReadFile(filepath.FromSlash("../../DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	all, err := dashtest.Examples(string(text), "demo-example")
	if err != nil || len(all) < 6 {
		t.Fatalf("DEVELOPERS.md holds %d examples of the studio, want 6 at least (%v)", len(all), err)
	}
	b := &boathouse{room: studio.BoatHouse(1), capture: t.TempDir(), hands: pause}
	shown := map[string]bool{}
	for _, e := range all {
		shown[e.Path] = true
		w := httptest.NewRecorder()
		http.StripPrefix("/demo", b).ServeHTTP(w, httptest.NewRequest(e.Method, e.Path, strings.NewReader(e.Body)))
		var want, got any
		if err := errors.Join(json.Unmarshal([]byte(e.Want), &want), json.Unmarshal(w.Body.Bytes(), &got)); err != nil {
			t.Fatalf("DEVELOPERS.md:%d: %v", e.Line, err)
		}
		if d := dashtest.Differs("answer", want, got); fmt.Sprint(w.Code) != e.Status || d != "" {
			t.Errorf("DEVELOPERS.md:%d: %s %s = %d, want %s; %s", e.Line, e.Method, e.Path, w.Code, e.Status, d)
		}
	}
	for _, path := range []string{"studio", "light", "frame", "auto", "tire"} {
		if !shown["/demo/"+path] {
			t.Errorf("/demo/%s has no example in DEVELOPERS.md", path)
		}
	}
	if light := b.room.Light("B"); light.Distance != 1.5 || light.Power != light.Least+9*light.Click {
		t.Errorf("after the examples the key stands at %v and gives %v", light.Distance, light.Power)
	}
	if files, _ := filepath.Glob(filepath.Join(b.capture, "*.[jJ][pP][gG]")); len(files) != 1 {
		t.Errorf("%d frames were taken, want 1", len(files))
	}
}

// The page calls the studio by what stands in its script; every call there must have an answer here.
func TestTheStudiosControlsAreWhatThePageUses(t *testing.T) {
	js, err := os.ReadFile(filepath.FromSlash("../../dashboard/web/demo.js"))
	if err != nil {
		t.Fatal(err)
	}
	b := &boathouse{room: studio.BoatHouse(1), capture: t.TempDir(), hands: pause}
	ask := func(method, path, body string) (int, map[string]any) {
		t.Helper()
		w := httptest.NewRecorder()
		b.ServeHTTP(w, httptest.NewRequest(method, path, strings.NewReader(body)))
		var v map[string]any
		if err := json.Unmarshal(w.Body.Bytes(), &v); err != nil {
			t.Fatalf("%s %s answers %q", method, path, w.Body)
		}
		return w.Code, v
	}
	paths := map[string]string{"/studio": "", "/light": `{"group":"B","on":true}`, "/frame": "{}", "/auto": `{"on":true}`, "/tire": `{"on":true}`}
	used := regexp.MustCompile(`(?:say\(|studio\('GET', )'(/[a-z]+)'`).FindAllSubmatch(js, -1)
	if len(used) < 5 {
		t.Fatalf("the page's script makes %d calls, want at least 5: this test looks for the wrong thing", len(used))
	}
	for _, u := range used {
		body, ok := paths[string(u[1])]
		method := http.MethodPost
		if body == "" {
			method = http.MethodGet
		}
		if code, v := ask(method, string(u[1]), body); !ok || code != 200 {
			t.Errorf("the page calls %s %s, and the studio answers %d %v", method, u[1], code, v)
		}
	}
	_, v := ask("GET", "/studio", "")
	light := v["lights"].([]any)[1].(map[string]any)
	for _, key := range regexp.MustCompile(`\bl\.([a-z_]+)`).FindAllSubmatch(js, -1) {
		if _, ok := light[string(key[1])]; !ok {
			t.Errorf("the page reads %s of a light, which the studio doesn't tell: %v", key[1], light)
		}
	}
	for _, key := range regexp.MustCompile(`\bnow\??\.([a-z_]+)`).FindAllSubmatch(js, -1) {
		if _, ok := v[string(key[1])]; !ok {
			t.Errorf("the page reads %s, which the studio doesn't tell", key[1])
		}
	}
	if v["auto"] != true {
		t.Error("shooting by itself was switched on and isn't")
	}
	settings := light["settings"].([]any)
	if settings[int(light["index"].(float64))] != light["power_text"] {
		t.Errorf("index %v of %v isn't %v", light["index"], settings, light["power_text"])
	}
	frames, err := os.ReadDir(b.capture)
	if err != nil || len(frames) != 1 {
		t.Errorf("%d frames were taken, want 1 (%v)", len(frames), err)
	}

	if code, v := ask("POST", "/light", `{"group":"B","index":0,"distance_m":2.5,"on":false}`); code != 200 {
		t.Errorf("turning = %d %v", code, v)
	}
	if l := b.room.Light("B"); l.Power != l.Least || l.Distance != 2.5 || l.On {
		t.Errorf("the light stands at %v, %v, on %v", l.Power, l.Distance, l.On)
	}
	before := *b.room.Light("B")
	for body, want := range map[string]int{
		`{"group":"Q","on":true}`:                       422,
		`{"group":"B","index":-1}`:                      422,
		`{"group":"B","index":999}`:                     422,
		`{"group":"B","index":4611686018427387904}`:     422,
		`{"group":"B","index":3,"distance_m":0.1}`:      422,
		`{"group":"B","on":true,"distance_m":9}`:        422,
		`{"group":"B","brightness":3}`:                  400,
		`not json`:                                      400,
		`{"group":"` + strings.Repeat("B", 5000) + `"}`: 400,
	} {
		if code, v := ask("POST", "/light", body); code != want || v["error"].(map[string]any)["text"] == "" {
			t.Errorf("%.60s = %d %v, want %d and a sentence", body, code, v, want)
		}
	}
	if *b.room.Light("B") != before {
		t.Error("what was refused turned the light all the same")
	}
	for _, call := range [][2]string{{"POST", "/auto"}, {"POST", "/tire"}, {"POST", "/sun"}, {"GET", "/light"}, {"DELETE", "/studio"}} {
		if code, _ := ask(call[0], call[1], "{}"); code != 422 && code != 404 {
			t.Errorf("%s %s = %d", call[0], call[1], code)
		}
	}
}

func TestOnlyTheDemoHasAStudio(t *testing.T) {
	home := lonely(t)
	d := started(t, "--data", home, "--listen", "127.0.0.1:0", filepath.Join(home, "captures"))
	res, err := http.Get(d.url + "/demo/studio")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusNotFound {
		t.Errorf("an ordinary run answers %d on the demo's controls, want 404", res.StatusCode)
	}
}

// The guided set-up through the real daemon: files, watcher, record and all.
func TestTheDemosSetUpIsWalkedToABaseline(t *testing.T) {
	lonely(t)
	var out, errs bytes.Buffer
	if code := playDemo(t.Context(), []string{"--headless", "--walk", "--seed", "2"}, &out, &errs, &leap{}); code != 0 {
		t.Fatalf("exit %d\n%s%s", code, &out, &errs)
	}
	for _, want := range []string{"Switch every flash off.", "Key (B) alone", "good: Key", "A colour chart", "is the baseline."} {
		if !strings.Contains(strings.ReplaceAll(out.String(), "Good: Key", "good: Key"), want) {
			t.Errorf("%q is missing in\n%s", want, &out)
		}
	}
	out.Reset()
	if code := playDemo(t.Context(), []string{"--walk"}, &out, &errs, &leap{}); code != 2 {
		t.Errorf("--walk without --headless exits %d, want 2", code)
	}
}
