package trail

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"iter"
	"path/filepath"
	"sort"
	"sync"
	"sync/atomic"
	"time"
)

const (
	chainName = "trail.jsonl"
	namesName = "names.jsonl"
	newSuffix = ".new"
)

// Options of a trail. The zero value is the machine's disk and clock.
type Options struct {
	Disk Disk             // OSDisk{} if nil
	Now  func() time.Time // names the file of a cut-off line; time.Now if nil
}

func (o Options) withDefaults() Options {
	if o.Disk == nil {
		o.Disk = OSDisk{}
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	return o
}

// Trail is the open record of one shoot. Its methods may be called from several goroutines; records are
// appended one after another.
type Trail struct {
	dir    string
	disk   Disk
	header Header
	names  *names
	poison *poison

	mu     sync.Mutex
	file   File
	head   Head
	sum    [32]byte // the head's hash as bytes
	size   int64    // of trail.jsonl
	last   int64    // where the head's line begins
	marks  []mark
	dirty  bool // lines were written since the last sync
	closed bool
}

// mark is where every markEvery-th record ends, so that reading can begin near any record.
type mark struct {
	seq  uint64
	hash [32]byte
	off  int64 // where the record after it begins
}

const markEvery = 256

// poison is set once, when a write or a sync failed, and shared by the chain and its side file.
type poison struct {
	dir string
	err atomic.Pointer[PoisonedError]
}

func (p *poison) set(file string, cause error) error {
	p.err.CompareAndSwap(nil, &PoisonedError{Dir: p.dir, File: file, Cause: cause})
	return p.err.Load()
}

func (p *poison) check() error {
	if e := p.err.Load(); e != nil {
		return e
	}
	return nil
}

// write writes all of b or fails.
func write(f File, b []byte) error {
	n, err := f.Write(b)
	if err == nil && n < len(b) {
		err = io.ErrShortWrite
	}
	return err
}

// Append records body as JSON and returns when it is on disk, together with everything that was appended or kept
// before it. An error that is not ErrPoisoned or ErrClosed means that this record was refused (a body that is no
// JSON, a line over MaxLine) and nothing was written; the trail goes on.
func (t *Trail) Append(kind string, v int, rules string, at time.Time, body any) (Record, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if kind == headerKind {
		return Record{}, errReserved
	}
	before, sum, size, last, marks := t.head, t.sum, t.size, t.last, len(t.marks)
	r, err := t.append(kind, v, rules, at, body)
	if err != nil {
		return Record{}, err
	}
	if err := t.sync(); err != nil {
		// Head must not vouch for a record that was not acknowledged.
		t.head, t.sum, t.size, t.last, t.marks = before, sum, size, last, t.marks[:marks]
		return Record{}, err
	}
	return r, nil
}

// AppendUnsynced records body like Append, but does not wait for the disk: the record outlives the process, and a
// loss of power only once a later Append, Sync or Close returned. It is for what can be computed again.
func (t *Trail) AppendUnsynced(kind string, v int, rules string, at time.Time, body any) (Record, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if kind == headerKind {
		return Record{}, errReserved
	}
	return t.append(kind, v, rules, at, body)
}

var errReserved = errors.New("record not written: the kind " + headerKind + " is reserved for record 1")

func (t *Trail) append(kind string, v int, rules string, at time.Time, body any) (Record, error) {
	if t.closed {
		return Record{}, ErrClosed
	}
	if err := t.poison.check(); err != nil {
		return Record{}, err
	}
	prev := t.head.Hash
	if t.head.Seq == 0 {
		prev = string(zeroHash[:])
	}
	r, err := newRecord(t.head.Seq+1, prev, kind, v, rules, at, body)
	if err != nil {
		return Record{}, err
	}
	line := r.Line()
	if len(line) > MaxLine {
		return Record{}, fmt.Errorf("record of kind %q not written: it would be %d bytes long, and a record has %d at most", kind, len(line), MaxLine)
	}
	// A text is on disk before the chain refers to it.
	if err := t.names.sync(); err != nil {
		return Record{}, err
	}
	if err := write(t.file, line); err != nil {
		return Record{}, t.poison.set(chainName, err)
	}
	t.dirty = true
	t.last = t.size
	t.size += int64(len(line))
	t.sum = sha256.Sum256(line)
	t.head = Head{Seq: r.Seq, Hash: hex.EncodeToString(t.sum[:])}
	t.mark()
	return r, nil
}

func (t *Trail) mark() {
	if t.head.Seq%markEvery == 0 {
		t.marks = append(t.marks, mark{seq: t.head.Seq, hash: t.sum, off: t.size})
	}
}

// Sync returns when everything appended and kept so far is on disk.
func (t *Trail) Sync() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.closed {
		return ErrClosed
	}
	if err := t.names.sync(); err != nil {
		return err
	}
	return t.sync()
}

