package shoot

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/frozen"
	"thirdstop/advise/trail"
)

// A bookmark is a file beside the trail that holds everything derived from the records up to a place in it, so that a
// long shoot opens without playing them all again. It is a cache: one that is torn, of another program, other
// rules, another trail, or of a trail that was changed at its place, is passed over, and everything is played.
// It holds names of files: [Erase] deletes it first.
//
//	thirdstop bookmark 1\n
//	length of the head (8 bytes, little endian), its SHA-256, the head (frozen bookHead)
//	length of the body, its SHA-256, the body (frozen bookBody)
const (
	bookmarkName  = "bookmark"
	bookmarkMagic = "thirdstop bookmark 1\n"
)

// bookHead says what a bookmark belongs to, and what of the shoot a later one in the same folder must know.
type bookHead struct {
	Program  string
	Rules    string
	Shape    [32]byte // of bookBody: another build may have other fields
	Shoot    string   // the random id in the trail's header
	Place    trail.Place
	Ended    bool
	Baseline int
	Contents [][32]byte
}

type bookBody struct {
	State    advise.State
	StateAt  time.Time
	Clients  map[string]Receipt
	Revision []int
	Content  []int
	Owed     bool
	PlanFile *string
	PlanAt   uint64
	Files    []bookFile
	Broken   []bookFile // with path and hash alone
	Nameless [][32]byte
	Refs     []trail.Ref
	Events   []Event
}

// bookFile is what is known of a path.
type bookFile struct {
	Rel    string
	Hash   [32]byte
	Number int
	Mark   *fileMark
}

var errBookmark = errors.New("the bookmark can't be used")

// section is one part of a bookmark behind its length and hash.
func section(b []byte, part []byte) []byte {
	b = binary.LittleEndian.AppendUint64(b, uint64(len(part)))
	sum := sha256.Sum256(part)
	return append(append(b, sum[:]...), part...)
}

func readSection(r io.Reader, most int64) (string, error) {
	var front [40]byte
	if _, err := io.ReadFull(r, front[:]); err != nil {
		return "", errBookmark
	}
	n := binary.LittleEndian.Uint64(front[:])
	if n > uint64(most) {
		return "", errBookmark
	}
	part := make([]byte, n)
	if _, err := io.ReadFull(r, part); err != nil {
		return "", errBookmark
	}
	if sum := sha256.Sum256(part); !bytes.Equal(sum[:], front[8:]) {
		return "", errBookmark
	}
	return string(part), nil
}

// bookmark reads the bookmark of the shoot in dir, its body only if wanted. It is nil where there is none that fits
// this program; whether its place fits the trail is for who opens that to find out.
func readBookmark(dir, program string, wanted bool) (head *bookHead, body *bookBody) {
	f, err := os.Open(filepath.Join(dir, bookmarkName))
	if err != nil {
		return nil, nil
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return nil, nil
	}
	magic := make([]byte, len(bookmarkMagic))
	if _, err := io.ReadFull(f, magic); err != nil || string(magic) != bookmarkMagic {
		return nil, nil
	}
	text, err := readSection(f, st.Size())
	if err != nil {
		return nil, nil
	}
	h, err := frozen.Read[bookHead](text)
	shape, err2 := frozen.Shape[bookBody]()
	if err != nil || err2 != nil || h.Program != program || h.Rules != advise.Rules || h.Shape != shape {
		return nil, nil
	}
	if header, err := trail.ReadHeader(dir); err != nil || header.Shoot != h.Shoot {
		return nil, nil
	}
	if !wanted {
		return &h, nil
	}
	if text, err = readSection(f, st.Size()); err != nil {
		return nil, nil
	}
	b, err := frozen.Read[bookBody](text)
	if err != nil {
		return nil, nil
	}
	return &h, &b
}

// mark takes together what a bookmark holds. The caller holds mu.
func (s *Shoot) mark() (bookHead, bookBody, error) {
	shape, err := frozen.Shape[bookBody]()
	if err != nil {
		return bookHead{}, bookBody{}, err
	}
	h := bookHead{Program: s.c.Version, Rules: advise.Rules, Shape: shape, Shoot: s.trail.Header().Shoot, Place: s.trail.Place(),
		Ended: s.state.Phase == advise.Ended, Baseline: s.state.Baseline, Contents: slices.Clip(s.contents)}
	b := bookBody{State: s.state, StateAt: s.stateAt, Clients: maps.Clone(s.clients), Revision: slices.Clone(s.revision),
		Owed: s.owed, PlanFile: s.planFile, PlanAt: s.planAt, Nameless: slices.Clip(s.nameless)}
	s.contentMu.RLock()
	b.Content = slices.Clone(s.content)
	b.Files = make([]bookFile, 0, len(s.effective))
	for rel, hash := range s.effective {
		f := bookFile{Rel: rel, Hash: hash, Number: s.numbers[stem(rel)]}
		if m, ok := s.marks[rel]; ok {
			f.Mark = &m
		}
		b.Files = append(b.Files, f)
	}
	s.contentMu.RUnlock()
	for rel, hash := range s.told {
		b.Broken = append(b.Broken, bookFile{Rel: rel, Hash: hash})
	}
	s.refsMu.RLock()
	b.Refs = make([]trail.Ref, 0, len(s.refs))
	for _, r := range s.refs {
		b.Refs = append(b.Refs, r)
	}
	s.refsMu.RUnlock()
	s.eventsMu.RLock()
	b.Events = slices.Clip(s.events)
	s.eventsMu.RUnlock()
	return h, b, nil
}

