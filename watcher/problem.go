package watcher

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"
)

// Problem is something that stands between a file and its delivery, or the end of it.
type Problem struct {
	Rel  string // the file or folder, relative to the capture folder; empty for the folder itself
	Kind ProblemKind
	Err  error // a sentence for a person, which names the file once: what, where, what to do; wraps the cause
	At   time.Time

	// Hash and Size are of the content that is broken, for Incomplete and Damaged where it could be read; else zero.
	Hash [32]byte
	Size int64
}

// ProblemKind says what a [Problem] is about. A problem with a file is over when the file
// is delivered, or has vanished; that of a sub-folder when it is Readable.
type ProblemKind int

const (
	Incomplete     ProblemKind = iota + 1 // unchanged for a while, and still lacks bytes
	Damaged                               // at rest, and its structure is broken
	Foreign                               // at rest, and of a kind that the structure check has no use for
	Outside                               // a symbolic link that leads out of the folder; it isn't followed
	Unreadable                            // a file or sub-folder can't be read
	Readable                              // a sub-folder that couldn't be read can be, or isn't there any more
	Vanished                              // went away before it was complete
	FolderGone                            // the capture folder isn't there, or can't be read
	FolderBack                            // it is there (again)
	FolderReplaced                        // another folder stands in its place, as after a mount
	OldSkipped                            // a folder that turned up late held old files; they are left alone, as asked
	EventsLost                            // the system dropped events; the folder was read again
	Polling                               // no (trustworthy) events: the folder is read at short intervals
	EventsBack                            // events work again
)

var problemNames = [...]string{
	Incomplete: "incomplete", Damaged: "damaged", Foreign: "foreign", Outside: "outside", Unreadable: "unreadable", Readable: "readable", Vanished: "vanished",
	FolderGone: "folder-gone", FolderBack: "folder-back", FolderReplaced: "folder-replaced",
	OldSkipped: "old-skipped",
	EventsLost: "events-lost", Polling: "polling", EventsBack: "events-back",
}

// String returns a short name that doesn't change between versions, like "folder-gone".
func (k ProblemKind) String() string {
	if k < Incomplete || int(k) >= len(problemNames) {
		return fmt.Sprintf("problem-%d", int(k))
	}
	return problemNames[k]
}

// told is a sentence for a person, with its cause underneath.
type told struct {
	text  string
	cause error
}

func (t *told) Error() string { return t.text }
func (t *told) Unwrap() error { return t.cause }

// tell makes a sentence about a file or folder, with its cause kept underneath.
func tell(cause error, format string, args ...any) error {
	return &told{fmt.Sprintf(format, args...), cause}
}

// reason is what an error says without the name of the file, which stands in the sentence
// already: errors of the system bring it along, and those of the structure check give
// their sentence without it, where they have one.
func reason(err error) string {
	var named interface{ Sentence() string }
	var pe *fs.PathError
	var le *os.LinkError
	switch {
	case errors.As(err, &named):
		return named.Sentence()
	case errors.As(err, &pe):
		return pe.Err.Error()
	case errors.As(err, &le):
		return le.Err.Error()
	}
	return err.Error()
}
