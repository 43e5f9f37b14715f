package watcher

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// The scripts in testdata tell one story each: a sentence, commands, four dashes, and the
// trace that is expected. To add a case, add a file. Everything happens on a real file system;
// the clock is the script's, and stands still except in "wait".
//
// Each script runs three times, with the events of Linux (which tell of closing), with those
// of other systems (which don't), and with none, and must leave the same trace: events decide
// when, never what. "only linux" (or plain, none) restricts that to stories about an event.
//
//	existing take|skip            before start: what to do with files that are there
//	start                         begin to watch; without it, the watch begins before the first command
//	put FILE PIC                  write a whole picture and close it; PIC is any word, and each word
//	                              is another JPEG (A* differs from A, but not in size). junk… is no
//	                              picture, letter… of another kind altogether, empty has no bytes
//	append FILE PIC FROM..TO      write that part (in percent) of a picture at the end, and keep the file open
//	reserve FILE PIC              make a file of the picture's size, full of zeros, and keep it open
//	fill FILE PIC FROM..TO        write that part of a picture in its place, and keep the file open
//	close FILE                    close it
//	move FILE FILE                rename; a name that begins with ../ lies outside the capture folder
//	link FILE FILE                make the second name a symbolic link to the first
//	age FILE DURATION             make its modification time that much older
//	fat FILE                      cut its modification time to two seconds, as the FAT file system does
//	poke FILE                     open it for writing, and close it
//	sneak FILE PIC                write in its place, and set the time back to what it was
//	remove FILE, mkdir DIR, rmdir DIR
//	folder away|back              the capture folder is renamed, and returns
//	folder removed|made           it is deleted, and made anew
//	folder covered|uncovered      another one takes its place in silence, as a mount does, and gives it back
//	deaf, hearing                 events get lost without a word; or arrive again
//	overflow                      the system says that it lost events
//	watches fail|work             the system refuses new watches
//	sink refuses N                the next N versions aren't taken
//	sink shut|open                none is taken, nor a broken file, without a line in the trace; or they are again
//	restart                       a new watcher, which is told what was delivered before
//	wait DURATION                 let time pass
//	mark WORDS                    put a line into the trace
//
// Trace lines: "complete FILE PIC", with "existing" behind it for what was there before;
// "trouble KIND FILE"; "refused FILE"; "-- WORDS".
func TestScripts(t *testing.T) {
	files, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no scripts in testdata: %v", err)
	}
	for _, file := range files {
		s := readScript(t, file)
		for _, mode := range s.modes {
			t.Run(strings.TrimSuffix(filepath.Base(file), ".txt")+"/"+mode, func(t *testing.T) {
				got := play(t, s, mode)
				if got != s.want {
					t.Errorf("%s\n%s, events: %s\ngot:\n%s\nwant:\n%s", file, s.story, mode, got, s.want)
				}
			})
		}
	}
}

type script struct {
	story    string
	modes    []string
	commands []string
	want     string
}

func readScript(t *testing.T, file string) script {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	head, want, ok := strings.Cut(string(b), "\n----\n")
	if !ok || !strings.HasPrefix(head, "# ") {
		t.Fatalf("%s: wants a sentence after #, commands, a line of four dashes and a trace", file)
	}
	s := script{want: want, modes: []string{"linux", "plain", "none"}}
	for line := range strings.Lines(head) {
		line = strings.TrimSpace(line)
		switch {
		case line == "":
		case strings.HasPrefix(line, "#"):
			s.story = strings.TrimSpace(s.story + " " + strings.TrimPrefix(line, "# "))
		case strings.HasPrefix(line, "only "):
			s.modes = strings.Fields(line)[1:]
		default:
			s.commands = append(s.commands, line)
		}
	}
	return s
}

// stage is the world a script plays in.
type stage struct {
	t          *testing.T
	mode       string
	folder     string
	pics       *pictures
	now        time.Time
	config     Config
	w          *Watcher
	source     *fakeSource
	trace      strings.Builder
	open       map[string]*os.File
	refuse     int
	closedSink bool
	known      map[string]map[[32]byte]bool
}

