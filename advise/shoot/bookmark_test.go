package shoot

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/trail"
	"thirdstop/watcher"
)

// bookmarkOf is the path of a shoot's bookmark.
func (b *bench) bookmarkOf(s *Shoot) string { return filepath.Join(b.trailOf(s), bookmarkName) }

// busy is a shoot with something of everything in it, closed.
func busy(tb testing.TB, frames int) (*bench, string) {
	b := newBench(tb)
	b.disk = unsynced{}
	s := b.open()
	b.submit(s, withPlan(Request{Client: planFileClient + "x"}))
	b.take(s, "stroke/Q_1.JPG", dark)
	b.submit(s, Request{Client: "ref", Reference: &advise.Reference{Frame: 1, Box: &card}})
	note, sitter := "the umbrella sagged", "stroke"
	b.submit(s, Request{Client: "note", Note: &note})
	b.submit(s, Request{Client: "turn", Adjusted: &advise.Adjusted{Group: "B", To: -80}})
	arrive(tb, s, 2, frames)
	b.take(s, "stroke/Q_1.JPG", good)
	b.take(s, "cox/Q_2.JPG", "no picture at all")
	if err := s.Trouble(context.Background(), torn("cox/Q_3.JPG", "half", watcher.Incomplete)); err != nil {
		tb.Fatal(err)
	}
	b.submit(s, Request{Client: "sitter", Sitter: &sitter})
	b.submit(s, Request{Client: "base", Baseline: &advise.Baseline{Frame: frames}})
	b.close(s)
	return b, b.trailOf(s)
}

// inside is everything about a shoot that its records decide, comparable.
func inside(s *Shoot) map[string]any {
	return map[string]any{"state": s.state, "at": s.stateAt, "clients": s.clients, "numbers": s.numbers, "revision": s.revision, "owed": s.owed,
		"plan": s.planFile, "plan at": s.planAt, "content": s.content, "effective": s.effective, "marks": s.marks, "orphans": s.orphans, "contents": s.contents,
		"nameless": s.nameless, "told": s.told, "refs": s.refs, "events": s.events, "head": s.Head()}
}

// later is what two shoots have in common after the same frames: ids into the side file are drawn at random.
func later(s *Shoot) map[string]any {
	var texts []string
	for _, e := range s.events {
		texts = append(texts, fmt.Sprintf("%d %s %d %s", e.Number, e.Kind, e.Frame, e.Text))
	}
	return map[string]any{"advice": s.state.Advice, "lights": s.state.Lights, "question": s.state.Question, "texts": texts, "content": s.content,
		"revision": s.revision, "numbers": s.numbers, "effective": s.effective}
}

func same(t *testing.T, what string, got, want map[string]any) {
	t.Helper()
	for _, k := range slices.Sorted(maps.Keys(want)) {
		g, w := got[k], want[k]
		if reflect.ValueOf(w).Kind() == reflect.Slice && reflect.ValueOf(w).Len() == 0 && reflect.ValueOf(g).Len() == 0 {
			continue
		}
		if !reflect.DeepEqual(g, w) {
			a, b := fmt.Sprintf("%+v", g), fmt.Sprintf("%+v", w)
			i := 0
			for i < min(len(a), len(b)) && a[i] == b[i] {
				i++
			}
			t.Errorf("%s: %s differs: ...%.200s\nwant ...%.200s", what, k, a[max(i-40, 0):], b[max(i-40, 0):])
		}
	}
}

// opened opens a copy of a data folder, so that it can be opened again as it was.
func (b *bench) openedCopy(dir string) (*Shoot, Start) {
	b.t.Helper()
	c := b.config()
	c.Shoots = filepath.Join(b.t.TempDir(), "shoots")
	to := filepath.Join(c.Shoots, filepath.Base(dir))
	if err := os.MkdirAll(to, 0o700); err != nil {
		b.t.Fatal(err)
	}
	for _, name := range []string{"trail.jsonl", "names.jsonl", bookmarkName} { // pictures are still being made
		text, err := os.ReadFile(filepath.Join(dir, name))
		if err == nil {
			err = os.WriteFile(filepath.Join(to, name), text, 0o600)
		}
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			b.t.Fatal(err)
		}
	}
	c.Now = func() time.Time { return time.Date(2026, 11, 26, 9, 0, 0, 0, time.UTC) }
	s, start, err := Open(c)
	if err != nil {
		b.t.Fatalf("opening a copy: %v", err)
	}
	b.t.Cleanup(func() { s.Close() })
	return s, start
}

