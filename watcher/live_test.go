package watcher

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

// deadline is far beyond what anything here takes; it is never waited for when all is well.
const deadline = 20 * time.Second

// live is a watcher that runs, with the system's own events and clock.
type live struct {
	t        testing.TB
	folder   string
	pics     *pictures
	versions chan Version
	problems chan Problem
	stop     func()
	onTake   func(Version) error // called first, if not nil
}

// runLive starts a watcher on a new folder and waits until it watches.
func runLive(t testing.TB, change func(*Config)) *live {
	t.Helper()
	l := &live{
		t: t, folder: filepath.Join(t.TempDir(), "capture"), pics: &pictures{},
		versions: make(chan Version, 20000), problems: make(chan Problem, 1000),
	}
	if err := os.Mkdir(l.folder, 0o755); err != nil {
		t.Fatal(err)
	}
	c := Config{Folder: l.folder, Whole: wholeJPEG, Settle: 60 * time.Millisecond, Poll: 500 * time.Millisecond}
	if change != nil {
		change(&c)
	}
	w, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx, l) }()
	l.stop = sync.OnceFunc(func() {
		cancel()
		select {
		case err := <-done:
			if err != nil {
				t.Errorf("Run: %v", err)
			}
		case <-time.After(deadline):
			t.Error("Run didn't return when its context ended")
		}
	})
	t.Cleanup(l.stop)
	l.ready()
	return l
}

// ready waits until a file written now would be new, by writing one.
func (l *live) ready() {
	l.t.Helper()
	l.put("ready.jpg", "ready")
	l.want("ready.jpg", "ready")
}

func (l *live) Complete(_ context.Context, v Version) error {
	if l.onTake != nil {
		if err := l.onTake(v); err != nil {
			return err
		}
	}
	l.versions <- v
	return nil
}

func (l *live) Trouble(_ context.Context, p Problem) error { l.problems <- p; return nil }

func (l *live) path(rel string) string { return filepath.Join(l.folder, filepath.FromSlash(rel)) }

func (l *live) put(rel, pic string) {
	l.t.Helper()
	if err := os.WriteFile(l.path(rel), l.pics.get(l.t, pic), 0o644); err != nil {
		l.t.Fatal(err)
	}
}

// want waits for the next version and holds it against what it should be.
func (l *live) want(rel, pic string) Version {
	l.t.Helper()
	select {
	case v := <-l.versions:
		if got := l.pics.name(v.Hash); v.Rel != rel || got != pic {
			l.t.Fatalf("got %s with picture %s, want %s with picture %s", v.Rel, got, rel, pic)
		}
		return v
	case p := <-l.problems:
		l.t.Fatalf("%v: %v, want %s complete", p.Kind, p.Err, rel)
	case <-time.After(deadline):
		l.t.Fatalf("%s didn't arrive", rel)
	}
	panic("unreachable")
}

// quiet stops the watcher, and checks that nothing more had come.
func (l *live) quiet() {
	l.t.Helper()
	l.put("last.jpg", "last") // whatever was still to come comes before this
	l.want("last.jpg", "last")
	l.stop()
	close(l.versions)
	for v := range l.versions {
		l.t.Errorf("%s came once more, with picture %s", v.Rel, l.pics.name(v.Hash))
	}
	close(l.problems)
	for p := range l.problems {
		l.t.Errorf("unexpected: %v: %v", p.Kind, p.Err)
	}
}

// No scan helps out here: what arrives was announced, by all the events there are, and by
// those that every system has.
func TestFilesArriveThroughEventsAlone(t *testing.T) {
	for name, events := range map[string]func(func(Event)) (Source, error){
		"the system's": systemEvents,
		"fsnotify's":   func(report func(Event)) (Source, error) { return newNotices(report) },
	} {
		t.Run(name, func(t *testing.T) {
			arrive(t, runLive(t, func(c *Config) { c.Poll, c.Events = time.Hour, events }))
		})
	}
}