func newStage(t *testing.T, mode, folder string) *stage {
	st := &stage{
		t: t, mode: mode, folder: folder, pics: &pictures{},
		now:  time.Date(2026, 3, 7, 10, 0, 0, 123456789, time.UTC),
		open: map[string]*os.File{}, known: map[string]map[[32]byte]bool{},
	}
	st.check(os.Mkdir(st.folder, 0o755))
	st.source = &fakeSource{stage: st, watched: map[string]bool{}}
	st.config = Config{
		Folder: st.folder, Whole: wholeJPEG, PollOnly: mode == "none",
		Now: func() time.Time { return st.now },
		Events: func(report func(Event)) (Source, error) {
			st.source.report = report
			return st.source, nil
		},
		Known: func(rel string, hash [32]byte) bool { return st.known[rel][hash] },
	}
	return st
}

func play(t *testing.T, s script, mode string) string {
	st := newStage(t, mode, filepath.Join(t.TempDir(), "capture"))
	waits := false
	for _, c := range s.commands {
		waits = waits || c == "start"
	}
	if !waits {
		st.start()
		st.rest()
	}
	for _, c := range s.commands {
		st.command(strings.Fields(c))
		st.rest()
	}
	st.shut()
	return st.trace.String()
}

// shut closes what the script left open.
func (st *stage) shut() {
	for rel, f := range st.open {
		f.Close()
		delete(st.open, rel)
	}
}

func (st *stage) check(err error) {
	st.t.Helper()
	if err != nil {
		st.t.Fatal(err)
	}
}

func (st *stage) start() {
	w, err := New(st.config)
	st.check(err)
	st.w = w
	w.begin(st)
}

// rest lets the watcher work until it waits for the clock.
func (st *stage) rest() {
	for n := 0; st.w != nil; n++ {
		if n > 10000 {
			st.t.Fatal("the watcher never rests")
		}
		if st.w.turn(context.Background()).After(st.now) {
			return
		}
	}
}

func (st *stage) wait(d time.Duration) {
	end := st.now.Add(d)
	for st.now.Before(end) {
		next := st.w.turn(context.Background())
		if next.After(end) {
			next = end
		}
		if next.After(st.now) {
			st.now = next
		}
		st.rest()
	}
}

func (st *stage) path(rel string) string { return filepath.Join(st.folder, filepath.FromSlash(rel)) }

func (st *stage) command(c []string) {
	arg := func(i int) string {
		if i >= len(c) {
			st.t.Fatalf("%q: too few words", strings.Join(c, " "))
		}
		return c[i]
	}
	switch c[0] {
	case "existing":
		st.config.Existing = map[string]Existing{"take": TakeExisting, "skip": SkipExisting}[arg(1)]
	case "start":
		st.start()
	case "restart":
		st.w.end()
		st.source.watched = map[string]bool{}
		st.start()
	case "put":
		st.write(arg(1), st.pics.get(st.t, arg(2)), -1)
		st.close(arg(1))
	case "append":
		st.write(arg(1), st.part(arg(2), arg(3)), -1)
	case "reserve":
		st.write(arg(1), make([]byte, len(st.pics.get(st.t, arg(2)))), 0)
	case "fill":
		from, _ := percent(st.t, arg(3))
		st.write(arg(1), st.part(arg(2), arg(3)), from*int64(len(st.pics.get(st.t, arg(2))))/100)
	case "close":
		st.close(arg(1))
	case "move":
		_, err := os.Lstat(st.path(arg(2)))
		st.check(os.Rename(st.path(arg(1)), st.path(arg(2))))
		if f := st.open[arg(1)]; f != nil { // and goes on writing
			delete(st.open, arg(1))
			st.open[arg(2)] = f
		}
		st.source.fold(st.path(arg(1)), 0) // what watched a folder can't know its new path
		st.tell(arg(1), Gone)
		if err != nil {
			st.tell(arg(2), Created)
		}
		st.tell(arg(2), Closed|Created)
	case "link":
		st.check(os.Symlink(st.path(arg(1)), st.path(arg(2))))
		st.tell(arg(2), Created)
	case "age":
		d, err := time.ParseDuration(arg(2))
		st.check(err)
		st.stamp(arg(1), st.now.Add(-d))
	case "fat":
		st.stamp(arg(1), st.now.Truncate(2*time.Second))
	case "poke":
		f, err := os.OpenFile(st.path(arg(1)), os.O_RDWR, 0)
		st.check(err)
		st.open[arg(1)] = f
		st.close(arg(1))
	case "sneak":
		fi, err := os.Stat(st.path(arg(1)))
		st.check(err)
		st.check(os.WriteFile(st.path(arg(1)), st.pics.get(st.t, arg(2)), 0o644))
		st.stamp(arg(1), fi.ModTime())
		st.tell(arg(1), Changed|Closed)
	case "remove":
		st.check(os.Remove(st.path(arg(1))))
		st.tell(arg(1), Gone)
	case "mkdir":
		st.check(os.Mkdir(st.path(arg(1)), 0o755))
		st.tell(arg(1), Created)
	case "rmdir":
		st.check(os.RemoveAll(st.path(arg(1))))
		st.source.fold(st.path(arg(1)), Unwatched)
		st.tell(arg(1), Gone)
	case "folder":
		st.moveFolder(arg(1))
	case "deaf", "hearing":
		st.source.deaf = c[0] == "deaf"
	case "overflow":
		st.source.say(Event{Kind: Dropped, Err: errors.New("queue full")})
	case "watches":
		st.source.refuse = arg(1) == "fail"
	case "sink":
		if st.closedSink = arg(1) == "shut"; st.closedSink || arg(1) == "open" {
			return
		}
		n, err := strconv.Atoi(arg(2))
		st.check(err)
		st.refuse = n
	case "wait":
		d, err := time.ParseDuration(arg(1))
		st.check(err)
		st.wait(d)
	case "mark":
		fmt.Fprintf(&st.trace, "-- %s\n", strings.Join(c[1:], " "))
	default:
		st.t.Fatalf("unknown command %q", c[0])
	}
}

