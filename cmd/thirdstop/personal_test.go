package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rs/zerolog"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
)

// seated is a shoot of the demo with a sitter, a note and a baseline, and the texts in it that are personal.
func seated(t *testing.T) (data, id string, personal []string) {
	t.Helper()
	sitter, note := "coxswain Ottilie", "asked for the left side"
	data, id = tape(t)
	s, _, err := shoot.Open(shoot.Config{Shoots: filepath.Join(data, "shoots"), Folder: filepath.Join(filepath.Dir(data), "captures"), Version: version(),
		Measurer: measurer{}, Log: zerolog.Nop()})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range []shoot.Request{{Sitter: &sitter}, {Note: &note}, {Baseline: &advise.Baseline{Frame: s.Snapshot().State.FrameCount}}} {
		if _, err := s.Submit(t.Context(), r); err != nil {
			t.Fatal(err)
		}
	}
	file := s.Words(s.Snapshot().State.Frames[0].File)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return data, id, []string{sitter, note, file, strings.TrimSuffix(file, filepath.Ext(file))}
}

// holders names the files under a folder that hold one of the texts, in their name or inside.
func holders(t *testing.T, dir string, texts []string) (out []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(p string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		for _, w := range texts {
			if strings.Contains(string(b), w) || strings.Contains(e.Name(), w) {
				rel, _ := filepath.Rel(dir, p)
				out = append(out, rel+" holds "+w)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestWhatWasErasedIsNowhereAnyMore(t *testing.T) {
	lonely(t)
	data, id, personal := seated(t)
	t.Setenv("THIRDSTOP_DATA", data)
	commands := [][]string{{"trail", "sheet", id}, {"trail", "export", id}, {"trail", "export", "--table", "log", id},
		{"trail", "export", "--table", "corrections", id}, {"trail", "export", "--as", "jsonl", id}, {"shoots", "list"}, {"shoots", "search", id}}
	said := func() string {
		t.Helper()
		all := ""
		for _, c := range commands {
			code, out, errs := ran(t, c...)
			if code != 0 {
				t.Fatalf("%v = %d %s", c, code, errs)
			}
			all += out
		}
		return all
	}
	if code, out, errs := ran(t, "trail", "corrections", id); code != 0 || !strings.Contains(out, "corrections towards frame") {
		t.Fatalf("corrections = %d %q %q", code, out, errs)
	}
	before := said()
	for _, w := range personal {
		if !strings.Contains(before, w) {
			t.Fatalf("%q is in no sheet and no export, so its erasing proves nothing", w)
		}
	}
	if len(holders(t, data, personal)) < 3 {
		t.Fatalf("only %v hold what is to be erased", holders(t, data, personal))
	}
	// The names are gone at once, whatever was made of them.
	if code, _, errs := ran(t, "trail", "erase", "--what", "all", id); code != 0 {
		t.Fatalf("erase = %d %s", code, errs)
	}
	if left := holders(t, data, personal); len(left) > 0 {
		t.Errorf("after erasing: %v", left)
	}
	after := said()
	for _, w := range personal {
		if strings.Contains(after, w) {
			t.Errorf("%q is still told", w)
		}
	}
	if strings.Contains(after, "data:image") {
		t.Error("the sheet still shows a picture")
	}
	for _, verb := range []string{"verify", "replay"} {
		if code, out, errs := ran(t, "trail", verb, id); code != 0 {
			t.Errorf("%s after erasing = %d %s %s", verb, code, out, errs)
		}
	}
	if left := holders(t, data, personal); len(left) > 0 {
		t.Errorf("made anew after erasing: %v", left)
	}
}

func TestCorrectionsAreNeverWrittenAmongTheCaptures(t *testing.T) {
	lonely(t)
	data, id, _ := seated(t)
	t.Setenv("THIRDSTOP_DATA", data)
	captures := filepath.Join(filepath.Dir(data), "captures")
	inside := filepath.Join(captures, "for the raw development", "here")
	link := filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(captures, link); err != nil {
		t.Fatal(err)
	}
	for _, to := range []string{captures, inside, filepath.Join(link, "x")} {
		if code, _, errs := ran(t, "trail", "corrections", "--to", to, id); code != 1 || !strings.Contains(errs, "capture folder") {
			t.Errorf("--to %s = %d %q", to, code, errs)
		}
	}
	full := t.TempDir()
	if err := os.WriteFile(filepath.Join(full, "mine.txt"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := ran(t, "trail", "corrections", "--to", full, id); code != 1 || !strings.Contains(errs, "not empty") {
		t.Errorf("a folder that holds something = %d %q", code, errs)
	}
	to := filepath.Join(t.TempDir(), "corrections")
	for range 2 { // the second time it is not empty any more
		code, out, errs := ran(t, "trail", "corrections", "--to", to, id)
		if entries, err := os.ReadDir(to); err != nil || len(entries) < 3 {
			t.Fatalf("= %d %q %q: %d files, %v", code, out, errs, len(entries), err)
		}
	}
	for range 2 { // in its own place it is written anew
		if code, _, errs := ran(t, "trail", "corrections", id); code != 0 {
			t.Errorf("= %d %q", code, errs)
		}
	}
	if _, err := os.Stat(filepath.Join(data, "shoots", id, shoot.CorrectionsDir+".new")); err == nil {
		t.Error("a half-made folder was left")
	}
	entries, err := os.ReadDir(captures)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.IsDir() || strings.HasSuffix(e.Name(), ".xmp") || strings.HasSuffix(e.Name(), ".new") {
			t.Errorf("the capture folder holds %s", e.Name())
		}
	}
}