func TestABookmarkGivesWhatPlayingAllRecordsGives(t *testing.T) {
	b, dir := busy(t, 150)
	quick, start := b.openedCopy(dir)
	if start.Trusted.Head.Seq == 0 {
		t.Fatal("the bookmark was not used")
	}
	if err := os.Remove(filepath.Join(dir, bookmarkName)); err != nil {
		t.Fatal(err)
	}
	whole, start := b.openedCopy(dir)
	if start.Trusted.Head.Seq != 0 {
		t.Fatal("a bookmark was used that is not there")
	}
	same(t, "with a bookmark", inside(quick), inside(whole))
	// And it goes on alike.
	for _, s := range []*Shoot{quick, whole} {
		s.c.Now = newClock().now
		arrive(t, s, 500, 20)
	}
	same(t, "20 frames later", later(quick), later(whole))
	if r, err := Replay(filepath.Join(quick.c.Shoots, quick.ID())); err != nil || len(r.Differs) != 0 {
		t.Errorf("the replay of a shoot that went on from a bookmark: %d differences, %v", len(r.Differs), err)
	}
}

func TestABookmarkFromTheMiddleIsGoneOnFrom(t *testing.T) {
	b := newBench(t)
	b.disk = unsynced{}
	s := b.open()
	b.submit(s, withPlan(Request{}))
	arrive(t, s, 1, 100)
	h, body, err := s.mark()
	if err != nil {
		t.Fatal(err)
	}
	if err := s.trail.Sync(); err != nil {
		t.Fatal(err)
	}
	if err := s.writeBookmark(h, body); err != nil {
		t.Fatal(err)
	}
	arrive(t, s, 101, 40)
	s.trail.Sync() // and now it is killed
	dir := b.trailOf(s)
	quick, start := b.openedCopy(dir)
	if start.Trusted.Head != h.Place.Head {
		t.Fatalf("gone on from %v, want %v", start.Trusted.Head, h.Place.Head)
	}
	if err := os.Remove(filepath.Join(dir, bookmarkName)); err != nil {
		t.Fatal(err)
	}
	whole, _ := b.openedCopy(dir)
	same(t, "from the middle", inside(quick), inside(whole))
}

func TestAnUnusableBookmarkIsPassedOver(t *testing.T) {
	b, dir := busy(t, 12)
	name := filepath.Join(dir, bookmarkName)
	good, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	_, otherDir := busy(t, 12)
	foreign, err := os.ReadFile(filepath.Join(otherDir, bookmarkName))
	if err != nil {
		t.Fatal(err)
	}
	want := func() map[string]any {
		if err := os.Remove(name); err != nil {
			t.Fatal(err)
		}
		s, _ := b.openedCopy(dir)
		return inside(s)
	}()
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 0))
	bad := map[string][]byte{"empty": {}, "of another shoot": foreign}
	for range 12 {
		n := r.IntN(len(good))
		bad[fmt.Sprintf("torn at byte %d", n)] = good[:n]
		flipped := slices.Clone(good)
		flipped[n] ^= byte(1 << r.IntN(8))
		bad[fmt.Sprintf("with a bit of byte %d flipped", n)] = flipped
	}
	for what, text := range bad {
		if err := os.WriteFile(name, text, 0o600); err != nil {
			t.Fatal(err)
		}
		s, start := b.openedCopy(dir)
		if start.Trusted.Head.Seq != 0 {
			t.Errorf("a bookmark %s was used (seed %d)", what, seed)
		}
		same(t, "a bookmark "+what, inside(s), want)
		s.Close()
	}
	// Of another program.
	if err := os.WriteFile(name, good, 0o600); err != nil {
		t.Fatal(err)
	}
	if h, _ := readBookmark(dir, "another", true); h != nil {
		t.Error("the bookmark of another program was used")
	}
	if h, body := readBookmark(dir, "test", true); h == nil || body == nil {
		t.Error("the bookmark itself can't be read any more")
	}
}

