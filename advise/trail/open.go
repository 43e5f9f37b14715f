package trail

import (
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
)

// Create begins the trail of a new shoot in dir, which is made if it is missing, and writes the header. When it
// returns, folder and header are on disk. The error wraps fs.ErrExist if dir already holds a shoot.
func Create(dir string, header Header, opt Options) (*Trail, error) {
	opt = opt.withDefaults()
	if header.Shoot == "" {
		header.Shoot = randomHex()
	}
	if len(header.About) == 0 {
		header.About = json.RawMessage("null")
	}
	header.Format = Format
	r, err := newRecord(1, string(zeroHash[:]), headerKind, headerVersion, header.Rules, header.At,
		headerBody{Format: Format, Shoot: header.Shoot, Program: header.Program, About: header.About})
	if err != nil {
		return nil, fmt.Errorf("new shoot in %s: %w", dir, err)
	}
	if len(r.Line()) > MaxLine {
		return nil, fmt.Errorf("new shoot in %s: its header would be longer than %d bytes", dir, MaxLine)
	}
	if err := layOut(opt.Disk, dir, r.Line()); err != nil {
		if diskFull(err) {
			return nil, fmt.Errorf("new shoot in %s: the disk is full; free some space and try again: %w", dir, err)
		}
		return nil, fmt.Errorf("new shoot in %s: %w", dir, err)
	}
	t, _, err := Open(dir, opt)
	return t, err
}

