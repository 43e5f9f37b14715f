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
)

// ErrLocked is wrapped by LockDir's error when another program holds the folder.
var ErrLocked = errors.New("the folder is in use")

const lockName = "lock"

// LockDir locks a folder, which must exist, to this program, until release is called or the program ends in
// whatever way. The lock is advisory: it keeps out those who call LockDir. The error names the folder and the
// process that holds it, and wraps ErrLocked. A file "lock" with the process id in it stays in the folder; it says
// nothing by itself, the system's lock on it does. On network shares the lock is as good as the share's.
func LockDir(path string) (release func() error, err error) {
	name := filepath.Join(path, lockName)
	f, err := os.OpenFile(name, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		var pe *fs.PathError
		if errors.As(err, &pe) { // the folder is named already
			err = pe.Err
		}
		return nil, fmt.Errorf("folder %s can't be written in: %w; check that it exists and that you may write in it", path, err)
	}
	if err := lockFile(f); err != nil {
		defer f.Close()
		if !errors.Is(err, ErrLocked) {
			return nil, fmt.Errorf("folder %s can't be locked: %w; keep it on a disk of this machine", path, err)
		}
		if pid := readPID(f); pid > 0 {
			return nil, fmt.Errorf("folder %s: another thirdstop uses it (process %d); stop that one, or give this one another folder: %w", path, pid, ErrLocked)
		}
		return nil, fmt.Errorf("folder %s: another thirdstop uses it; stop that one, or give this one another folder: %w", path, ErrLocked)
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
