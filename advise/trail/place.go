package trail

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"iter"
	"path/filepath"
	"time"
)

// Place is where a record lies in a trail: whoever keeps what was derived from all records up to there
// can go on from it without reading them again.
type Place struct {
	Head  Head
	Begin int64 // of the record's line in trail.jsonl, in bytes
	End   int64 // behind its line feed
}

// ErrPlace says that a place does not belong to a trail as it is now.
var ErrPlace = errors.New("the place is not in this trail")

// Place is that of the head, unsynced records included: call Sync before it is kept.
func (t *Trail) Place() Place {
	t.mu.Lock()
	defer t.mu.Unlock()
	return Place{Head: t.head, Begin: t.last, End: t.size}
}

// OpenFrom opens a trail like [Open], but trusts what lies before a place: it checks the header, that the record
// at the place is the one whose hash was kept, and every record behind it. A record changed before the place
// is not found here; [CheckTo] finds it. The error wraps ErrPlace where the place does not fit: Open may still succeed.
func OpenFrom(dir string, opt Options, p Place) (*Trail, []Repair, error) {
	return open(dir, opt, func(t *Trail, path string) (int64, error) {
		f, err := t.disk.Open(path)
		if err != nil {
			return 0, err
		}
		defer f.Close()
		size, err := f.Size()
		if err != nil {
			return 0, fmt.Errorf("%s can't be read: %w", path, err)
		}
		from, err := p.check(path, f, size)
		if err != nil {
			return 0, err
		}
		if t.header, err = headerAt(path, f, size); err != nil {
			return 0, err
		}
		t.head, t.sum, t.size, t.last = p.Head, from.hash, p.End, p.Begin
		t.marks = append(t.marks, from)
		return t.walk(f, path, from, p.Begin, size)
	})
}

// check holds the record at the place against its hash.
func (p Place) check(path string, f ReadFile, size int64) (mark, error) {
	bad := func(what string) (mark, error) {
		return mark{}, fmt.Errorf("%s: %s: %w", path, what, ErrPlace)
	}
	n := p.End - p.Begin
	if p.Head.Seq == 0 || p.Begin < 0 || n < 2 || n > MaxLine || p.End > size {
		return bad("it is shorter than it was")
	}
	line := make([]byte, n)
	if _, err := f.ReadAt(line, p.Begin); err != nil && err != io.EOF {
		return mark{}, fmt.Errorf("%s can't be read: %w", path, err)
	}
	sum := sha256.Sum256(line)
	v, what := parseLine(line)
	if hex.EncodeToString(sum[:]) != p.Head.Hash || what != "" || v.seq != p.Head.Seq {
		return bad("another record stands there")
	}
	return mark{seq: p.Head.Seq, hash: sum, off: p.End}, nil
}

func headerAt(path string, f ReadFile, size int64) (Header, error) {
	for r, err := range read(path, io.NewSectionReader(f, 0, size)) {
		if err != nil {
			return Header{}, err
		}
		return headerOf(path, r)
	}
	return Header{}, &DamageError{File: path, Record: 1, Line: 1, What: "the file holds no whole record"}
}

// ReadFrom gives the records behind a place, like [Read]; it ends with an error that wraps ErrPlace where the
// place does not fit.
func ReadFrom(dir string, p Place) iter.Seq2[Record, error] {
	return func(yield func(Record, error) bool) {
		path := filepath.Join(dir, chainName)
		f, err := OSDisk{}.Open(path)
		if err != nil {
			yield(Record{}, fmt.Errorf("%s holds no shoot: %w", dir, err))
			return
		}
		defer f.Close()
		size, err := f.Size()
		if err != nil {
			yield(Record{}, wrapRead(path, err))
			return
		}
		from, err := p.check(path, f, size)
		if err != nil {
			yield(Record{}, err)
			return
		}
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
			case !yield(v.record(), nil):
				return
			}
		}
	}
}

// CheckTo checks the records up to a place, all lines, links and bodies, at the pace given (bytes a second; 0: as
// fast as it goes), so that it may run beside a shoot. It returns a *DamageError at the first damage, an error that
// wraps ErrPlace where the records don't lead to the place, and ctx's when that ends.
func CheckTo(ctx context.Context, dir string, p Place, pace int64) error {
	path := filepath.Join(dir, chainName)
	f, err := OSDisk{}.Open(path)
	if err != nil {
		return wrapRead(path, err)
	}
	defer f.Close()
	w := newWalker(path, io.NewSectionReader(f, 0, p.End), true)
	const pause = 1 << 20 // bytes
	for rested := int64(0); ; {
		if err := ctx.Err(); err != nil {
			return err
		}
		v, err := w.first()
		if err == io.EOF || err == ErrUnfinished {
			break
		}
		if err != nil {
			return wrapRead(path, err)
		}
		if at := w.off + int64(len(v.line)); pace > 0 && at-rested > pause {
			rest := time.NewTimer(time.Duration(float64(at-rested) / float64(pace) * float64(time.Second)))
			rested = at
			select {
			case <-rest.C:
			case <-ctx.Done():
				rest.Stop()
				return ctx.Err()
			}
		}
	}
	if w.seq != p.Head.Seq || hex.EncodeToString(w.prev[:]) != p.Head.Hash {
		return fmt.Errorf("%s: its first %d records don't lead to the head that was kept: %w", path, p.Head.Seq, ErrPlace)
	}
	return nil
}
