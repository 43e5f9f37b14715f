package trail

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"path/filepath"
	"slices"
	"time"
)

// Read gives the records of the trail in dir, in order, and checks everything on the way. It ends with a
// *DamageError at the first damage, with ErrUnfinished if an unfinished line follows the last record, or with
// another error if the file can't be read. It changes nothing and needs no lock.
func Read(dir string) iter.Seq2[Record, error] {
	return func(yield func(Record, error) bool) {
		path := filepath.Join(dir, chainName)
		f, err := OSDisk{}.Open(path)
		if err != nil {
			yield(Record{}, noShoot(dir, err))
			return
		}
		defer f.Close()
		size, err := f.Size()
		if err != nil {
			yield(Record{}, wrapRead(path, err))
			return
		}
		for r, err := range read(path, io.NewSectionReader(f, 0, size)) {
			if !yield(r, err) || err != nil {
				return
			}
		}
	}
}

// read gives the records of a stream that is a whole trail.
func read(path string, src io.Reader) iter.Seq2[Record, error] {
	return func(yield func(Record, error) bool) {
		w := newWalker(path, src, true)
		for {
			v, err := w.first()
			if err == io.EOF {
				return
			}
			if err != nil {
				yield(Record{}, wrapRead(path, err))
				return
			}
			r := v.record()
			if r.Seq == 1 {
				if _, err := headerOf(path, r); err != nil {
					yield(Record{}, err)
					return
				}
			}
			if !yield(r, nil) {
				return
			}
		}
	}
}

func headerOf(path string, r Record) (Header, error) {
	h, err := readHeader(r)
	if fe, ok := errors.AsType[*FormatError](err); ok {
		fe.File = path
		return Header{}, fe
	}
	if err != nil {
		return Header{}, &DamageError{File: path, Record: 1, Line: 1, What: err.Error()}
	}
	return h, nil
}

// ReadHeader reads the header of the trail in dir, and nothing behind it.
func ReadHeader(dir string) (Header, error) {
	for r, err := range Read(dir) {
		if err != nil {
			return Header{}, err
		}
		return headerOf(filepath.Join(dir, chainName), r)
	}
	path := filepath.Join(dir, chainName)
	return Header{}, &DamageError{File: path, Record: 1, Line: 1, What: "the file holds no whole record"}
}

// Report is what Verify found.
type Report struct {
	Dir        string
	Header     Header
	Records    uint64         // whole lines that are records
	Head       Head           // of the last record
	First      time.Time      // time of record 1
	Last       time.Time      // time of the last record
	Damage     []*DamageError // in the order of the file, at most MaxDamage
	MoreDamage int            // how many were found beyond those
	Unfinished int64          // bytes after the last line feed: a line being written, or left by a crash
	Want       Head           // the head that was given; Seq is filled in when it was found, zero if none was given
	HeadFound  bool           // the head given is in this trail, and all before it is as it was

	Kept    int      // texts the chain refers to that are there and match
	Erased  int      // texts the chain refers to that were erased
	Missing []string // ids of texts that are gone without having been erased here
	Altered []string // ids of texts that are not what was kept
}

// MaxDamage is the longest list of damages in a Report.
const MaxDamage = 100

// Verify checks the whole trail in dir: every line, body and link, the texts against their hashes, and, if
// wantHead is not "", whether that head ("<seq>:<hash>" or the hash alone, see [ParseHead]) is in it; the trail may
// have grown since. A removed end and a changed last record are found only with a head.
//
// The error is nil if all is well. It joins the damages, an altered text (ErrAltered) and a head that is not there
// (ErrHead). An unfinished last line and missing texts are in the report and are no error: a running shoot may
// have the one, and who archives a trail without names.jsonl the other.
func Verify(dir, wantHead string) (Report, error) { return VerifyOn(OSDisk{}, dir, wantHead) }

// VerifyOn is Verify on another disk.
func VerifyOn(d Disk, dir, wantHead string) (Report, error) {
	rep := Report{Dir: dir}
	if wantHead != "" {
		h, err := ParseHead(wantHead)
		if err != nil {
			return rep, err
		}
		rep.Want = h
	}
	path := filepath.Join(dir, chainName)
	f, err := d.Open(path)
	if err != nil {
		return rep, noShoot(dir, err)
	}
	defer f.Close()
	size, err := f.Size()
	if err != nil {
		return rep, wrapRead(path, err)
	}
	refs := make(map[nameID]string)
	if err := rep.chain(path, io.NewSectionReader(f, 0, size), size, refs); err != nil {
		return rep, err
	}
	if err := rep.texts(d, refs); err != nil {
		return rep, err
	}
	return rep, rep.err()
}

