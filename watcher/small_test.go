package watcher

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

func TestNamesOfCameraFiles(t *testing.T) {
	for name, want := range map[string]bool{
		"a.jpg": true, "bow/A.JPEG": true, "a.Tiff": true, "a.cr3": true, "a.NEF": true, "a.rw2": true,
		"a.heic": true, "a.hif": true,
		"a": false, "a.jpg.txt": false, "a.xmp": false, "jpg": false, "a.jpg/b": false, "": false,
	} {
		if got := CameraFile(name); got != want {
			t.Errorf("CameraFile(%q) = %v, want %v", name, got, want)
		}
	}
}

func TestNumbersInNamesCount(t *testing.T) {
	want := []string{"a1.jpg", "a01.jpg", "a2.jpg", "a9.jpg", "a10.jpg", "a10b.jpg", "a100.jpg", "b1.jpg", "b99999999999999999999999.jpg"}
	got := slices.Clone(want)
	slices.Reverse(got)
	slices.SortFunc(got, func(a, b string) int {
		switch {
		case nameLess(a, b):
			return -1
		case nameLess(b, a):
			return 1
		}
		return 0
	})
	// a01 and a1 count the same: byte order decides.
	want[0], want[1] = want[1], want[0]
	if !slices.Equal(got, want) {
		t.Errorf("sorted: %v\nwant:   %v", got, want)
	}
}

// FuzzOrderOfNames checks that it is an order at all: never both ways, never neither, and
// transitive.
func FuzzOrderOfNames(f *testing.F) {
	f.Add("a9", "a10", "a010")
	f.Add("", "0", "00")
	f.Fuzz(func(t *testing.T, a, b, c string) {
		if (a == b) == (nameLess(a, b) || nameLess(b, a)) || nameLess(a, b) && nameLess(b, a) {
			t.Errorf("%q and %q: %v, %v", a, b, nameLess(a, b), nameLess(b, a))
		}
		if nameLess(a, b) && nameLess(b, c) && !nameLess(a, c) {
			t.Errorf("%q < %q < %q, but not %q < %q", a, b, c, a, c)
		}
	})
}

func TestErrorsThatSayMoreMayCome(t *testing.T) {
	for _, c := range []struct {
		err  error
		want bool
	}{
		{ErrUnfinished, true},
		{fmt.Errorf("a.jpg: %w", ErrUnfinished), true},
		{lacking("no end"), true},
		{fmt.Errorf("a.jpg: %w", lacking("no end")), true},
		{io.ErrUnexpectedEOF, true},
		{fmt.Errorf("header: %w", io.EOF), true},
		{errors.New("unexpected EOF"), false}, // never by its text
		{finished{}, false},
		{nil, false},
	} {
		if got := IsUnfinished(c.err); got != c.want {
			t.Errorf("IsUnfinished(%v) = %v, want %v", c.err, got, c.want)
		}
	}
}

// finished knows the method and says no, though an end of file is inside it.
type finished struct{}

func (finished) Error() string    { return "a broken table" }
func (finished) Unfinished() bool { return false }
func (finished) Unwrap() error    { return io.ErrUnexpectedEOF }

func TestAConfigurationThatCannotWorkIsRefused(t *testing.T) {
	for want, c := range map[string]Config{
		"no capture folder": {},
		"Poll":              {Folder: "x", Poll: -1},
		"Settle":            {Folder: "x", Settle: -1},
	} {
		if _, err := New(c); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("New(%+v): %v, want an error about %q", c, err, want)
		}
	}
}

func TestEveryProblemHasItsOwnName(t *testing.T) {
	seen := map[string]bool{}
	for k := Incomplete; k <= EventsBack; k++ {
		if n := k.String(); n == "" || seen[n] || strings.HasPrefix(n, "problem-") {
			t.Errorf("problem %d is called %q", int(k), n)
		} else {
			seen[n] = true
		}
	}
	if got := ProblemKind(99).String(); got != "problem-99" {
		t.Errorf("an unknown problem is called %q", got)
	}
}

