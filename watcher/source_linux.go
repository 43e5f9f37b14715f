package watcher

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"

	"golang.org/x/sys/unix"
)

// systemEvents adds to fsnotify what it doesn't pass on: that a writer closed its file.
func systemEvents(report func(Event)) (Source, error) {
	n, err := newNotices(report)
	if err != nil {
		return nil, err
	}
	c, err := newClosings(report)
	if err != nil {
		return nil, errors.Join(err, n.Close())
	}
	return both{n, c}, nil
}

// closings reports files that were closed after writing or moved into place, by inotify(7).
type closings struct {
	file *os.File // the inotify descriptor; non-blocking, so that Close wakes Read
	fd   int      // the same; not file.Fd(), which would make it blocking
	done chan struct{}

	mu     sync.Mutex // guards what follows: Watch and the reading goroutine share it
	closed bool
	byPath map[string]int32
	byWD   map[int32]string
}

const closingMask = unix.IN_CLOSE_WRITE | unix.IN_MOVED_TO | unix.IN_ONLYDIR

func newClosings(report func(Event)) (*closings, error) {
	fd, err := unix.InotifyInit1(unix.IN_CLOEXEC | unix.IN_NONBLOCK)
	if err != nil {
		return nil, fmt.Errorf("inotify: %w", os.NewSyscallError("inotify_init1", err))
	}
	c := &closings{
		file: os.NewFile(uintptr(fd), "inotify"), fd: fd, done: make(chan struct{}),
		byPath: map[string]int32{}, byWD: map[int32]string{},
	}
	go c.pump(report)
	return c, nil
}

func (c *closings) Closes() bool { return true }

func (c *closings) Watch(dir string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.closed {
		return os.ErrClosed
	}
	wd, err := unix.InotifyAddWatch(c.fd, dir, closingMask)
	if err != nil {
		return &os.PathError{Op: "inotify_add_watch", Path: dir, Err: err}
	}
	// A folder that was moved keeps its number: forget the path it had.
	if old, ok := c.byWD[int32(wd)]; ok && old != dir {
		delete(c.byPath, old)
	}
	c.byWD[int32(wd)] = dir
	c.byPath[dir] = int32(wd)
	return nil
}

func (c *closings) Unwatch(dir string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	wd, ok := c.byPath[dir]
	if !ok || c.closed {
		return
	}
	delete(c.byPath, dir)
	delete(c.byWD, wd)
	// Fails when the folder is gone, and the watch with it.
	_, _ = unix.InotifyRmWatch(c.fd, uint32(wd))
}

func (c *closings) Close() error {
	c.mu.Lock()
	c.closed = true
	err := c.file.Close()
	c.mu.Unlock()
	<-c.done
	return err
}

func (c *closings) pump(report func(Event)) {
	defer close(c.done)
	buf := make([]byte, 64<<10)
	for {
		n, err := c.file.Read(buf)
		if err != nil || n <= 0 {
			if err != nil && !errors.Is(err, os.ErrClosed) {
				report(Event{Kind: Dropped, Err: fmt.Errorf("inotify: %w", err)})
			}
			return
		}
		c.parse(buf[:n], report)
	}
}

// parse walks the records of inotify(7): wd, mask, cookie, len, then len bytes of name
// with zeros behind it.
func (c *closings) parse(b []byte, report func(Event)) {
	for len(b) >= unix.SizeofInotifyEvent {
		wd := int32(binary.NativeEndian.Uint32(b))
		mask := binary.NativeEndian.Uint32(b[4:])
		size := int(binary.NativeEndian.Uint32(b[12:]))
		b = b[unix.SizeofInotifyEvent:]
		if size < 0 || size > len(b) {
			return
		}
		name, _, _ := bytes.Cut(b[:size], []byte{0})
		b = b[size:]

		if mask&unix.IN_Q_OVERFLOW != 0 {
			report(Event{Kind: Dropped, Err: errors.New("the system's queue of file events overflowed")})
			continue
		}
		c.mu.Lock()
		dir, ok := c.byWD[wd]
		if ok && mask&unix.IN_IGNORED != 0 {
			delete(c.byWD, wd)
			if c.byPath[dir] == wd { // and not yet a new watch on a new folder
				delete(c.byPath, dir)
			}
		}
		c.mu.Unlock()
		switch {
		case !ok: // a folder that was let go of a moment ago
		case mask&(unix.IN_IGNORED|unix.IN_UNMOUNT) != 0:
			report(Event{Path: dir, Kind: Unwatched})
		case mask&unix.IN_ISDIR != 0:
			report(Event{Path: filepath.Join(dir, string(name)), Kind: Created})
		case mask&(unix.IN_CLOSE_WRITE|unix.IN_MOVED_TO) != 0:
			report(Event{Path: filepath.Join(dir, string(name)), Kind: Closed})
		}
	}
}
