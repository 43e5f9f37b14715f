package main

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
)

// room is a boathouse that shoots into a folder, and its plan as a file.
func room(t *testing.T, seed uint64, capture string) (*boathouse, string) {
	t.Helper()
	b := &boathouse{room: studio.BoatHouse(seed), capture: capture, hands: pause}
	p := filepath.Join(t.TempDir(), "boathouse.yaml")
	if err := os.WriteFile(p, b.plan(), 0o600); err != nil {
		t.Fatal(err)
	}
	return b, p
}

// The whole way: chunks of a JPEG, a reading over HTTP, a tap on the white card, advice that
// is followed until the light is on target, a restart that goes on, and the end. The studio's
// dials and its targets are the source: derived here, from the truth it renders.
func TestTheDaemonLeadsTheLightOnTarget(t *testing.T) {
	home := lonely(t)
	capture := filepath.Join(home, "committee-Wendelin")
	data := filepath.Join(home, "d")
	if err := os.Mkdir(capture, 0o700); err != nil {
		t.Fatal(err)
	}
	b, planFile := room(t, 1, capture)
	b.room.Camera.Prefix = "WENDELIN_"
	args := []string{"--data", data, "--listen", "127.0.0.1:0", "--plan", planFile, capture}
	d := started(t, args...)
	if !regexp.MustCompile(`^The shoot \S+ begins\.\n`).MatchString(d.out.String()) {
		t.Errorf("the daemon begins with %q", d.out)
	}
	shown := func(n int) map[string]any {
		return d.state(fmt.Sprint("frame ", n, " is shown"), func(s map[string]any) bool { return s["frame_count"] == float64(n) })
	}
	shoot := func() studio.Truth {
		shot := b.room.Shoot(time.Now())
		if _, err := shot.Save(capture, studio.Tether{Direct: true, Chunk: 40 << 10, Pause: func() { time.Sleep(2 * time.Millisecond) }}); err != nil {
			t.Fatal(err)
		}
		return shot.Truth
	}
	truth := shoot()
	s := shown(1)
	card, ok := truth.Region(studio.WhiteReference)
	if !ok {
		t.Fatal("the studio shows no white card")
	}
	box := inner(card.Box)
	code, got := d.call("/api/v1/white-reference", map[string]any{"client": "card", "seen": s["state"], "frame": 1,
		"box": map[string]any{"x0": box.X0, "y0": box.Y0, "x1": box.X1, "y1": box.Y1}})
	if code != 200 {
		t.Fatalf("declaring the card = %d %v", code, got)
	}
	n := 1
	status := func(s map[string]any) string { return s["advice"].(map[string]any)["status"].(string) }
	s = shown(1)
	for ; n < 10 && status(s) != "hold"; n++ {
		for _, a := range s["advice"].(map[string]any)["adjustments"].([]any) {
			a := a.(map[string]any)
			if err := b.turn(a["group"].(string), exposure.Dial(a["to"].(float64))); err != nil {
				t.Fatal(err)
			}
			// The assistant taps what was done, so the daemon need not guess it.
			code, got := d.call("/api/v1/adjustments", map[string]any{"client": fmt.Sprint("tap-", n, a["group"]), "seen": 0, "group": a["group"], "to": a["to"]})
			if code != 200 {
				t.Fatalf("tapping = %d %v", code, got)
			}
		}
		truth = shoot()
		s = shown(n + 1)
	}
	if status(s) != "hold" {
		t.Fatalf("after %d frames the advice is still %v", n, s["advice"])
	}
	if f := truth.WhiteFloor; f < -0.15 || f > 0.65 { // 0 to +1/2, within half a click
		t.Errorf("on target, says the daemon, and in truth the backdrop is at %v", f)
	}
	if ms, ok := s["latency_ms"].(float64); !ok || ms <= 0 || ms > 20_000 {
		t.Errorf("latency = %v ms", s["latency_ms"])
	}
	if c := d.stop(); c != 0 || !strings.Contains(d.out.String(), fmt.Sprintf("rests after %d frames and can be gone on with.", n)) {
		t.Errorf("stopped with %d: %s", c, d.out)
	}

	// Names stay out of the log; numbers are in it.
	log := d.log.String()
	if strings.Contains(strings.ToLower(log), "wendelin") || !strings.Contains(log, `"frame":1,`) {
		t.Errorf("the log should hold numbers of frames and no names:\n%s", log)
	}

	d2 := started(t, args...)
	if !strings.Contains(d2.out.String(), fmt.Sprintf("goes on; %d frames so far.", n)) {
		t.Errorf("after a restart the daemon says %q", d2.out)
	}
	d = d2
	if s := shown(n); status(s) != "hold" || s["reference"] == nil {
		t.Errorf("after a restart: %v, %v", status(s), s["reference"])
	}
	code, again := d.call("/api/v1/white-reference", map[string]any{"client": "card", "seen": 1, "frame": 1,
		"box": map[string]any{"x0": box.X0, "y0": box.Y0, "x1": box.X1, "y1": box.Y1}})
	if code != 200 || again["repeat"] != true {
		t.Errorf("the tap on the card sent again after a restart = %d %v, want its receipt", code, again)
	}
	shoot()
	shown(n + 1)
	if code, got := d.call("/api/v1/end", map[string]any{"client": "end", "seen": 0}); code != 200 {
		t.Errorf("ending = %d %v", code, got)
	}
	until(t, "the end is said", func() bool { return strings.Contains(d.out.String(), fmt.Sprintf("ends after %d frames", n+1)) })
	shoot()
	d.state("a late frame is told of", func(s map[string]any) bool { return len(s["troubles"].([]any)) == 1 })
	if c := d.stop(); c != 0 || strings.Contains(d.out.String(), "rests") {
		t.Errorf("stopped with %d after the end: %s", c, d.out)
	}

	id := regexp.MustCompile(`shoot (\S+) goes on`).FindStringSubmatch(d.out.String())[1]
	for _, verb := range []string{"verify", "replay"} {
		if code, out, errs := ran(t, "trail", verb, "--data", data, id); code != 0 {
			t.Errorf("trail %s = %d %s %s", verb, code, out, errs)
		}
	}
	d = started(t, args...)
	if !strings.Contains(d.out.String(), "begins.") {
		t.Errorf("after the end the daemon says %q, want a new shoot", d.out)
	}
	shown(1) // the late frame, and no other
}