func (rep *Report) chain(path string, src io.Reader, size int64, refs map[nameID]string) error {
	w := newWalker(path, src, true)
	var last *DamageError
	add := func(d *DamageError) {
		last = d
		if len(rep.Damage) < MaxDamage {
			rep.Damage = append(rep.Damage, d)
		} else {
			rep.MoreDamage++
		}
	}
	whole := true // nothing was damaged so far
	for {
		v, d, err := w.next()
		if err == io.EOF || err == ErrUnfinished {
			if err == ErrUnfinished {
				rep.Unfinished = size - w.off
			}
			break
		}
		if err != nil {
			return wrapRead(path, err)
		}
		if last != nil && last.tell(d) {
			// Explained by the damage before; and last stays, now that it is settled.
		} else if last = d; d != nil {
			add(d)
		}
		whole = whole && d == nil
		if v.line == nil || v.body == nil {
			continue
		}
		rep.Records++
		rep.Head = Head{Seq: v.seq, Hash: hex.EncodeToString(w.prev[:])}
		rep.Last = v.at
		if v.seq == 1 && d == nil {
			rep.First = v.at
			h, err := headerOf(path, v.record())
			if dmg, ok := errors.AsType[*DamageError](err); ok {
				add(dmg)
				whole = false
			} else if err != nil {
				return err
			}
			rep.Header = h
		}
		if whole && rep.Want.Hash == rep.Head.Hash && (rep.Want.Seq == 0 || rep.Want.Seq == v.seq) {
			rep.Want.Seq = v.seq
			rep.HeadFound = true
		}
		findRefs(v.body, refs)
	}
	if w.seq == 0 {
		add(&DamageError{File: path, Record: 1, Line: 1, What: "the file holds no whole record"})
	}
	return nil
}

// findRefs notes the refs in a body. Inside of a JSON string every quote is escaped, so what looks like a ref is one.
func findRefs(body []byte, refs map[nameID]string) {
	const a, b = `{"kept":"`, `","sha256":"`
	const all = len(a) + 32 + len(b) + 64
	for {
		i := bytes.Index(body, []byte(a))
		if i < 0 || len(body) < i+all+2 {
			return
		}
		at := body[i : i+all+2]
		body = body[i+len(a):]
		id, hash := at[len(a):len(a)+32], at[all-64:all]
		if string(at[len(a)+32:all-64]) == b && string(at[all:]) == `"}` && isHex(id) && isHex(hash) {
			var key nameID
			hex.Decode(key[:], id)
			refs[key] = string(hash)
		}
	}
}

// texts holds the side file against the hashes in the chain.
func (rep *Report) texts(d Disk, refs map[nameID]string) error {
	path := filepath.Join(rep.Dir, namesName)
	f, err := d.Open(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return wrapRead(path, err)
	}
	if err == nil {
		defer f.Close()
		size, err := f.Size()
		if err != nil {
			return wrapRead(path, err)
		}
		if err := rep.sideFile(io.NewSectionReader(f, 0, size), refs); err != nil {
			return wrapRead(path, err)
		}
	}
	for id := range refs {
		rep.Missing = append(rep.Missing, hex.EncodeToString(id[:]))
	}
	slices.Sort(rep.Missing)
	return nil
}

// sideFile takes out of refs what it finds.
func (rep *Report) sideFile(src io.Reader, refs map[nameID]string) error {
	ls := newLines(src, maxNameLine)
	for {
		line, _, state, err := ls.next()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		if state != whole {
			continue
		}
		key, erased, ok := nameLineID(line)
		want, referred := refs[key]
		if !ok || !referred {
			continue
		}
		delete(refs, key)
		if erased {
			rep.Erased++
			continue
		}
		if _, _, hash, err := readNameLine(line); err != nil || hash != want {
			rep.Altered = append(rep.Altered, hex.EncodeToString(key[:]))
			continue
		}
		rep.Kept++
	}
}

func (rep *Report) err() error {
	var errs []error
	for _, d := range rep.Damage {
		errs = append(errs, d)
	}
	if rep.MoreDamage > 0 {
		errs = append(errs, fmt.Errorf("and %d more", rep.MoreDamage))
	}
	for _, id := range rep.Altered {
		errs = append(errs, fmt.Errorf("text %s in %s: %w", id, filepath.Join(rep.Dir, namesName), ErrAltered))
	}
	if rep.Want.Hash != "" && !rep.HeadFound {
		errs = append(errs, fmt.Errorf("%s: %w: its end was removed, or a record was changed; the trail ends with %v", rep.Dir, ErrHead, rep.Head))
	}
	return errors.Join(errs...)
}