// writeBookmark writes what mark took. The trail was synced since.
func (s *Shoot) writeBookmark(h bookHead, b bookBody) error {
	began := time.Now()
	head, err := frozen.Append(nil, &h)
	if err != nil {
		return err
	}
	body, err := frozen.Append(make([]byte, 0, 1<<20), &b)
	if err != nil {
		return err
	}
	text := section(section([]byte(bookmarkMagic), head), body)
	d := s.options().Disk
	if d == nil {
		d = trail.OSDisk{}
	}
	if !s.room.allows(uint64(len(text))) {
		return errNoRoom
	}
	dir := s.trail.Dir()
	name := filepath.Join(dir, bookmarkName)
	if err := trail.WriteFile(d, name, text); err != nil {
		return err
	}
	s.c.Log.Debug().Int("frames", b.State.FrameCount).Int("bytes", len(text)).Dur("took", time.Since(began)).Msg("bookmark")
	return nil
}

// bookmarkEvery is after how many frames a running shoot gets a new bookmark, at the least; a long
// one gets it after a twentieth of its frames, so that writing them all grows with the shoot and not with its square.
const bookmarkEvery = 500

// bookmarkIfDue writes a bookmark beside the shoot. The caller holds mu.
func (s *Shoot) bookmarkIfDue() {
	n := s.state.FrameCount
	if n-s.bookmarked < max(cmp.Or(s.c.Bookmark, bookmarkEvery), n/20) || s.unmarkable || s.closed || s.trail.Err() != nil {
		return
	}
	s.bookmarked = n
	h, b, err := s.mark()
	if err != nil {
		s.unmarkable = true
		s.c.Log.Warn().Err(err).Msg("no bookmark is written")
		return
	}
	s.beside.Go(func() {
		s.bookmarking.Lock() // one at a time; a later one is the newer
		defer s.bookmarking.Unlock()
		err := s.trail.Sync()
		if err == nil {
			err = s.writeBookmark(h, b)
		}
		if err != nil && !errors.Is(err, trail.ErrClosed) {
			s.c.Log.Warn().Str("why", sentence(err)).Msg("a bookmark could not be written; the shoot opens without it, only slower")
		}
	})
}

// lastBookmark is written when a shoot is closed. The caller holds mu.
func (s *Shoot) lastBookmark() {
	h, b, err := s.mark()
	if err == nil {
		err = s.trail.Sync()
	}
	if err == nil {
		err = s.writeBookmark(h, b)
	}
	if err != nil {
		s.c.Log.Warn().Str("why", sentence(err)).Msg("the bookmark could not be written; the shoot opens without it, only slower")
	}
}

// restore sets everything as it was at the bookmark.
func (s *Shoot) restore(h *bookHead, b *bookBody) {
	s.state, s.stateAt, s.clients, s.revision, s.content = b.State, b.StateAt, b.Clients, b.Revision, b.Content
	s.owed, s.planFile, s.planAt, s.contents, s.nameless, s.events = b.Owed, b.PlanFile, b.PlanAt, h.Contents, b.Nameless, b.Events
	s.bookmarked = b.State.FrameCount
	if s.clients == nil {
		s.clients = map[string]Receipt{}
	}
	s.effective, s.marks, s.numbers = make(map[string][32]byte, len(b.Files)), make(map[string]fileMark, len(b.Files)), make(map[string]int, len(b.Files))
	for _, f := range b.Files {
		s.effective[f.Rel] = f.Hash
		if f.Mark != nil {
			s.marks[f.Rel] = *f.Mark
		}
		s.numbers[stem(f.Rel)] = f.Number
	}
	for _, f := range b.Broken {
		s.told[f.Rel] = f.Hash
	}
	for _, c := range b.Nameless {
		s.orphans[c] = true
	}
	s.refs = make(map[string]trail.Ref, len(b.Refs))
	for _, r := range b.Refs {
		s.refs[r.ID] = r
	}
}

// checkedFirst is the length of a trail, in bytes, up to which all of it is checked before it is opened (some
// thousand frames, a few tenths of a second). Of a longer one the records before the bookmark are checked beside the shoot.
const checkedFirst = 64 << 20

// checkFirst tells that nothing speaks against a bookmark; damage that it finds is then named by opening the trail whole.
func checkFirst(dir string, p trail.Place) bool {
	return p.End > checkedFirst || trail.CheckTo(context.Background(), dir, p, 0) == nil
}

// checkPace is how fast the records before a bookmark are read beside a shoot, in bytes a second: a gigabyte
// takes half a minute, and a fifth of one core.
const checkPace = 40 << 20

// checkBefore checks, beside the shoot, the records that opening it trusted the bookmark for. Damage
// becomes a trouble, and the bookmark goes, so that the next start does not pass over it.
func (s *Shoot) checkBefore(ctx context.Context, p trail.Place) {
	err := trail.CheckTo(ctx, s.trail.Dir(), p, checkPace)
	if err == nil || ctx.Err() != nil {
		return
	}
	s.bookmarking.Lock()
	if err := os.Remove(filepath.Join(s.trail.Dir(), bookmarkName)); err != nil {
		s.c.Log.Warn().Str("why", sentence(err)).Msg("the bookmark can't be deleted")
	}
	s.bookmarking.Unlock()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.unmarkable = true
	s.troubles["record"] = Trouble{"record", fmt.Sprintf("The record of this shoot is damaged: %v.", err)}
	s.c.Log.Error().Msg("the trail is damaged before its bookmark")
	s.show()
}