func TestExistingFilesComeByCaptureTime(t *testing.T) {
	st := newStage(t, "linux", filepath.Join(t.TempDir(), "capture"))
	taken := map[string]int{"1.jpg": 30, "2.jpg": 10, "3.jpg": 20}
	st.config.Taken = func(rel string, r io.ReaderAt, size int64) (time.Time, bool) {
		b := make([]byte, 2)
		if _, err := r.ReadAt(b, 0); err != nil || b[0] != 0xFF || size < 100 {
			t.Errorf("%s: %d bytes, beginning with %x: %v", rel, size, b, err)
		}
		minutes, ok := taken[rel]
		return st.now.Add(time.Duration(minutes) * time.Minute), ok
	}
	for _, c := range []string{"put 1.jpg A", "put 2.jpg B", "put 3.jpg C", "put 4.jpg D"} { // 4 has no capture time, but the file's
		st.command(strings.Fields(c))
	}
	st.start()
	st.wait(5 * time.Second)
	want := "complete 4.jpg D existing\ncomplete 2.jpg B existing\ncomplete 3.jpg C existing\ncomplete 1.jpg A existing\n"
	if got := st.trace.String(); got != want {
		t.Errorf("got:\n%swant:\n%s", got, want)
	}
}

func TestWhatTheRecordKnowsBySizeAndTimeIsNotRead(t *testing.T) {
	st := newStage(t, "linux", filepath.Join(t.TempDir(), "capture"))
	checked := map[string]int{}
	st.config.Whole = func(rel string, r io.ReaderAt, size int64) error { checked[rel]++; return nil }
	st.config.Unread = func(rel string, size int64, at time.Time) bool {
		return rel == "old.jpg" && size == int64(len(st.pics.get(t, "A"))) && at.Equal(st.now)
	}
	st.command(strings.Fields("put old.jpg A"))
	st.command(strings.Fields("put new.jpg B"))
	st.start()
	st.rest()
	st.wait(5 * time.Second)
	st.command(strings.Fields("put old.jpg C"))
	st.wait(5 * time.Second)
	want := "complete new.jpg B existing\ncomplete old.jpg C\n"
	if got := st.trace.String(); got != want || checked["old.jpg"] != 1 {
		t.Errorf("got:\n%swant:\n%sold.jpg was read %d times, want 1", got, want, checked["old.jpg"])
	}
}

// A slow writer must not make the watcher read the file from its start for every piece.
func TestASlowUploadIsNotReadOverAndOver(t *testing.T) {
	for _, mode := range []string{"linux", "plain", "none"} {
		st := newStage(t, mode, filepath.Join(t.TempDir(), "capture"))
		reads := 0
		st.config.Whole = func(rel string, r io.ReaderAt, size int64) error {
			reads++
			return wholeJPEG(rel, r, size)
		}
		st.start()
		st.rest()
		for i := range 99 { // a piece every second
			st.command([]string{"append", "a.jpg", "A", fmt.Sprintf("%d..%d", i, i+1)})
			if i%3 == 0 {
				st.check(st.open["a.jpg"].Sync())
				st.tell("a.jpg", Closed) // as if by another writer
			}
			st.rest()
			st.wait(time.Second)
		}
		st.command(strings.Fields("append a.jpg A 99..100"))
		st.command(strings.Fields("close a.jpg"))
		st.wait(5 * time.Second)
		if got := st.trace.String(); got != "complete a.jpg A\n" || reads > 45 {
			t.Errorf("events %s: 100 pieces were read %d times, want at most 45; trace:\n%s", mode, reads, got)
		}
	}
}

