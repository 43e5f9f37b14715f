package shoot

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"path/filepath"
	"runtime/debug"
	"strings"
	"time"
	"unicode/utf8"

	"thirdstop/advise"
	"thirdstop/advise/trail"
	"thirdstop/assess"
	"thirdstop/assess/legible"
	"thirdstop/watcher"
)

// stem is what the files of one frame share: the folder and the name without
// its extension. Cameras write names in either case.
func stem(rel string) string {
	name := strings.TrimSuffix(rel, path.Ext(rel))
	if !utf8.ValidString(name) { // ToLower would make one of all bytes that are no UTF-8
		return name
	}
	return strings.ToLower(name)
}

// Known says that this content already took effect under this name.
func (s *Shoot) Known(rel string, hash [32]byte) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	known := s.known(rel, hash)
	if _, ok := s.troubles[troubleWith(rel)]; ok && known { // it won't be delivered, so its trouble ends here
		delete(s.troubles, troubleWith(rel))
		s.show()
	}
	return known
}

// Unread says of a file that was there before the start that it took effect as
// it stands, by its size and time alone: after a restart gigabytes needn't be read before the next frame.
func (s *Shoot) Unread(rel string, size int64, modified time.Time) bool {
	s.contentMu.RLock()
	defer s.contentMu.RUnlock()
	m, ok := s.marks[rel]
	return ok && m.Size == size && m.Modified.Equal(modified)
}

func (s *Shoot) known(rel string, hash [32]byte) bool {
	s.contentMu.RLock()
	defer s.contentMu.RUnlock()
	h, ok := s.effective[rel]
	return ok && h == hash || s.orphans[hash]
}

// unrecorded is a frame that was measured and could not be stored.
type unrecorded struct {
	written time.Time // several may come again in turn, and the newest is shown
	frame   advise.FrameState
}

// Complete takes a finished file in: it is measured, recorded and shown when
// this returns. An error means that it was not recorded and must come again.
func (s *Shoot) Complete(_ context.Context, v watcher.Version) error {
	hints, wanted, err := s.begun(v)
	if !wanted {
		return err
	}
	began := time.Now()
	s.pics.measuring(true)
	defer s.pics.measuring(false)
	data, err := contents(v)
	if err != nil { // it went away or changed since; the watcher sees that, too
		s.mu.Lock()
		defer s.mu.Unlock()
		s.measuring--
		s.show()
		return fmt.Errorf("a finished file can't be read again: %s", sentence(err, v.Path, v.Rel)) // the watcher logs it
	}
	s.previewed(v, data, hints)
	r, m, merr := s.measure(path.Base(v.Rel), data, hints)
	took := time.Since(began)

	s.mu.Lock()
	defer s.mu.Unlock()
	defer s.show()
	s.measuring--
	s.preview = nil                    // a full reading is never followed by a provisional one
	if s.state.Phase == advise.Ended { // while it was measured
		release(m)
		s.afterEnd()
		return nil
	}
	err = s.newFolder(v)
	if now := s.hints(0); m != nil && (!samePlaces(hints, now) || s.outOfDate(r, m)) { // shown, lapsed or learned while it was measured
		r = m.Again(now)
	}
	f, kept, placed := s.place(v)
	if err == nil {
		err = placed
	}
	f.Reading = r
	if merr != nil {
		f.Reading, f.Damaged = nil, sentence(merr, v.Rel, path.Base(v.Rel))
	}
	if err == nil && r != nil {
		f.Sight = s.sight(f.Number, m)
		err = s.curveElsewhere(r, m)
	}
	known := s.state.KnownCount
	if err == nil {
		err = s.takeFrame(&f, kept, fileMark{v.Size, v.ModTime.UTC()})
	}
	if err != nil {
		release(m)
		s.missed(v, f)
		return err
	}
	s.unrecorded = nil
	s.learnWhenReady()
	s.learnByItself(m, known)
	s.bookmarkIfDue()
	s.latency = 0
	if !v.Existing && !v.Written.IsZero() {
		s.latency = s.c.Now().Sub(v.Written)
	}
	if m != nil && s.stands(f) {
		s.pics.put(version{f.Number, f.Revision}, m) // before the page can ask for it
	} else {
		release(m)
	}
	s.c.Log.Info().Int("frame", f.Number).Int("revision", f.Revision).Bool("damaged", f.Damaged != "").Int64("bytes", v.Size).
		Dur("measured_in", took).Dur("since_written", s.latency).Str("advice", string(s.state.Advice.Status)).Msg("frame")
	return nil
}

