package main

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// What a person gets wrong: the first line names the file once, says what is wrong and what to do.
func TestWrongInputIsToldOnceAndWithWhatToDo(t *testing.T) {
	home := lonely(t)
	t.Chdir(home)
	for name, text := range map[string]string{"empty.jpg": "", "text.jpg": "crews and oars\n", "faults.yaml": "lights: 3\n", "config.yaml": "bright: 1\n"} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir("folder", 0o700); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args string
		code int
		name string // in the first line, once
		says string
	}{
		{"assess nofile.jpg", 1, "nofile.jpg", "no such file; check the name"},
		{"assess folder", 1, "folder:", "name the files in it"},
		{"assess empty.jpg", 1, "empty.jpg", "transfer broke off"},
		{"assess text.jpg", 1, "text.jpg", "no picture file"},
		{"assess text.jpg/x.jpg", 1, "text.jpg/x.jpg", "check the name"},
		{"chart nofile.jpg", 1, "nofile.jpg", "no such file; check the name"},
		{"curve learn nofile.jpg 2 3 4 5", 1, "nofile.jpg", "no such file; check the name"},
		{"curve show", 1, "learned", "curve --help"},
		{"plan check nofile.yaml", 1, "nofile.yaml", "plan new"},
		{"plan check folder", 1, "folder:", "name a file"},
		{"plan new nofolder/x.yaml", 1, "nofolder/x.yaml", "make its folder first"},
		{"plan new folder", 1, "folder is", "another name"},
		{"trail verify nosuch", 1, "nosuch", "trail list"},
		{"trail replay ./nosuch", 1, "./nosuch", "trail list"},
		{"trail verify text.jpg", 1, "text.jpg", "trail list"},
		{"trail export nosuch", 1, "nosuch", "trail list"},
		{"trail erase --what all nosuch", 1, "nosuch", "trail list"},
		{"trail list --data text.jpg", 1, "text.jpg", "--data"},
		{"devices --data text.jpg", 1, "text.jpg", "check the data folder"},
		{"devices revoke", 2, "revoke", "id of one device"},
		{"devices revoke a b", 2, "revoke", "id of one device"},
		{"run text.jpg", 1, "text.jpg", "name the folder"},
		{"run --data text.jpg folder", 1, "text.jpg", "--data"},
		{"run --plan nofile.yaml folder", 1, "nofile.yaml", "plan new"},
		{"run --plan folder folder", 1, "folder:", "name a file"},
		{"run --listen nowhere folder", 2, "nowhere", ":7353 for every tablet"},
		{"run --listen 127.0.0.1:70000 folder", 2, "70000", ":7353 for every tablet"},
		{"run --listen 192.0.2.1:7353 folder", 1, "192.0.2.1:7353", "--listen"}, // RFC 5737: an address that no machine has
		{"run --existing some folder", 2, "some", `"take" or "skip"`},
		{"run --log loud folder", 2, "loud", `"text" or "json"`},
		{"run --config nofile.yaml folder", 2, "nofile.yaml", "--config"},
		{"run --config folder folder", 2, "folder:", "name a file"},
		{"run --config config.yaml folder", 2, "config.yaml", "bright"},
		{"demo --log loud --headless", 2, "loud", `"text" or "json"`},
		{"demo --keep text.jpg --headless", 1, "text.jpg", "--keep"},
	} {
		if runtime.GOOS == "windows" && strings.Contains(c.args, "text.jpg") {
			continue // its words for a file in the place of a folder are others
		}
		code, out, errs := ran(t, strings.Fields(c.args)...)
		line, _, _ := strings.Cut(errs, "\n")
		if code != c.code || strings.Count(line, c.name) != 1 || !strings.Contains(errs, c.says) || strings.Contains(errs, "open ") || out != "" {
			t.Errorf("thirdstop %s = %d\n%s%s\nwant %d, %q once and %q", c.args, code, out, errs, c.code, c.name, c.says)
		}
	}
	if list, _ := os.ReadDir(filepath.Join(home, "data", "thirdstop", "shoots")); len(list) > 0 {
		t.Error("wrong use began a shoot")
	}
}

func TestFilesThatMayNotBeReadAreSaidToBeSo(t *testing.T) {
	lonely(t)
	name := filepath.Join(t.TempDir(), "locked.jpg")
	if err := os.WriteFile(name, []byte("x"), 0); err != nil {
		t.Fatal(err)
	}
	if f, err := os.Open(name); err == nil {
		f.Close()
		t.Skip("whoever runs this test may read everything")
	}
	for _, args := range [][]string{{"assess", name}, {"plan", "check", name}, {"run", "--plan", name, t.TempDir()}} {
		if code, _, errs := ran(t, args...); code != 1 || !strings.Contains(errs, "access is denied; check who may read") || strings.Count(errs, name) != 1 {
			t.Errorf("%v = %d %q", args, code, errs)
		}
	}
}
