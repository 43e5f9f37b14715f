package watcher

import (
	"container/heap"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"
)

// Watcher watches one capture folder. Make it with [New], start it with [Watcher.Run].
//
// Everything in it but the inbox belongs to the goroutine that is in Run.
type Watcher struct {
	c     Config
	inbox *inbox
	sink  Sink
	ran   atomic.Bool

	started  time.Time // when Run began
	files    map[string]*file
	pending  map[string]*file // files that are to be looked at again
	ready    readyQueue       // files at rest, waiting to be read
	refusing int              // files that the sink refused last, at most
	unread   map[string]bool  // sub-folders that can't be read, and a person was told
	dirs     map[string]*dir  // watched, or to be watched; the capture folder is ""
	roots    map[identity]bool
	present  bool // the capture folder is there
	waited   bool // it wasn't when the watch began
	scans    int  // full readings of the folder, those begun

	source    Source // nil while there are no events
	sourceErr error  // why
	trySource time.Time
	share     func(folder string) string // shareKind
	remote    string                     // what kind of network share the folder is on, "" if none is known
	polling   bool                       // a person was told that there are no (trustworthy) events
	lostTold  time.Time

	nextScan time.Time
	nextLook time.Time
	nextLoss time.Time // a scan after lost events must not come before this
}

// never stands for "nothing is due".
var never = time.Unix(1<<40, 0)

// calmDelay lets the writes of one burst gather before they are looked at.
const calmDelay = 50 * time.Millisecond

// Run watches until ctx ends, and returns when everything it started has stopped. A watcher runs once.
//
// A folder that is missing, or goes away, is no error: it is waited for.
func (w *Watcher) Run(ctx context.Context, s Sink) error {
	if w.ran.Swap(true) {
		return errors.New("the watcher was already run; make a new one")
	}
	w.begin(s)
	defer w.end()
	timer := time.NewTimer(0)
	defer timer.Stop()
	for ctx.Err() == nil {
		next := w.turn(ctx)
		wait := next.Sub(w.c.Now())
		if wait <= 0 {
			continue
		}
		timer.Reset(wait)
		select {
		case <-ctx.Done():
		case <-timer.C:
		case <-w.inbox.urgent:
		case <-w.inbox.calm:
			timer.Reset(min(wait, calmDelay))
			select {
			case <-ctx.Done():
			case <-timer.C:
			case <-w.inbox.urgent:
			}
		}
	}
	return nil
}

func (w *Watcher) begin(s Sink) {
	w.sink = s
	w.started = w.c.Now()
	w.nextScan, w.nextLook = w.started, never
	w.present = true // so that a folder that isn't there is reported
}

func (w *Watcher) end() {
	if w.source != nil {
		if err := w.source.Close(); err != nil {
			w.c.Logger.Debug().Err(err).Msg("closing the file system events")
		}
		w.source = nil
	}
}

// turn is one round: hear the events, read the folder and look at restless files if that is due,
// deliver at most one file. It returns when the next round is due, if nothing happens before.
func (w *Watcher) turn(ctx context.Context) time.Time {
	w.hear(ctx)
	if !w.c.Now().Before(w.nextScan) {
		w.scan(ctx)
	}
	if !w.c.Now().Before(w.nextLook) {
		w.look(ctx)
	}
	if ctx.Err() == nil && w.ready.Len() > 0 {
		f := heap.Pop(&w.ready).(*file)
		f.queued = false
		if !w.refusedFirst(ctx, f) {
			w.deliver(ctx, f)
		}
	}
	if w.ready.Len() > 0 {
		return w.c.Now()
	}
	if w.nextLook.Before(w.nextScan) {
		return w.nextLook
	}
	return w.nextScan
}

// hear turns events into looks.
func (w *Watcher) hear(ctx context.Context) {
	notes, dropped := w.inbox.take()
	now := w.c.Now()
	if dropped != nil {
		w.eventsLost(ctx, now, dropped)
	}
	for _, n := range notes {
		if ctx.Err() != nil {
			return
		}
		rel, ok := w.rel(n.path)
		if !ok || (rel != "" && ignoredPath(rel)) {
			continue
		}
		if d := w.dirs[rel]; d != nil {
			if n.kind&(Unwatched|Gone) != 0 || n.kind&Created != 0 && !w.stands(rel, d.id) {
				d.watched = false // it went, or there is another of that name
				w.nextScan = now
			}
			continue
		}
		w.hearName(ctx, rel, n, now)
	}
}

func (w *Watcher) hearName(ctx context.Context, rel string, n *note, now time.Time) {
	wanted := w.c.Want(rel)
	if !wanted && n.kind&Created == 0 {
		return // only a folder could matter
	}
	fi, err := os.Lstat(w.abs(rel))
	switch {
	case err == nil && fi.IsDir():
		w.scanBelow(ctx, rel, fi)
	case !wanted:
	case err != nil:
		if f := w.files[rel]; f != nil && isGone(err) {
			w.gone(f, now)
		}
	default:
		if fi, err = w.follow(rel, fi); err != nil {
			return
		}
		f := w.see(rel, fi, now, n.at)
		w.touch(f, n, now)
	}
}

// touch notes what an event says about a file that was just seen.
func (w *Watcher) touch(f *file, n *note, now time.Time) {
	f.written = later(f.written, n.at)
	if n.kind&Closed != 0 {
		if f.state == skipped {
			return // opened for writing, nothing written: still what it was before the watch
		}
		f.closed = true
		w.restless(f, now)
		return
	}
	// Written, and size and time look the same: a clock too coarse to show it. Where closing
	// is reported, that will come; elsewhere read it again when it has come to rest.
	if n.kind&Changed != 0 && f.state == done && (w.source == nil || !w.source.Closes()) {
		f.changed = now
		w.restless(f, now.Add(w.c.Settle))
	}
}

func (w *Watcher) eventsLost(ctx context.Context, now time.Time, cause error) {
	w.nextScan = now
	if !w.lostTold.IsZero() && now.Sub(w.lostTold) < 10*time.Second {
		return // a storm: told once
	}
	w.lostTold = now
	w.trouble(ctx, "", EventsLost, fmt.Errorf(
		"%s: notices of changed files were lost; the whole folder is being read again, nothing needs doing: %w", w.c.Folder, cause))
}

func (w *Watcher) trouble(ctx context.Context, rel string, kind ProblemKind, err error) {
	if w.tell(ctx, Problem{Rel: rel, Kind: kind, Err: err}) != nil {
		w.c.Logger.Debug().Stringer("kind", kind).Msg("not taken") // no state of a file hangs on it
	}
}

func (w *Watcher) tell(ctx context.Context, p Problem) error {
	w.c.Logger.Debug().Stringer("kind", p.Kind).Msg("capture folder")
	p.At = w.c.Now()
	return w.sink.Trouble(ctx, p)
}

// abs is the absolute path of a relative one.
func (w *Watcher) abs(rel string) string {
	if rel == "" {
		return w.c.Folder
	}
	return filepath.Join(w.c.Folder, filepath.FromSlash(rel))
}

// rel is the relative path of an absolute one below the capture folder.
func (w *Watcher) rel(path string) (string, bool) {
	if path == w.c.Folder {
		return "", true
	}
	prefix := w.c.Folder
	if !os.IsPathSeparator(prefix[len(prefix)-1]) {
		prefix += string(filepath.Separator)
	}
	rest, ok := strings.CutPrefix(path, prefix)
	return filepath.ToSlash(rest), ok && rest != ""
}