func TestOnlyOneDaemonUsesADataFolder(t *testing.T) {
	home := lonely(t)
	started(t, "--data", home, "--listen", "127.0.0.1:0", filepath.Join(home, "captures"))
	code, _, errs := ran(t, "run", "--data", home, "--listen", "127.0.0.1:0", filepath.Join(home, "captures"))
	if code != 1 || !strings.Contains(errs, home) || !strings.Contains(errs, fmt.Sprint("process ", os.Getpid())) {
		t.Errorf("a second daemon = %d %q, want the folder and the process named", code, errs)
	}
}

// On a loopback address only this machine can call, and that is taken to be the photographer's.
func TestEverybodyPairsWhereOtherMachinesCanCall(t *testing.T) {
	for addr, open := range map[string]bool{"127.0.0.1:0": true, "127.0.0.2:0": true, "localhost:0": true, "[::1]:0": true,
		":0": false, "0.0.0.0:0": false, "[::]:0": false} {
		l, err := net.Listen("tcp", addr)
		if err != nil {
			t.Logf("%s: %v", addr, err) // no IPv6, or one loopback address only
			continue
		}
		if got := local(l); got != open {
			t.Errorf("on %s everybody is let in: %v, want %v", addr, got, open)
		}
		l.Close()
	}
}

