package shoot

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"

	"thirdstop/advise"
)

// small is a disk of a given size, on which pictures take room.
type small struct {
	left atomic.Int64 // without what pictures take
	dir  atomic.Pointer[string]
}

func (d *small) free(string) (uint64, error) {
	left := d.left.Load()
	if dir := d.dir.Load(); dir != nil {
		list, _ := os.ReadDir(*dir)
		left -= int64(len(list)) * 1000
	}
	return uint64(max(left, 0)), nil
}

func (b *bench) pictureFiles(s *Shoot) int {
	list, err := os.ReadDir(filepath.Join(b.trailOf(s), picturesDir))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		b.t.Fatal(err)
	}
	return len(list)
}

func roomTold(s *Shoot) string {
	for _, t := range s.Snapshot().Troubles {
		if t.Code == "room" {
			return t.Text
		}
	}
	return ""
}

// shownSoon waits for what another goroutine shows.
func shownSoon(t *testing.T, s *Shoot, what string, done func() bool) {
	t.Helper()
	changed, stop := s.Watch()
	defer stop()
	for !done() {
		select {
		case <-changed:
		case <-t.Context().Done():
			t.Fatal("in vain until " + what)
		}
	}
}

// onSmallDisk is a shoot on a disk with room for its record and few pictures.
func onSmallDisk(t *testing.T) (*bench, *small, *Shoot) {
	t.Helper()
	b := newBench(t)
	d := &small{}
	d.left.Store(recordReserve + 100_000)
	b.free = d.free
	s := b.open()
	dir := filepath.Join(b.trailOf(s), picturesDir)
	d.dir.Store(&dir)
	return b, d, s
}

func TestPicturesLeaveTheRecordItsRoom(t *testing.T) {
	b, d, s := onSmallDisk(t)
	want := func(frame int, text string) {
		t.Helper()
		if jpeg, err := s.Thumbnail(context.Background(), frame, 1600); err != nil || string(jpeg) != text+" at 1500" {
			t.Errorf("Thumbnail(%d) = %q, %v, want %q", frame, jpeg, err, text)
		}
	}
	b.take(s, "Q_0001.JPG", dark)
	want(1, dark)
	b.take(s, "Q_0002.JPG", good)
	want(2, good)
	if n := b.pictureFiles(s); n != 4 || roomTold(s) != "" {
		t.Fatalf("with room: %d files, told %q; want four and nothing", n, roomTold(s))
	}

	// A little is missing: the oldest pictures make room for the newest.
	d.left.Store(recordReserve + 20_000)
	b.take(s, "Q_0003.JPG", dark)
	want(3, dark)
	if _, err := os.Stat(s.pics.name(version{1, 1}, largeEdge)); !os.IsNotExist(err) || b.pictureFiles(s) >= 6 {
		t.Errorf("%d files, and the oldest picture: %v; want it gone", b.pictureFiles(s), err)
	}
	if _, err := os.Stat(s.pics.name(version{3, 1}, largeEdge)); err != nil || roomTold(s) != "" {
		t.Errorf("the newest picture is not stored (%v), and told is %q", err, roomTold(s))
	}

	// Nothing is left of what pictures may take: they all go, the page says so, and still shows them.
	d.left.Store(7 << 20)
	b.take(s, "Q_0004.JPG", good)
	want(4, good)
	shownSoon(t, s, "the want of room is told", func() bool { return strings.Contains(roomTold(s), "Only 7168 KB are left") })
	want(1, dark) // out of its file
	if n := b.pictureFiles(s); n != 0 {
		t.Errorf("%d picture files are left on a full disk, want none", n)
	}
	if s.Snapshot().Recording != "" || s.Snapshot().State.FrameCount != 4 {
		t.Errorf("%d frames, %q: the record must go on", s.Snapshot().State.FrameCount, s.Snapshot().Recording)
	}

	// The room comes back.
	d.left.Store(recordReserve + 100_000)
	s.pics.room.allows(0) // as every few seconds
	shownSoon(t, s, "the warning goes", func() bool { return roomTold(s) == "" })
	b.take(s, "Q_0005.JPG", dark)
	want(5, dark)
	if n := b.pictureFiles(s); n != 2 {
		t.Errorf("%d files after the room came back, want those of the newest frame", n)
	}
}

func TestTheBaselinesAndTheNewestPicturesOutliveAFullDisk(t *testing.T) {
	b, d, s := onSmallDisk(t)
	there := func() string {
		var out []string
		for _, n := range must(os.ReadDir(filepath.Join(b.trailOf(s), picturesDir))) {
			out = append(out, strings.TrimLeft(n.Name()[:7], "0"))
		}
		return strings.Join(out, " ")
	}
	asked := func(frame int) {
		t.Helper()
		if _, err := s.Thumbnail(context.Background(), frame, 1600); err != nil {
			t.Errorf("Thumbnail(%d): %v", frame, err)
		}
	}
	b.submit(s, withPlan(Request{}))
	for n := 1; n <= 3; n++ {
		b.take(s, fmt.Sprintf("Q_000%d.JPG", n), dark)
		asked(n)
	}
	b.submit(s, Request{Baseline: &advise.Baseline{Frame: 1}})
	if got := there(); got != "1 1 2 2 3 3" {
		t.Fatalf("with room the pictures are of %s", got)
	}
	// No room at all: a newer frame comes, then somebody asks for an old one, whose picture is made anew.
	d.left.Store(1 << 20)
	b.take(s, "Q_0004.JPG", good)
	asked(4)
	if got := there(); got != "1 1" {
		t.Errorf("on a full disk the pictures of %q are left, want the baseline's", got)
	}
	d.left.Store(recordReserve + 100_000)
	s.pics.room.allows(0)
	b.take(s, "Q_0005.JPG", good)
	asked(5)
	d.left.Store(1 << 20)
	asked(2)
	if got := there(); got != "1 1 5 5" {
		t.Errorf("after an old frame was asked for the pictures of %q are left, want the baseline's and the newest's", got)
	}
}

