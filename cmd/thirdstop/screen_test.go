package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"thirdstop/dashboard"
)

func TestNamesOfFilesGiveATerminalNoOrders(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("not on Windows: it takes no such names")
	}
	name := filepath.Join(t.TempDir(), "bow\x1b[2J\u202Egpj.jpg")
	if err := os.WriteFile(name, []byte("crews and oars"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"assess", name}, {"assess", "--json", name}, {"chart", name}, {"chart", "--json", name}, {"plan", "check", name},
		{"trail", "verify", name}, {"trail", name}, {name}, {"curve", "show", name}, {"pair", name}, {"devices", "revoke", name}, {"run", name, name}, {"demo", name}} {
		code, out, errs := ran(t, args...)
		if all := out + errs; strings.ContainsAny(all, "\x1b\u202E") || code == 0 || all == "" {
			t.Errorf("thirdstop %+q = %d\n%+q\n%+q\nwant a sentence without the escape and the mark", args, code, out, errs)
		}
		if len(args) < 2 || args[1] != "--json" {
			continue
		}
		var line struct{ File string }
		if err := json.Unmarshal([]byte(out), &line); err != nil || line.File != name {
			t.Errorf("%v: the file of %q is %+q, want it as it was given: %v", args[:2], out, line.File, err)
		}
	}
}

func TestTheCodesPictureReachesTheTerminalWhole(t *testing.T) {
	var out bytes.Buffer
	c := pairCode{Code: "ACDE-3467", Expires: time.Now(), URL: "http://192.0.2.7:7353/#pair=ACDE3467"}
	want, err := dashboard.QR(c.URL)
	if err != nil {
		t.Fatal(err)
	}
	printCode(screen{&out}, c)
	if !strings.HasPrefix(out.String(), want) || !strings.Contains(out.String(), c.Code) {
		t.Errorf("the picture of the code comes as %.100q, want %.100q", out.String(), want)
	}
}
