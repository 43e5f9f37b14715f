package shoot

import (
	"path"
	"runtime/debug"

	"thirdstop/advise"
	"thirdstop/assess"
	"thirdstop/watcher"
)

// previewFrom is the size in bytes of a file from which on its preview is looked at:
// smaller ones are measured as fast.
const previewFrom = 2 << 20

// previewed shows what the preview inside a file tells, until the file is measured.
//
// It is a look ahead and nothing else: the advice is drawn from a copy of the state, which is
// then dropped. No record, state, number or side file knows of it, so that the
// reading that is recorded comes to the same with and without it. Only a frame that
// is new is shown so: one that was measured before has better to show.
func (s *Shoot) previewed(v watcher.Version, data []byte, h assess.Hints) {
	p, can := s.c.Measurer.(Previewer)
	if !can || v.Existing || len(data) < previewFrom {
		return
	}
	r := s.measurePreview(p, path.Base(v.Rel), data, h)
	if r == nil {
		return
	}
	r.Kind = assess.Provisional

	s.mu.Lock()
	defer s.mu.Unlock()
	if s.state.Phase == advise.Ended || s.numbers[stem(v.Rel)] != 0 || s.recording != "" || s.unrecorded != nil {
		return
	}
	number := len(s.revision) + 1
	// To the copy it is a reading like any other: the advice should be the one that the
	// full reading will give.
	as := *r
	as.Kind = assess.Approximate
	next, _ := advise.Apply(s.state, advise.Input{At: s.now(), Frame: &advise.Frame{Number: number, Revision: 1, Reading: &as}})
	n := len(next.Frames)
	if n == 0 || next.Frames[n-1].Number != number || next.Advice.Frame != number {
		return // it brings no advice of its own
	}
	f := next.Frames[n-1]
	f.Reading = r
	s.preview, s.previewOf = &Provisional{Frame: f, Advice: next.Advice}, s.state.Seq
	s.show()
}

// measurePreview keeps a preview that brings the measuring down from doing more harm than
// not being shown.
func (s *Shoot) measurePreview(p Previewer, name string, data []byte, h assess.Hints) (r *assess.Reading) {
	defer func() {
		if p := recover(); p != nil {
			s.c.Log.Error().Interface("panic", p).Bytes("stack", debug.Stack()).Msg("measuring a preview failed")
			r = nil
		}
	}()
	return p.Preview(name, data, h)
}
