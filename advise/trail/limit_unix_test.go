//go:build unix && !solaris && !illumos && !aix

package trail_test

import (
	"errors"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"thirdstop/advise/trail"
)

func init() { parts["limited"] = limitedShoot }

// limitedShoot appends until the system refuses a part of a line, as it does when a disk fills up.
func limitedShoot(dir string) error {
	t, _, err := trail.Open(dir, trail.Options{})
	if err != nil {
		return err
	}
	signal.Ignore(syscall.SIGXFSZ)
	limit := syscall.Rlimit{Cur: 10_007, Max: 10_007}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
		return err
	}
	for {
		r, err := t.Append("input", 1, "", morning, strings.Repeat("x", 500))
		if errors.Is(err, trail.ErrPoisoned) {
			fmt.Println("stopped by", errors.Is(err, syscall.EFBIG))
			return nil
		}
		if err != nil {
			return err
		}
		fmt.Println("synced", r.Seq, r.Hash())
	}
}

func TestALineThatTheSystemTookOnlyInPartIsRepaired(t *testing.T) {
	dir := t.TempDir()
	create(t, dir, trail.Options{}).Close()
	out, err := child(t, "limited", dir).Output()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if lines[len(lines)-1] != "stopped by true" || len(lines) < 5 {
		t.Fatalf("child said %q", lines)
	}
	if st, err := os.Stat(filepath.Join(dir, "trail.jsonl")); err != nil || st.Size() != 10_007 {
		t.Fatalf("the file is not full to its limit: %v, %v", st.Size(), err)
	}
	tr, repairs := open(t, dir, trail.Options{})
	if len(repairs) != 1 || repairs[0].Bytes == 0 {
		t.Errorf("repairs: %+v", repairs)
	}
	h := tr.Head()
	if got, want := fmt.Sprintf("synced %d %s", h.Seq, h.Hash), lines[len(lines)-2]; got != want {
		t.Errorf("the head after the repair is %q, the last acknowledged record was %q", got, want)
	}
}
