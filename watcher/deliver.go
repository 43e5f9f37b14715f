package watcher

import (
	"bytes"
	"container/heap"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"time"
)

// errMoving says that a file changed while it was read.
var errMoving = errors.New("the file changed while it was read")

// content is what one reading of a file brought.
type content struct {
	sig     signature
	modTime time.Time
	data    []byte // nil if there is more than MaxData
	hash    [32]byte
	fault   error // what the structure check said
}

// deliver reads one file at rest, and hands it over if it is whole and new.
func (w *Watcher) deliver(ctx context.Context, f *file) {
	if f.state != restless {
		return // went away while it waited
	}
	if rested := f.changed.Add(w.rest(f)); !f.closed && rested.After(w.c.Now()) {
		w.restless(f, rested) // an event told of a change while it waited
		return
	}
	f.closed = false
	c, err := w.read(ctx, f)
	now := w.c.Now()
	switch {
	case ctx.Err() != nil:
		return
	case err == nil && c.fault == nil:
	case err == nil && IsUnfinished(c.fault):
		w.broken(f, Incomplete, c, tell(c.fault,
			"%s: is not complete (%d bytes), and nothing more has come for a while; check the transfer, it is read again when it changes",
			f.rel, c.sig.size), now)
		return
	case err == nil && IsForeign(c.fault):
		w.fail(f, Foreign, tell(c.fault, "%s: %s", f.rel, reason(c.fault)), now)
		return
	case err == nil:
		w.broken(f, Damaged, c, tell(c.fault,
			"%s: is damaged (%d bytes), and nothing is measured on it; send it again from the camera", f.rel, c.sig.size), now)
		return
	case errors.Is(err, errOutside):
		w.fail(f, Outside, tell(err,
			"%s: is a link that leads out of the capture folder, so it is not read; copy the picture itself into the folder", f.rel), now)
		return
	case errors.Is(err, errMoving):
		w.moved(f, now)
		return
	case errors.Is(err, fs.ErrNotExist):
		w.gone(f, now)
		return
	case busy(err):
		w.fail(f, Incomplete, tell(err, "%s: another program keeps it to itself, so it can't be read; close it there", f.rel), now)
		return
	default:
		w.unreadable(f, err, now)
		return
	}

	f.sig, f.modTime = c.sig, c.modTime
	same := f.delivered && c.hash == f.hash && f.told.kind == 0 // else it must be heard that the problem is over
	if !same && (w.c.Known == nil || !w.c.Known(f.rel, c.hash)) {
		err := w.sink.Complete(ctx, Version{
			Rel: f.rel, Path: w.abs(f.rel), Data: c.data, Hash: c.hash,
			Size: c.sig.size, ModTime: c.modTime, Seen: now, Written: f.written, Existing: f.existing,
		})
		if err != nil {
			w.refused(f, err)
			return
		}
	}
	w.settled(f, c, now)
}

// settled closes the book on a file until it changes.
func (w *Watcher) settled(f *file, c *content, now time.Time) {
	f.state = done
	f.delivered, f.hash = true, c.hash
	if f.refuse > 0 {
		w.refusing--
	}
	f.fault, f.told, f.tries, f.refuse, f.retry = nil, fault{}, 0, 0, time.Time{}
	delete(w.pending, f.rel)
	// Where times are whole seconds, a second write within two of them doesn't show: look at
	// the content once more when they are over. With a word from every writer there's no need.
	if w.blindTo(f) && c.sig.coarse() && now.Sub(f.changed) < coarseness {
		f.changed = f.changed.Add(-coarseness) // only once
		w.restless(f, now.Add(coarseness))
	}
}

// coarseness is the largest step of modification times that is in use, that of FAT, and a
// bit more.
const coarseness = 2500 * time.Millisecond

// blindTo says that nobody would tell if a file were written again.
func (w *Watcher) blindTo(*file) bool {
	return w.source == nil || w.polling || !w.source.Closes()
}

