package watcher

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"github.com/rs/zerolog"
)

// Version is one complete version of one file, as found in the capture folder.
type Version struct {
	Rel      string    // path relative to the capture folder, slash-separated
	Path     string    // absolute path, to be opened with [Open] and closed soon
	Data     []byte    // the bytes whose hash is Hash; nil if there are more than Config.MaxData
	Hash     [32]byte  // SHA-256 of the whole content
	Size     int64     // in bytes
	ModTime  time.Time // as the file system says; may be old, or in the future
	Seen     time.Time // when completeness was established, by Config.Now
	Written  time.Time // when the last write, close or rename was noticed, by Config.Now
	Existing bool      // was there before the watch began
}

// Sink takes what the watcher finds. Its methods are called from the watcher's own
// goroutine, one at a time, in order of completion; while one runs, no other file is read.
type Sink interface {
	// Complete takes a version. Each is delivered at least once: an error means "not now",
	// and the same content comes again, a little later each time, while other files go on.
	Complete(ctx context.Context, v Version) error
	// Trouble tells a person what stands in the way; of a broken file once per content. An error means
	// "not now": what is said of a file comes again, a little later, while it holds.
	Trouble(ctx context.Context, p Problem) error
}

// Existing says what becomes of the files that are there before the watch begins.
type Existing int

const (
	TakeExisting Existing = iota // deliver them first, in order of capture time
	SkipExisting                 // leave them alone until they change
)

// String returns the word the command line uses.
func (e Existing) String() string {
	if e == SkipExisting {
		return "skip"
	}
	return "take"
}

// Config says what to watch and how. Only Folder is required.
type Config struct {
	// Folder is the capture folder. It need not exist yet.
	Folder string

	// Want says which names are camera files, by path relative to the folder; nil means
	// [CameraFile]. Hidden and half-transferred names ([Ignored]) never get as far as this.
	Want func(rel string) bool

	// Whole checks that a file's structure is complete, whatever its size says: a file
	// reserved at full size looks finished long before it is. nil means complete. An error for which
	// [IsUnfinished] holds means "more may come", one for which [IsForeign] holds "not for us", any other
	// "damaged". All are tried again when the file changes; they differ in what is said to a person, and when.
	// One that has a method Sentence() string is told in that sentence, which doesn't name the file.
	// A nil Whole accepts every file that came to rest and is not empty.
	Whole func(rel string, r io.ReaderAt, size int64) error

	// Existing is for files present before the start; the zero value takes them.
	Existing Existing

	// Taken gives the capture time by which existing files are put in order. nil, or a
	// false, falls back to the file's own time, and then to the name (9 before 10).
	Taken func(rel string, r io.ReaderAt, size int64) (time.Time, bool)

	// Known says that this content is already effective under this name, so that it isn't
	// delivered again after a restart. nil knows nothing.
	Known func(rel string, hash [32]byte) bool

	// Unread says the same of a file that was there at the start, from size and time alone,
	// and spares reading it: a restart in the middle of a shoot shouldn't read gigabytes
	// before the next frame. nil means every file is read and hashed.
	Unread func(rel string, size int64, modTime time.Time) bool

	// MaxData is the largest file delivered with its bytes; larger ones are hashed as a
	// stream and come with Data nil. Zero means 128 MiB.
	MaxData int64

	// Poll is how often the whole folder is read. Zero means 3 s while events arrive and 1 s
	// while they don't. A slow folder is read less often: at most 2 % of the time goes into
	// reading it (10 % without events).
	Poll time.Duration

	// PollOnly asks for no events at all, as for a network share, whose events don't
	// tell of changes made by other machines.
	PollOnly bool

	// Settle is how long size and time must stay the same before a file is taken to be at
	// rest, where nobody says that it was closed. Zero means 300 ms.
	Settle time.Duration

	// IncompleteAfter is how long an unfinished or unreadable file may stay unchanged before
	// that is reported; DamagedAfter the same for a damaged or foreign one, and for a link that leads
	// out of the folder. Zero means 10 s and 2 s.
	IncompleteAfter time.Duration
	DamagedAfter    time.Duration

	// Now is the clock; nil means time.Now. It is called from several goroutines, and its times
	// should carry a monotonic reading: a clock that is set back delays the next look.
	Now func() time.Time

	// Events makes the source of events; nil means the system's own.
	Events func(report func(Event)) (Source, error)

	// Logger gets counts and changes of mode, never a name. The zero value is silent.
	Logger zerolog.Logger
}

// ErrUnfinished may be returned, or wrapped, by Config.Whole: the file lacks bytes that its
// beginning promises.
var ErrUnfinished error = unfinished{}

type unfinished struct{}

func (unfinished) Error() string    { return "the file is not finished" }
func (unfinished) Unfinished() bool { return true }

// IsUnfinished reports whether err says that more bytes may come: an error in its tree has
// a method Unfinished() bool that says so (no import of this package needed), or it is an
// unexpected end of file.
func IsUnfinished(err error) bool {
	var u interface{ Unfinished() bool }
	if errors.As(err, &u) {
		return u.Unfinished()
	}
	return errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF)
}

// IsForeign reports whether err says that a file is of a kind that can't be used at all: an
// error in its tree has a method Foreign() bool that says so.
func IsForeign(err error) bool {
	var f interface{ Foreign() bool }
	return errors.As(err, &f) && f.Foreign()
}

// New checks the configuration and prepares a watcher. It touches nothing: the folder is
// first looked at by Run.
func New(c Config) (*Watcher, error) {
	if c.Folder == "" {
		return nil, errors.New("no capture folder: name the folder the camera's files land in")
	}
	folder, err := filepath.Abs(c.Folder)
	if err != nil {
		return nil, fmt.Errorf("capture folder %s: %w", c.Folder, err)
	}
	c.Folder = folder
	for name, d := range map[string]*time.Duration{
		"Poll": &c.Poll, "Settle": &c.Settle,
		"IncompleteAfter": &c.IncompleteAfter, "DamagedAfter": &c.DamagedAfter,
	} {
		if *d < 0 {
			return nil, fmt.Errorf("capture folder %s: %s is %v; it must not be negative", c.Folder, name, *d)
		}
	}
	orDuration(&c.Settle, 300*time.Millisecond)
	orDuration(&c.IncompleteAfter, 10*time.Second)
	orDuration(&c.DamagedAfter, 2*time.Second)
	if c.MaxData <= 0 {
		c.MaxData = 128 << 20
	}
	if c.Want == nil {
		c.Want = CameraFile
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Events == nil {
		c.Events = systemEvents
	}
	return &Watcher{
		c:       c,
		inbox:   newInbox(),
		files:   map[string]*file{},
		pending: map[string]*file{},
		dirs:    map[string]*dir{},
		unread:  map[string]bool{},
		roots:   map[identity]bool{},
		share:   shareKind,
	}, nil
}

func orDuration(d *time.Duration, otherwise time.Duration) {
	if *d == 0 {
		*d = otherwise
	}
}