// A file too big to be held is checked where it lies; if it changes meanwhile, the check and
// the hash may be of different contents, so it is read again.
func TestAFileThatChangesUnderTheCheckIsReadAgain(t *testing.T) {
	st := newStage(t, "linux", filepath.Join(t.TempDir(), "capture"))
	checks := 0
	var got []Version
	st.config.MaxData = 10
	st.config.Whole = func(rel string, r io.ReaderAt, size int64) error {
		if checks++; checks == 1 {
			st.command(strings.Fields("append a.jpg A 0..50"))
		}
		return nil
	}
	w, err := New(st.config)
	st.check(err)
	st.w = w
	w.begin(sinkFunc(func(v Version) { got = append(got, v) }))
	st.rest()
	st.command(strings.Fields("append a.jpg A 0..100"))
	st.tell("a.jpg", Closed)
	st.rest()
	if checks != 1 || len(got) != 0 {
		t.Fatalf("after %d checks %d versions were delivered, want 1 and none", checks, len(got))
	}
	st.wait(5 * time.Second)
	now, err := os.ReadFile(st.path("a.jpg"))
	st.check(err)
	st.shut()
	if len(got) != 1 || got[0].Hash != sum(now) || got[0].Size != int64(len(now)) || got[0].Data != nil {
		t.Errorf("%d versions, want one of %d bytes with their hash: %+v", len(got), len(now), got)
	}
}

type sinkFunc func(Version)

func (s sinkFunc) Complete(_ context.Context, v Version) error { s(v); return nil }
func (sinkFunc) Trouble(context.Context, Problem) error        { return nil }

func TestTheOrderInWhichFilesAreRead(t *testing.T) {
	at := func(s int) time.Time { return time.Unix(int64(s), 0) }
	want := []*file{
		{rel: "old", existing: true, taken: at(1), written: at(9), modTime: at(9)},
		{rel: "older_by_name_9", existing: true, taken: at(2), modTime: at(3)},
		{rel: "older_by_name_10", existing: true, taken: at(2), modTime: at(3)},
		{rel: "written first", written: at(5), modTime: at(8)},
		{rel: "z", written: at(6), modTime: at(1)},
		{rel: "y_9", written: at(6), modTime: at(2)},
		{rel: "y_10", written: at(6), modTime: at(2)},
	}
	for i := range want {
		for j := range want {
			if got := readyQueue(want).Less(i, j); got != (i < j) {
				t.Errorf("%q before %q: %v", want[i].rel, want[j].rel, got)
			}
		}
	}
}

// Without a structure check, what came to rest and isn't empty is complete.
func TestWithoutAStructureCheckAnEmptyFileIsStillUnfinished(t *testing.T) {
	st := newStage(t, "plain", filepath.Join(t.TempDir(), "capture"))
	st.config.Whole = nil
	st.start()
	st.rest()
	st.command(strings.Fields("put a.jpg empty"))
	st.wait(30 * time.Second)
	st.command(strings.Fields("put a.jpg A"))
	st.wait(5 * time.Second)
	if got, want := st.trace.String(), "trouble incomplete a.jpg\ncomplete a.jpg A\n"; got != want {
		t.Errorf("got:\n%swant:\n%s", got, want)
	}
}

// A writer that opens and closes its file for every piece doesn't cost a reading each time.
func TestManyClosingsAreNotAsManyReadings(t *testing.T) {
	st := newStage(t, "linux", filepath.Join(t.TempDir(), "capture"))
	reads := 0
	st.config.Whole = func(rel string, r io.ReaderAt, size int64) error {
		reads++
		return wholeJPEG(rel, r, size)
	}
	st.start()
	st.rest()
	for i := range 100 {
		st.command([]string{"append", "a.jpg", "A", fmt.Sprintf("%d..%d", i, i+1)})
		st.tell("a.jpg", Closed)
		st.rest()
		st.wait(20 * time.Millisecond)
	}
	st.wait(5 * time.Second)
	st.shut()
	if got := st.trace.String(); got != "complete a.jpg A\n" || reads > 20 {
		t.Errorf("100 pieces in 2 s were read %d times, want at most 20; trace:\n%s", reads, got)
	}
}

