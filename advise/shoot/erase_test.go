package shoot

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/trail"
)

func TestWhatIsErasedIsGoneAndTheChainStaysWhole(t *testing.T) {
	b := newBench(t)
	s := b.open()
	b.take(s, "commodore/Q_0001.JPG", dark)
	note, sitter := "mind the commodore's spectacles", "the commodore"
	b.submit(s, Request{Client: "n", Note: &note})
	b.submit(s, Request{Client: "s", By: advise.Actor{Device: "local"}, Sitter: &sitter})
	dir := b.trailOf(s)
	b.close(s)

	side := filepath.Join(dir, "names.jsonl")
	holds := func(text string) bool {
		all, err := os.ReadFile(side)
		if err != nil {
			t.Fatal(err)
		}
		return bytes.Contains(all, []byte(text))
	}
	for _, step := range []struct {
		what        Personal
		texts       int
		gone, there []string
	}{
		{Personal{Notes: true}, 1, []string{note}, []string{sitter, "Q_0001"}},
		{Personal{Sitters: true, Notes: true}, 3, []string{note, "the commodore"}, []string{"Q_0001"}}, // those erased before are passed over
		{Personal{Files: true, Pictures: true}, 3, []string{"Q_0001", "commodore"}, nil},
	} {
		n, err := Erase(dir, step.what)
		if err != nil || n != step.texts {
			t.Errorf("Erase(%+v) = %d, %v, want %d texts", step.what, n, err, step.texts)
		}
		for _, text := range step.gone {
			if holds(text) {
				t.Errorf("after Erase(%+v) the side file still holds %q", step.what, text)
			}
		}
		for _, text := range step.there {
			if !holds(text) {
				t.Errorf("after Erase(%+v) the side file lacks %q", step.what, text)
			}
		}
		if _, err := trail.Verify(dir, ""); err != nil {
			t.Errorf("after Erase(%+v) the trail does not verify: %v", step.what, err)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, picturesDir)); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the pictures are still there: %v", err)
	}
	if r, err := Replay(dir); err != nil || len(r.Differs) > 0 {
		t.Errorf("replay after erasing = %+v, %v", r, err)
	}
}

// A restart need not read files that took effect and did not change since.
func TestUnreadKnowsFilesBySizeAndTime(t *testing.T) {
	b := newBench(t)
	s := b.open()
	v := b.file("Q_0001.JPG", good)
	v.ModTime = time.Date(2026, 5, 9, 10, 0, 0, 123456789, time.UTC)
	if err := s.Complete(t.Context(), v); err != nil {
		t.Fatal(err)
	}
	b.close(s)
	s = b.open()
	for _, tc := range []struct {
		rel  string
		size int64
		at   time.Time
		want bool
	}{
		{"Q_0001.JPG", v.Size, v.ModTime, true},
		{"Q_0001.JPG", v.Size, v.ModTime.In(time.FixedZone("", 3600)), true},
		{"Q_0001.JPG", v.Size + 1, v.ModTime, false},
		{"Q_0001.JPG", v.Size, v.ModTime.Add(1), false},
		{"Q_0002.JPG", v.Size, v.ModTime, false},
	} {
		if got := s.Unread(tc.rel, tc.size, tc.at); got != tc.want {
			t.Errorf("Unread(%s, %d, %v) = %v, want %v", tc.rel, tc.size, tc.at, got, tc.want)
		}
	}
}
