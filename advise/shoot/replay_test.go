package shoot

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"thirdstop/advise"
	"thirdstop/advise/trail"
)

// played is a shoot in which a bit of everything happens.
func (b *bench) played() *Shoot {
	b.t.Helper()
	s := b.open()
	b.submit(s, withPlan(Request{Client: "plan", By: advise.Actor{Device: "d-1", Role: "shoots"}}))
	b.take(s, "Q_0001.JPG", dark)
	b.submit(s, Request{Client: "card", Reference: &advise.Reference{Frame: 1, Box: &card}})
	b.take(s, "Q_0002.JPG", "a <torn> & \u2028 file\xff")
	b.submit(s, Request{Note: new("the umbrella <sagged> & so on")})
	if a := s.Snapshot().State.Advice; a.Status == advise.Adjust {
		b.submit(s, Request{NotNow: &advise.NotNow{Advice: a.Number}})
	} else {
		b.t.Fatalf("a dark frame gives the advice %q, want adjustments", a.Status)
	}
	b.submit(s, Request{Adjusted: &advise.Adjusted{Group: "B", To: -60}})
	b.take(s, "Q_0003.JPG", good)
	b.submit(s, Request{Baseline: &advise.Baseline{Frame: 3}})
	b.take(s, "Q_0004.JPG", "backdrop -1.4 white -0.2 kind full")
	if q := s.Snapshot().State.Question; q != nil {
		b.submit(s, Request{Answer: &advise.Answer{Question: q.Number, Yes: true}})
	}
	b.submit(s, Request{Sitter: new("bow")})
	b.take(s, "Q_0005.JPG", good)
	return s
}

func TestAReplayIsTheSameByteForByte(t *testing.T) {
	b := newBench(t)
	s := b.played()
	events := must(s.Events(0, 1000))
	state := s.Snapshot().State
	b.close(s)
	dir := b.trailOf(s)
	r, err := Replay(dir)
	if err != nil || len(r.Differs) > 0 || r.Other > 0 || r.Open || r.Frames != 5 || !slices.Equal(r.Rules, []string{advise.Rules}) {
		t.Fatalf("Replay = %+v, %v, want no difference in 5 frames", r, err)
	}
	kinds := map[string]bool{}
	for _, e := range events {
		kinds[e.Kind] = true
	}
	for _, k := range []string{"session", "plan", "frame", "damaged", "reference", "note", "not_now", "adjusted", "baseline", "sitter", "advice"} {
		if !kinds[k] {
			t.Errorf("the shoot that is replayed has no event %q, so the test shows little", k)
		}
	}

	// The same after everything went through JSON once more, as a change of formats would do it.
	again := filepath.Join(b.dir, "again")
	tr := must(trail.Create(again, must(trail.ReadHeader(dir)), trail.Options{}))
	for rec, err := range trail.Read(dir) {
		if err != nil {
			t.Fatal(err)
		}
		switch rec.Kind {
		case inputKind:
			var in inputBody
			if err := json.Unmarshal(rec.Body, &in); err != nil {
				t.Fatal(err)
			}
			must(tr.Append(rec.Kind, rec.V, rec.Rules, rec.At, in))
		case outputKind:
			var out outputBody
			if err := json.Unmarshal(rec.Body, &out); err != nil {
				t.Fatal(err)
			}
			must(tr.Append(rec.Kind, rec.V, rec.Rules, rec.At, out))
		}
	}
	if err := tr.Close(); err != nil {
		t.Fatal(err)
	}
	one, two := must(os.ReadFile(filepath.Join(dir, "trail.jsonl"))), must(os.ReadFile(filepath.Join(again, "trail.jsonl")))
	if !bytes.Equal(one, two) {
		t.Error("the trail isn't the same after a round trip through JSON")
	}
	if r, err := Replay(again); err != nil || len(r.Differs) > 0 {
		t.Errorf("Replay of the round trip = %+v, %v", r, err)
	}

	// A restart comes to the same state, and the log keeps its numbers and words.
	s = b.open()
	if got := must(s.Events(0, len(events))); !reflect.DeepEqual(got, events) {
		t.Errorf("after a restart the log reads\n%+v\nwant\n%+v", got, events)
	}
	got := s.Snapshot().State
	got.Seq, got.Phase = state.Seq, state.Phase
	if a, b := must(json.Marshal(got)), must(json.Marshal(state)); !bytes.Equal(a, b) {
		t.Errorf("after a restart the state is\n%s\nwant\n%s", a, b)
	}
}

