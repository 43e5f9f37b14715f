package shoot

import (
	"context"
	"errors"
	"runtime"
	"strings"
	"testing"

	"thirdstop/watcher"
)

// A name may hold anything a file system takes. It is kept to the byte, found again by it, and
// shown without what a page or a terminal would obey.
func TestStrangeFileNamesAreKeptAsTheyAreAndShownSafely(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("not on Windows: it takes no such names")
	}
	b := newBench(t)
	s := b.open()
	for i, c := range []struct{ name, shown string }{
		{"bow\u202Egpj.JPG", "bowgpj.JPG"},
		{"a\x1b[2J.JPG", "a\uFFFD[2J.JPG"},
		{"two\nlines.JPG", "two\uFFFDlines.JPG"},
		{"Ren\xe9.JPG", "Ren\uFFFD.JPG"},
		{"Ren\xe8.JPG", "Ren\uFFFD.JPG"},
	} {
		b.take(s, c.name, dark)
		f := s.Snapshot().State.Frames[i]
		if f.Number != i+1 {
			t.Fatalf("%+q is frame %d, want one of its own", c.name, f.Number)
		}
		if got := s.Words(f.File); got != c.shown {
			t.Errorf("%+q is shown as %+q, want %+q", c.name, got, c.shown)
		}
		if name, _, err := s.file(f); err != nil || name != c.name {
			t.Errorf("the file of %+q is looked for as %+q: %v", c.name, name, err)
		}
		if list, _ := s.Events(s.Snapshot().LastEvent-1, 1); len(list) != 1 || list[0].Words != c.shown {
			t.Errorf("%+q in the shoot log: %+v", c.name, list)
		}
	}
	b.close(s)
	s = b.open()
	b.take(s, "Ren\xe9.JPG", good)
	if got := frames(s); got != "1.1 2.1 3.1 4.2 5.1" {
		t.Errorf("after a restart and one file written again: %s, want a second revision of 4 alone", got)
	}
	s.Trouble(context.Background(), watcher.Problem{Rel: "x\u202Ey.jpg", Kind: watcher.Damaged, Err: errors.New("x\u202Ey\a.jpg: is damaged")})
	if list := s.Snapshot().Troubles; len(list) != 1 || list[0].Text != "xy\uFFFD.jpg: is damaged" {
		t.Errorf("a trouble is shown as %+q", list)
	}
}

func TestTextsOfPeopleAreKeptAsWrittenOrRefusedInASentence(t *testing.T) {
	b := newBench(t)
	s := b.open()
	for _, c := range []struct {
		r    Request
		says string
	}{
		{Request{Note: new("a\x00b")}, "U+0000"},
		{Request{Note: new("a\x1b]0;b")}, "U+001B"},
		{Request{Note: new("Ren\xe9")}, "UTF-8"},
		{Request{Sitter: new("bow\nstroke")}, "U+000A"},
		{Request{Sitter: new("bow\x7f")}, "U+007F"},
	} {
		if _, err := s.Submit(context.Background(), c.r); !errors.Is(err, ErrRefused) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("Submit(%+v) = %v, want it refused with %s", c.r, err, c.says)
		}
	}
	b.submit(s, Request{Note: new("first\n\tsecond \u202Eline")})
	list, _ := s.Events(s.Snapshot().LastEvent-1, 1)
	if got := list[0].Words; got != "first\n\tsecond line" {
		t.Errorf("a note of two lines is shown as %+q", got)
	}
	if got := s.text(list[0].Ref); got != "first\n\tsecond \u202Eline" {
		t.Errorf("it is kept as %+q, want every character of it", got)
	}
	b.submit(s, Request{Sitter: new("\u202AŽofie\u202C")}) // as a telephone's list of names gives it
	if st := s.Snapshot().State; s.Words(st.Sitter) != "Žofie" || s.text(st.Sitter) != "\u202AŽofie\u202C" {
		t.Errorf("a pasted name is shown as %+q and kept as %+q", s.Words(st.Sitter), s.text(st.Sitter))
	}
}