func (st *stage) moveFolder(how string) {
	aside := st.folder + ".aside"
	switch how {
	case "away":
		st.check(os.Rename(st.folder, aside))
		st.source.say(Event{Path: st.folder, Kind: Gone})
		st.source.fold(st.folder, 0)
	case "back":
		st.check(os.Rename(aside, st.folder))
	case "removed":
		st.check(os.RemoveAll(st.folder))
		st.source.fold(st.folder, Unwatched)
	case "made":
		st.check(os.Mkdir(st.folder, 0o755))
	case "covered":
		st.check(os.Rename(st.folder, aside))
		st.check(os.Mkdir(st.folder, 0o755))
		st.source.fold(st.folder, 0)
	case "uncovered":
		st.check(os.RemoveAll(st.folder))
		st.check(os.Rename(aside, st.folder))
		st.source.fold(st.folder, 0)
	default:
		st.t.Fatalf("folder %q", how)
	}
}

// write writes at an offset, or at the end for -1, as a program that keeps the file open.
func (st *stage) write(rel string, b []byte, at int64) {
	f := st.open[rel]
	if f == nil {
		_, missing := os.Lstat(st.path(rel))
		flags := os.O_RDWR | os.O_CREATE
		if at < 0 {
			flags |= os.O_TRUNC
		}
		var err error
		f, err = os.OpenFile(st.path(rel), flags, 0o644)
		st.check(err)
		st.open[rel] = f
		if missing != nil {
			st.tell(rel, Created)
		}
	}
	if at < 0 {
		end, err := f.Seek(0, io.SeekEnd)
		st.check(err)
		at = end
	}
	_, err := f.WriteAt(b, at)
	st.check(err)
	st.stamp(rel, st.now)
	st.tell(rel, Changed)
}

func (st *stage) close(rel string) {
	f := st.open[rel]
	if f == nil {
		st.t.Fatalf("%s isn't open", rel)
	}
	delete(st.open, rel)
	st.check(f.Close())
	st.tell(rel, Closed)
}

func (st *stage) stamp(rel string, at time.Time) { st.check(os.Chtimes(st.path(rel), at, at)) }

func (st *stage) part(pic, span string) []byte {
	b := st.pics.get(st.t, pic)
	from, to := percent(st.t, span)
	return b[from*int64(len(b))/100 : to*int64(len(b))/100]
}

func percent(t *testing.T, span string) (from, to int64) {
	if _, err := fmt.Sscanf(span, "%d..%d", &from, &to); err != nil {
		t.Fatalf("%q: want FROM..TO in percent: %v", span, err)
	}
	return from, to
}

// tell reports an event the way this mode's system would.
func (st *stage) tell(rel string, kind EventKind) {
	if st.mode != "linux" {
		kind &^= Closed
	}
	p := st.path(rel)
	if kind != 0 && st.source.watched[filepath.Dir(p)] {
		st.source.say(Event{Path: p, Kind: kind})
	}
}

