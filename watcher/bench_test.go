package watcher

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// BenchmarkCloseToComplete measures what a frame waits for: from the writer's close to the
// call of Complete, reading and hashing
// included, the caller's structure check not.
func BenchmarkCloseToComplete(b *testing.B) {
	for _, size := range []int{8 << 10, 8 << 20} {
		b.Run(fmt.Sprintf("%dKB", size>>10), func(b *testing.B) {
			took := make(chan time.Time, 1)
			l := runLive(b, func(c *Config) {
				c.Whole = func(string, io.ReaderAt, int64) error { return nil }
			})
			l.onTake = func(Version) error { took <- time.Now(); return nil }
			body := picture(b, "A", size)
			var all []time.Duration
			for i := 0; b.Loop(); i++ {
				f, err := os.Create(l.path(fmt.Sprintf("%06d.jpg", i)))
				if err != nil {
					b.Fatal(err)
				}
				if _, err := f.Write(body); err != nil {
					b.Fatal(err)
				}
				start := time.Now()
				if err := f.Close(); err != nil {
					b.Fatal(err)
				}
				all = append(all, (<-took).Sub(start))
				<-l.versions
				b.StopTimer()
				os.Remove(f.Name())
				b.StartTimer()
			}
			slices.Sort(all)
			b.ReportMetric(float64(all[len(all)/2].Microseconds())/1000, "ms-median")
			b.ReportMetric(float64(all[len(all)*99/100].Microseconds())/1000, "ms-p99")
			b.ReportMetric(float64(all[len(all)-1].Microseconds())/1000, "ms-worst")
		})
	}
}

// BenchmarkScan measures one reading of a folder in which nothing has changed.
func BenchmarkScan(b *testing.B) {
	for _, n := range []int{2000, 10000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			dir := b.TempDir()
			for i := range n {
				if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("frame_%05d.jpg", i)), []byte("x"), 0o644); err != nil {
					b.Fatal(err)
				}
			}
			w, err := New(Config{Folder: dir, Existing: SkipExisting})
			if err != nil {
				b.Fatal(err)
			}
			w.begin(nil)
			defer w.end()
			w.turn(context.Background())
			b.ReportAllocs()
			for b.Loop() {
				w.scan(context.Background())
			}
		})
	}
}
