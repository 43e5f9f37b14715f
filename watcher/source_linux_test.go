package watcher

import (
	"bytes"
	"encoding/binary"
	"os"
	"path/filepath"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

func TestClosingsAreReportedAndNothingElse(t *testing.T) {
	dir := t.TempDir()
	events := make(chan Event, 100)
	c, err := newClosings(func(e Event) { events <- e })
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	want := func(path string, kind EventKind) {
		t.Helper()
		select {
		case e := <-events:
			if e.Path != path || e.Kind != kind {
				t.Fatalf("got %s kind %b (%v), want %s kind %b", e.Path, e.Kind, e.Err, path, kind)
			}
		case <-time.After(deadline):
			t.Fatalf("no event for %s", path)
		}
	}
	check := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	in, out := filepath.Join(dir, "in"), filepath.Join(dir, "out")
	check(os.Mkdir(in, 0o755))
	check(os.Mkdir(out, 0o755))
	check(c.Watch(in))

	a := filepath.Join(in, "a.jpg")
	f, err := os.Create(a)
	check(err)
	_, err = f.WriteString("half")
	check(err)
	check(f.Close())
	want(a, Closed)
	r, err := Open(a) // reading it, as the watcher itself does, is no news
	check(err)
	check(r.Close())
	check(os.WriteFile(filepath.Join(out, "b.jpg"), nil, 0o644))
	check(os.Rename(filepath.Join(out, "b.jpg"), filepath.Join(in, "b.jpg")))
	want(filepath.Join(in, "b.jpg"), Closed)
	check(os.Rename(out, filepath.Join(in, "out")))
	want(filepath.Join(in, "out"), Created)

	// A watched folder that is renamed reports under its new name once that is watched, and
	// letting go of the old name doesn't end it.
	moved := filepath.Join(dir, "moved")
	check(os.Rename(in, moved))
	check(c.Watch(moved))
	c.Unwatch(in)
	check(os.WriteFile(filepath.Join(moved, "c.jpg"), nil, 0o644))
	want(filepath.Join(moved, "c.jpg"), Closed)

	check(os.RemoveAll(moved))
	want(moved, Unwatched)
	check(os.Mkdir(moved, 0o755))
	check(c.Watch(moved))
	check(os.WriteFile(filepath.Join(moved, "d.jpg"), nil, 0o644))
	want(filepath.Join(moved, "d.jpg"), Closed)

	if err := c.Watch(filepath.Join(moved, "d.jpg")); err == nil {
		t.Error("a file was accepted as a folder")
	}
	check(c.Close())
	if err := c.Watch(moved); err == nil {
		t.Error("a closed source accepted a folder")
	}
	c.Unwatch(moved)
	if len(events) > 0 {
		t.Errorf("one more event: %+v", <-events)
	}
}

func TestTheEndOfAnOldWatchLeavesTheNewOneAlone(t *testing.T) {
	c := &closings{byPath: map[string]int32{"/bow": 2}, byWD: map[int32]string{1: "/bow", 2: "/bow"}}
	b := binary.NativeEndian.AppendUint32(nil, 1)
	b = binary.NativeEndian.AppendUint32(b, unix.IN_IGNORED)
	b = append(b, make([]byte, 8)...)
	told := 0
	c.parse(b, func(e Event) {
		if told++; e.Path != "/bow" || e.Kind != Unwatched {
			t.Errorf("got %+v", e)
		}
	})
	if told != 1 || c.byPath["/bow"] != 2 || c.byWD[1] != "" || c.byWD[2] != "/bow" {
		t.Errorf("%d events; paths %v, watches %v", told, c.byPath, c.byWD)
	}
}

// FuzzInotifyRecords feeds any bytes: what comes out must lie in the folders that are watched.
func FuzzInotifyRecords(f *testing.F) {
	record := func(wd int32, mask uint32, name string) []byte {
		b := binary.NativeEndian.AppendUint32(nil, uint32(wd))
		b = binary.NativeEndian.AppendUint32(b, mask)
		b = binary.NativeEndian.AppendUint32(b, 0)
		b = binary.NativeEndian.AppendUint32(b, uint32(len(name)))
		return append(b, name...)
	}
	f.Add(append(record(1, unix.IN_CLOSE_WRITE, "a.jpg\x00\x00\x00"), record(2, unix.IN_MOVED_TO|unix.IN_ISDIR, "bow\x00")...))
	f.Add(record(-1, unix.IN_Q_OVERFLOW, ""))
	f.Add(record(1, unix.IN_IGNORED, ""))
	f.Add(record(1, unix.IN_CLOSE_WRITE, "a.jpg\x00")[:18])
	f.Fuzz(func(t *testing.T, b []byte) {
		c := &closings{byPath: map[string]int32{"/one": 1, "/two": 2}, byWD: map[int32]string{1: "/one", 2: "/two"}}
		c.parse(b, func(e Event) {
			if e.Kind == Dropped && e.Err != nil {
				return
			}
			// The kernel's names hold no slash, so nothing is said of those that do.
			if dir := filepath.Dir(e.Path); e.Path != "/one" && e.Path != "/two" &&
				dir != "/one" && dir != "/two" && !bytes.ContainsAny(b, "/.") {
				t.Errorf("event %+v from %q", e, b)
			}
		})
	})
}