func TestAnEditedTrailIsNotHiddenByItsBookmark(t *testing.T) {
	b, dir := busy(t, 12)
	chain := filepath.Join(dir, "trail.jsonl")
	text, err := os.ReadFile(chain)
	if err != nil {
		t.Fatal(err)
	}
	i := strings.Index(string(text), "backdrop")
	text[i] ^= 1
	if err := os.WriteFile(chain, text, 0o600); err != nil {
		t.Fatal(err)
	}
	_, _, err = Open(b.config())
	if de, ok := errors.AsType[*trail.DamageError](err); !ok {
		t.Errorf("a damaged trail with a bookmark opens: %v", err)
	} else if de.Record == 0 {
		t.Errorf("no record is named: %v", err)
	}
	// Of a long trail that is found beside the shoot.
	text[i] ^= 1
	if err := os.WriteFile(chain, text, 0o600); err != nil {
		t.Fatal(err)
	}
	s := b.open()
	place := s.trail.Place()
	text[i] ^= 1
	f, err := os.OpenFile(chain, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt(text[i:i+1], int64(i)); err != nil {
		t.Fatal(err)
	}
	f.Close()
	s.checkBefore(context.Background(), place)
	found := s.Snapshot().Troubles
	if !slices.ContainsFunc(found, func(x Trouble) bool { return x.Code == "record" && strings.Contains(x.Text, "is damaged") }) {
		t.Errorf("the troubles are %v", found)
	}
	if _, err := os.Stat(b.bookmarkOf(s)); err == nil {
		t.Error("the bookmark is still there, so the next start would pass over the damage")
	}
	b.close(s)
	if _, err := os.Stat(b.bookmarkOf(s)); err == nil {
		t.Error("closing wrote a bookmark over the damage")
	}
}

// full is a disk that has room for records and none for bookmarks.
type full struct{ unsynced }

func (d full) Create(name string) (trail.File, error) {
	if strings.Contains(name, bookmarkName) {
		f, err := d.unsynced.Create(name)
		return fullFile{f}, err
	}
	return d.unsynced.Create(name)
}

type fullFile struct{ trail.File }

func (f fullFile) Write(b []byte) (int, error) {
	n, _ := f.File.Write(b[:len(b)/2])
	return n, syscall.ENOSPC
}

func TestAFullDiskCostsTheBookmarkAlone(t *testing.T) {
	b := newBench(t)
	b.disk = full{}
	s := b.open()
	b.submit(s, withPlan(Request{}))
	arrive(t, s, 1, 20)
	b.close(s)
	left, err := filepath.Glob(b.bookmarkOf(s) + "*")
	if err != nil || len(left) != 0 {
		t.Errorf("left over: %v, %v", left, err)
	}
	s, start := b.opened()
	if !start.Resumed || s.Snapshot().State.FrameCount != 20 {
		t.Errorf("resumed %v with %d frames", start.Resumed, s.Snapshot().State.FrameCount)
	}
}

func TestErasingTakesTheBookmarkWithIt(t *testing.T) {
	_, dir := busy(t, 12)
	name := filepath.Join(dir, bookmarkName)
	text, err := os.ReadFile(name)
	if err != nil || !strings.Contains(string(text), "stroke/Q_1.JPG") {
		t.Fatalf("the bookmark does not hold what is to be erased: %v", err)
	}
	if _, err := Erase(dir, Personal{Files: true}); err != nil {
		t.Fatal(err)
	}
	filepath.WalkDir(dir, func(p string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		text, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(text), "Q_1") {
			t.Errorf("%s still holds a file's name", e.Name())
		}
		return nil
	})
}

func TestEarlierShootsAreKnownByTheirBookmarks(t *testing.T) {
	b, dir := busy(t, 12)
	h, _ := readBookmark(dir, "test", false)
	if h == nil {
		t.Fatal("no bookmark")
	}
	with, err := recall(dir, "test")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(dir, bookmarkName)); err != nil {
		t.Fatal(err)
	}
	without, err := recall(dir, "test")
	if err != nil || !reflect.DeepEqual(with, without) || len(with.contents) < 12 || with.baseline != 12 {
		t.Errorf("with a bookmark: ended %v, baseline %d, %d contents; without: %v, %d, %d, %v", with.ended, with.baseline, len(with.contents),
			without.ended, without.baseline, len(without.contents), err)
	}
	b.fresh = true
	s, _ := b.opened()
	if v := b.file("stroke/Q_1.JPG", good); !s.Known(v.Rel, v.Hash) {
		t.Error("a file of the earlier shoot counts as new")
	}
}

func TestALongShootGetsABookmarkBesideIt(t *testing.T) {
	b := newBench(t)
	b.disk = unsynced{}
	s := b.open()
	arrive(t, s, 1, bookmarkEvery+1)
	s.mu.Lock()
	due := s.bookmarked
	s.mu.Unlock()
	s.beside.Wait()
	if h, _ := readBookmark(b.trailOf(s), "test", false); h == nil || due != bookmarkEvery {
		t.Errorf("after %d frames the newest bookmark is at %d, and can be read: %v", bookmarkEvery+1, due, h != nil)
	}
}

// BenchmarkOpen100000 opens a shoot of 100,000 frames with its bookmark. Readings are small here; how long reading
// grows with them is measured in advise/trail.
func BenchmarkOpen100000(b *testing.B) {
	bn, s := history(b, 100_000)
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		began := time.Now()
		s, start, err := Open(bn.config())
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(time.Since(began).Seconds(), "s-to-open")
		if start.Trusted.Head.Seq == 0 {
			b.Fatal("the bookmark was not used")
		}
		b.StopTimer()
		if err := s.Close(); err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
	}
}
