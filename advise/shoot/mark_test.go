package shoot

import (
	"testing"

	"thirdstop/advise"
	"thirdstop/assess"
)

// What a person shows is in the hints of the newest frame, which is measured again, and of the next ones; also after a
// restart.
func TestWhatAPersonShowsIsLookedForNoMore(t *testing.T) {
	b := newBench(t)
	s := b.open()
	b.submit(s, withPlan(Request{}))
	b.take(s, "Q_0001.JPG", dark)
	box, strip := assess.Box{X1: 1, Y1: 0.5}, assess.Box{X0: 0.95, X1: 1, Y1: 1}
	for i, m := range []advise.Marked{
		{Frame: 1, Part: advise.BackdropPart, Box: &box}, {Frame: 1, Part: advise.FacePart, Box: &box},
		{Frame: 1, Part: advise.WitnessPart, Box: &strip}, {Frame: 1, Part: advise.EmptyPart},
	} {
		b.submit(s, Request{Client: string(m.Part), Marked: &m})
		if r := s.Snapshot().State.Frames[0].Revision; r != i+2 {
			t.Errorf("after %s was shown the newest frame is at revision %d, want it measured again as %d", m.Part, r, i+2)
		}
	}
	look := func(when string) {
		t.Helper()
		s.mu.Lock()
		defer s.mu.Unlock()
		h := s.hints(0)
		if !sameBox(h.Backdrop, &box) || !sameBox(h.Face, &box) || !sameBox(h.Witness, &strip) || h.Empty == nil {
			t.Errorf("%s the hints of the next frame are %+v", when, h)
		}
		if s.hints(1).Empty != nil {
			t.Errorf("%s the empty frame is measured against itself", when)
		}
	}
	look("then")
	b.close(s)
	s = b.open()
	look("after a restart")
	for name, m := range map[string]advise.Marked{
		"a part that is none":         {Frame: 1, Part: "moustache", Box: &box},
		"a frame not there":           {Frame: 7, Part: advise.FacePart, Box: &box},
		"no box":                      {Frame: 1, Part: advise.FacePart},
		"a box outside":               {Frame: 1, Part: advise.FacePart, Box: &assess.Box{X0: 0.9, X1: 1.2, Y1: 1}},
		"an empty frame that is none": {Frame: 9, Part: advise.EmptyPart},
	} {
		if _, err := s.Submit(t.Context(), Request{Marked: &m}); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
	b.submit(s, Request{Client: "back", Marked: &advise.Marked{Part: advise.FacePart, Back: true}})
	if _, err := s.Submit(t.Context(), Request{Marked: &advise.Marked{Part: advise.FacePart, Back: true}}); err == nil {
		t.Error("what was taken back is taken back again")
	}
}
