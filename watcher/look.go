package watcher

import (
	"container/heap"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"time"
)

// see takes notice of a file as it is now, and makes it restless if it changed. The change
// was noticed at a time that may lie before now, when an event told of it.
func (w *Watcher) see(rel string, fi fs.FileInfo, now, noticed time.Time) *file {
	sig := signatureOf(fi)
	f := w.files[rel]
	if f == nil {
		f = &file{rel: rel, written: noticed}
		w.files[rel] = f
	} else if sig == f.sig {
		if f.state != gone {
			return f
		}
		if f.before != restless { // came back as it was
			f.state = f.before
			return f
		}
	} else if f.existing {
		f.existing = false // somebody is at it now
	}
	f.sig, f.modTime, f.changed = sig, fi.ModTime(), now
	f.written = later(f.written, noticed)
	f.retry = time.Time{}
	w.restless(f, now.Add(w.rest(f)))
	return f
}

// restless puts a file on the list of those to look at.
func (w *Watcher) restless(f *file, due time.Time) {
	f.state = restless
	f.due = due
	w.pending[f.rel] = f
	if due.Before(w.nextLook) {
		w.nextLook = due
	}
}

// rest is how long a file must stay unchanged before it is read: longer for one that was read
// in vain before, lest a slow upload be read from the start over and over.
func (w *Watcher) rest(f *file) time.Duration {
	return min(w.c.Settle<<min(f.tries, 3), max(w.c.Settle, 2*time.Second))
}

// afterClose is the same where a writer has closed the file: at once, unless it is one that
// opens and closes it for every piece.
func (w *Watcher) afterClose(f *file) time.Duration {
	if f.tries < 2 {
		return 0
	}
	return min(w.c.Settle, 20*time.Millisecond<<min(f.tries, 5))
}

// look goes through the restless files that are due, in the order of their names.
func (w *Watcher) look(ctx context.Context) {
	now := w.c.Now()
	var due []*file
	for _, f := range w.pending {
		if !f.due.After(now) {
			due = append(due, f)
		}
	}
	slices.SortFunc(due, func(a, b *file) int {
		if nameLess(a.rel, b.rel) {
			return -1
		}
		return 1
	})
	for _, f := range due {
		if ctx.Err() != nil {
			return
		}
		w.lookAt(ctx, f, now)
	}
	w.nextLook = never
	for _, f := range w.pending {
		if f.due.Before(w.nextLook) {
			w.nextLook = f.due
		}
	}
}

func (w *Watcher) lookAt(ctx context.Context, f *file, now time.Time) {
	if f.queued {
		delete(w.pending, f.rel) // it is looked at again before it is read
		return
	}
	fi, err := w.stat(f.rel)
	if err != nil {
		switch {
		case !isGone(err): // there, but not to be looked at
			w.unreadable(f, err, now)
			f.due = minTime(f.retry, w.report(ctx, f, now))
		case f.state == gone:
			w.farewell(ctx, f)
		default:
			w.gone(f, now)
		}
		return
	}
	w.see(f.rel, fi, now, now)
	if f.state != restless {
		delete(w.pending, f.rel) // came back as it was
		return
	}
	at := f.changed.Add(w.rest(f))
	if f.closed {
		at = minTime(at, f.written.Add(w.afterClose(f)))
	}
	if !f.closed || f.refuse > 0 {
		at = later(at, f.retry)
	}
	if !at.After(now) {
		w.queue(f)
		return
	}
	w.restless(f, minTime(at, w.report(ctx, f, now)))
}

// report tells a person about a file that has been standing still with a fault, and returns
// when that would be due.
func (w *Watcher) report(ctx context.Context, f *file, now time.Time) time.Time {
	if f.fault == nil || f.told.same(*f.fault) {
		return never
	}
	patience := w.c.IncompleteAfter
	if k := f.fault.kind; k == Damaged || k == Foreign || k == Outside {
		patience = w.c.DamagedAfter
	}
	if at := f.changed.Add(patience); at.After(now) {
		return at
	}
	p := Problem{Rel: f.rel, Kind: f.fault.kind, Err: f.fault.err, Hash: f.fault.hash, Size: f.fault.size}
	if w.tell(ctx, p) != nil {
		return now.Add(tellAgain)
	}
	f.told = *f.fault
	return never
}

// tellAgain is when a problem is told again that could not be taken.
const tellAgain = 5 * time.Second

// queue hands a file at rest on for reading.
func (w *Watcher) queue(f *file) {
	delete(w.pending, f.rel)
	if f.existing {
		f.taken = w.takenAt(f)
	}
	f.queued = true
	heap.Push(&w.ready, f)
}

// takenAt is the capture time of an existing file, or else its own time.
func (w *Watcher) takenAt(f *file) time.Time {
	if w.c.Taken == nil {
		return f.modTime
	}
	r, _, err := w.open(f.rel)
	if err != nil {
		return f.modTime
	}
	defer r.Close()
	if t, ok := w.c.Taken(f.rel, r, f.sig.size); ok {
		return t
	}
	return f.modTime
}

// gone notes that a file isn't there any more. One that was never delivered is mourned a
// little later: it may only have been renamed.
func (w *Watcher) gone(f *file, now time.Time) {
	if f.state == gone {
		return
	}
	f.closed, f.existing = false, false
	f.before = f.state
	delete(w.pending, f.rel)
	if f.state == restless && !f.delivered {
		w.restless(f, now.Add(w.c.Settle))
	}
	f.state = gone
}

func (w *Watcher) farewell(ctx context.Context, f *file) {
	delete(w.pending, f.rel)
	if _, err := os.Stat(w.c.Folder); err != nil {
		return // the whole folder went, and the next scan says so
	}
	for _, o := range w.files {
		if o.state != gone && o.sig.id == f.sig.id {
			return // renamed
		}
	}
	f.fault, f.told, f.tries = nil, fault{}, 0
	w.trouble(ctx, f.rel, Vanished, fmt.Errorf(
		"%s: went away before it was complete; if it was a frame, send it again", f.rel))
}

// isGone says that there is no file of that name any more, whatever else may be there.
func isGone(err error) bool { return errors.Is(err, fs.ErrNotExist) || errors.Is(err, errNoFile) }

// unreadable notes that the system won't let the watcher at a file.
func (w *Watcher) unreadable(f *file, err error, now time.Time) {
	w.fail(f, Unreadable, tell(err,
		"%s: can't be read (%s); check its permissions and its drive, it is tried again", f.rel, reason(err)), now)
}

// broken notes that what a file holds can't be delivered.
func (w *Watcher) broken(f *file, kind ProblemKind, c *content, err error, now time.Time) {
	w.fail(f, kind, err, now)
	f.fault.hash, f.fault.size = c.hash, c.sig.size
}

// fail notes why a file can't be delivered as it is, and when it is tried again.
func (w *Watcher) fail(f *file, kind ProblemKind, err error, now time.Time) {
	f.fault = &fault{kind: kind, err: err}
	f.tries++
	// Unchanged, it is read again now and then all the same: a change may not show in size
	// and time, and rights change without either.
	wait := min(time.Second<<min(f.tries-1, 6), time.Minute)
	if kind == Unreadable {
		wait = min(wait, 5*time.Second)
	}
	f.retry = now.Add(wait)
	w.restless(f, now.Add(w.c.Settle))
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

func minTime(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}
