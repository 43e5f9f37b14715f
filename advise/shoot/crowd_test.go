package shoot

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/trail"
	"thirdstop/watcher"
)

// Many look on while frames arrive and people act; the race detector looks at all of them.
func TestManyMayLookWhileFramesArrive(t *testing.T) {
	b := newBench(t)
	s := b.open()
	b.submit(s, withPlan(Request{}))
	ctx, stop := context.WithCancel(context.Background())
	var crowd sync.WaitGroup
	for i := range 4 {
		crowd.Go(func() {
			changed, leave := s.Watch()
			defer leave()
			last := uint64(0)
			for ctx.Err() == nil {
				select {
				case <-changed:
				case <-ctx.Done():
				}
				snap := s.Snapshot()
				if snap.State.Seq < last {
					t.Errorf("state %d was shown after %d", snap.State.Seq, last)
				}
				last = snap.State.Seq
				events, err := s.Events(snap.LastEvent-min(snap.LastEvent, 5), 10)
				if err != nil || uint64(len(events)) < min(snap.LastEvent, 5) {
					t.Errorf("events: %d, %v", len(events), err)
				}
				for _, f := range snap.State.Frames {
					s.Words(f.File)
				}
				if n := snap.State.FrameCount; n > 0 {
					if _, err := s.Thumbnail(ctx, n, 100+i*400); err != nil && !errors.Is(err, ErrNoFrame) && ctx.Err() == nil {
						t.Errorf("Thumbnail = %v", err)
					}
				}
			}
		})
	}
	var actors sync.WaitGroup
	for i := range 3 {
		actors.Go(func() {
			for k := range 30 {
				_, err := s.Submit(ctx, Request{Client: fmt.Sprintf("%d-%d", i, k/2), Note: new("pull")})
				if err != nil {
					t.Errorf("Submit = %v", err)
				}
			}
		})
	}
	actors.Go(func() {
		for i := range 60 {
			s.Trouble(ctx, watcher.Problem{Rel: "x", Kind: watcher.Incomplete, Err: errors.New("half")})
			b.take(s, fmt.Sprintf("Q_%04d.JPG", i), fmt.Sprintf("backdrop %g white -0.3 kind full", -float64(i%20)/10))
		}
	})
	actors.Wait()
	stop()
	crowd.Wait()
	notes := 0
	for i, e := range must(s.Events(0, 10000)) {
		if e.Number != uint64(i+1) {
			t.Fatalf("event %d has the number %d", i+1, e.Number)
		}
		if e.Kind == "note" {
			notes++
		}
	}
	if notes != 45 {
		t.Errorf("%d notes, want 45: each was sent twice", notes)
	}
}

func TestEventsAreGivenInPages(t *testing.T) {
	b := newBench(t)
	s := b.open()
	for i := range 9 {
		b.submit(s, Request{Note: new(fmt.Sprint("note ", i))})
	}
	for _, tc := range []struct {
		after uint64
		limit int
		want  string
	}{{0, 3, "1 2 3"}, {8, 5, "9 10"}, {10, 5, ""}, {99, 5, ""}, {1<<64 - 1, 500, ""}, {3, 0, ""}, {3, -1, ""}, {9, 1 << 62, "10"}} {
		var got []string
		for _, e := range must(s.Events(tc.after, tc.limit)) {
			got = append(got, fmt.Sprint(e.Number))
		}
		if strings.Join(got, " ") != tc.want {
			t.Errorf("Events(%d, %d) = %v, want %s", tc.after, tc.limit, got, tc.want)
		}
	}
	if e := must(s.Events(9, 1))[0]; e.Words != "note 8" {
		t.Errorf("the last note reads %q", e.Words)
	}
}

func TestPicturesAreMadeOnceAndAgainWhenTheyAreGone(t *testing.T) {
	b := newBench(t)
	s := b.open()
	ctx := context.Background()
	b.take(s, "Q_0001.JPG", dark)
	want := func(frame, edge int, text string) {
		t.Helper()
		jpeg, err := s.Thumbnail(ctx, frame, edge)
		if err != nil || string(jpeg) != text {
			t.Errorf("Thumbnail(%d, %d) = %q, %v; want %q", frame, edge, jpeg, err, text)
		}
	}
	want(1, 1600, dark+" at 1500")
	want(1, 200, dark+" at 320")
	b.take(s, "Q_0001.JPG", good)
	want(1, 1600, good+" at 1500")
	b.take(s, "Q_0001.raw", "backdrop -0.7 white -3 kind approximate") // worth less: the JPEG stays
	want(1, 1600, good+" at 1500")
	b.submit(s, Request{Reference: &advise.Reference{Frame: 1, Box: &card}})
	want(1, 1600, good+" at 1500")
	b.close(s)
	s = b.open()
	want(1, 1600, good+" at 1500")
	if err := os.RemoveAll(filepath.Join(b.trailOf(s), "pictures")); err != nil {
		t.Fatal(err)
	}
	want(1, 1600, good+" at 1500")
	os.RemoveAll(filepath.Join(b.trailOf(s), "pictures"))
	b.file("Q_0001.JPG", dark) // not what was measured
	for _, n := range []int{1, 0, -1, 7} {
		if _, err := s.Thumbnail(ctx, n, 1600); !errors.Is(err, ErrNoFrame) {
			t.Errorf("Thumbnail(%d) without a picture = %v, want ErrNoFrame", n, err)
		}
	}
}

