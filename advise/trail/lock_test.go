package trail_test

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thirdstop/advise/trail"
)

// holdLock holds the lock until its input ends.
func holdLock(dir string) error {
	if _, err := trail.LockDir(dir); err != nil {
		return err
	}
	fmt.Println("locked")
	_, err := io.Copy(io.Discard, os.Stdin)
	return err
}

func TestAFolderIsLockedToOneProgram(t *testing.T) {
	dir := t.TempDir()
	release, err := trail.LockDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	_, err = trail.LockDir(dir)
	if !errors.Is(err, trail.ErrLocked) {
		t.Fatalf("second lock: %v", err)
	}
	for _, word := range []string{dir, "another thirdstop uses it", fmt.Sprintf("process %d", os.Getpid())} {
		if !strings.Contains(err.Error(), word) {
			t.Errorf("%q does not say %q", err, word)
		}
	}
	if err := release(); err != nil {
		t.Errorf("release: %v", err)
	}
	if err := release(); err != nil {
		t.Errorf("second release: %v", err)
	}
	again, err := trail.LockDir(dir)
	if err != nil {
		t.Fatalf("after release: %v", err)
	}
	again()
}

func TestALockEndsWithTheProgramThatHeldIt(t *testing.T) {
	dir := t.TempDir()
	cmd := child(t, "lock", dir)
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if line, err := bufio.NewReader(out).ReadString('\n'); line != "locked\n" {
		t.Fatalf("child said %q, %v", line, err)
	}
	_, err = trail.LockDir(dir)
	if !errors.Is(err, trail.ErrLocked) || !strings.Contains(err.Error(), fmt.Sprintf("process %d", cmd.Process.Pid)) {
		t.Errorf("while the child holds it: %v", err)
	}
	cmd.Process.Kill()
	cmd.Wait()
	release, err := trail.LockDir(dir)
	if err != nil {
		t.Fatalf("after the child was killed: %v", err)
	}
	release()
}

func TestAMissingFolderCannotBeLocked(t *testing.T) {
	if _, err := trail.LockDir(filepath.Join(t.TempDir(), "none")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("error is %v", err)
	}
}
