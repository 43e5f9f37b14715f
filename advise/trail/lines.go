package trail

import (
	"bytes"
	"io"
)

// lines cuts a stream into lines without holding more of it than one line, and of a line never more than max bytes.
type lines struct {
	r          io.Reader
	buf        []byte
	start, end int
	max        int
	off        int64 // where the next line begins
	eof        bool
}

type lineState int

const (
	whole      lineState = iota // ends with its line feed
	unfinished                  // the stream ends before its line feed
	overlong                    // has a line feed, but is longer than max; the bytes are not given
)

func newLines(r io.Reader, max int) *lines {
	return &lines{r: r, buf: make([]byte, min(128<<10, max)), max: max}
}

// next gives the next line with its line feed, valid until the next call, and its length in the stream.
// After the last line it returns io.EOF.
func (l *lines) next() (line []byte, n int64, state lineState, err error) {
	searched := 0
	for {
		if i := bytes.IndexByte(l.buf[l.start+searched:l.end], '\n'); i >= 0 {
			line = l.buf[l.start : l.start+searched+i+1]
			l.start += len(line)
			l.off += int64(len(line))
			return line, int64(len(line)), whole, nil
		}
		searched = l.end - l.start
		if l.eof {
			if searched == 0 {
				return nil, 0, whole, io.EOF
			}
			line = l.buf[l.start:l.end]
			l.start = l.end
			l.off += int64(len(line))
			return line, int64(len(line)), unfinished, nil
		}
		if searched >= l.max {
			return l.skip()
		}
		if err := l.fill(); err != nil {
			return nil, 0, whole, err
		}
	}
}

// skip passes over a line that is too long to be one.
func (l *lines) skip() (line []byte, n int64, state lineState, err error) {
	for {
		if i := bytes.IndexByte(l.buf[l.start:l.end], '\n'); i >= 0 {
			l.start += i + 1
			n += int64(i + 1)
			l.off += n
			return nil, n, overlong, nil
		}
		n += int64(l.end - l.start)
		l.start, l.end = 0, 0
		if l.eof {
			l.off += n
			return nil, n, unfinished, nil
		}
		if err := l.fill(); err != nil {
			return nil, 0, overlong, err
		}
	}
}

func (l *lines) fill() error {
	if l.start > 0 {
		copy(l.buf, l.buf[l.start:l.end])
		l.end -= l.start
		l.start = 0
	}
	if l.end == len(l.buf) {
		grown := make([]byte, min(2*len(l.buf), l.max))
		copy(grown, l.buf[:l.end])
		l.buf = grown
	}
	for tries := 0; tries < 100; tries++ {
		n, err := l.r.Read(l.buf[l.end:])
		l.end += n
		if err == io.EOF {
			l.eof = true
			return nil
		}
		if err != nil || n > 0 {
			return err
		}
	}
	return io.ErrNoProgress
}
