//go:build unix

package watcher

import (
	"io/fs"
	"os"
	"syscall"
)

// numbered says that an identity belongs to one file alone.
const numbered = true

// identityOf tells a file from another that took its name.
func identityOf(fi fs.FileInfo) identity {
	if st, ok := fi.Sys().(*syscall.Stat_t); ok {
		return identity{uint64(st.Dev), uint64(st.Ino)}
	}
	return identity{}
}

// Open opens a file for reading without disturbing whoever writes, renames or deletes it.
func Open(path string) (*os.File, error) {
	// Not to wait for a writer, should the name have become a pipe.
	return os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
}

// busy says that a file can't be opened because somebody else has it; never so here.
func busy(error) bool { return false }

// hidden says that the file system marks a file as hidden, beyond what its name says.
func hidden(fs.FileInfo) bool { return false }
