package shoot

import (
	"strings"
	"testing"

	"thirdstop/advise"
)

// sitters lists who was seated so far, by the shoot log.
func sitters(t *testing.T, s *Shoot) string {
	t.Helper()
	events, err := s.Events(0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, e := range events {
		if e.Kind == "sitter" {
			out = append(out, e.Words)
		}
	}
	return strings.Join(out, ", ")
}

func TestAnotherSubFolderIsAnotherSitter(t *testing.T) {
	b := newBench(t)
	s := b.open()
	b.submit(s, withPlan(Request{}))
	b.take(s, "loose_1.JPG", dark)
	if got := sitters(t, s); got != "" {
		t.Errorf("a file in the capture folder itself seats %q", got)
	}
	b.take(s, "committee/stroke/Q_1.JPG", dark)
	b.submit(s, Request{Reference: &advise.Reference{Frame: 2, Box: &card}})
	b.take(s, "committee/stroke/Q_2.JPG", dark)
	b.take(s, "committee/cox/Q_3.JPG", good)
	if got := sitters(t, s); got != "stroke, cox" {
		t.Errorf("seated are %q", got)
	}
	if st := s.Snapshot().State; s.Words(st.Sitter) != "cox" || st.Reference != nil {
		t.Errorf("sits %q, and the reference of the sitter before still stands: %v", s.Words(st.Sitter), st.Reference)
	}
	b.take(s, "committee/stroke/Q_2.JPG", good) // rewritten: an old frame, not a new sitter
	b.take(s, "committee/stroke/Q_2.CR3", good)
	b.close(s)
	s = b.open()
	b.take(s, "committee/cox/Q_4.JPG", good)
	if got := sitters(t, s); got != "stroke, cox" {
		t.Errorf("after a restart seated are %q", got)
	}
	name := "bow"
	b.submit(s, Request{Sitter: &name})
	b.take(s, "committee/bow/Q_5.JPG", good)
	if got := sitters(t, s); got != "stroke, cox, bow" {
		t.Errorf("one that was named on the page already was seated twice: %q", got)
	}
	if r, err := Replay(b.trailOf(s)); err != nil || len(r.Differs) != 0 {
		t.Errorf("Replay: %d differences, %v", len(r.Differs), err)
	}
}

func TestFoldersOfACardAreNoSitters(t *testing.T) {
	b := newBench(t)
	s := b.open()
	b.take(s, "DCIM/100QUAY_/Q_9999.JPG", dark)
	b.take(s, "DCIM/101QUAY_/Q_0001.JPG", dark)
	if got := sitters(t, s); got != "" {
		t.Errorf("seated are %q", got)
	}
}

func TestASitterByFolderGoesWithTheNamesOfFiles(t *testing.T) {
	b := newBench(t)
	s := b.open()
	b.take(s, "stroke/Q_1.JPG", dark)
	b.close(s)
	if _, err := Erase(b.trailOf(s), Personal{Files: true}); err != nil {
		t.Fatal(err)
	}
	s = b.open()
	if got := s.Words(s.Snapshot().State.Sitter); got != "" {
		t.Errorf("the folder's name lives on as the sitter's: %q", got)
	}
	b.take(s, "stroke/Q_2.JPG", dark)
	if got := sitters(t, s); got != "" {
		t.Errorf("after erasing nobody can tell whether it is another folder, and seated are %q", got)
	}
}
