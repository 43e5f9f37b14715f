package trail_test

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thirdstop/advise/trail"
)

// holdLock holds the lock until its input ends.
func holdLock(dir string) error {
	if _, err := trail.LockDir(dir, 0); err != nil {
		return err
	}
	fmt.Println("locked")
	_, err := io.Copy(io.Discard, os.Stdin)
	return err
}

func TestAFolderIsLockedToOneProgram(t *testing.T) {
	dir := t.TempDir()
	release, err := trail.LockDir(dir, 0)
	if err != nil {
		t.Fatal(err)
	}
	_, err = trail.LockDir(dir, 0)
	if !errors.Is(err, trail.ErrLocked) {
		t.Fatalf("second lock: %v", err)
	}
	want := fmt.Sprintf("folder %s is in use by another thirdstop (process %d); stop that one, or give this one another folder", dir, os.Getpid())
	if err.Error() != want {
		t.Errorf("the refusal is %q, want %q", err, want)
	}
	if err := release(); err != nil {
		t.Errorf("release: %v", err)
	}
	if err := release(); err != nil {
		t.Errorf("second release: %v", err)
	}
	again, err := trail.LockDir(dir, 0)
	if err != nil {
		t.Fatalf("after release: %v", err)
	}
	again()
}

// holder is a program that holds the lock of a folder until it is killed.
func holder(t *testing.T, dir string) *exec.Cmd {
	t.Helper()
	cmd := child(t, "lock", dir)
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { in.Close() })
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	if line, err := bufio.NewReader(out).ReadString('\n'); line != "locked\n" {
		t.Fatalf("child said %q, %v", line, err)
	}
	return cmd
}

func TestALockEndsWithTheProgramThatHeldIt(t *testing.T) {
	dir := t.TempDir()
	cmd := holder(t, dir)
	_, err := trail.LockDir(dir, 0)
	if !errors.Is(err, trail.ErrLocked) || !strings.Contains(err.Error(), fmt.Sprintf("process %d", cmd.Process.Pid)) {
		t.Errorf("while the child holds it: %v", err)
	}
	cmd.Process.Kill()
	cmd.Wait()
	release, err := trail.LockDir(dir, 0)
	if err != nil {
		t.Fatalf("after the child was killed: %v", err)
	}
	release()
}

// Nobody waits for the killed process here: its lock goes when the system has taken it apart.
func TestAProgramThatWasKilledGetsTimeToLetGo(t *testing.T) {
	dir := t.TempDir()
	cmd := holder(t, dir)
	began := time.Now()
	if _, err := trail.LockDir(dir, 60*time.Millisecond); !errors.Is(err, trail.ErrLocked) || time.Since(began) < 60*time.Millisecond {
		t.Errorf("while the child lives, after %v: %v", time.Since(began), err)
	}
	kill := time.AfterFunc(150*time.Millisecond, func() { cmd.Process.Kill() })
	defer kill.Stop()
	release, err := trail.LockDir(dir, 20*time.Second)
	if err != nil {
		t.Fatalf("the child was killed meanwhile: %v", err)
	}
	release()
}

func TestAMissingFolderCannotBeLocked(t *testing.T) {
	if _, err := trail.LockDir(filepath.Join(t.TempDir(), "none"), 0); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("error is %v", err)
	}
}
