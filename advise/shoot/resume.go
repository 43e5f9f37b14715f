package shoot

import (
	"crypto/sha256"
	"path/filepath"
	"strings"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/trail"
)

// resume applies everything that was recorded since the bookmark, else all of it, and brings what a crash left undone up to date.
func (s *Shoot) resume(dir string, start *Start) error {
	var t *trail.Trail
	p := player{}
	if head, body := readBookmark(dir, s.c.Version, true); head != nil && checkFirst(dir, head.Place) {
		opened, repairs, err := trail.OpenFrom(dir, s.options(), head.Place)
		start.Repairs = repairs
		if err == nil {
			s.restore(head, body)
			t, p.state, start.Trusted = opened, body.State, head.Place
		}
	}
	if t == nil {
		opened, repairs, err := trail.Open(dir, s.options())
		if err != nil {
			return err
		}
		t, start.Repairs = opened, append(start.Repairs, repairs...)
	}
	s.trail, s.id, s.began = t, filepath.Base(dir), t.Header().At
	var open *inputBody // the newest input, while what came of it is not in the log
	var openSeq uint64
	var openAt time.Time
	// The log says what was recorded, not what today's rules would say, so that its numbers stay.
	enter := func(out []advise.Output) {
		if open == nil {
			return
		}
		s.log(*open, openAt, out)
		if open.Client != "" {
			s.clients[open.Client] = Receipt{State: s.state.Seq, Event: s.lastEvent(), At: openAt}
		}
		open = nil
	}
	for r, err := range t.After(start.Trusted.Head.Seq) {
		if err != nil {
			return err
		}
		in, err := p.play(r)
		switch {
		case err != nil:
			return err
		case in != nil:
			enter(nil)
			open, openSeq, openAt = in, r.Seq, r.At
			s.state, s.stateAt = p.state, r.At
			s.remember(*in)
		case r.Kind == outputKind && p.of == openSeq:
			out, err := p.recordedOutputs()
			if err != nil {
				return err
			}
			enter(out)
		}
	}
	start.Differs = p.differs
	if p.open != 0 { // killed between an input and its outputs
		if _, err := t.AppendUnsynced(outputKind, bodyVersion, advise.Rules, s.now(), outputBody{Of: p.open, Outputs: p.outputs}); err != nil {
			return err
		}
		enter(p.outputs)
	}
	enter(nil)
	return nil
}

// planFileClient begins the ids of requests that hand over a plan out of a file.
const planFileClient = "plan-file/"

// remember takes from an input what is needed to tell files, texts and repeats apart. Its
// state is in force.
func (s *Shoot) remember(b inputBody) {
	s.refsMu.Lock()
	for _, r := range b.Kept {
		s.refs[r.ID] = r
	}
	s.refsMu.Unlock()
	if b.Input.Reference != nil || b.Input.Marked != nil {
		s.owed = true
	}
	if b.Input.Plan != nil {
		s.planAt = s.state.Seq
	}
	if p := b.Input.Plan; p != nil && strings.HasPrefix(b.Client, planFileClient) {
		s.planFile = &p.Text
	}
	if x := b.Input.Broken; x != nil {
		s.rememberBroken(*x)
	}
	f := b.Input.Frame
	if f == nil || f.Number < 1 {
		return
	}
	if f.Number >= s.state.FrameCount {
		s.owed = false
	}
	s.contentMu.Lock()
	defer s.contentMu.Unlock()
	for len(s.revision) < f.Number {
		s.revision, s.content = append(s.revision, 0), append(s.content, 0)
	}
	s.revision[f.Number-1] = max(s.revision[f.Number-1], f.Revision)
	h, ok := parseHash(f.Hash)
	if !ok {
		return // measured again, not a file
	}
	s.contents = append(s.contents, h)
	if f.Reading != nil && s.stands(*f) {
		s.content[f.Number-1] = f.Revision
	}
	rel := s.text(f.File)
	if rel == "" {
		s.orphans[h] = true
		s.nameless = append(s.nameless, h)
		return
	}
	s.effective[rel] = h
	if b.File != nil {
		s.marks[rel] = *b.File
	}
	s.numbers[stem(rel)] = f.Number
}

// emptyHash is the content of every file without one.
var emptyHash = sha256.Sum256(nil)

// rememberBroken keeps a broken file from being told of again, after a restart and in a later shoot.
func (s *Shoot) rememberBroken(b advise.Broken) {
	h, ok := parseHash(b.Hash)
	if !ok {
		return
	}
	if h != emptyHash { // which says nothing about which file it was
		s.contents = append(s.contents, h)
	}
	if rel := s.text(b.File); rel != "" {
		s.told[rel] = h
	} else if h != emptyHash {
		s.contentMu.Lock()
		s.orphans[h] = true
		s.contentMu.Unlock()
		s.nameless = append(s.nameless, h)
	}
}
