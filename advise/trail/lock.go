package trail

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"
)

// ErrLocked is in the chain of LockDir's error when another program holds the folder.
var ErrLocked = errors.New("the folder is in use")

// LockedError names the program that holds a folder. It wraps ErrLocked.
type LockedError struct {
	Dir string
	PID int // of the process that holds it, 0 where that is not known
}

func (e *LockedError) Error() string {
	return fmt.Sprintf("folder %s is in use by another thirdstop%s; stop that one, or give this one another folder", e.Dir, e.Process())
}

// Process is the process as a sentence has it, with a blank before it: " (process 4711)", or "" where it is not known.
func (e *LockedError) Process() string {
	if e.PID == 0 {
		return ""
	}
	return fmt.Sprintf(" (process %d)", e.PID)
}

func (e *LockedError) Unwrap() error { return ErrLocked }

const lockName = "lock"

// lockAgain is how often a lock that another program holds is tried again.
const lockAgain = 20 * time.Millisecond

// LockDir locks a folder, which must exist, to this program, until release is called or the program ends in
// whatever way. The lock is advisory: it keeps out those who call LockDir. Where another program holds it, that
// one gets the time of patience to end: one that was killed holds its lock until the system has taken it apart.
// The error names the folder; a *[LockedError] says who holds it. A file "lock" with the process id in it stays in
// the folder; it says nothing by itself, the system's lock on it does. On network shares the lock is as good as the share's.
func LockDir(path string, patience time.Duration) (release func() error, err error) {
	name := filepath.Join(path, lockName)
	f, err := os.OpenFile(name, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		var pe *fs.PathError
		if errors.As(err, &pe) { // the folder is named already
			err = pe.Err
		}
		return nil, fmt.Errorf("folder %s can't be written in: %w; check that it exists and that you may write in it", path, err)
	}
	err = lockFile(f)
	for until := time.Now().Add(patience); errors.Is(err, ErrLocked) && time.Now().Before(until); err = lockFile(f) {
		time.Sleep(lockAgain)
	}
	if err != nil {
		defer f.Close()
		if !errors.Is(err, ErrLocked) {
			return nil, fmt.Errorf("folder %s can't be locked: %w; keep it on a disk of this machine", path, err)
		}
		return nil, &LockedError{path, readPID(f)}
	}
	// The number helps people find the other program. Without it, as on a full disk, the lock holds all the same.
	if err := f.Truncate(0); err == nil {
		f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	}
	return sync.OnceValue(func() error {
		f.Truncate(0)
		// The file stays: were it removed, two programs could hold locks on two files of this name.
		return errors.Join(unlockFile(f), f.Close())
	}), nil
}

func readPID(f *os.File) int {
	b := make([]byte, 32)
	n, _ := f.ReadAt(b, 0)
	pid, err := strconv.Atoi(strings.TrimSpace(string(b[:n])))
	if err != nil || pid < 1 {
		return 0
	}
	return pid
}