// rewritten copies a trail with other rules and bodies.
func rewritten(t *testing.T, from, to string, change func(r *trail.Record) bool) {
	t.Helper()
	h := must(trail.ReadHeader(from))
	tr := must(trail.Create(to, h, trail.Options{}))
	for r, err := range trail.Read(from) {
		if err != nil {
			t.Fatal(err)
		}
		if r.Kind == "header" || !change(&r) {
			continue
		}
		must(tr.Append(r.Kind, r.V, r.Rules, r.At, r.Body))
	}
	if err := tr.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestAReplayListsWhatDiffers(t *testing.T) {
	b := newBench(t)
	s := b.played()
	b.close(s)
	dir := b.trailOf(s)
	changed := 0
	reword := func(r *trail.Record) {
		if r.Kind == outputKind && bytes.Contains(r.Body, []byte("power up")) {
			r.Body = bytes.ReplaceAll(r.Body, []byte("power up"), []byte("turn up"))
			changed++
		}
	}
	old := filepath.Join(b.dir, "old")
	rewritten(t, dir, old, func(r *trail.Record) bool { r.Rules = "0"; reword(r); return true })
	r, err := Replay(old)
	if err != nil || changed == 0 || len(r.Differs) != changed || r.Other != changed || !slices.Equal(r.Rules, []string{"0"}) {
		t.Fatalf("under older rules: %d differences, %d of them expected, rules %v, %v; want %d of each", len(r.Differs), r.Other, r.Rules, err, changed)
	}
	d := r.Differs[0]
	if d.Rules != "0" || d.Record == 0 || !bytes.Contains(d.Recorded, []byte("turn up")) || !bytes.Contains(d.Now, []byte("power up")) {
		t.Errorf("the first difference is %+v, want what was recorded and what is put out now", d)
	}

	forged := filepath.Join(b.dir, "forged")
	changed = 0
	rewritten(t, dir, forged, func(r *trail.Record) bool { reword(r); return true })
	if r, err := Replay(forged); err != nil || len(r.Differs) != changed || r.Other != 0 {
		t.Errorf("under the same rules: %d differences, %d of them excused, %v; want %d and none", len(r.Differs), r.Other, err, changed)
	}

	// Outputs that are missing in the middle are a difference, at the end they are a crash.
	last := uint64(0)
	for r := range trail.Read(dir) {
		last = r.Seq
	}
	for name, tc := range map[string]struct {
		drop uint64
		want int
		open bool
	}{"middle": {3, 1, false}, "end": {last, 0, true}} {
		to := filepath.Join(b.dir, name)
		n := uint64(1)
		rewritten(t, dir, to, func(r *trail.Record) bool { n++; return n != tc.drop })
		r, err := Replay(to)
		// Output records name their input by number, which moved by one behind the gap.
		if err != nil || r.Open != tc.open || (len(r.Differs) > 0) != (tc.want > 0) {
			t.Errorf("without the outputs at the %s: %d differences, open %v, %v", name, len(r.Differs), r.Open, err)
		}
	}
}

// The log says what was recorded, also where newer rules would say something else.
func TestTheLogKeepsWhatOlderRulesSaid(t *testing.T) {
	b := newBench(t)
	s := b.played()
	events := must(s.Events(0, 1000))
	b.close(s)
	dir := b.trailOf(s)
	old := filepath.Join(b.dir, "shoots", "old")
	dropped := 0
	rewritten(t, dir, old, func(r *trail.Record) bool {
		r.Rules = "0"
		if r.Kind == outputKind && bytes.Contains(r.Body, []byte("Another sitter.")) {
			r.Body = bytes.ReplaceAll(r.Body, []byte("Another sitter."), []byte("Who is next?"))
			dropped++
		}
		return true
	})
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	s, start := b.opened()
	if len(start.Differs) != dropped || dropped != 1 || start.Differs[0].Rules != "0" {
		t.Errorf("Differs = %+v, want the one output that was worded otherwise", start.Differs)
	}
	got := must(s.Events(0, len(events)))
	for i := range got {
		want := events[i].Text
		if want == "Another sitter." {
			want = "Who is next?"
		}
		if got[i].Number != events[i].Number || got[i].Text != want || got[i].State != events[i].State {
			t.Errorf("event %d is %q of state %d, want %q of %d", got[i].Number, got[i].Text, got[i].State, want, events[i].State)
		}
	}
}

func TestACrashBetweenInputAndOutputsIsMadeUpFor(t *testing.T) {
	b := newBench(t)
	s := b.played()
	events := must(s.Events(0, 1000))
	chain := filepath.Join(b.trailOf(s), "trail.jsonl")
	text := must(os.ReadFile(chain))
	s.Close()
	lines := bytes.SplitAfter(text, []byte{'\n'})
	last := lines[len(lines)-2]
	if !bytes.Contains(last, []byte(`"kind":"output"`)) {
		t.Fatalf("the last record is no output: %s", last)
	}
	// Killed before the outputs, and in the middle of writing them.
	for _, left := range []int{0, len(last) / 2} {
		if err := os.WriteFile(chain, text[:len(text)-len(last)+left], 0o600); err != nil {
			t.Fatal(err)
		}
		s, start := b.opened()
		if (len(start.Repairs) == 1) != (left > 0) || len(start.Differs) > 0 {
			t.Errorf("repairs %v, differences %v", start.Repairs, start.Differs)
		}
		if got := must(s.Events(0, len(events))); !reflect.DeepEqual(got, events) {
			t.Error("the log lost what came of the last input")
		}
		b.close(s)
		r, err := Replay(b.trailOf(s))
		if err != nil || len(r.Differs) > 0 || r.Open {
			t.Errorf("Replay = %+v, %v, want the missing outputs in place", r, err)
		}
		if rep, err := trail.Verify(b.trailOf(s), ""); err != nil || rep.Records == 0 {
			t.Errorf("Verify = %v", err)
		}
	}
}

func TestADamagedTrailIsNotGoneOnWith(t *testing.T) {
	b := newBench(t)
	s := b.played()
	b.close(s)
	chain := filepath.Join(b.trailOf(s), "trail.jsonl")
	text := must(os.ReadFile(chain))
	text[len(text)/2] ^= 1
	if err := os.WriteFile(chain, text, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Open(b.config()); err == nil || !strings.Contains(err.Error(), "record ") || !strings.Contains(err.Error(), "--fresh") {
		t.Errorf("Open = %v, want the record and the way out named", err)
	}
	if got := must(os.ReadFile(chain)); !bytes.Equal(got, text) {
		t.Error("a damaged trail was written to")
	}
	if _, err := Replay(b.trailOf(s)); err == nil {
		t.Error("Replay of a damaged trail says nothing")
	}
	b.fresh = true
	if err := os.Remove(b.bookmarkOf(s)); err != nil { // with it, the contents would be known in spite of the damage
		t.Fatal(err)
	}
	fresh, start := b.opened()
	if start.Resumed || fresh.ID() == s.ID() || !slices.Contains(start.Passed, s.ID()) {
		t.Errorf("--fresh: %+v, want a new shoot, and the damaged one named", start)
	}

	// A header that can't be read says not even whose shoot it is.
	b = newBench(t)
	s = b.open()
	b.close(s)
	if err := os.WriteFile(filepath.Join(b.trailOf(s), "trail.jsonl"), []byte("{}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, start := b.opened(); !slices.Equal(start.Passed, []string{s.ID()}) {
		t.Errorf("Passed = %q, want %s", start.Passed, s.ID())
	}
}

func TestRecordsOfAnUnknownVersionAreRefused(t *testing.T) {
	b := newBench(t)
	s := b.played()
	b.close(s)
	to := filepath.Join(b.shoots(), "newer")
	rewritten(t, b.trailOf(s), to, func(r *trail.Record) bool { r.V++; return true })
	os.RemoveAll(b.trailOf(s))
	if _, _, err := Open(b.config()); err == nil || !strings.Contains(err.Error(), "newer thirdstop") {
		t.Errorf("Open = %v, want a newer thirdstop asked for", err)
	}
	if _, err := Replay(to); err == nil || !strings.Contains(err.Error(), fmt.Sprint("version ", bodyVersion+1)) {
		t.Errorf("Replay = %v", err)
	}
}
