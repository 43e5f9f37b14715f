package trail

import (
	"errors"

	"golang.org/x/sys/windows"
)

// Windows has no way to sync a folder; NTFS keeps its entries in a journal of its own.
func syncDir(string) error { return nil }

func diskFull(err error) bool {
	return errors.Is(err, windows.ERROR_DISK_FULL) || errors.Is(err, windows.ERROR_HANDLE_DISK_FULL) ||
		errors.Is(err, windows.ERROR_DISK_QUOTA_EXCEEDED)
}
