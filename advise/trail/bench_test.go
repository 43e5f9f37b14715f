package trail_test

import (
	"fmt"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"thirdstop/advise/trail"
)

// longTrail makes a trail of n records with bodies of about the given size, and a text for every tenth.
func longTrail(tb testing.TB, dir string, n, size int) {
	tr := create(tb, dir, trail.Options{})
	cells := strings.Repeat("0.123,", size/6)
	for i := range n {
		var ref *trail.Ref
		if i%1000 == 0 { // texts are synced, which is the disk's time and not what is measured
			r := keep(tb, tr, fmt.Sprintf("committee/%d.jpg", i))
			ref = &r
		}
		if _, err := tr.AppendUnsynced("input", 1, "r1", morning, map[string]any{"frame": i, "cells": cells, "path": ref}); err != nil {
			tb.Fatal(err)
		}
	}
	if err := tr.Close(); err != nil {
		tb.Fatal(err)
	}
}

func TestOpenHoldsNoBodies(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "long")
	longTrail(t, dir, 5_000, 4_000) // 21 MB
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	tr, _ := open(t, dir, trail.Options{})
	runtime.ReadMemStats(&after)
	if got := after.TotalAlloc - before.TotalAlloc; got > 2<<20 {
		t.Errorf("opening a trail of 21 MB allocated %d bytes in all, want 2 MB at most", got)
	}
	if tr.Head().Seq != 5_001 {
		t.Errorf("head is %v", tr.Head())
	}
}

func BenchmarkOpen100000(b *testing.B) {
	for _, size := range []int{300, 1_500} {
		b.Run(fmt.Sprintf("body=%d", size), func(b *testing.B) {
			dir := filepath.Join(b.TempDir(), "long")
			longTrail(b, dir, 100_000, size)
			b.ReportAllocs()
			for b.Loop() {
				tr, _, err := trail.Open(dir, trail.Options{})
				if err != nil {
					b.Fatal(err)
				}
				tr.Close()
			}
		})
	}
}

func BenchmarkRead100000(b *testing.B) {
	dir := filepath.Join(b.TempDir(), "long")
	longTrail(b, dir, 100_000, 1_500)
	for b.Loop() {
		for _, err := range trail.Read(dir) {
			if err != nil {
				b.Fatal(err)
			}
		}
	}
}

func BenchmarkVerify100000(b *testing.B) {
	dir := filepath.Join(b.TempDir(), "long")
	longTrail(b, dir, 100_000, 1_500)
	for b.Loop() {
		if _, err := trail.Verify(dir, ""); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAppend(b *testing.B) {
	body := map[string]any{"cells": strings.Repeat("0.123,", 250)}
	for _, c := range []struct {
		name string
		disk trail.Disk
		sync bool
	}{{"synced", trail.OSDisk{}, true}, {"unsynced", trail.OSDisk{}, false}} {
		b.Run(c.name, func(b *testing.B) {
			tr := create(b, filepath.Join(b.TempDir(), "shoot"), trail.Options{Disk: c.disk})
			app := tr.AppendUnsynced
			if c.sync {
				app = tr.Append
			}
			at := time.Now()
			for b.Loop() {
				if _, err := app("input", 1, "r1", at, body); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
