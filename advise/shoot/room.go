package shoot

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"sync"

	"thirdstop/advise/trail"
)

const (
	// recordReserve is what is left free on the disk of the record, in bytes: over a thousand frames
	// at some 50 KB each. What can be made again (pictures, bookmarks) is not written into it.
	recordReserve = 64 << 20

	// mostPictures bounds the picture files of a shoot, in bytes; the oldest go first.
	mostPictures = 256 << 20
)

// probeBytes is how much must fit on a disk that was full before it is tried again: what two or three frames take.
const probeBytes = 128 << 10

// RoomAgain tells whether a shoot that takes no more because its disk was full could be
// gone on with by closing and opening it again. It tries by writing a little beside the record.
func (s *Shoot) RoomAgain() bool {
	var stopped *trail.PoisonedError
	if !errors.As(s.trail.Err(), &stopped) || !stopped.Full() {
		return false
	}
	d := s.options().Disk
	if d == nil {
		d = trail.OSDisk{}
	}
	name := filepath.Join(s.trail.Dir(), "room.tmp")
	err := trail.WriteFile(d, name, make([]byte, probeBytes))
	if err == nil {
		err = d.Remove(name)
	}
	return err == nil
}

// LookAfter sees whether the record is still where it was begun, and tells people where it is not: what is
// appended to a file that was deleted is lost with the program's end.
func (s *Shoot) LookAfter() {
	info, err := os.Stat(filepath.Join(s.trail.Dir(), "trail.jsonl"))
	gone := errors.Is(err, fs.ErrNotExist) || err == nil && s.asOpened != nil && !os.SameFile(info, s.asOpened)
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, told := s.troubles[recordGone]; told == gone || s.closed {
		return
	}
	if gone {
		s.troubles[recordGone] = Trouble{recordGone, fmt.Sprintf(
			"The record of this shoot is no longer in %s: the folder was moved or deleted. Put it back as it was; what is recorded meanwhile may be lost when thirdstop stops.", s.trail.Dir())}
		s.c.Log.Error().Msg("the record is not where it was")
	} else {
		delete(s.troubles, recordGone)
	}
	s.show()
}

// recordGone is the code of the trouble that the record's folder was moved or deleted.
const recordGone = "record-gone"

// Inherit takes over the troubles that stood when an earlier opening of the same shoot was closed: whoever
// told of them tells only once.
func (s *Shoot) Inherit(was *Shoot) {
	was.mu.Lock()
	troubles := maps.Clone(was.troubles)
	was.mu.Unlock()
	s.mu.Lock()
	defer s.mu.Unlock()
	maps.Copy(troubles, s.troubles)
	s.troubles = troubles
	s.show()
}

// fullText is what people are told when the record stops because its disk is full.
func fullText(p *trail.PoisonedError) string {
	return fmt.Sprintf("not recorded: the disk that holds %s is full; free some space, and thirdstop goes on by itself with the frames that came meanwhile", p.Dir)
}

// errNoRoom says that something was not written, lest the record lack the room.
var errNoRoom = errors.New("there is little room on the disk, and it is kept for the record")

// room says whether what is not the record may be written beside it.
type room struct {
	dir    string                              // of the shoot
	free   func(folder string) (uint64, error) // bytes left; nil is the system's
	change func()                              // told when short changes; must not wait

	mu    sync.Mutex
	short string // the sentence for people while there is little room, else ""
}

// allows tells whether n more bytes leave the reserve untouched, and keeps the sentence up to
// date. Where the system doesn't tell how much is free, everything is allowed.
func (r *room) allows(n uint64) bool {
	left, ok := r.holds(n)
	if ok {
		r.set("")
	} else {
		r.set(shortText(left))
	}
	return ok
}

// holds is that answer, and how many bytes are left where it is no, with nobody told: for a caller that can make room itself.
func (r *room) holds(n uint64) (left uint64, ok bool) {
	free := r.free
	if free == nil {
		free = freeBytes
	}
	left, err := free(r.dir)
	return left, err != nil || left >= recordReserve+n
}

func shortText(left uint64) string {
	text := fmt.Sprintf("%d MB are", left>>20)
	if left < 10<<20 {
		text = fmt.Sprintf("%d KB are", left>>10)
	}
	return "Only " + text + " left on the disk that holds the record, and they are kept for it: pictures are not stored any more, and older ones take longer to show. Free some space."
}

// full notes that a write found no room.
func (r *room) full() { r.set(shortText(0)) }

func (r *room) set(text string) {
	r.mu.Lock()
	changed := r.short != text
	r.short = text
	r.mu.Unlock()
	if changed && r.change != nil {
		r.change()
	}
}

// shortage is the sentence for people, "" while there is room.
func (r *room) shortage() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.short
}