func arrive(t *testing.T, l *live) {
	l.put("a.jpg", "A")
	v := l.want("a.jpg", "A")
	if v.Existing || v.Seen.Before(v.Written) || string(v.Data) != string(l.pics.get(t, "A")) {
		t.Errorf("existing %v, written %v, seen %v, %d bytes", v.Existing, v.Written, v.Seen, len(v.Data))
	}
	if err := os.MkdirAll(l.path("bow/retakes"), 0o755); err != nil {
		t.Fatal(err)
	}
	l.put("bow/retakes/b.jpg", "B")
	l.want("bow/retakes/b.jpg", "B")
	l.put("bow/retakes/c.jpg", "C")
	l.want("bow/retakes/c.jpg", "C")
	if err := os.Rename(l.path("bow"), l.path("stroke")); err != nil {
		t.Fatal(err)
	}
	l.want("stroke/retakes/b.jpg", "B")
	l.want("stroke/retakes/c.jpg", "C")
	l.put("stroke/retakes/d.jpg", "D")
	l.want("stroke/retakes/d.jpg", "D")
	l.put("stroke/retakes/d.jpg", "E")
	l.want("stroke/retakes/d.jpg", "E")
	l.quiet()
}

func TestTheCaptureFolderMayBeALink(t *testing.T) {
	skipOnWindows(t, "making links needs a privilege there")
	var link string
	l := runLive(t, func(c *Config) {
		link = c.Folder + ".link"
		if err := os.Symlink(c.Folder, link); err != nil {
			t.Fatal(err)
		}
		c.Folder, c.Poll = link, time.Hour
	})
	l.put("a.jpg", "A")
	if v := l.want("a.jpg", "A"); v.Path != filepath.Join(link, "a.jpg") {
		t.Errorf("its path is %s, want it below %s", v.Path, link)
	}
	if err := os.Mkdir(l.path("bow"), 0o755); err != nil {
		t.Fatal(err)
	}
	l.put("bow/b.jpg", "B")
	l.want("bow/b.jpg", "B")
	l.quiet()
}

func TestTheFolderIsPulledAndComesBackForReal(t *testing.T) {
	l := runLive(t, nil)
	if err := os.Rename(l.folder, l.folder+".aside"); err != nil {
		t.Fatal(err)
	}
	l.wantProblem(FolderGone)
	if err := os.Rename(l.folder+".aside", l.folder); err != nil {
		t.Fatal(err)
	}
	l.wantProblem(FolderBack)
	l.put("a.jpg", "A")
	l.want("a.jpg", "A")
	if err := os.RemoveAll(l.folder); err != nil {
		t.Fatal(err)
	}
	l.wantProblem(FolderGone)
	if err := os.Mkdir(l.folder, 0o755); err != nil {
		t.Fatal(err)
	}
	l.wantProblem(FolderBack)
	l.put("b.jpg", "B")
	l.want("b.jpg", "B")
	l.quiet()
}

func (l *live) wantProblem(kind ProblemKind) Problem {
	l.t.Helper()
	select {
	case p := <-l.problems:
		if p.Kind != kind {
			l.t.Fatalf("got %v: %v, want %v", p.Kind, p.Err, kind)
		}
		return p
	case v := <-l.versions:
		l.t.Fatalf("got %s, want %v", v.Rel, kind)
	case <-time.After(deadline):
		l.t.Fatalf("no %v reported", kind)
	}
	panic("unreachable")
}

func TestHundredsOfFilesAtOnceEachArriveOnce(t *testing.T) {
	for _, mode := range []string{"events", "polling"} {
		t.Run(mode, func(t *testing.T) {
			l := runLive(t, func(c *Config) {
				if mode == "polling" {
					c.PollOnly, c.Poll = true, 100*time.Millisecond
				}
			})
			const writers, each = 8, 50
			body := l.pics.get(t, "A")
			var wg sync.WaitGroup
			for i := range writers {
				wg.Go(func() {
					dir := l.path(fmt.Sprintf("sitter%d", i))
					if err := os.Mkdir(dir, 0o755); err != nil {
						t.Error(err)
					}
					for j := range each {
						name := filepath.Join(dir, fmt.Sprintf("%03d.jpg", j))
						if err := os.WriteFile(name, body, 0o644); err != nil {
							t.Error(err)
						}
					}
				})
			}
			wg.Wait()
			seen := map[string]int{}
			for range writers * each {
				select {
				case v := <-l.versions:
					seen[v.Rel]++
				case p := <-l.problems:
					t.Fatalf("%v: %v", p.Kind, p.Err)
				case <-time.After(deadline):
					t.Fatalf("only %d of %d files arrived", len(seen), writers*each)
				}
			}
			if len(seen) != writers*each {
				t.Errorf("%d different files arrived, want %d", len(seen), writers*each)
			}
			l.quiet()
		})
	}
}

