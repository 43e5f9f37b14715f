package dashboard

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestControlCharactersAreRefusedByName(t *testing.T) {
	b := start(t)
	who, _ := b.paired(Shoots)
	for _, c := range []struct{ method, path, body, says string }{
		{"POST", "/api/v1/notes", `{"client":"a","seen":0,"text":"a\u0000b"}`, `"text" holds the control character U+0000`},
		{"POST", "/api/v1/notes", `{"client":"b","seen":0,"text":"\u001b[2J"}`, "U+001B"},
		{"POST", "/api/v1/notes", `{"client":"c","seen":0,"text":"half a pair \ud83d"}`, "can be read"},
		{"POST", "/api/v1/notes", "{\"client\":\"d\",\"seen\":0,\"text\":\"Ren\xe9\"}", "can be read"},
		{"POST", "/api/v1/sitters", `{"client":"e","seen":0,"name":"bow\nstroke"}`, "U+000A"},
		{"PUT", "/api/v1/plan", `{"client":"f","seen":0,"text":"version: 1","name":"a\u0085b"}`, "U+0085"},
	} {
		got := b.ask(c.method, c.path, c.body, who)
		if got.status != 400 || !strings.Contains(got.json(t)["error"].(map[string]any)["text"].(string), c.says) {
			t.Errorf("%s %s = %d %s, want 400 and %q", c.path, c.body, got.status, got.text, c.says)
		}
	}
	code, _, _ := b.s.NewCode(Lights)
	if got := b.ask("POST", "/api/v1/pair", `{"code":"`+code+`","name":"tab\u0007let"}`); got.status != 400 || !strings.Contains(got.text, "U+0007") {
		t.Errorf("a device of a ringing name = %d %s", got.status, got.text)
	}
	// The refusal used no code up, and what changes the text around it is taken and not shown.
	got := b.ask("POST", "/api/v1/pair", `{"code":"`+code+`","name":"tablet \u202Eyek"}`)
	if d, _ := got.json(t)["device"].(map[string]any); got.status != 200 || d["name"] != "tablet yek" {
		t.Errorf("a name that is turned round = %d %s, want it shown as it reads", got.status, got.text)
	}
	if got := b.ask("GET", "/api/v1/devices", "", who); strings.Contains(got.text, "\u202E") || !strings.Contains(got.text, "tablet yek") {
		t.Errorf("the list of devices: %s", got.text)
	}
}

func TestAnEditedListOfDevicesIsShownSafely(t *testing.T) {
	file := filepath.Join(t.TempDir(), "devices.json")
	sum := sumOf("x")
	err := os.WriteFile(file, []byte(`{"version":1,"devices":[{"id":"d-1","name":"a\u001b[2J\u202Eb","role":"looks","paired":"2026-11-25T09:00:00Z","token_sha256":"`+sum+`"}]}`), 0o600)
	if err != nil {
		t.Fatal(err)
	}
	d, err := OpenDevices(file)
	if err != nil {
		t.Fatal(err)
	}
	list, err := d.List()
	if err != nil || len(list) != 1 || list[0].Name != "a\uFFFD[2Jb" {
		t.Errorf("List() = %+q, %v", list, err)
	}
	if got, ok, _ := d.byToken("x"); !ok || got.Name != "a\uFFFD[2Jb" {
		t.Errorf("byToken = %+q", got)
	}
}