// A file that came to rest, waited for the sink, and was written again meanwhile has to come
// to rest again: its structure alone isn't trusted.
func TestAFileWrittenWhileItWaitsMustComeToRestAgain(t *testing.T) {
	for _, mode := range []string{"plain", "none"} { // told of it, or not
		t.Run(mode, func(t *testing.T) { writtenWhileWaiting(t, mode) })
	}
}

func writtenWhileWaiting(t *testing.T, mode string) {
	st := newStage(t, mode, filepath.Join(t.TempDir(), "capture"))
	st.command(strings.Fields("put 1.jpg A"))
	st.command(strings.Fields("put 2.jpg B"))
	w, err := New(st.config)
	st.check(err)
	st.w = w
	var got []string
	w.begin(sinkFunc(func(v Version) {
		got = append(got, v.Rel+" "+st.pics.name(v.Hash))
		if v.Rel == "1.jpg" {
			st.command(strings.Fields("append 2.jpg C 0..100"))
		}
	}))
	st.rest()
	st.wait(300 * time.Millisecond) // both come to rest, and the sink is given the first
	if want := []string{"1.jpg A"}; !slices.Equal(got, want) {
		t.Errorf("delivered %q, want %q", got, want)
	}
	st.wait(time.Second)
	st.shut()
	if want := []string{"1.jpg A", "2.jpg C"}; !slices.Equal(got, want) {
		t.Errorf("delivered %q, want %q", got, want)
	}
}

func TestAStormOfEventsIsJoinedAndBounded(t *testing.T) {
	b := newInbox()
	at := time.Date(2026, 3, 7, 10, 0, 0, 0, time.UTC)
	for i := range 1000 {
		b.put(Event{Path: "/a", Kind: Changed}, at.Add(time.Duration(i)))
	}
	b.put(Event{Path: "/a", Kind: Closed}, at.Add(time.Hour))
	notes, dropped := b.take()
	if len(notes) != 1 || notes[0].kind != Changed|Closed || !notes[0].at.Equal(at.Add(time.Hour)) || dropped != nil {
		t.Errorf("%d notes, the first %+v, dropped %v", len(notes), notes[0], dropped)
	}
	for i := range inboxLimit + 5 {
		b.put(Event{Path: fmt.Sprint(i), Kind: Created}, at)
	}
	if notes, dropped := b.take(); len(notes) != inboxLimit || !errors.Is(dropped, errInboxFull) {
		t.Errorf("%d notes, dropped %v, want %d and that the inbox is full", len(notes), dropped, inboxLimit)
	}
	if notes, dropped := b.take(); len(notes) != 0 || dropped != nil {
		t.Errorf("taken twice: %d notes, %v", len(notes), dropped)
	}
}

func TestASystemWithoutEventsIsPolledUntilItHasThem(t *testing.T) {
	st := newStage(t, "linux", filepath.Join(t.TempDir(), "capture"))
	events, fails := st.config.Events, true
	st.config.Events = func(report func(Event)) (Source, error) {
		if fails {
			return nil, fmt.Errorf("inotify: %w", syscall.EMFILE)
		}
		return events(report)
	}
	st.start()
	st.rest()
	st.command(strings.Fields("put a.jpg A"))
	st.wait(2 * time.Second)
	fails = false
	st.wait(40 * time.Second)
	st.command(strings.Fields("put b.jpg B"))
	st.rest() // at once
	want := "trouble polling\ncomplete a.jpg A\ntrouble events-back\ncomplete b.jpg B\n"
	if got := st.trace.String(); got != want {
		t.Errorf("got:\n%swant:\n%s", got, want)
	}
}

