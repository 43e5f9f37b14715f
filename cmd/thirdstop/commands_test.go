package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"thirdstop/dashboard"
)

func TestEveryCommandHelpsAndKnowsWrongUse(t *testing.T) {
	lonely(t)
	for _, tc := range []struct {
		args   string
		code   int
		stdout string // "" is nothing
		stderr string
	}{
		{"", 2, "", "thirdstop demo"},
		{"help", 0, "thirdstop demo", ""},
		{"--help", 0, "maker's manual", ""},
		{"version", 0, "thirdstop ", ""},
		{"brighten", 2, "", `"brighten" is no command`},
		{"run --help", 0, "--existing", ""},
		{"run", 2, "", "name the folder"},
		{"run a b", 2, "", "give one folder"},
		{"run --bright x", 2, "", "bright"},
		{"demo --help", 0, "--headless", ""},
		{"demo --frames 0 --headless", 2, "", "frames"},
		{"demo now", 2, "", `"now"`},
		{"pair --help", 0, "--role", ""},
		{"pair now", 2, "", `"now"`},
		{"pair --role boss", 2, "", "boss"},
		{"devices --help", 0, "revoke", ""},
		{"devices invite", 2, "", `"invite"`},
		{"devices revoke", 2, "", "revoke"},
		{"trail", 2, "", "verify"},
		{"trail help", 0, "--head", ""},
		{"trail burn", 2, "", `"burn"`},
		{"trail verify", 2, "", "name a shoot"},
		{"trail verify --head 1:ab a b", 2, "", "--head"},
		{"trail replay --head 1:ab a", 2, "", "--head"},
		{"trail corrections", 2, "", "name one shoot"},
		{"trail corrections gone", 1, "", "holds no shoot"},
		{"trail verify --to x gone", 2, "", "--to"},
		{"trail sheet", 2, "", "name one shoot"},
		{"trail sheet gone", 1, "", "holds no shoot"},
		{"trail list x", 2, "", `"x"`},
		{"trail verify gone", 1, "", "holds no shoot"},
		{"trail replay gone", 1, "", "holds no shoot"},
		{"trail list", 0, "No shoot was recorded", ""},
		{"devices", 0, "No device is paired", ""},
		{"devices revoke d-1", 1, "", `no device has the id "d-1"`},
		{"pair", 1, "", "--listen"},
	} {
		code, out, errs := ran(t, strings.Fields(tc.args)...)
		if code != tc.code || !strings.Contains(out, tc.stdout) || !strings.Contains(errs, tc.stderr) ||
			tc.stdout == "" && out != "" || tc.stderr == "" && errs != "" {
			t.Errorf("thirdstop %s = %d\nstdout %q\nstderr %q\nwant %d, %q and %q", tc.args, code, out, errs, tc.code, tc.stdout, tc.stderr)
		}
	}
}

// tape records a shoot with the demo, and gives its folder and id.
func tape(t *testing.T) (data, id string) {
	t.Helper()
	keep := t.TempDir()
	var out, errs bytes.Buffer
	if code := playDemo(t.Context(), []string{"--headless", "--keep", keep}, &out, &errs, &leap{}); code != 0 {
		t.Fatalf("the demo = %d %s %s", code, &out, &errs)
	}
	data = filepath.Join(keep, "data")
	list, err := os.ReadDir(filepath.Join(data, "shoots"))
	if err != nil || len(list) != 1 {
		t.Fatalf("%d shoots, %v", len(list), err)
	}
	return data, list[0].Name()
}

