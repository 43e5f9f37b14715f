package watcher

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
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
	told   fault // what a person was told last; zero for nothing
	tries  int
	refuse int       // how often the sink said "not now"
	retry  time.Time // not to be read again before this, unless it changes
}

// fault is why a file can't be delivered.
type fault struct {
	kind ProblemKind
	err  error
	hash [32]byte // of the content that is broken; zero where it is not the content
	size int64
}

// same says that nothing new would be told: it is the same fault of the same content.
func (f fault) same(as fault) bool { return f.kind == as.kind && f.hash == as.hash }

// dir is a folder below the capture folder, or that itself.
type dir struct {
	id      identity
	watched bool
	refused bool // a watch on it was refused
	scan    int  // the last full scan that saw it
}

// errNoFile says that what has the name is a folder, a pipe, or a thing of the system's.
var errNoFile = errors.New("not a regular file")

// errOutside says that a name leads to a file outside the capture folder.
var errOutside = errors.New("it lies outside the capture folder")

// follow resolves a symbolic link to a file of the capture folder. One that leads out of it
// stays the link it is, so that it can be told of; what lies behind it is never opened.
// Links to folders aren't followed at all: they can lead in circles, or out of the shoot.
func (w *Watcher) follow(rel string, fi fs.FileInfo) (fs.FileInfo, error) {
	if fi.Mode()&fs.ModeSymlink != 0 {
		target, err := os.Stat(w.abs(rel))
		switch {
		case err != nil:
			return nil, err
		case !target.Mode().IsRegular():
			return nil, errNoFile
		}
		if _, err := w.inside(rel); errors.Is(err, errOutside) {
			return fi, nil
		} else if err != nil {
			return nil, err
		}
		fi = target
	}
	if !fi.Mode().IsRegular() || hidden(fi) {
		return nil, errNoFile
	}
	return fi, nil
}

// stat is how a name looks now, by follow.
func (w *Watcher) stat(rel string) (fs.FileInfo, error) {
	fi, err := os.Lstat(w.abs(rel))
	if err != nil {
		return nil, err
	}
	return w.follow(rel, fi)
}

// inside is where a name leads in the end, or errOutside where that is no part of the
// capture folder. The folder itself may be a link.
func (w *Watcher) inside(rel string) (string, error) {
	root, err := filepath.EvalSymlinks(w.c.Folder)
	if err != nil {
		return "", err
	}
	at, err := filepath.EvalSymlinks(w.abs(rel))
	if err != nil {
		return "", err
	}
	if below, err := filepath.Rel(root, at); err != nil || !filepath.IsLocal(below) {
		return "", errOutside
	}
	return at, nil
}

// open opens a file of the capture folder for reading. It looks after opening where the name
// leads, so that one that is turned into a link meanwhile can't lead elsewhere.
func (w *Watcher) open(rel string) (*os.File, fs.FileInfo, error) {
	if _, err := w.inside(rel); err != nil { // not even to be opened: a device may act on that
		return nil, nil, err
	}
	r, err := Open(w.abs(rel))
	if err != nil {
		return nil, nil, err
	}
	fi, err := r.Stat()
	if err == nil && !fi.Mode().IsRegular() {
		err = errors.New("it isn't a regular file")
	}
	if err == nil {
		var at string
		var there fs.FileInfo
		if at, err = w.inside(rel); err == nil {
			there, err = os.Lstat(at)
		}
		if err == nil && identityOf(there) != identityOf(fi) {
			err = errMoving
		}
	}
	if err != nil {
		r.Close()
		return nil, nil, err
	}
	return r, fi, nil
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