func (t *Trail) sync() error {
	if err := t.poison.check(); err != nil {
		return err
	}
	if !t.dirty {
		return nil
	}
	// A sync that failed is never tried again: the system may have dropped the pages and would report success.
	if err := t.file.Sync(); err != nil {
		return t.poison.set(chainName, err)
	}
	t.dirty = false
	return nil
}

// Head names the last record, unsynced ones included: call Sync before it is put on paper. After a failed Append it
// names the last acknowledged one.
func (t *Trail) Head() Head {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.head
}

// Header is what record 1 says.
func (t *Trail) Header() Header { return t.header }

// Dir is the folder of the shoot.
func (t *Trail) Dir() string { return t.dir }

// Err is the error that every Append will return, nil while the trail takes records.
func (t *Trail) Err() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.closed {
		return ErrClosed
	}
	return t.poison.check()
}

// Close syncs what is unsynced and closes the files. On a poisoned trail it syncs nothing and returns the
// *PoisonedError once more. A second Close does nothing.
func (t *Trail) Close() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.closed {
		return nil
	}
	err := t.poison.check()
	if err == nil {
		err = t.names.sync()
	}
	if err == nil {
		err = t.sync()
	}
	t.closed = true
	return errors.Join(err, t.file.Close(), t.names.close())
}

// After gives the records behind record seq, in order, up to the head at the time of the call; After(0) gives all.
// It checks the chain on the way and ends with a *DamageError where that fails. Records may be appended meanwhile.
func (t *Trail) After(seq uint64) iter.Seq2[Record, error] {
	t.mu.Lock()
	size := t.size
	i := sort.Search(len(t.marks), func(i int) bool { return t.marks[i].seq > seq })
	var from mark
	if i > 0 {
		from = t.marks[i-1]
	}
	t.mu.Unlock()
	return func(yield func(Record, error) bool) {
		path := filepath.Join(t.dir, chainName)
		f, err := t.disk.Open(path)
		if err != nil {
			yield(Record{}, fmt.Errorf("trail can't be read: %w", err))
			return
		}
		defer f.Close()
		w := newWalker(path, io.NewSectionReader(f, from.off, size-from.off), true)
		w.startAt(from)
		for {
			v, err := w.first()
			switch {
			case err == io.EOF:
				return
			case err != nil:
				yield(Record{}, wrapRead(path, err))
				return
			case v.seq > seq && !yield(v.record(), nil):
				return
			}
		}
	}
}

// Has reports whether the head's record is in the trail with the same hash, so that whatever was derived up to
// there, and kept with that head, still belongs to it.
func (t *Trail) Has(h Head) (bool, error) {
	if now := t.Head(); h.Seq == 0 || h.Seq > now.Seq {
		return false, nil
	}
	for r, err := range t.After(h.Seq - 1) {
		if err != nil {
			return false, err
		}
		return r.Hash() == h.Hash, nil
	}
	return false, nil
}

// wrapRead says which file an error of reading belongs to; the errors of this package already do.
func wrapRead(path string, err error) error {
	if _, ok := errors.AsType[*DamageError](err); ok || errors.Is(err, ErrUnfinished) {
		return err
	}
	return fmt.Errorf("%s can't be read: %w", path, err)
}
