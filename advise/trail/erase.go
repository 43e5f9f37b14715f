package trail

import (
	"bufio"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
)

// Erase takes texts out of the side file for good; the chain stays as it is and stays valid. It writes the file
// anew and puts it in the old one's place, so that after a crash all of the texts are gone or none. Texts erased
// before are passed over; an id that was never kept is ErrUnknownText, and then nothing is erased. Lines that
// can't be read are dropped on the way: what they hold can't be told.
func (t *Trail) Erase(ids ...string) error {
	return t.names.erase(ids)
}

func (n *names) erase(ids []string) error {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.closed {
		return ErrClosed
	}
	if err := n.poison.check(); err != nil {
		return fmt.Errorf("nothing erased: %w", err)
	}
	gone := make(map[nameID]bool, len(ids))
	for _, id := range ids {
		key, ok := parseID(id)
		if !ok {
			return fmt.Errorf("nothing erased: %q is no id of a text; an id has 32 hexadecimal characters (0-9, a-f)", id)
		}
		p, ok := n.where[key]
		if !ok {
			return fmt.Errorf("nothing erased: id %s in %s: %w", id, n.path, ErrUnknownText)
		}
		if !p.erased {
			gone[key] = true
		}
	}
	if len(gone) == 0 {
		return nil
	}
	if err := n.rewrite(gone); err != nil {
		// The old file is untouched, so the trail can go on: a disk too full for a second copy must not end the shoot.
		remove(n.disk, n.path+newSuffix)
		if diskFull(err) {
			return fmt.Errorf("nothing erased: the disk that holds %s is full; free some space and erase again: %w", n.dir, err)
		}
		return fmt.Errorf("nothing erased: %s can't be written anew; erase again: %w", n.path, err)
	}
	// Some systems don't put a file in the place of one that is open.
	if err := errors.Join(n.file.Close(), n.read.Close()); err != nil {
		return n.lost(err)
	}
	if err := n.disk.Rename(n.path+newSuffix, n.path); err != nil {
		remove(n.disk, n.path+newSuffix)
		if again := n.open(); again != nil {
			return n.lost(again)
		}
		return fmt.Errorf("nothing erased: %s can't be replaced, perhaps another program has it open; close that and erase again: %w", n.path, err)
	}
	if err := n.disk.SyncDir(n.dir); err != nil {
		return n.lost(err)
	}
	if _, _, err := n.survey(); err != nil {
		return n.lost(err)
	}
	n.dirty = false
	if err := n.open(); err != nil {
		return n.lost(err)
	}
	return nil
}

// lost ends the trail: how the side file stands is not known.
func (n *names) lost(err error) error {
	n.file, n.read = noFile{}, noFile{}
	return fmt.Errorf("whether the texts are erased is not known: %w", n.poison.set(namesName, err))
}

// rewrite makes the new side file and syncs it.
func (n *names) rewrite(gone map[nameID]bool) error {
	dst, err := n.disk.Create(n.path + newSuffix)
	if err != nil {
		return err
	}
	out := bufio.NewWriterSize(writerOf{dst}, 64<<10)
	ls := newLines(io.NewSectionReader(n.read, 0, n.size), maxNameLine)
	for {
		line, _, state, err := ls.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			dst.Close()
			return err
		}
		id, _, ok := nameLineID(line)
		switch {
		case state != whole || !ok:
		case gone[id]:
			fmt.Fprintf(out, "{\"id\":\"%s\",\"erased\":true}\n", hex.EncodeToString(id[:]))
		default:
			out.Write(line)
		}
	}
	if err := out.Flush(); err != nil { // holds the first error of any write
		dst.Close()
		return err
	}
	if err := dst.Sync(); err != nil {
		dst.Close()
		return err
	}
	return dst.Close()
}

// writerOf makes a short write without an error one with.
type writerOf struct{ f File }

func (w writerOf) Write(b []byte) (int, error) {
	if err := write(w.f, b); err != nil {
		return 0, err
	}
	return len(b), nil
}

// noFile stands where a file could not be opened again.
type noFile struct{}

func (noFile) Write([]byte) (int, error)         { return 0, ErrClosed }
func (noFile) ReadAt([]byte, int64) (int, error) { return 0, ErrClosed }
func (noFile) Size() (int64, error)              { return 0, ErrClosed }
func (noFile) Sync() error                       { return ErrClosed }
func (noFile) Close() error                      { return nil }
