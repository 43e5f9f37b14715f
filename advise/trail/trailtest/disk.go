// Package trailtest has a disk in memory for tests of the trail and of what is built on it: it fails at a chosen
// moment, and it can lose its power.
package trailtest

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"sync"
	"syscall"

	"thirdstop/advise/trail"
)

// Fault is the way in which a write fails. What is no write fails without effect in all of them.
type Fault int

const (
	FailWhole Fault = iota // nothing is written
	FailHalf               // half is written, then an error is returned
	FailShort              // half is written and no error is returned
)

// Disk implements trail.Disk in memory. The zero value is an empty disk that never fails.
type Disk struct {
	mu      sync.Mutex
	live    map[string]*inode // what programs see
	durable map[string]*inode // what outlives a loss of power
	pending []change          // between the two: not synced yet, in order

	log    []string
	failAt int
	fault  Fault
	cause  error
}

type inode struct {
	data   []byte
	synced []byte
}

type change struct {
	dir   string
	apply func(map[string]*inode)
}

// FailAt lets the n-th changing operation from now on fail (1 is the next), once, with cause, or with "no space
// left on device" if cause is nil. Zero lets none fail.
func (d *Disk) FailAt(n int, how Fault, cause error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.failAt, d.fault, d.cause = 0, how, cause
	if n > 0 {
		d.failAt = len(d.log) + n
	}
	if cause == nil {
		d.cause = syscall.ENOSPC
	}
}

// Log lists the changing operations so far, as "write trail.jsonl 213"; one that failed ends in " failed".
func (d *Disk) Log() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]string(nil), d.log...)
}

// Content gives a file's bytes as programs see them.
func (d *Disk) Content(name string) ([]byte, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	n := d.live[filepath.Clean(name)]
	if n == nil {
		return nil, false
	}
	return append([]byte(nil), n.data...), true
}

// SetContent writes a file, synced, as somebody with an editor would.
func (d *Disk) SetContent(name string, b []byte) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.init()
	n := &inode{data: append([]byte(nil), b...), synced: append([]byte(nil), b...)}
	d.live[filepath.Clean(name)], d.durable[filepath.Clean(name)] = n, n
}

// Names lists the files.
func (d *Disk) Names() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	var names []string
	for n := range d.live {
		names = append(names, n)
	}
	return names
}

// PowerLoss gives the disk as it may be found after the power failed now: of what was not synced, a beginning of
// each file's new bytes, some with zero bytes behind it, and a beginning of the changes to folders.
func (d *Disk) PowerLoss(r *rand.Rand) *Disk {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.init()
	names := make(map[string]*inode, len(d.durable))
	for k, v := range d.durable {
		names[k] = v
	}
	for _, c := range d.pending[:r.IntN(len(d.pending)+1)] {
		c.apply(names)
	}
	after := &Disk{}
	after.init()
	for name, n := range names {
		b := append([]byte(nil), n.synced...)
		if extra := len(n.data) - len(n.synced); extra > 0 {
			keep := r.IntN(extra + 1)
			b = append(b, n.data[len(n.synced):len(n.synced)+keep]...)
			if r.IntN(3) == 0 {
				b = append(b, make([]byte, r.IntN(extra-keep+1))...)
			}
		}
		m := &inode{data: b, synced: append([]byte(nil), b...)}
		after.live[name], after.durable[name] = m, m
	}
	return after
}

func (d *Disk) init() {
	if d.live == nil {
		d.live, d.durable = make(map[string]*inode), make(map[string]*inode)
	}
}

// step notes a changing operation and says whether it fails. The caller holds mu.
func (d *Disk) step(op, name string, n int) error {
	d.init()
	entry := op + " " + filepath.Base(name)
	if n >= 0 {
		entry = fmt.Sprintf("%s %d", entry, n)
	}
	d.log = append(d.log, entry)
	if len(d.log) == d.failAt {
		d.log[len(d.log)-1] += " failed"
		return &fs.PathError{Op: op, Path: name, Err: d.cause}
	}
	return nil
}

func (d *Disk) change(name string, apply func(map[string]*inode)) {
	apply(d.live)
	d.pending = append(d.pending, change{filepath.Dir(name), apply})
}

func (d *Disk) MkdirAll(dir string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.step("mkdir", dir, -1)
}

func (d *Disk) Create(name string) (trail.File, error) {
	name = filepath.Clean(name)
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.step("create", name, -1); err != nil {
		return nil, err
	}
	if d.live[name] != nil {
		return nil, &fs.PathError{Op: "create", Path: name, Err: fs.ErrExist}
	}
	n := &inode{}
	d.change(name, func(m map[string]*inode) { m[name] = n })
	return &file{d: d, n: n, name: name}, nil
}