// layOut makes the files of a new shoot. The chain's file gets its name when its header is on disk, so that a
// folder holds either no trail or one with a whole header.
func layOut(d Disk, dir string, header []byte) error {
	if err := d.MkdirAll(dir); err != nil {
		return err
	}
	chain, side := filepath.Join(dir, chainName), filepath.Join(dir, namesName)
	if f, err := d.Open(chain); err == nil {
		f.Close()
		return fmt.Errorf("there is a shoot already: %s: %w", chain, fs.ErrExist)
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	// What a crash in this function left is removed; a side file with texts in it is not ours to remove.
	if f, err := d.Open(side); err == nil {
		n, err := f.Size()
		f.Close()
		if err != nil {
			return err
		}
		if n > 0 {
			return fmt.Errorf("%s is there, with texts but without its trail; begin the shoot in another folder: %w", side, fs.ErrExist)
		}
		if err := d.Remove(side); err != nil {
			return err
		}
	}
	if err := remove(d, chain+newSuffix); err != nil {
		return err
	}
	if err := createWith(d, side, nil); err != nil {
		return err
	}
	if err := createWith(d, chain+newSuffix, header); err != nil {
		return err
	}
	if err := d.Rename(chain+newSuffix, chain); err != nil {
		return err
	}
	if err := d.SyncDir(dir); err != nil {
		return err
	}
	return d.SyncDir(filepath.Dir(dir))
}

func createWith(d Disk, name string, content []byte) error {
	f, err := d.Create(name)
	if err != nil {
		return err
	}
	if len(content) > 0 {
		err = write(f, content)
	}
	if err != nil {
		f.Close()
		return err
	}
	if err := f.Sync(); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

func remove(d Disk, name string) error {
	if err := d.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

func randomHex() string {
	var b [16]byte
	rand.Read(b[:]) // never fails; crypto/rand ends the program if the system has no randomness
	return hex.EncodeToString(b[:])
}

// Open opens the trail of a shoot to go on with it, and checks the whole chain; bodies are checked by [Read] and
// [Verify], and here the last one only. A last line without its line feed, as a crash leaves it, is cut off, kept
// in a file beside the trail and reported as a Repair. Damage anywhere else is a *DamageError, a trail of a newer
// program a *FormatError, and no trail an error that wraps fs.ErrNotExist; the files are then left as they are.
func Open(dir string, opt Options) (*Trail, []Repair, error) {
	return open(dir, opt, (*Trail).survey)
}

// open opens a trail whose chain survey walks through.
func open(dir string, opt Options, survey func(t *Trail, path string) (cut int64, err error)) (*Trail, []Repair, error) {
	opt = opt.withDefaults()
	t := &Trail{dir: dir, disk: opt.Disk, poison: &poison{dir: dir}}
	path := filepath.Join(dir, chainName)
	cut, err := survey(t, path)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, nil, noShoot(dir, err)
		}
		return nil, nil, err
	}
	var repairs []Repair
	if cut > 0 {
		r, err := t.cutOff(path, cut, opt)
		if diskFull(err) {
			return nil, nil, fmt.Errorf("%s ends in an unfinished line, and the disk is too full to keep it aside; free some space and start thirdstop again: %w", path, err)
		}
		if err != nil {
			return nil, nil, fmt.Errorf("%s ends in an unfinished line, which could not be kept aside and cut off: %w", path, err)
		}
		repairs = append(repairs, r)
	}
	names, more, err := openNames(t.disk, dir, t.poison)
	repairs = append(repairs, more...)
	if err != nil {
		return nil, repairs, err
	}
	t.names = names
	if t.file, err = t.disk.Append(path); err != nil {
		t.names.close()
		return nil, repairs, fmt.Errorf("%s can't be opened to append to it: %w", path, err)
	}
	return t, repairs, nil
}

// survey walks through the chain, keeping marks and nothing else, and returns how many bytes of an unfinished
// line follow its last record.
func (t *Trail) survey(path string) (cut int64, err error) {
	f, err := t.disk.Open(path)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	size, err := f.Size()
	if err != nil {
		return 0, fmt.Errorf("%s can't be read: %w", path, err)
	}
	return t.walk(f, path, mark{}, 0, size)
}

// walk goes through the chain behind a place known to be good. The record before it, if there is one, begins at last.
func (t *Trail) walk(f ReadFile, path string, from mark, last, size int64) (cut int64, err error) {
	w := newWalker(path, io.NewSectionReader(f, from.off, size-from.off), false)
	if from.seq > 0 {
		w.startAt(from)
	}
	for {
		v, err := w.first()
		if err == io.EOF || err == ErrUnfinished {
			break
		}
		if err != nil {
			return 0, wrapRead(path, err)
		}
		if v.seq == 1 {
			h, err := headerOf(path, v.record())
			if err != nil {
				return 0, err
			}
			t.header = h
		}
		last = w.off
		t.head.Seq, t.sum, t.size, t.last = v.seq, w.prev, w.off+int64(len(v.line)), w.off
		t.mark()
	}
	if t.head.Seq == 0 {
		return 0, &DamageError{File: path, Record: 1, Line: 1, What: "the file holds no whole record"}
	}
	t.head.Hash = hex.EncodeToString(t.sum[:])
	// No later record vouches for the last one, so its body is looked at.
	line := make([]byte, t.size-last)
	if _, err := f.ReadAt(line, last); err != nil && err != io.EOF {
		return 0, fmt.Errorf("%s can't be read: %w", path, err)
	}
	v, what := parseLine(line)
	if what == "" {
		what = faultInBody(v.body)
	}
	if what != "" {
		return 0, &DamageError{File: path, Record: t.head.Seq, Line: w.line, Offset: last, What: what}
	}
	return size - t.size, nil
}

// cutOff copies the unfinished line to a file of its own and, once that is on disk, cuts it off.
func (t *Trail) cutOff(path string, n int64, opt Options) (Repair, error) {
	src, err := t.disk.Open(path)
	if err != nil {
		return Repair{}, err
	}
	defer src.Close()
	seq := t.head.Seq + 1
	base := fmt.Sprintf("cut-%d-%s", seq, opt.Now().UTC().Format("20060102T150405Z"))
	name := base + ".part"
	dst, err := t.disk.Create(filepath.Join(t.dir, name))
	for i := 2; errors.Is(err, fs.ErrExist) && i < 1000; i++ {
		name = fmt.Sprintf("%s-%d.part", base, i)
		dst, err = t.disk.Create(filepath.Join(t.dir, name))
	}
	if err != nil {
		return Repair{}, err
	}
	_, err = io.Copy(writerOf{dst}, io.NewSectionReader(src, t.size, n))
	if err == nil {
		err = dst.Sync()
	}
	err = errors.Join(err, dst.Close(), src.Close())
	if err == nil {
		err = t.disk.SyncDir(t.dir)
	}
	if err == nil {
		err = t.disk.Truncate(path, t.size)
	}
	if err != nil {
		return Repair{}, err
	}
	return Repair{
		File: path, Record: seq, Bytes: n, KeptIn: filepath.Join(t.dir, name),
		What: fmt.Sprintf("record %d of %s was not finished when the program or the power stopped; it had not been acknowledged. Its %d bytes were cut off and kept in %s", seq, path, n, name),
	}, nil
}