// begun notes that a file is being measured, and tells whether it is to be.
func (s *Shoot) begun(v watcher.Version) (h assess.Hints, wanted bool, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	defer s.show()
	delete(s.troubles, troubleWith(v.Rel))
	switch {
	case s.known(v.Rel, v.Hash):
		return h, false, nil
	case s.state.Phase == advise.Ended:
		s.afterEnd()
		return h, false, nil
	case s.unstored[v.Hash] && s.trail.Err() != nil:
		return h, false, notRecorded{s.trail.Err()} // measured and shown already; it comes again and again
	}
	s.measuring++
	return s.hints(0), true, nil
}

// afterEnd says why a file is left alone. The next shoot takes it.
func (s *Shoot) afterEnd() {
	s.troubles["ended"] = Trouble{"ended", "The shoot has ended, and files still arrive. Start thirdstop again to measure them in a new shoot."}
}

// takeFrame records a frame. One whose reading can't be written down is recorded as
// damaged, for it would come again for ever.
func (s *Shoot) takeFrame(f *advise.Frame, kept []trail.Ref, mark fileMark) error {
	_, err := s.take(inputBody{Input: advise.Input{Frame: f}, Kept: kept, File: &mark})
	if err != nil && s.trail.Err() == nil && f.Reading != nil {
		s.c.Log.Error().Int("frame", f.Number).Str("why", sentence(err)).Msg("a reading can't be recorded")
		f.Reading, f.Damaged = nil, "its reading can't be written down; please report this"
		_, err = s.take(inputBody{Input: advise.Input{Frame: f}, Kept: kept, File: &mark})
	}
	return err
}

// missed shows what was measured of a frame that was not recorded. The state stays as it is.
func (s *Shoot) missed(v watcher.Version, f advise.Frame) {
	s.unstored[v.Hash] = true
	if u := s.unrecorded; u != nil && u.written.After(v.Written) {
		return
	}
	next, _ := advise.Apply(s.state, advise.Input{At: s.now(), Frame: &f})
	for _, x := range next.Frames {
		if x.Number == f.Number {
			s.unrecorded = &unrecorded{v.Written, x}
		}
	}
	s.c.Log.Warn().Int("frame", f.Number).Msg("frame not recorded")
}

// stands tells whether a revision is what the state shows of its frame.
func (s *Shoot) stands(f advise.Frame) bool {
	for i := len(s.state.Frames) - 1; i >= 0; i-- {
		if x := s.state.Frames[i]; x.Number == f.Number {
			return x.Revision == f.Revision
		}
	}
	return false
}

func release(m Measured) {
	if m != nil {
		m.Release()
	}
}

// samePlaces tells whether two hints show the same parts of a frame.
func samePlaces(a, b assess.Hints) bool {
	return sameBox(a.WhiteReference, b.WhiteReference) && sameBox(a.Backdrop, b.Backdrop) && sameBox(a.Face, b.Face) &&
		sameBox(a.Witness, b.Witness) && a.Empty == b.Empty
}

func sameBox(a, b *assess.Box) bool {
	return a == b || a != nil && b != nil && *a == *b
}

// errFault is what a file gets whose bytes brought the measuring down.
var errFault = errors.New("measuring it failed inside thirdstop; please report this")

// measure keeps a picture that brings the measuring down from bringing the daemon down
// again at every start.
func (s *Shoot) measure(name string, data []byte, h assess.Hints) (r *assess.Reading, m Measured, err error) {
	defer func() {
		if p := recover(); p != nil {
			s.c.Log.Error().Interface("panic", p).Bytes("stack", debug.Stack()).Msg("measuring failed")
			r, m, err = nil, nil, errFault
		}
	}()
	return s.c.Measurer.Measure(name, data, h)
}

// contents are the bytes whose hash was taken.
func contents(v watcher.Version) ([]byte, error) {
	if v.Data != nil {
		return v.Data, nil
	}
	return readFile(v.Path, v.Hash)
}

// errChanged says that a file is no longer what it was.
var errChanged = errors.New("it was changed meanwhile")

// readFile reads a file whose content is known by its hash.
func readFile(name string, hash [32]byte) ([]byte, error) {
	f, err := watcher.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(f)
	if err != nil {
		return nil, err
	}
	if sha256.Sum256(data) != hash {
		return nil, errChanged
	}
	return data, nil
}

// place gives a file its frame number and revision, and its name to the side file.
func (s *Shoot) place(v watcher.Version) (advise.Frame, []trail.Ref, error) {
	f := advise.Frame{Number: s.numbers[stem(v.Rel)], Revision: 1, Hash: hex.EncodeToString(v.Hash[:])}
	if f.Number == 0 {
		f.Number = len(s.revision) + 1
	} else {
		f.Revision = s.revision[f.Number-1] + 1
	}
	ref, err := s.keep(v.Rel)
	if err != nil {
		return f, nil, err
	}
	f.File = ref.ID
	kept := []trail.Ref{ref}
	if dir := path.Dir(v.Rel); dir != "." {
		ref, err := s.keep(dir)
		if err != nil {
			return f, nil, err
		}
		f.Folder = ref.ID
		kept = append(kept, ref)
	}
	return f, kept, nil
}

