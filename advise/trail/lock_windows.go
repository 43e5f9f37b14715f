package trail

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// Windows keeps others from reading what is locked, so the lock lies on one byte far behind the process id.
func lockedByte() *windows.Overlapped { return &windows.Overlapped{OffsetHigh: 1} }

func lockFile(f *os.File) error {
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, lockedByte())
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) || errors.Is(err, windows.ERROR_IO_PENDING) {
		return ErrLocked
	}
	return err
}

func unlockFile(f *os.File) error {
	return windows.UnlockFileEx(windows.Handle(f.Fd()), 0, 1, 0, lockedByte())
}