func TestABurstLeavesPicturesToBeMadeWhenAsked(t *testing.T) {
	b := newBench(t)
	b.g.slow = make(chan struct{})
	s := b.open()
	for i := range 10 {
		b.take(s, fmt.Sprintf("Q_%04d.JPG", i+1), fmt.Sprintf("backdrop -0.%d white -1 kind full", i))
	}
	close(b.g.slow)
	for i := range 10 {
		if jpeg, err := s.Thumbnail(context.Background(), i+1, 1600); err != nil || !strings.HasPrefix(string(jpeg), fmt.Sprintf("backdrop -0.%d", i)) {
			t.Errorf("Thumbnail(%d) = %q, %v", i+1, jpeg, err)
		}
	}
	if n := len(s.pics.waiting); n != 0 {
		t.Errorf("%d pictures are still waited for", n)
	}
}

func TestInABurstTheNewestPicturesAreMade(t *testing.T) {
	b := newBench(t)
	b.g.slow = make(chan struct{})
	s := b.open()
	const last = 10
	for i := range last {
		b.take(s, fmt.Sprintf("Q_%04d.JPG", i+1), dark+fmt.Sprint(" ", i))
	}
	close(b.g.slow)
	for _, n := range []int{last, last - 1} { // those that wait; all the others would be made anew for this
		if _, err := s.Thumbnail(context.Background(), n, 1600); err != nil {
			t.Errorf("Thumbnail(%d): %v", n, err)
		}
	}
	b.close(s)
	var made []string
	for _, f := range must(os.ReadDir(filepath.Join(b.trailOf(s), picturesDir))) {
		if number, _, _ := strings.Cut(f.Name(), "-"); len(made) == 0 || made[len(made)-1] != number {
			made = append(made, number)
		}
	}
	got := strings.Join(made, " ")
	if want := "0000009 0000010"; !strings.HasSuffix(got, want) || len(made) > 3 { // and the one that was under way
		t.Errorf("in a burst of %d the pictures of %s were made, want %s and at most one more", last, got, want)
	}
}

func TestOldPicturesGo(t *testing.T) {
	b := newBench(t)
	s := b.open()
	dir := filepath.Join(b.trailOf(s), "pictures")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	for i := range keepFiles {
		if err := os.WriteFile(s.pics.name(version{0, i + 1}, smallEdge), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	b.take(s, "Q_0001.JPG", dark)
	b.take(s, "Q_0002.JPG", good)
	for n := 1; n <= 2; n++ {
		if _, err := s.Thumbnail(context.Background(), n, 1600); err != nil {
			t.Errorf("Thumbnail(%d) = %v", n, err)
		}
	}
	if n := len(must(os.ReadDir(dir))); n > keepFiles {
		t.Errorf("%d picture files are kept, want %d at most", n, keepFiles)
	}
	if _, err := os.Stat(s.pics.name(version{0, 1}, smallEdge)); !os.IsNotExist(err) {
		t.Errorf("the oldest picture: %v, want it gone first", err)
	}

	// Nobody looks at an ended shoot's pictures any more.
	b.submit(s, Request{End: true})
	b.close(s)
	b.open()
	if _, err := os.Stat(dir); !os.IsNotExist(err) {
		t.Errorf("the pictures of the ended shoot: %v, want them gone", err)
	}
	if _, err := trail.Verify(b.trailOf(s), ""); err != nil {
		t.Errorf("its trail: %v", err)
	}
}

func TestClosingWaitsForNoQueue(t *testing.T) {
	b := newBench(t)
	before := runtime.NumGoroutine()
	b.g.slow = make(chan struct{})
	s := b.open()
	for i := range 6 {
		b.take(s, fmt.Sprintf("Q_%04d.JPG", i+1), dark)
	}
	asked := make(chan error, 1)
	go func() {
		_, err := s.Thumbnail(context.Background(), 6, 1600) // one that waits its turn: others are made out of their files, aside
		asked <- err
	}()
	closed := make(chan error, 1)
	go func() { closed <- s.Close() }()
	for closing := false; !closing; runtime.Gosched() {
		s.pics.mu.Lock()
		closing = s.pics.closed
		s.pics.mu.Unlock()
	}
	done, limit := false, time.After(20*time.Second)
	for tokens := 2; !done; { // the large and the small picture of the frame under way, and no other
		slow := b.g.slow
		if tokens == 0 {
			slow = nil
		}
		select {
		case slow <- struct{}{}:
			tokens--
		case err := <-closed:
			if done = true; err != nil {
				t.Errorf("Close() = %v", err)
			}
		case <-limit:
			t.Fatal("Close waits for pictures that nobody needs")
		}
	}
	close(b.g.slow)
	<-asked // a picture or none, but an answer
	if err := s.Complete(context.Background(), b.file("late.JPG", good)); !errors.Is(err, ErrNotRecorded) {
		t.Errorf("a file after Close = %v, want ErrNotRecorded", err)
	}
	if _, err := s.Submit(context.Background(), Request{Note: new("late")}); !errors.Is(err, ErrNotRecorded) {
		t.Errorf("a request after Close = %v, want ErrNotRecorded", err)
	}
	for range 100 {
		if runtime.NumGoroutine() <= before {
			return
		}
		time.Sleep(10 * time.Millisecond) // goroutines end by themselves; there is no clock to pass in
	}
	t.Errorf("%d goroutines, %d before the shoot", runtime.NumGoroutine(), before)
}
