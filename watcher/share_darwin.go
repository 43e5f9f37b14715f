package watcher

import (
	"errors"

	"golang.org/x/sys/unix"
)

// shareKind names the kind of network share a folder is on, or returns "".
func shareKind(folder string) string {
	var st unix.Statfs_t
	if unix.Statfs(folder, &st) != nil || st.Flags&unix.MNT_LOCAL != 0 {
		return ""
	}
	return unix.ByteSliceToString(st.Fstypename[:])
}

// watchAdvice says what can be done about a watch that was refused: here a watched folder
// costs an open file for each file in it.
func watchAdvice(err error) string {
	if errors.Is(err, unix.EMFILE) || errors.Is(err, unix.ENFILE) {
		return " (raise the limit of open files)"
	}
	return ""
}