// On a network share events come for what this machine writes, and for nothing else.
func TestANetworkShareIsPolledThoughItHasEvents(t *testing.T) {
	st := newStage(t, "linux", filepath.Join(t.TempDir(), "capture"))
	w, err := New(st.config)
	st.check(err)
	w.share = func(string) string { return "NFS" }
	st.w = w
	w.begin(st)
	st.rest()
	st.command(strings.Fields("put a.jpg A")) // at once
	st.rest()
	st.trace.WriteString("--\n")
	st.command([]string{"deaf"})
	st.command(strings.Fields("put b.jpg B"))
	st.wait(1300 * time.Millisecond)
	if got, want := st.trace.String(), "trouble polling\ncomplete a.jpg A\n--\ncomplete b.jpg B\n"; got != want {
		t.Errorf("got:\n%swant:\n%s", got, want)
	}
}

// A file that may not be read is reported, and delivered when it may. The superuser may read
// everything, so as root the test runs itself once more as nobody.
func TestAFileThatMayNotBeRead(t *testing.T) {
	skipOnWindows(t, "rights work differently there")
	if os.Geteuid() == 0 {
		runAsNobody(t)
		return
	}
	st := newStage(t, "none", filepath.Join(t.TempDir(), "capture"))
	st.start()
	st.rest()
	st.check(os.WriteFile(st.path("a.jpg"), st.pics.get(t, "A"), 0))
	st.check(os.Mkdir(st.path("bow"), 0))
	st.wait(30 * time.Second)
	st.check(os.Chmod(st.path("a.jpg"), 0o400))
	st.check(os.Chmod(st.path("bow"), 0o700))
	st.check(os.WriteFile(st.path("bow/b.jpg"), st.pics.get(t, "B"), 0o600))
	st.wait(30 * time.Second)
	st.command(strings.Fields("append bow/c.jpg C 0..50"))
	st.wait(3 * time.Second)
	st.check(os.Chmod(st.path("bow"), 0)) // what lies in there isn't gone
	st.wait(8 * time.Second)
	st.check(os.Chmod(st.path("bow"), 0o700))
	st.wait(2 * time.Second)
	st.command(strings.Fields("append bow/c.jpg C 50..100"))
	st.wait(9 * time.Second)
	st.check(os.Chmod(st.folder, 0))
	st.wait(5 * time.Second)
	st.check(os.Chmod(st.folder, 0o700))
	st.wait(5 * time.Second)
	st.check(os.Mkdir(st.path("stroke"), 0))
	st.wait(2 * time.Second)
	st.check(os.Remove(st.path("stroke")))
	st.wait(2 * time.Second)
	want := "trouble unreadable bow\ntrouble unreadable a.jpg\ntrouble readable bow\ncomplete bow/b.jpg B\ncomplete a.jpg A\n" +
		"trouble unreadable bow\ntrouble unreadable bow/c.jpg\ntrouble readable bow\ncomplete bow/c.jpg C\n" +
		"trouble folder-gone\ntrouble folder-back\ntrouble unreadable stroke\ntrouble readable stroke\n"
	if got := st.trace.String(); got != want {
		t.Errorf("got:\n%swant:\n%s", got, want)
	}
}

func runAsNobody(t *testing.T) {
	self, err := os.ReadFile(os.Args[0])
	if err != nil {
		t.Fatal(err)
	}
	dir, err := os.MkdirTemp("", "watcher-as-nobody") // t.TempDir may lie where nobody can't go
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	bin := filepath.Join(dir, "watcher.test")
	if err := errors.Join(os.WriteFile(bin, self, 0o755), os.Chmod(bin, 0o755), os.Chmod(dir, 0o777)); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, bin, "-test.run=^TestAFileThatMayNotBeRead$", "-test.v")
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "TMPDIR="+dir)
	asNobody(cmd)
	out, err := cmd.CombinedOutput()
	if err != nil || !strings.Contains(string(out), "--- PASS: TestAFileThatMayNotBeRead") {
		t.Errorf("as nobody: %v\n%s", err, out)
	}
}