// keep puts a text into the side file.
func (s *Shoot) keep(text string) (trail.Ref, error) {
	ref, err := s.trail.Keep(text)
	if err != nil {
		s.notRecording(err)
		return ref, notRecorded{err}
	}
	return ref, nil
}

// sentence is what trail and log are told of an error: without the names of files, which
// belong into the side file.
func sentence(err error, names ...string) string {
	text := err.Error()
	if named, ok := errors.AsType[interface {
		error
		Sentence() string
	}](err); ok {
		text = named.Sentence()
	} else if pe, ok := errors.AsType[*fs.PathError](err); ok {
		text = pe.Err.Error()
	}
	for _, n := range names {
		text = strings.ReplaceAll(text, n, "the file")
	}
	return strings.ToValidUTF8(text, "\uFFFD") // so that the record has one spelling
}

// troubleWith is the key of the trouble with a file or folder.
func troubleWith(rel string) string { return "file/" + rel }

// Trouble takes what stands between a file and its delivery, and its end. What is broken of a file also
// becomes a line of the shoot log, once for each content; an error means that it could not be recorded and must come again.
func (s *Shoot) Trouble(_ context.Context, p watcher.Problem) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	key := p.Kind.String()
	if p.Rel != "" {
		key = troubleWith(p.Rel)
	}
	switch p.Kind {
	case watcher.FolderBack, watcher.FolderReplaced:
		delete(s.troubles, watcher.FolderGone.String())
	case watcher.EventsBack:
		delete(s.troubles, watcher.Polling.String())
	case watcher.Vanished, watcher.Readable:
		delete(s.troubles, key)
	case watcher.EventsLost: // the folder was read again, nothing is lost
	default:
		text := p.Kind.String()
		if p.Err != nil {
			text = p.Err.Error()
		}
		s.troubles[key] = Trouble{Code: p.Kind.String(), Text: legible.Line(text)}
	}
	s.c.Log.Warn().Str("kind", p.Kind.String()).Msg("watching")
	defer s.show()
	return s.broken(p)
}

// broken records a content of a file that is not whole, or damaged. The caller holds mu, and shows it.
func (s *Shoot) broken(p watcher.Problem) error {
	if p.Hash == ([32]byte{}) || s.state.Phase == advise.Ended || s.told[p.Rel] == p.Hash || s.orphans[p.Hash] {
		return nil
	}
	why := fmt.Sprintf("it is damaged (%d bytes)", p.Size)
	switch {
	case p.Size == 0:
		why = "it is empty"
	case p.Kind == watcher.Incomplete:
		why = fmt.Sprintf("it ends too early (%d bytes), and nothing more came", p.Size)
	}
	ref, err := s.keep(p.Rel)
	if err != nil {
		return err
	}
	b := &advise.Broken{File: ref.ID, Hash: hex.EncodeToString(p.Hash[:]), Frame: s.numbers[stem(p.Rel)], Why: why + "; send it again from the camera"}
	_, err = s.take(inputBody{Input: advise.Input{Broken: b}, Kept: []trail.Ref{ref}})
	return err
}

// again measures the newest frame once more, after what is known of it changed. Where
// that is not possible the next frame will show it. The caller shows the result, and holds mu.
func (s *Shoot) again(client string) error {
	n := len(s.state.Frames)
	if n == 0 || s.state.Frames[n-1].Reading == nil {
		return nil
	}
	last := s.state.Frames[n-1]
	h := s.hints(last.Number)
	var r *assess.Reading
	if m := s.pics.measured(last.Number, last.Revision); m != nil {
		r = m.Again(h)
	} else if name, data, err := s.file(last); err == nil { // after a restart
		var m Measured
		if r, m, err = s.measure(name, data, h); err != nil {
			return nil
		}
		release(m)
	}
	if r == nil {
		return nil
	}
	f := advise.Frame{Number: last.Number, Revision: s.revision[last.Number-1] + 1, File: last.File, Folder: last.Folder, Reading: r}
	if _, err := s.take(inputBody{Input: advise.Input{Frame: &f}, Client: client}); err != nil {
		return err
	}
	s.pics.again(last.Number, last.Revision, f.Revision)
	return nil
}

// file reads the file of a frame again, as it was when it took effect.
func (s *Shoot) file(f advise.FrameState) (name string, data []byte, err error) {
	rel := s.text(f.File)
	s.contentMu.RLock()
	hash, ok := s.effective[rel]
	s.contentMu.RUnlock()
	if !ok {
		return "", nil, trail.ErrErased
	}
	data, err = readFile(filepath.Join(s.c.Folder, filepath.FromSlash(rel)), hash)
	return path.Base(rel), data, err
}