// What is wrong with the settings is said before a shoot is begun.
func TestWrongSettingsBeginNoShoot(t *testing.T) {
	home := lonely(t)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	bad := filepath.Join(home, "bad.yaml")
	if err := os.WriteFile(bad, []byte("lights: 3\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, tc := range map[string]struct {
		args []string
		says []string
	}{
		"port in use":       {[]string{"--listen", l.Addr().String()}, []string{l.Addr().String(), "--listen"}},
		"no plan file":      {[]string{"--listen", "127.0.0.1:0", "--plan", filepath.Join(home, "none.yaml")}, []string{"light plan", "none.yaml"}},
		"a plan with fault": {[]string{"--listen", "127.0.0.1:0", "--plan", bad}, []string{"light plan has faults", "bad.yaml:1"}},
	} {
		code, out, errs := ran(t, append(append([]string{"run", "--data", home}, tc.args...), filepath.Join(home, "captures"))...)
		for _, s := range tc.says {
			if code != 1 || !strings.Contains(errs, s) || strings.Count(errs, "\n") > 6 {
				t.Errorf("%s: exit %d and %q, want 1 and %q", name, code, errs, s)
			}
		}
		if strings.Contains(out, "begins") {
			t.Errorf("%s: a shoot was begun", name)
		}
		if list, _ := os.ReadDir(filepath.Join(home, "shoots")); len(list) > 0 {
			t.Errorf("%s: a shoot was left behind", name)
		}
	}
}

func TestACaptureFolderThatIsNotThereIsWaitedFor(t *testing.T) {
	home := lonely(t)
	capture := filepath.Join(home, "card", "captures")
	d := started(t, "--data", filepath.Join(home, "d"), "--listen", "127.0.0.1:0", "--poll", capture)
	s := d.state("the missing folder is told of", func(s map[string]any) bool { return len(s["troubles"].([]any)) > 0 })
	if text := fmt.Sprint(s["troubles"]); !strings.Contains(text, "folder-gone") {
		t.Errorf("troubles = %s", text)
	}
	if err := os.MkdirAll(capture, 0o700); err != nil {
		t.Fatal(err)
	}
	b, _ := room(t, 1, capture)
	if _, err := b.shoot(); err != nil {
		t.Fatal(err)
	}
	d.state("its frames are measured", func(s map[string]any) bool { return s["frame_count"] == 1.0 })
	if strings.Contains(d.log.String(), "captures") {
		t.Errorf("the log names the folder: %s", d.log)
	}
}

func TestAPlanChangedOnThePageStaysOverARestart(t *testing.T) {
	home := lonely(t)
	b, planFile := room(t, 1, home)
	args := []string{"--data", home, "--listen", "127.0.0.1:0", "--plan", planFile, filepath.Join(home, "captures")}
	d := started(t, args...)
	d.call("/api/v1/plan/answers", map[string]any{"client": "a", "seen": 0, "backdrop": "white", "lights": []any{map[string]any{"power": "1/4", "clicks": "thirds"}}})
	d.state("the page's plan is in force", func(s map[string]any) bool { return len(s["lights"].([]any)) == 1 })
	d.stop()
	d = started(t, args...)
	if !strings.Contains(d.out.String(), "changed on the page") {
		t.Errorf("the daemon says %q", d.out)
	}
	d.state("it still is", func(s map[string]any) bool { return len(s["lights"].([]any)) == 1 })
	d.stop()
	if err := os.WriteFile(planFile, append(b.plan(), "# edited\n"...), 0o600); err != nil {
		t.Fatal(err)
	}
	d = started(t, args...)
	d.state("the edited file is in force", func(s map[string]any) bool { return len(s["lights"].([]any)) == 4 })
	if !strings.Contains(d.out.String(), "the file is in force now") {
		t.Errorf("the page's plan was replaced, and the daemon says %q", d.out)
	}
	d.stop()
	if err := os.WriteFile(planFile, append(b.plan(), "# edited again\n"...), 0o600); err != nil {
		t.Fatal(err)
	}
	d = started(t, args...)
	if strings.Contains(d.out.String(), "in force") {
		t.Errorf("nobody touched the plan on the page, and the daemon says %q", d.out)
	}
}
