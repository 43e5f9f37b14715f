package trail_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"thirdstop/advise/trail"
)

// placed is a trail with a place in its middle.
func placed(t *testing.T) (dir string, p trail.Place, head trail.Head) {
	dir = t.TempDir()
	tr := create(t, dir, trail.Options{})
	for i := range 40 {
		if i == 20 {
			p = tr.Place()
		}
		add(t, tr, fmt.Sprint("frame ", i))
	}
	head = tr.Head()
	if err := tr.Close(); err != nil {
		t.Fatal(err)
	}
	return dir, p, head
}

func TestATrailOpenedFromAPlaceIsTheSameTrail(t *testing.T) {
	dir, p, head := placed(t)
	tr, repairs, err := trail.OpenFrom(dir, trail.Options{}, p)
	if err != nil || len(repairs) != 0 || tr.Head() != head {
		t.Fatalf("opened at %v, %v, %v; want %v", tr.Head(), repairs, err, head)
	}
	n := p.Head.Seq
	for r, err := range tr.After(n) {
		if n++; err != nil || r.Seq != n {
			t.Fatalf("record %d, %v, want %d", r.Seq, err, n)
		}
	}
	if n != head.Seq {
		t.Errorf("%d records, want %d", n, head.Seq)
	}
	n = 0
	for r, err := range tr.After(0) { // from before the place, too
		if n++; err != nil || r.Seq != n {
			t.Fatalf("record %d, %v, want %d", r.Seq, err, n)
		}
	}
	add(t, tr, "on")
	if err := tr.Close(); err != nil {
		t.Fatal(err)
	}
	if rep, err := trail.Verify(dir, head.String()); err != nil || rep.Records != head.Seq+1 {
		t.Errorf("Verify: %d records, %v", rep.Records, err)
	}
	if err := trail.CheckTo(context.Background(), dir, p, 0); err != nil {
		t.Errorf("CheckTo: %v", err)
	}
}

// Every byte of the trail is changed once: behind the place, in its record and in the header OpenFrom finds it, before
// the place CheckTo does.
func TestAChangedByteIsFoundFromAPlaceOrBeforeIt(t *testing.T) {
	dir, p, _ := placed(t)
	chain := filepath.Join(dir, "trail.jsonl")
	good, err := os.ReadFile(chain)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(good)-1; i += 1 + rand.IntN(5) {
		bad := append([]byte(nil), good...)
		bad[i] ^= byte(1 << rand.IntN(8))
		if err := os.WriteFile(chain, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		before := trail.CheckTo(context.Background(), dir, p, 0)
		tr, _, after := trail.OpenFrom(dir, trail.Options{}, p)
		if after == nil {
			tr.Close()
		}
		if int64(i) < p.End && before == nil {
			t.Fatalf("byte %d of %d before the place was changed, and CheckTo found nothing", i, p.End)
		}
		// No hash vouches for the last record; what is left of it may still be a good one.
		if last := i > bytes.LastIndexByte(good[:len(good)-1], '\n'); int64(i) >= p.Begin && after == nil && !last {
			t.Fatalf("byte %d of %d behind the place (%d) was changed, and OpenFrom found nothing", i, len(good), p.Begin)
		}
		if int64(i) >= p.Begin && int64(i) < p.End && !errors.Is(after, trail.ErrPlace) {
			t.Fatalf("byte %d in the place's record was changed: %v, want ErrPlace", i, after)
		}
	}
	if err := os.WriteFile(chain, good[:p.End-1], 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := trail.OpenFrom(dir, trail.Options{}, p); !errors.Is(err, trail.ErrPlace) {
		t.Errorf("a trail that was cut off before the place: %v", err)
	}
}
