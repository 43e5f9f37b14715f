package watcher

import (
	"errors"
	"io/fs"
	"os"
	"syscall"

	"golang.org/x/sys/windows"
)

// numbered says that an identity belongs to one file alone.
const numbered = false

// identityOf uses the time a file was made: weaker than a number of its own, but to be had
// without opening it.
func identityOf(fi fs.FileInfo) identity {
	if d, ok := fi.Sys().(*syscall.Win32FileAttributeData); ok {
		return identity{0, uint64(d.CreationTime.Nanoseconds())}
	}
	return identity{}
}

// Open opens a file for reading without disturbing whoever writes, renames or deletes it:
// it shares all three. os.Open doesn't share deleting, which would make a camera program's
// rename fail.
func Open(path string) (*os.File, error) {
	p, err := windows.UTF16PtrFromString(path)
	if err != nil {
		return nil, &os.PathError{Op: "open", Path: path, Err: err}
	}
	h, err := windows.CreateFile(p, windows.GENERIC_READ,
		windows.FILE_SHARE_READ|windows.FILE_SHARE_WRITE|windows.FILE_SHARE_DELETE,
		nil, windows.OPEN_EXISTING, windows.FILE_ATTRIBUTE_NORMAL|windows.FILE_FLAG_SEQUENTIAL_SCAN, 0)
	if err != nil {
		return nil, &os.PathError{Op: "open", Path: path, Err: err}
	}
	return os.NewFile(uintptr(h), path), nil
}

// busy says that a writer holds the file and shares it with nobody: it isn't finished.
func busy(err error) bool {
	return errors.Is(err, windows.ERROR_SHARING_VIOLATION) || errors.Is(err, windows.ERROR_LOCK_VIOLATION)
}

// hidden says that the file system marks a file as hidden or as its own.
func hidden(fi fs.FileInfo) bool {
	d, ok := fi.Sys().(*syscall.Win32FileAttributeData)
	return ok && d.FileAttributes&(windows.FILE_ATTRIBUTE_HIDDEN|windows.FILE_ATTRIBUTE_SYSTEM) != 0
}