// fakeSource is the system's events as a script wants them.
type fakeSource struct {
	stage   *stage
	report  func(Event)
	watched map[string]bool
	deaf    bool
	refuse  bool
}

func (s *fakeSource) say(e Event) {
	if s.report != nil && s.stage.mode != "none" && (!s.deaf || e.Kind == Dropped) {
		s.report(e)
	}
}

// fold ends the watches on a folder and all below it, and says so with kind.
func (s *fakeSource) fold(dir string, kind EventKind) {
	for d := range s.watched {
		if d == dir || strings.HasPrefix(d, dir+string(filepath.Separator)) {
			delete(s.watched, d)
			if kind != 0 {
				s.say(Event{Path: d, Kind: kind})
			}
		}
	}
}

func (s *fakeSource) Watch(dir string) error {
	if s.refuse {
		return &os.PathError{Op: "watch", Path: dir, Err: syscall.ENOSPC}
	}
	if _, err := os.Stat(dir); err != nil {
		return err
	}
	s.watched[dir] = true
	return nil
}

func (s *fakeSource) Unwatch(dir string) { delete(s.watched, dir) }
func (s *fakeSource) Closes() bool       { return s.stage.mode == "linux" }
func (s *fakeSource) Close() error       { s.report = nil; return nil }

func (st *stage) Complete(_ context.Context, v Version) error {
	if st.closedSink {
		return errors.New("not now")
	}
	if st.refuse > 0 {
		st.refuse--
		fmt.Fprintf(&st.trace, "refused %s\n", v.Rel)
		return errors.New("not now")
	}
	if sum(v.Data) != v.Hash || int64(len(v.Data)) != v.Size {
		st.t.Errorf("%s: the hash isn't that of the bytes", v.Rel)
	}
	if err := wholeJPEG(v.Rel, bytes.NewReader(v.Data), v.Size); err != nil {
		st.t.Errorf("%s was delivered, and isn't whole: %v", v.Rel, err)
	}
	if v.Path != st.path(v.Rel) || v.Seen != st.now || v.Written.After(v.Seen) {
		st.t.Errorf("%s: path %s, seen %v, written %v at %v", v.Rel, v.Path, v.Seen, v.Written, st.now)
	}
	fmt.Fprintf(&st.trace, "complete %s %s", v.Rel, st.pics.name(v.Hash))
	if v.Existing {
		st.trace.WriteString(" existing")
	}
	st.trace.WriteByte('\n')
	if st.known[v.Rel] == nil {
		st.known[v.Rel] = map[[32]byte]bool{}
	}
	st.known[v.Rel][v.Hash] = true
	return nil
}

func (st *stage) Trouble(_ context.Context, p Problem) error {
	if p.Err == nil || p.Err.Error() == "" {
		st.t.Errorf("%v of %q without a sentence", p.Kind, p.Rel)
	} else if name := path.Base(p.Rel); p.Rel != "" && strings.Count(p.Err.Error(), name) != 1 {
		st.t.Errorf("%v of %q is told as %q, want the name in it once", p.Kind, p.Rel, p.Err)
	} else if p.Rel == "" && strings.Count(p.Err.Error(), st.folder) != 1 {
		st.t.Errorf("%v is told as %q, want the folder's name in it once", p.Kind, p.Err)
	}
	if broken := p.Kind == Damaged || p.Kind == Incomplete; broken {
		content, err := os.ReadFile(st.path(p.Rel))
		if err == nil && (sum(content) != p.Hash || int64(len(content)) != p.Size) {
			st.t.Errorf("%v of %q comes with %d bytes of another content", p.Kind, p.Rel, p.Size)
		}
		if st.closedSink {
			return errors.New("not now")
		}
	} else if p.Hash != [32]byte{} {
		st.t.Errorf("%v of %q comes with a content", p.Kind, p.Rel)
	}
	fmt.Fprintln(&st.trace, strings.TrimSpace(fmt.Sprintf("trouble %s %s", p.Kind, p.Rel)))
	return nil
}

func sum(b []byte) [32]byte { return sha256.Sum256(b) }

func skipOnWindows(t *testing.T, why string) {
	if runtime.GOOS == "windows" {
		t.Skip("not on Windows: " + why)
	}
}
