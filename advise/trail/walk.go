package trail

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
)

// walker goes through a chain line by line and holds each record against the one before.
type walker struct {
	file   string // for messages
	lines  *lines
	bodies bool // check bodies too

	seq     uint64   // number of the last record
	prev    [32]byte // hash of the last line
	unknown bool     // the last line's hash says nothing about the next line: the order was broken there
	line    int      // number of the last line
	off     int64    // where the last line began
	base    int64    // where the stream begins in the file
	link    [64]byte // scratch
}

func newWalker(file string, r io.Reader, bodies bool) *walker {
	return &walker{file: file, lines: newLines(r, MaxLine), bodies: bodies}
}

// startAt lets the walk begin behind a record known to be good.
func (w *walker) startAt(m mark) {
	w.seq, w.prev, w.line, w.base = m.seq, m.hash, int(m.seq), m.off
}

// next gives the next record. A damage does not end the walk; an error does: io.EOF after the last whole line,
// ErrUnfinished if bytes without a line feed follow it (they begin at w.off).
func (w *walker) next() (view, *DamageError, error) {
	lastOff := w.off
	off := w.base + w.lines.off
	line, _, state, err := w.lines.next()
	if err != nil {
		return view{}, nil, err
	}
	w.off = off
	if state == unfinished {
		return view{}, nil, ErrUnfinished
	}
	w.line++
	damaged := func(what string) *DamageError {
		return &DamageError{File: w.file, Record: w.seq + 1, Line: w.line, Offset: off, What: what}
	}
	if state == overlong {
		d := damaged(fmt.Sprintf("its line is longer than %d MiB", MaxLine>>20))
		w.seq++
		w.unknown = true
		return view{}, d, nil
	}
	before, beforeUnknown := w.prev, w.unknown
	w.prev, w.unknown = sha256.Sum256(line), false

	v, what := parseLine(line)
	if what != "" {
		d := damaged(what)
		w.seq++
		return view{}, d, nil
	}
	want := w.seq + 1
	switch {
	case v.seq > want:
		missing := fmt.Sprintf("it is missing: record %d follows record %d", v.seq, w.seq)
		if w.seq == 0 {
			missing = fmt.Sprintf("it is missing: the file begins with record %d", v.seq)
		}
		d := damaged(missing)
		w.seq = v.seq
		return v, d, nil
	case v.seq < want:
		d := damaged(fmt.Sprintf("record %d stands in its place", v.seq))
		w.unknown = true
		return v, d, nil
	}
	w.seq = want

	link := &w.link
	hex.Encode(link[:], before[:])
	if want == 1 {
		*link = zeroHash
	}
	switch {
	case !beforeUnknown && string(v.prev) != string(link[:]) && want == 1:
		d := damaged("its prev is not 64 zeros, although it is the first")
		d.Record = 1
		return v, d, nil
	case !beforeUnknown && string(v.prev) != string(link[:]):
		return v, &DamageError{
			File: w.file, Record: want - 1, Line: w.line - 1, Offset: lastOff, link: true,
			What: fmt.Sprintf("it and record %d do not fit together: one of the two was changed", want),
		}, nil
	case (string(v.kind) == headerKind) != (want == 1):
		d := damaged(fmt.Sprintf("it is of kind %q, and record 1 alone is of kind %q", v.kind, headerKind))
		d.Record = want
		return v, d, nil
	}
	if w.bodies {
		if what := faultInBody(v.body); what != "" {
			d := damaged(what)
			d.Record = want
			return v, d, nil
		}
	}
	return v, nil, nil
}

var zeroHash = func() (z [64]byte) {
	for i := range z {
		z[i] = '0'
	}
	return z
}()

// first is next for those who stop at the first damage: the damage is an error, and names the right one of two
// neighbours that don't fit together, for which the line after them is looked at.
func (w *walker) first() (view, error) {
	v, d, err := w.next()
	if err != nil || d == nil {
		return v, err
	}
	if d.link {
		if _, after, err := w.next(); err == nil {
			d.tell(after)
		}
	}
	return view{}, d
}

// tell makes a damage more exact by what the next line showed, which is nil if that line was in order.
// It reports whether the next line's damage is explained by this one.
func (d *DamageError) tell(after *DamageError) bool {
	switch {
	case after == nil:
		if d.link {
			d.link = false
			d.What = fmt.Sprintf("it was changed after it was written: record %d holds another hash of it", d.Record+1)
		}
		return false
	case !after.link:
		return false
	case d.link && d.Record+1 == after.Record:
		// Neither neighbour fits the record in the middle.
		file := d.File
		*d = *after
		d.File, d.link = file, false
		d.What = "it was changed after it was written: it fits neither neighbour"
		return true
	}
	return !d.link && d.Record == after.Record
}