// refused puts a version back that the sink didn't take.
func (w *Watcher) refused(f *file, err error) {
	now := w.c.Now()
	if f.refuse == 0 {
		w.refusing++
	}
	f.refuse++
	wait := min(500*time.Millisecond<<min(f.refuse-1, 6), 30*time.Second)
	f.retry = now.Add(wait)
	w.restless(f, f.retry)
	w.c.Logger.Warn().Err(err).Int("attempt", f.refuse).Dur("again_in", wait).Msg("a complete file was not taken")
}

// refusedFirst keeps the order of files over refusals: before f is delivered, the oldest that was refused
// is tried once more. If it is taken now, all that were refused are read anew, in their order and with f
// among them, and the answer is yes.
func (w *Watcher) refusedFirst(ctx context.Context, f *file) bool {
	if w.refusing == 0 {
		return false
	}
	oldest := f
	for _, o := range w.pending {
		if o.refuse > 0 && o.state == restless && (readyQueue{o, oldest}).Less(0, 1) {
			oldest = o
		}
	}
	if oldest == f {
		return false
	}
	delete(w.pending, oldest.rel)
	w.deliver(ctx, oldest)
	if oldest.refuse > 0 || oldest.state != done {
		return false
	}
	f.queued = true
	heap.Push(&w.ready, f)
	for _, o := range w.pending {
		if o.refuse > 0 && o.state == restless {
			o.retry = time.Time{}
			w.queue(o)
		}
	}
	return true
}

// moved lets a file that changed under the reader's eyes come to rest again.
func (w *Watcher) moved(f *file, now time.Time) {
	if fi, err := w.stat(f.rel); err == nil {
		w.see(f.rel, fi, now, now)
	}
	w.restless(f, now.Add(w.rest(f)))
}

// read reads a file once. It fails with errMoving if the file isn't the one that was last
// looked at, or doesn't stay it.
func (w *Watcher) read(ctx context.Context, f *file) (*content, error) {
	r, before, err := w.open(f.rel)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	c := &content{sig: signatureOf(before), modTime: before.ModTime()}
	if c.sig != f.sig {
		return nil, errMoving
	}
	if c.sig.size == 0 {
		c.fault, c.hash = fmt.Errorf("it is empty: %w", ErrUnfinished), sha256.Sum256(nil)
		return c, nil
	}
	var whole io.ReaderAt = r
	sum := sha256.New()
	if c.sig.size <= w.c.MaxData {
		c.data = make([]byte, c.sig.size)
		if _, err := io.ReadFull(r, c.data); err != nil {
			return nil, shrunk(err)
		}
		sum.Write(c.data)
		whole = bytes.NewReader(c.data)
	} else if _, err := io.Copy(sum, &patient{ctx, io.LimitReader(r, c.sig.size)}); err != nil {
		return nil, shrunk(err)
	}
	sum.Sum(c.hash[:0])
	unchanged := func() bool {
		after, err := r.Stat()
		if err != nil || signatureOf(after) != c.sig {
			return false
		}
		now, err := w.stat(f.rel) // the name may have gone to another file meanwhile
		return err == nil && identityOf(now) == c.sig.id
	}
	if !unchanged() {
		return nil, errMoving
	}
	if w.c.Whole != nil && !(f.delivered && c.hash == f.hash) {
		c.fault = w.c.Whole(f.rel, whole, c.sig.size)
		if c.data == nil && !unchanged() { // the check read the file itself
			return nil, errMoving
		}
	}
	return c, nil
}

// shrunk turns the end of a file before its time into what it means.
func shrunk(err error) error {
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		return errMoving
	}
	return err
}

// patient is a reader that stops when the context ends.
type patient struct {
	ctx context.Context
	r   io.Reader
}

func (p *patient) Read(b []byte) (int, error) {
	if err := p.ctx.Err(); err != nil {
		return 0, err
	}
	return p.r.Read(b)
}