func TestABookmarkLeavesTheRecordItsRoom(t *testing.T) {
	b := newBench(t)
	b.free = func(string) (uint64, error) { return recordReserve - 1, nil }
	s := b.open()
	b.take(s, "Q_0001.JPG", dark)
	dir := b.trailOf(s)
	b.close(s)
	if _, err := os.Stat(filepath.Join(dir, bookmarkName)); !os.IsNotExist(err) {
		t.Errorf("a bookmark was written without room for it: %v", err)
	}
	if s = b.open(); s.Snapshot().State.FrameCount != 1 {
		t.Error("without it the shoot does not open as it was")
	}
}

func TestPictureFilesAreBoundedInBytes(t *testing.T) {
	b := newBench(t)
	s := b.open()
	dir := filepath.Join(b.trailOf(s), picturesDir)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	old, newer := s.pics.name(version{0, 1}, smallEdge), s.pics.name(version{0, 2}, smallEdge)
	for _, name := range []string{old, newer} {
		f, err := os.Create(name)
		if err == nil {
			err = errors.Join(f.Truncate(mostPictures/2), f.Close()) // takes no room, and counts as if it did
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	b.take(s, "Q_0001.JPG", dark)
	if _, err := s.Thumbnail(context.Background(), 1, 1600); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(old); !os.IsNotExist(err) {
		t.Errorf("the oldest picture of more than %d bytes: %v, want it gone", mostPictures, err)
	}
	if _, err := os.Stat(newer); err != nil {
		t.Errorf("a newer one went too: %v", err)
	}
}

// Where the system does not tell how much is free, the first write that fails tells.
func TestADiskThatIsFullAllTheSameLeavesNoHalfPicture(t *testing.T) {
	if !exists("/dev/full") {
		t.Skip("there is no device that is always full here")
	}
	r := &room{change: func() {}}
	p := &pictures{dir: filepath.Join(t.TempDir(), "full"), room: r}
	if err := os.MkdirAll(p.dir, 0o700); err != nil {
		t.Fatal(err)
	}
	v := version{1, 1}
	if err := os.Symlink("/dev/full", p.name(v, largeEdge)+".new"); err != nil {
		t.Fatal(err)
	}
	err := p.store(held{v, map[int][]byte{largeEdge: []byte("a picture")}})
	if !errors.Is(err, errNoRoom) || r.shortage() == "" {
		t.Errorf("a full disk = %v, told %q", err, r.shortage())
	}
	if list, _ := os.ReadDir(p.dir); len(list) != 0 {
		t.Errorf("it leaves %v", list)
	}
	if err := p.store(held{v, map[int][]byte{largeEdge: []byte("a picture")}}); err != nil {
		t.Errorf("with room again = %v", err)
	}
}

func exists(name string) bool {
	_, err := os.Stat(name)
	return err == nil
}

func TestARecordThatIsMovedAwayIsMissed(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("not on Windows: a folder with open files can't be moved there")
	}
	b := newBench(t)
	s := b.open()
	b.take(s, "Q_0001.JPG", dark)
	told := func() string {
		s.LookAfter()
		var codes []string
		for _, x := range s.Snapshot().Troubles {
			codes = append(codes, x.Code)
		}
		return strings.Join(codes, " ")
	}
	dir := b.trailOf(s)
	if got := told(); got != "" {
		t.Errorf("with the record in its place %q is told", got)
	}
	if err := os.Rename(dir, dir+".away"); err != nil {
		t.Fatal(err)
	}
	b.take(s, "Q_0002.JPG", good)
	if _, err := s.Thumbnail(context.Background(), 2, 1600); err != nil {
		t.Errorf("its picture: %v", err)
	}
	if got := told(); got != recordGone {
		t.Errorf("with the record moved away %q is told, want %q", got, recordGone)
	}
	if exists(dir) {
		t.Error("a folder like that of the record was made anew")
	}
	if err := os.Rename(dir+".away", dir); err != nil {
		t.Fatal(err)
	}
	if got := told(); got != "" {
		t.Errorf("with the record put back %q is told", got)
	}
	text, err := os.ReadFile(filepath.Join(dir, "trail.jsonl"))
	if err == nil {
		err = os.Remove(filepath.Join(dir, "trail.jsonl"))
	}
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, "trail.jsonl"), text, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	if got := told(); got != recordGone {
		t.Errorf("with a copy in its place %q is told, want %q", got, recordGone)
	}
}
