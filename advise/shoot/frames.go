package shoot

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/trail"
	"thirdstop/assess"
	"thirdstop/watcher"
)

// stem is what the files of one frame share: the folder and the name without
// its extension. Cameras write names in either case.
func stem(rel string) string {
	return strings.ToLower(strings.TrimSuffix(rel, path.Ext(rel)))
}

// Known says that this content already took effect under this name.
func (s *Shoot) Known(rel string, hash [32]byte) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.known(rel, hash)
}

func (s *Shoot) known(rel string, hash [32]byte) bool {
	h, ok := s.effective[rel]
	return ok && h == hash || s.orphans[hash]
}

// Complete takes a finished file in: it is measured, recorded and shown when
// this returns. An error means that it was not recorded and must come again.
func (s *Shoot) Complete(ctx context.Context, v watcher.Version) error {
	s.mu.Lock()
	delete(s.troubles, v.Rel)
	if s.known(v.Rel, v.Hash) {
		s.mu.Unlock()
		return nil
	}
	if s.state.Phase == advise.Ended {
		s.troubles["ended"] = Trouble{"ended", "The shoot has ended, and files still arrive. Start thirdstop again to measure them in a new shoot."}
		s.show()
		s.mu.Unlock()
		return nil
	}
	h := assess.Hints{WhiteReference: s.state.Reference}
	s.measuring++
	s.show()
	s.mu.Unlock()

	began := time.Now()
	r, m, err := s.measure(v, h)
	took := time.Since(began)

	s.mu.Lock()
	defer s.mu.Unlock()
	s.measuring--
	f, kept, kerr := s.place(v)
	if kerr != nil {
		s.show()
		return kerr
	}
	if err != nil {
		f.Damaged = sentence(err)
	}
	f.Reading = r
	if _, err := s.step(inputBody{Input: advise.Input{Frame: &f}, Kept: kept}); err != nil {
		return err
	}
	s.latency = s.c.Now().Sub(v.Written)
	s.show()
	if m != nil {
		s.pics.put(f.Number, f.Revision, m)
	}
	s.c.Log.Info().Int("frame", f.Number).Int("revision", f.Revision).Bool("damaged", f.Damaged != "").Int64("bytes", v.Size).
		Dur("measured_in", took).Dur("since_written", s.latency).Str("advice", string(s.state.Advice.Status)).Msg("frame")
	return nil
}

func (s *Shoot) measure(v watcher.Version, h assess.Hints) (*assess.Reading, Measured, error) {
	data := v.Data
	if data == nil {
		var err error
		if data, err = readFile(v.Path); err != nil {
			return nil, nil, fmt.Errorf("it can't be read again: %w", err)
		}
	}
	return s.c.Measurer.Measure(path.Base(v.Rel), data, h)
}

func readFile(name string) ([]byte, error) {
	f, err := watcher.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return nil, err
	}
	data := make([]byte, st.Size())
	n, err := f.ReadAt(data, 0)
	if n == len(data) {
		err = nil
	}
	return data, err
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
		if errors.Is(err, trail.ErrPoisoned) {
			s.recording = err.Error()
			s.show()
		}
		return ref, fmt.Errorf("%w: %w", ErrNotRecorded, err)
	}
	return ref, nil
}

// sentence is what the trail keeps of why a file could not be measured. It holds
// no file name: names belong into the side file.
func sentence(err error) string {
	var named interface{ Sentence() string }
	if errors.As(err, &named) {
		return named.Sentence()
	}
	var pe *os.PathError
	if errors.As(err, &pe) {
		return pe.Err.Error()
	}
	return err.Error()
}

// Trouble takes what stands between a file and its delivery, and its end.
func (s *Shoot) Trouble(_ context.Context, p watcher.Problem) {
	s.mu.Lock()
	defer s.mu.Unlock()
	key := p.Rel
	if key == "" {
		key = p.Kind.String()
	}
	switch p.Kind {
	case watcher.FolderBack, watcher.FolderReplaced:
		delete(s.troubles, watcher.FolderGone.String())
	case watcher.EventsBack:
		delete(s.troubles, watcher.Polling.String())
	case watcher.Vanished:
		delete(s.troubles, key)
	case watcher.EventsLost: // the folder was read again, nothing is lost
	default:
		text := p.Kind.String()
		if p.Err != nil {
			text = p.Err.Error()
		}
		s.troubles[key] = Trouble{Code: p.Kind.String(), Text: text}
	}
	s.c.Log.Warn().Str("kind", p.Kind.String()).Msg("watching")
	s.show()
}

// again measures the newest frame once more, after what is known of it changed. The caller holds mu.
func (s *Shoot) again() error {
	n := len(s.state.Frames)
	if n == 0 || s.state.Frames[n-1].Reading == nil {
		return nil
	}
	last := s.state.Frames[n-1]
	h := assess.Hints{WhiteReference: s.state.Reference}
	var r *assess.Reading
	if m := s.pics.measured(last.Number); m != nil {
		r = m.Again(h)
	} else if rel := s.words(last.File); rel != "" { // after a restart
		data, err := readFile(filepath.Join(s.c.Folder, filepath.FromSlash(rel)))
		if err != nil {
			return nil // the next frame will show it
		}
		var m Measured
		if r, m, err = s.c.Measurer.Measure(path.Base(rel), data, h); err != nil {
			return nil
		}
		m.Release()
	}
	if r == nil {
		return nil
	}
	rev := s.revision[last.Number-1] + 1
	f := advise.Frame{Number: last.Number, Revision: rev, File: last.File, Folder: last.Folder, Reading: r}
	if _, err := s.step(inputBody{Input: advise.Input{Frame: &f}}); err != nil {
		return err
	}
	s.pics.again(last.Number, rev)
	return nil
}
