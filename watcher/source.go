package watcher

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/fsnotify/fsnotify"
)

// Event is a hint that something happened at a path. Hints may be late, double, out of
// order or missing: they only decide when to look.
type Event struct {
	Path string // absolute, below a watched folder, or that folder itself
	Kind EventKind
	Err  error // for Dropped: what the system said
}

// EventKind is a set: several hints about one path are joined.
type EventKind uint8

const (
	Created   EventKind = 1 << iota // a name appeared
	Changed                         // something was written
	Closed                          // a writer closed the file, or it was moved here whole
	Gone                            // a name, or a watched folder, went away
	Unwatched                       // the watch on this folder has ended by itself
	Dropped                         // events were lost; Path means nothing
)

// Source brings events. Its report function may be called from any goroutine.
type Source interface {
	// Watch begins to report what happens directly in a folder, not below it.
	Watch(dir string) error
	// Unwatch ends that. A folder that isn't watched, or is no more, is no error.
	Unwatch(dir string)
	// Closes says whether Closed is reported for every file that is written.
	Closes() bool
	// Close ends everything and returns when nothing more will be reported.
	Close() error
}

// notices is the Source that every system has, on fsnotify.
type notices struct {
	w    *fsnotify.Watcher
	done chan struct{} // closed when the goroutine that calls report has ended
}

func newNotices(report func(Event)) (*notices, error) {
	w, err := fsnotify.NewWatcher()
	if err != nil {
		return nil, fmt.Errorf("file system events: %w", err)
	}
	n := &notices{w: w, done: make(chan struct{})}
	go n.pump(report)
	return n, nil
}

func (n *notices) pump(report func(Event)) {
	defer close(n.done)
	events, errs := n.w.Events, n.w.Errors
	for events != nil || errs != nil {
		select {
		case e, ok := <-events:
			if !ok {
				events = nil
				continue
			}
			if k := noticeKind(e.Op); k != 0 {
				report(Event{Path: e.Name, Kind: k})
			}
		case err, ok := <-errs:
			if !ok { // fsnotify closes both channels
				errs = nil
				continue
			}
			// Whatever went wrong, something may have been missed.
			report(Event{Kind: Dropped, Err: err})
		}
	}
}

// noticeKind leaves out Chmod: times and rights that change are found by the next scan.
func noticeKind(op fsnotify.Op) (k EventKind) {
	if op.Has(fsnotify.Create) {
		k |= Created
	}
	if op.Has(fsnotify.Write) {
		k |= Changed
	}
	if op.Has(fsnotify.Remove) || op.Has(fsnotify.Rename) {
		k |= Gone
	}
	return k
}

func (n *notices) Watch(dir string) error { return n.w.Add(dir) }
func (n *notices) Closes() bool           { return false }

func (n *notices) Unwatch(dir string) {
	// The only errors are "not watched" and "closed", and both are what was asked for.
	_ = n.w.Remove(dir)
}

func (n *notices) Close() error {
	err := n.w.Close()
	<-n.done
	return err
}

// both joins two sources that watch the same folders: what everybody has, and who closes.
type both struct{ notices, closes Source }

func (b both) Watch(dir string) error {
	if err := b.notices.Watch(dir); err != nil {
		return err
	}
	if err := b.closes.Watch(dir); err != nil {
		b.notices.Unwatch(dir)
		return err
	}
	return nil
}

func (b both) Unwatch(dir string) {
	b.notices.Unwatch(dir)
	b.closes.Unwatch(dir)
}

func (b both) Closes() bool { return true }
func (b both) Close() error { return errors.Join(b.notices.Close(), b.closes.Close()) }

// note is what the inbox holds about one path.
type note struct {
	path string
	kind EventKind
	at   time.Time // the newest event
}

// inbox collects events while the watcher's goroutine is busy, joined by path, so that a
// slow sink or a storm of writes costs no more than one entry per name.
type inbox struct {
	urgent chan struct{} // holds a token when something waits that should be acted on at once
	calm   chan struct{} // the same for plain writes, which may wait a moment for their friends

	mu      sync.Mutex // guards what follows; sources put, the watcher's goroutine takes
	notes   map[string]*note
	order   []*note // as they first came
	dropped error   // not nil if events were lost
}

// inboxLimit bounds the inbox; beyond it, reading the folder is the cheaper way to catch up.
const inboxLimit = 20000

var errInboxFull = fmt.Errorf("more than %d files changed while another was being handled", inboxLimit)

func newInbox() *inbox {
	return &inbox{urgent: make(chan struct{}, 1), calm: make(chan struct{}, 1), notes: map[string]*note{}}
}

func (b *inbox) put(e Event, at time.Time) {
	b.mu.Lock()
	if e.Kind&Dropped != 0 {
		b.dropped = e.Err
		if b.dropped == nil {
			b.dropped = errors.New("events were lost")
		}
	} else if n := b.notes[e.Path]; n != nil {
		n.kind |= e.Kind
		n.at = at
	} else if len(b.notes) >= inboxLimit {
		b.dropped = errInboxFull
	} else {
		n = &note{e.Path, e.Kind, at}
		b.notes[e.Path] = n
		b.order = append(b.order, n)
	}
	b.mu.Unlock()
	if e.Kind == Changed {
		poke(b.calm)
	} else {
		poke(b.urgent)
	}
}

func (b *inbox) take() (notes []*note, dropped error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	notes, dropped = b.order, b.dropped
	if len(notes) > 0 {
		b.notes = map[string]*note{}
	}
	b.order, b.dropped = nil, nil
	return notes, dropped
}

func poke(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}