func (d *Disk) Append(name string) (trail.File, error) {
	n, err := d.find(name)
	if err != nil {
		return nil, err
	}
	return &file{d: d, n: n, name: filepath.Clean(name)}, nil
}

func (d *Disk) Open(name string) (trail.ReadFile, error) {
	n, err := d.find(name)
	if err != nil {
		return nil, err
	}
	return &readFile{d: d, n: n}, nil
}

func (d *Disk) find(name string) (*inode, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	n := d.live[filepath.Clean(name)]
	if n == nil {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	return n, nil
}

func (d *Disk) Truncate(name string, size int64) error {
	name = filepath.Clean(name)
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.step("truncate", name, int(size)); err != nil {
		return err
	}
	n := d.live[name]
	if n == nil || size > int64(len(n.data)) {
		return &fs.PathError{Op: "truncate", Path: name, Err: fs.ErrInvalid}
	}
	n.data = n.data[:size:size]
	n.synced = append([]byte(nil), n.data...)
	return nil
}

func (d *Disk) Rename(from, to string) error {
	from, to = filepath.Clean(from), filepath.Clean(to)
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.step("rename", from, -1); err != nil {
		return err
	}
	if d.live[from] == nil {
		return &fs.PathError{Op: "rename", Path: from, Err: fs.ErrNotExist}
	}
	d.change(to, func(m map[string]*inode) {
		m[to] = m[from]
		delete(m, from)
	})
	return nil
}

func (d *Disk) Remove(name string) error {
	name = filepath.Clean(name)
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.live[name] == nil {
		return &fs.PathError{Op: "remove", Path: name, Err: fs.ErrNotExist}
	}
	if err := d.step("remove", name, -1); err != nil {
		return err
	}
	d.change(name, func(m map[string]*inode) { delete(m, name) })
	return nil
}

func (d *Disk) SyncDir(dir string) error {
	dir = filepath.Clean(dir)
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.step("syncdir", dir, -1); err != nil {
		return err
	}
	var rest []change
	for _, c := range d.pending {
		if c.dir == dir {
			c.apply(d.durable)
		} else {
			rest = append(rest, c)
		}
	}
	d.pending = rest
	return nil
}

type file struct {
	d      *Disk
	n      *inode
	name   string
	closed bool
}

func (f *file) Write(b []byte) (int, error) {
	f.d.mu.Lock()
	defer f.d.mu.Unlock()
	if f.closed {
		return 0, fs.ErrClosed
	}
	if err := f.d.step("write", f.name, len(b)); err != nil {
		if f.d.fault == FailWhole {
			return 0, err
		}
		half := len(b) / 2
		f.n.data = append(f.n.data, b[:half]...)
		if f.d.fault == FailShort {
			err = nil
		}
		return half, err
	}
	f.n.data = append(f.n.data, b...)
	return len(b), nil
}

func (f *file) Sync() error {
	f.d.mu.Lock()
	defer f.d.mu.Unlock()
	if f.closed {
		return fs.ErrClosed
	}
	if err := f.d.step("sync", f.name, -1); err != nil {
		return err
	}
	f.n.synced = append([]byte(nil), f.n.data...)
	return nil
}

func (f *file) Close() error {
	f.d.mu.Lock()
	defer f.d.mu.Unlock()
	if f.closed {
		return fs.ErrClosed
	}
	f.closed = true
	return nil
}

type readFile struct {
	d      *Disk
	n      *inode
	closed bool
}

func (f *readFile) ReadAt(b []byte, off int64) (int, error) {
	f.d.mu.Lock()
	defer f.d.mu.Unlock()
	if f.closed {
		return 0, fs.ErrClosed
	}
	if off < 0 {
		return 0, errors.New("read at a negative place")
	}
	if off >= int64(len(f.n.data)) {
		return 0, io.EOF
	}
	n := copy(b, f.n.data[off:])
	if n < len(b) {
		return n, io.EOF
	}
	return n, nil
}

func (f *readFile) Size() (int64, error) {
	f.d.mu.Lock()
	defer f.d.mu.Unlock()
	return int64(len(f.n.data)), nil
}

func (f *readFile) Close() error {
	if f.closed {
		return fs.ErrClosed
	}
	f.closed = true
	return nil
}

// Failed reports whether an entry of Log is an operation that failed.
func Failed(entry string) bool { return strings.HasSuffix(entry, " failed") }
