package watcher

import (
	"errors"
	"io/fs"
	"os"
	"time"
)

// identity tells one file or folder from another of the same name; zero if unknown.
type identity struct{ device, number uint64 }

// signature changes when a file changes, as far as a look from outside can tell.
type signature struct {
	size int64
	time int64 // modification, nanoseconds
	id   identity
}

func signatureOf(fi fs.FileInfo) signature {
	return signature{fi.Size(), fi.ModTime().UnixNano(), identityOf(fi)}
}

// coarse says that the file system seems to keep whole seconds, so that two writes within
// two of them (FAT rounds to two) may look like one.
func (s signature) coarse() bool { return s.time%int64(time.Second) == 0 }

// state is where a file stands.
type state uint8

const (
	restless state = iota // changed, or not yet read with success; is in Watcher.pending, or queued
	done                  // delivered, or known: rests until it changes
	skipped               // was there before the watch and was to be left alone
	gone                  // isn't there any more; remembered, lest it come back the same
)

// file is what the watcher remembers of one name.
type file struct {
	rel      string
	state    state
	queued   bool  // is in Watcher.ready
	before   state // what it was before it went away
	scan     int   // the last full scan that saw it
	existing bool

	sig     signature
	modTime time.Time
	changed time.Time // when this signature was first seen
	written time.Time // when the last change was noticed
	closed  bool      // a writer closed it, and it wasn't read since
	due     time.Time // when to look again
	taken   time.Time // for the order of existing files

	delivered bool
	hash      [32]byte // of what was delivered, or known

	// What went wrong since the last success.
	fault  *fault
	told   ProblemKind // what a person was told, 0 for nothing
	tries  int
	refuse int       // how often the sink said "not now"
	retry  time.Time // not to be read again before this, unless it changes
}

// fault is why a file can't be delivered.
type fault struct {
	kind ProblemKind
	err  error
}

// dir is a folder below the capture folder, or that itself.
type dir struct {
	id      identity
	watched bool
	refused bool  // a watch on it was refused
	scan    int   // the last full scan that saw it
	failed  error // why it couldn't be read; told once
}

// errNoFile says that what has the name is a folder, a pipe, or a thing of the system's.
var errNoFile = errors.New("not a regular file")

// followFile resolves a symbolic link to a file. Links to folders aren't followed: they can
// lead in circles, or out of the shoot.
func followFile(path string, fi fs.FileInfo) (fs.FileInfo, error) {
	if fi.Mode()&fs.ModeSymlink != 0 {
		var err error
		if fi, err = os.Stat(path); err != nil {
			return nil, err
		}
	}
	if !fi.Mode().IsRegular() || hidden(fi) {
		return nil, errNoFile
	}
	return fi, nil
}

// readyQueue is a heap of files at rest: those that were there before, by capture time; then
// the others in the order in which they were last written.
type readyQueue []*file

func (q readyQueue) Len() int      { return len(q) }
func (q readyQueue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *readyQueue) Push(x any)   { *q = append(*q, x.(*file)) }

func (q *readyQueue) Pop() any {
	old := *q
	f := old[len(old)-1]
	old[len(old)-1] = nil
	*q = old[:len(old)-1]
	return f
}

func (q readyQueue) Less(i, j int) bool {
	a, b := q[i], q[j]
	if a.existing != b.existing {
		return a.existing
	}
	if a.existing && !a.taken.Equal(b.taken) {
		return a.taken.Before(b.taken)
	}
	if !a.existing && !a.written.Equal(b.written) {
		return a.written.Before(b.written)
	}
	if !a.modTime.Equal(b.modTime) {
		return a.modTime.Before(b.modTime)
	}
	return nameLess(a.rel, b.rel)
}