func TestTrailCommandsTellAWholeRecordFromATamperedOne(t *testing.T) {
	lonely(t)
	data, id := tape(t)
	t.Setenv("THIRDSTOP_DATA", data)
	dir := filepath.Join(data, "shoots", id)
	chain := filepath.Join(dir, "trail.jsonl")
	if code, out, errs := ran(t, "trail", "list"); code != 0 || !strings.Contains(out, id+"  began ") || errs != "" {
		t.Errorf("list = %d %q %q", code, out, errs)
	}
	var head string
	for _, name := range []string{id, dir, chain} {
		code, out, errs := ran(t, "trail", "verify", name)
		if code != 0 || !strings.Contains(out, "whole and unchanged") || errs != "" {
			t.Errorf("verify %s = %d %q %q", name, code, out, errs)
		}
		head = regexp.MustCompile(`head (\S+)`).FindStringSubmatch(out)[1]
		if code, out, errs := ran(t, "trail", "replay", name); code != 0 || !strings.Contains(out, "the same advice, byte for byte") || errs != "" {
			t.Errorf("replay %s = %d %q %q", name, code, out, errs)
		}
	}
	if code, _, errs := ran(t, "trail", "verify", "--head", head, id); code != 0 {
		t.Errorf("verify with its head = %d %s", code, errs)
	}
	if code, out, errs := ran(t, "trail", "erase", "--what", "files,pictures", id); code != 0 || !regexp.MustCompile(`[1-9]\d* texts erased`).MatchString(out) {
		t.Errorf("erase = %d %q %q", code, out, errs)
	}
	if code, out, errs := ran(t, "trail", "verify", "--head", head, id); code != 0 || !strings.Contains(out, "0 kept") {
		t.Errorf("verify after erasing = %d %q %q", code, out, errs)
	}
	for _, words := range []string{"trail erase " + id, "trail erase --what faces " + id, "trail verify --what all " + id} {
		if code, _, errs := ran(t, strings.Fields(words)...); code != 2 || !strings.Contains(errs, "--what") {
			t.Errorf("%s = %d %q, want wrong use", words, code, errs)
		}
	}
	whole, err := os.ReadFile(chain)
	if err != nil {
		t.Fatal(err)
	}
	write := func(text []byte) {
		t.Helper()
		if err := os.WriteFile(chain, text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	// A record cut off at the end is found with a head alone.
	write(whole[:bytes.LastIndexByte(whole[:len(whole)-1], '\n')+1])
	if code, _, _ := ran(t, "trail", "verify", id); code != 0 {
		t.Errorf("verify without a head = %d, which can't know of the end", code)
	}
	if code, _, errs := ran(t, "trail", "verify", "--head", head, id); code != 1 || !strings.Contains(errs, "head") {
		t.Errorf("verify with a head that was cut off = %d %q", code, errs)
	}
	// A changed word is found by both, with the record's number.
	write(bytes.Replace(whole, []byte("power up"), []byte("power UP"), 1))
	for _, verb := range []string{"verify", "replay"} {
		if code, out, errs := ran(t, "trail", verb, id); code != 1 || !regexp.MustCompile(`record \d+ is damaged`).MatchString(errs) || strings.Contains(out, "whole") {
			t.Errorf("%s of a tampered record = %d %q %q", verb, code, out, errs)
		}
	}
	write([]byte("{}\n"))
	if code, _, errs := ran(t, "trail", "list"); code != 1 || !strings.Contains(errs, id) {
		t.Errorf("list with a damaged record = %d %q", code, errs)
	}
	if code, _, errs := ran(t, "trail", "verify", "--head", "nonsense", id); code != 1 || errs == "" {
		t.Errorf("a head that is none = %d %q", code, errs)
	}
}

func TestDevicesAreListedAndRevoked(t *testing.T) {
	data := lonely(t)
	list, err := dashboard.OpenDevices(devicesPath(data))
	if err != nil {
		t.Fatal(err)
	}
	d, token, err := list.Add("tablet \x1b[31mred", dashboard.Lights, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	code, out, errs := ran(t, "devices", "--data", data)
	if code != 0 || errs != "" || !strings.Contains(out, d.ID) || !strings.Contains(out, "tablet \uFFFD[31mred") || !strings.Contains(out, "lights") {
		t.Errorf("devices = %d %q %q", code, out, errs)
	}
	if strings.Contains(out, token) {
		t.Error("the list shows a token")
	}
	if code, out, errs := ran(t, "devices", "--data", data, "revoke", d.ID); code != 0 || !strings.Contains(out, d.ID) {
		t.Errorf("revoke = %d %q %q", code, out, errs)
	}
	if _, out, _ := ran(t, "devices", "--data", data); !strings.Contains(out, "No device") {
		t.Errorf("after revoking: %q", out)
	}
	if err := os.WriteFile(devicesPath(data), []byte("not json"), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := ran(t, "devices", "--data", data); code != 1 || !strings.Contains(errs, "devices.json") {
		t.Errorf("a damaged list = %d %q", code, errs)
	}
}

// Open to the network: nobody is let in without a code, codes come from the terminal and from
// `thirdstop pair`, each lets one device in once, and a revoked device is out.
func TestADaemonOpenToTheNetworkLetsDevicesInWithACode(t *testing.T) {
	data := shortFolder(t)
	lonely(t)
	d := started(t, "--data", data, "--listen", ":0", filepath.Join(data, "captures"))
	_, port, _ := strings.Cut(strings.TrimPrefix(d.url, "http://"), ":")
	if i := strings.LastIndexByte(d.url, ':'); i > 0 {
		port = d.url[i+1:]
	}
	d.url = "http://127.0.0.1:" + port
	if code, got := d.call("/api/v1/state", nil); code != 401 {
		t.Errorf("without a token the state = %d %v, want 401", code, got)
	}
	codes := regexp.MustCompile(`Code: (\S+) `)
	until(t, "a code is printed", func() bool { return codes.MatchString(d.out.String()) })
	if out := d.out.String(); strings.Count(out, "█") < 50 || !strings.Contains(out, "Open on the tablet: http://") {
		t.Errorf("the terminal shows no code to photograph: %q", out)
	}
	first := codes.FindStringSubmatch(d.out.String())[1]
	pairWith := func(code string) (int, string) {
		status, got := d.call("/api/v1/pair", map[string]any{"code": code, "name": "tablet"})
		token, _ := got["token"].(string)
		return status, token
	}
	status, token := pairWith(first)
	if status != 200 || token == "" {
		t.Errorf("pairing with the terminal's code = %d", status)
	}
	if status, _ := pairWith(first); status == 200 {
		t.Error("a code works twice")
	}
	var out string
	until(t, "the control socket is there", func() bool {
		code, o, _ := ran(t, "pair", "--data", data, "--role", "looks")
		out = o
		return code == 0
	})
	second := codes.FindStringSubmatch(out)
	if second == nil || strings.Count(out, "█") < 50 {
		t.Fatalf("thirdstop pair prints %q", out)
	}
	if st, err := os.Stat(controlPath(data)); err != nil || st.Mode().Perm()&0o077 != 0 {
		t.Errorf("the control socket: %v, %v; want it for its owner alone", st, err)
	}
	status, token2 := pairWith(second[1])
	if status != 200 {
		t.Errorf("pairing with the code of `thirdstop pair` = %d", status)
	}
	_, list, _ := ran(t, "devices", "--data", data)
	if strings.Count(list, "tablet") != 2 {
		t.Errorf("devices = %q, want two", list)
	}
	for _, secret := range []string{first, second[1], token, token2} {
		if strings.Contains(d.log.String(), secret) {
			t.Errorf("the log holds a code or a token: %s", d.log)
		}
	}
	if c := d.stop(); c != 0 {
		t.Errorf("stopped with %d", c)
	}
	if _, err := os.Stat(controlPath(data)); !os.IsNotExist(err) {
		t.Errorf("the control socket is still there: %v", err)
	}
	if code, _, errs := ran(t, "pair", "--data", data); code != 1 || !strings.Contains(errs, "--listen") {
		t.Errorf("pair without a daemon = %d %q", code, errs)
	}
}

// shortFolder is a folder whose path is short enough for a unix socket.
func shortFolder(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "ts")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

// The path of a unix socket is at most 103 bytes long on macOS: a deep data folder costs
// `thirdstop pair`, and nothing else.
func TestADeepDataFolderCostsTheSocketAlone(t *testing.T) {
	home := lonely(t)
	data := filepath.Join(home, strings.Repeat("deep/", 25))
	d := started(t, "--data", data, "--listen", ":0", filepath.Join(home, "captures"))
	until(t, "it is said", func() bool { return strings.Contains(d.out.String(), "`thirdstop pair` won't work") })
	until(t, "it is logged", func() bool { return strings.Contains(d.log.String(), "no control socket") })
	if !strings.Contains(d.out.String(), "Code: ") {
		t.Errorf("no code is printed: %s", d.out)
	}
	if code, got := d.call("/healthz", nil); code != 200 || got["recording"] != true {
		t.Errorf("healthz = %d %v", code, got)
	}
	if strings.Contains(d.log.String(), "deep/") {
		t.Errorf("the log names a folder: %s", d.log)
	}
	if c := d.stop(); c != 0 {
		t.Errorf("stopped with %d", c)
	}
}

func TestAJournalIsToldNoCode(t *testing.T) {
	data := lonely(t)
	t.Setenv("JOURNAL_STREAM", "8:12345")
	d := started(t, "--data", data, "--listen", ":0", filepath.Join(data, "captures"))
	until(t, "all is said", func() bool { return strings.Contains(d.out.String(), "thirdstop pair") })
	if out := d.out.String(); strings.Contains(out, "Code: ") || strings.Contains(out, "█") {
		t.Errorf("a code went to the journal: %s", fmt.Sprint(out))
	}
}