func TestAFileIsReadOnlyWhenTheSinkIsReady(t *testing.T) {
	l := runLive(t, nil)
	first, second := make(chan bool), make(chan bool)
	l.onTake = func(v Version) error {
		if v.Rel == "1.jpg" {
			first <- true
			<-second
		}
		return nil
	}
	l.put("1.jpg", "A")
	<-first // the sink is busy with it
	l.put("2.jpg", "B")
	l.put("2.jpg", "C") // nobody has looked at B, or holds its bytes
	second <- true
	l.want("1.jpg", "A")
	l.want("2.jpg", "C")
	l.quiet()
}

func TestAVersionBiggerThanTheCapComesWithoutItsBytes(t *testing.T) {
	l := runLive(t, func(c *Config) { c.MaxData = 100 })
	l.put("a.jpg", "A")
	v := l.want("a.jpg", "A")
	if v.Data != nil || v.Size != int64(len(l.pics.get(t, "A"))) {
		t.Errorf("%d bytes of data, size %d, want none and %d", len(v.Data), v.Size, len(l.pics.get(t, "A")))
	}
	r, err := Open(v.Path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	l.quiet()
}

func TestRunEndsWhileTheSinkKeepsRefusing(t *testing.T) {
	l := runLive(t, nil)
	tried := make(chan bool, 100)
	l.onTake = func(Version) error { tried <- true; return errors.New("the record is full") }
	l.put("a.jpg", "A")
	<-tried
	<-tried
	l.stop()
}

func TestAWatcherRunsOnce(t *testing.T) {
	w, err := New(Config{Folder: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := w.Run(ctx, nil); err != nil {
		t.Errorf("first run: %v", err)
	}
	if err := w.Run(ctx, nil); err == nil {
		t.Error("the second run was no error")
	}
}

func TestNothingIsLeftBehind(t *testing.T) {
	goroutines, descriptors := running(), openFiles()
	for range 3 {
		l := runLive(t, nil)
		l.put("a.jpg", "A")
		l.want("a.jpg", "A")
		l.stop()
	}
	// The runtime retires a goroutine a moment after its last act.
	for end := time.Now().Add(deadline); len(running()) > len(goroutines) && time.Now().Before(end); {
		runtime.Gosched()
	}
	if now := running(); len(now) > len(goroutines) {
		t.Errorf("%d goroutines before, %d after:\n%s", len(goroutines), len(now), strings.Join(now, "\n\n"))
	}
	if now := openFiles(); len(now) > len(descriptors) {
		t.Errorf("open before: %v\nafter: %v", descriptors, now)
	}
}

// running lists the goroutines that are in this package or in fsnotify.
func running() []string {
	buf := make([]byte, 1<<20)
	all := strings.Split(string(buf[:runtime.Stack(buf, true)]), "\n\n")
	return slices.DeleteFunc(all, func(s string) bool {
		return !strings.Contains(s, "fsnotify") && !strings.Contains(s, "watcher.(*")
	})
}

// openFiles lists what the process holds open, where the system tells (Linux).
func openFiles() (open []string) {
	fds, _ := os.ReadDir("/proc/self/fd")
	for _, fd := range fds {
		if to, err := os.Readlink("/proc/self/fd/" + fd.Name()); err == nil && strings.Contains(to, "inotify") {
			open = append(open, to)
		}
	}
	return open
}

func TestTheCaptureFolderIsLeftAsItWas(t *testing.T) {
	l := runLive(t, nil)
	l.put("a.jpg", "A")
	old := time.Date(2020, 1, 2, 3, 4, 5, 0, time.UTC)
	if err := os.Chtimes(l.path("a.jpg"), old, old); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(l.path("a.jpg"), 0o444); err != nil {
		t.Fatal(err)
	}
	l.want("a.jpg", "A")
	l.put("b.jpg", "B")
	l.want("b.jpg", "B")
	l.stop()
	fi, err := os.Stat(l.path("a.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(l.folder)
	if err != nil {
		t.Fatal(err)
	}
	if !fi.ModTime().Equal(old) || fi.Mode().Perm() != 0o444 || len(entries) != 3 {
		t.Errorf("a.jpg: time %v, mode %v; %d entries in the folder, want 3", fi.ModTime(), fi.Mode(), len(entries))
	}
}
