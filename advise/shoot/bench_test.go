package shoot

import (
	"context"
	"crypto/sha256"
	"fmt"
	"runtime"
	"testing"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/trail"
	"thirdstop/watcher"
)

// unsynced is the machine's disk without its slowness, so that the rest is seen.
type unsynced struct{ trail.OSDisk }

type unsyncedFile struct{ trail.File }

func (unsyncedFile) Sync() error { return nil }

func (d unsynced) Append(name string) (trail.File, error) {
	f, err := d.OSDisk.Append(name)
	if err != nil {
		return nil, err
	}
	return unsyncedFile{f}, nil
}

// arrive lets n frames arrive; from is the number before the first.
func arrive(tb testing.TB, s *Shoot, from, n int) {
	for i := from; i < from+n; i++ {
		text := fmt.Sprintf("backdrop %g white %g kind full", -0.8-float64(i%3)/100, -1.1-float64(i%4)/100)
		v := watcher.Version{Rel: fmt.Sprintf("stroke/Q_%06d.JPG", i), Data: []byte(text), Hash: sha256.Sum256([]byte(text + fmt.Sprint(i))), Written: time.Now()}
		if err := s.Complete(context.Background(), v); err != nil {
			tb.Fatal(err)
		}
	}
}

func history(tb testing.TB, n int) (*bench, *Shoot) {
	b := newBench(tb)
	b.disk = unsynced{}
	s := b.open()
	b.submit(s, withPlan(Request{}))
	arrive(tb, s, 0, 1)
	b.submit(s, Request{Reference: &advise.Reference{Frame: 1, Box: &card}})
	arrive(tb, s, 1, n)
	return b, s
}

func TestAFrameCostsTheSameAfterThousands(t *testing.T) {
	_, s := history(t, 200)
	// Allocated bytes don't depend on how busy the machine is.
	cost := func() float64 {
		from := s.Snapshot().State.FrameCount
		var a, b runtime.MemStats
		runtime.ReadMemStats(&a)
		arrive(t, s, from, 100)
		runtime.ReadMemStats(&b)
		return float64(b.TotalAlloc-a.TotalAlloc) / 100
	}
	early := cost()
	more := 2500
	if testing.Short() {
		more = 500
	}
	arrive(t, s, s.Snapshot().State.FrameCount, more)
	late := cost()
	t.Logf("%.0f bytes a frame after 200 frames, %.0f after %d", early, late, 300+more)
	if late > early*1.3 {
		t.Errorf("a frame costs %.0f bytes after %d frames and %.0f after 200: something grows", late, 300+more, early)
	}
	if n := len(s.Snapshot().State.Frames); n != advise.KeepFrames {
		t.Errorf("the state carries %d frames, want %d", n, advise.KeepFrames)
	}
}

func BenchmarkFrame(b *testing.B) {
	for _, n := range []int{1, 1_000, 20_000} {
		b.Run(fmt.Sprintf("after %d", n), func(b *testing.B) {
			_, s := history(b, n)
			from := s.Snapshot().State.FrameCount
			i := 0
			for b.Loop() {
				arrive(b, s, from+i, 1)
				i++
			}
		})
	}
}

func BenchmarkResume10000(b *testing.B) {
	bn, s := history(b, 10_000)
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		s, _, err := Open(bn.config())
		if err != nil {
			b.Fatal(err)
		}
		if err := s.Close(); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkReplay10000 plays a shoot of 10,000 frames from its beginning, as a sheet, an export and `trail replay` do.
func BenchmarkReplay10000(b *testing.B) {
	_, s := history(b, 10_000)
	dir := s.trail.Dir()
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		for _, err := range Steps(dir) {
			if err != nil {
				b.Fatal(err)
			}
		}
	}
}
