package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"testing"
)

func TestAPlanFileIsWrittenWhole(t *testing.T) {
	home := t.TempDir()
	capture := filepath.Join(home, "captures")
	if err := os.Mkdir(capture, 0o700); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(home, "boathouse.yaml")
	if err := os.WriteFile(file, []byte("version: 1 # ours\n"), 0o640); err != nil {
		t.Fatal(err)
	}
	f := newPlanFile(file, capture)
	if f == nil {
		t.Fatal("a plan beside the capture folder must be writable")
	}
	if err := f.Write("version: 1 # edited\n"); err != nil {
		t.Fatal(err)
	}
	if text, err := f.Read(); err != nil || text != "version: 1 # edited\n" {
		t.Fatalf("it holds %q, %v", text, err)
	}
	if info, _ := os.Stat(file); runtime.GOOS != "windows" && info.Mode().Perm() != 0o640 {
		t.Errorf("its permissions became %v, want those of before, 0640", info.Mode().Perm())
	}
	if left, _ := filepath.Glob(filepath.Join(home, ".thirdstop-plan-*")); len(left) > 0 {
		t.Errorf("left beside it: %v", left)
	}
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Read(); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a plan file that is gone reads as %v, want fs.ErrNotExist", err)
	}
	if err := f.Write("version: 1\n"); err != nil {
		t.Errorf("a plan file that is gone can't be written anew: %v", err)
	}
	if err := os.RemoveAll(home); err != nil {
		t.Fatal(err)
	}
	if err := f.Write("version: 1\n"); err == nil {
		t.Error("a plan was written into a folder that is gone")
	}
}

// Nothing is ever written in the capture folder, whatever way leads there.
func TestAPlanInTheCaptureFolderIsLeftAlone(t *testing.T) {
	capture := t.TempDir()
	inside := filepath.Join(capture, "boathouse.yaml")
	if err := os.WriteFile(inside, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	link := filepath.Join(t.TempDir(), "plan.yaml")
	for _, path := range []string{inside, link} {
		if path == link {
			if err := os.Symlink(inside, link); err != nil {
				t.Skipf("no links here: %v", err)
			}
		}
		if newPlanFile(path, capture) != nil {
			t.Errorf("%s lies in the capture folder and would be written", path)
		}
	}
}
