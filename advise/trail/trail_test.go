package trail_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"thirdstop/advise/trail"
	"thirdstop/advise/trail/trailtest"
)

var morning = time.Date(2026, 11, 25, 9, 15, 40, 123456789, time.UTC)

func header() trail.Header {
	return trail.Header{At: morning, Rules: "r1", Program: "test", About: json.RawMessage(`{"club":"Alder Quay"}`)}
}

func create(t testing.TB, dir string, opt trail.Options) *trail.Trail {
	t.Helper()
	tr, err := trail.Create(dir, header(), opt)
	if err != nil {
		t.Fatalf("Create: %v", err)
	}
	t.Cleanup(func() { tr.Close() })
	return tr
}

func open(t testing.TB, dir string, opt trail.Options) (*trail.Trail, []trail.Repair) {
	t.Helper()
	tr, repairs, err := trail.Open(dir, opt)
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	t.Cleanup(func() { tr.Close() })
	return tr, repairs
}

func add(t testing.TB, tr *trail.Trail, body any) trail.Record {
	t.Helper()
	r, err := tr.Append("input", 1, "r1", morning, body)
	if err != nil {
		t.Fatalf("Append: %v", err)
	}
	return r
}

func readAll(t testing.TB, dir string) []trail.Record {
	t.Helper()
	var all []trail.Record
	for r, err := range trail.Read(dir) {
		if err != nil {
			t.Fatalf("Read: %v", err)
		}
		all = append(all, r)
	}
	return all
}

func TestWhatIsAppendedIsReadBackAfterReopening(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "shoots", "alder-quay")
	tr := create(t, dir, trail.Options{})
	var want []trail.Record
	for i := range 700 {
		if i == 300 {
			if err := tr.Close(); err != nil {
				t.Fatal(err)
			}
			var repairs []trail.Repair
			tr, repairs = open(t, dir, trail.Options{})
			if len(repairs) != 0 {
				t.Errorf("a trail that was closed needed repairs: %v", repairs)
			}
		}
		body := map[string]any{"frame": i, "note": "line\nbreak <b> \u2028 é"}
		var r trail.Record
		var err error
		if i%3 == 0 {
			r, err = tr.Append("input", i, "r1", morning.Add(time.Duration(i)*time.Second), body)
		} else {
			r, err = tr.AppendUnsynced("output", i, "", morning, body)
		}
		if err != nil {
			t.Fatal(err)
		}
		want = append(want, r)
	}
	got := readAll(t, dir)
	if !reflect.DeepEqual(got[1:], want) {
		t.Fatalf("records read differ from those that Append returned")
	}
	if h := tr.Header(); h.Rules != "r1" || h.Program != "test" || string(h.About) != `{"club":"Alder Quay"}` || len(h.Shoot) != 32 || !h.At.Equal(morning.Truncate(time.Microsecond)) {
		t.Errorf("header read back as %+v", h)
	}
	if h, err := trail.ReadHeader(dir); err != nil || !reflect.DeepEqual(h, tr.Header()) {
		t.Errorf("ReadHeader = %+v, %v; want the trail's %+v", h, err, tr.Header())
	}
	last := want[len(want)-1]
	if h := tr.Head(); h.Seq != last.Seq || h.Hash != last.Hash() {
		t.Errorf("head is %v, want %d:%s", h, last.Seq, last.Hash())
	}
	// After, from every place around its marks.
	for _, after := range []uint64{0, 1, 2, 254, 255, 256, 257, 511, 512, 513, 699, 700, 701, 5000} {
		next := after + 1
		for r, err := range tr.After(after) {
			if err != nil || r.Seq != next {
				t.Fatalf("After(%d) gave record %d, %v; want %d", after, r.Seq, err, next)
			}
			next++
		}
		if want := max(uint64(702), after+1); next != want {
			t.Errorf("After(%d) ended before record %d, want %d", after, next, want)
		}
	}
	for _, c := range []struct {
		h    trail.Head
		want bool
	}{{tr.Head(), true}, {trail.Head{Seq: 300, Hash: got[299].Hash()}, true}, {trail.Head{Seq: 301, Hash: got[299].Hash()}, false}, {trail.Head{}, false}, {trail.Head{Seq: 9000, Hash: last.Hash()}, false}} {
		if has, err := tr.Has(c.h); err != nil || has != c.want {
			t.Errorf("Has(%v) = %v, %v; want %v", c.h, has, err, c.want)
		}
	}
	if rep, err := trail.Verify(dir, tr.Head().String()); err != nil || rep.Records != 701 || !rep.HeadFound {
		t.Errorf("Verify: %+v, %v", rep, err)
	}
}

func TestEveryValidRecordIsReadBackUnchanged(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		d := &trailtest.Disk{}
		opt := trail.Options{Disk: d}
		tr := create(t, "shoot", opt)
		n := rapid.IntRange(1, 5).Draw(rt, "records")
		var want []trail.Record
		for range n {
			body := rapid.OneOf(
				rapid.Map(rapid.String(), func(s string) any { return s }),
				rapid.Map(rapid.Float64(), func(f float64) any { return f }),
				rapid.Map(rapid.SliceOf(rapid.String()), func(s []string) any { return map[string]any{"of": s} }),
				rapid.Just[any](nil),
			).Draw(rt, "body")
			at := time.UnixMicro(rapid.Int64Range(-62_135_596_799_999_999, 253_402_300_799_999_999).Draw(rt, "at"))
			kind := rapid.StringMatching(`[a-z][a-z0-9._-]{0,39}`).Filter(func(s string) bool { return s != "header" }).Draw(rt, "kind")
			rules := rapid.StringMatching(`[ !#-\[\]-~]{0,100}`).Draw(rt, "rules")
			r, err := tr.Append(kind, rapid.IntRange(0, 999_999_999).Draw(rt, "v"), rules, at, body)
			if err != nil {
				rt.Fatalf("Append: %v", err)
			}
			if !r.At.Equal(at) {
				rt.Fatalf("time %v became %v", at, r.At)
			}
			want = append(want, r)
		}
		if err := tr.Close(); err != nil {
			rt.Fatal(err)
		}
		tr, repairs := open(t, "shoot", opt)
		if len(repairs) > 0 {
			rt.Fatalf("repairs: %v", repairs)
		}
		var got []trail.Record
		var bytes []byte
		for r, err := range tr.After(0) {
			if err != nil {
				rt.Fatal(err)
			}
			got = append(got, r)
			bytes = append(bytes, r.Line()...)
		}
		if !reflect.DeepEqual(got[1:], want) {
			rt.Fatalf("read %v, want %v", got[1:], want)
		}
		if c, _ := d.Content("shoot/trail.jsonl"); string(c) != string(bytes) {
			rt.Fatalf("the records' lines are not the file's bytes")
		}
	})
}

func TestRefusedRecordsLeaveTheTrailAsItWas(t *testing.T) {
	dir := t.TempDir()
	tr := create(t, dir, trail.Options{})
	before := tr.Head()
	for _, c := range []struct {
		why  string
		kind string
		v    int
		rule string
		at   time.Time
		body any
	}{
		{"no kind", "", 1, "", morning, 1},
		{"capital kind", "Input", 1, "", morning, 1},
		{"quote in kind", `in"put`, 1, "", morning, 1},
		{"long kind", strings.Repeat("k", 41), 1, "", morning, 1},
		{"reserved kind", "header", 1, "", morning, 1},
		{"negative version", "input", -1, "", morning, 1},
		{"line break in rules", "input", 1, "a\nb", morning, 1},
		{"backslash in rules", "input", 1, `a\b`, morning, 1},
		{"no time", "input", 1, "", time.Time{}, 1},
		{"year 10000", "input", 1, "", time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC), 1},
		{"NaN", "input", 1, "", morning, math.NaN()},
		{"channel", "input", 1, "", morning, make(chan int)},
		{"broken raw JSON", "input", 1, "", morning, json.RawMessage(`{"a":`)},
		{"raw JSON that is no UTF-8", "input", 1, "", morning, json.RawMessage("\"\xff\"")},
		{"too long", "input", 1, "", morning, strings.Repeat("x", trail.MaxLine)},
	} {
		for _, f := range []func(string, int, string, time.Time, any) (trail.Record, error){tr.Append, tr.AppendUnsynced} {
			if _, err := f(c.kind, c.v, c.rule, c.at, c.body); err == nil || errors.Is(err, trail.ErrPoisoned) {
				t.Errorf("%s: error %v, want a refusal", c.why, err)
			}
		}
	}
	if tr.Head() != before {
		t.Errorf("the head moved from %v to %v", before, tr.Head())
	}
	// The longest line still goes in, and comes back.
	frame := len(trail.Record{Seq: 2, Prev: before.Hash, At: morning, Kind: "input", V: 1, Body: json.RawMessage(`""`)}.Line())
	r, err := tr.Append("input", 1, "", morning, strings.Repeat("x", trail.MaxLine-frame))
	if err != nil || len(r.Line()) != trail.MaxLine {
		t.Fatalf("a line of %d bytes: %v", len(r.Line()), err)
	}
	if all := readAll(t, dir); len(all) != 2 || all[1].Hash() != r.Hash() {
		t.Errorf("the longest line was not read back")
	}
	if _, err := tr.Append("input", 1, "", morning, strings.Repeat("x", trail.MaxLine-frame+1)); err == nil {
		t.Errorf("a line of one byte more was accepted")
	}
}

func TestRawBodiesAreCompactedToOneLine(t *testing.T) {
	dir := t.TempDir()
	tr := create(t, dir, trail.Options{})
	r := add(t, tr, json.RawMessage("{\n  \"a\": [1, 2],\r\n  \"b\": \"<&>\"\n}"))
	if string(r.Body) != `{"a":[1,2],"b":"<&>"}` {
		t.Errorf("body is %s", r.Body)
	}
}

func TestFolderStates(t *testing.T) {
	dir := t.TempDir()
	if _, _, err := trail.Open(dir, trail.Options{}); !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), dir) {
		t.Errorf("Open of an empty folder: %v", err)
	}
	if _, err := trail.ReadHeader(dir); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("ReadHeader of an empty folder: %v", err)
	}
	if _, err := trail.Verify(dir, ""); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("Verify of an empty folder: %v", err)
	}
	tr := create(t, dir, trail.Options{})
	if _, err := trail.Create(dir, header(), trail.Options{}); !errors.Is(err, fs.ErrExist) {
		t.Errorf("Create over a shoot: %v", err)
	}
	tr.Close()
	if _, err := tr.Append("input", 1, "", morning, 1); !errors.Is(err, trail.ErrClosed) {
		t.Errorf("Append after Close: %v", err)
	}
	if _, err := tr.Keep("x"); !errors.Is(err, trail.ErrClosed) {
		t.Errorf("Keep after Close: %v", err)
	}
	if err := tr.Close(); err != nil {
		t.Errorf("second Close: %v", err)
	}

	// Texts without their trail are not overwritten.
	if err := os.WriteFile(filepath.Join(dir, "names.jsonl"), []byte("{}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(dir, "trail.jsonl")); err != nil {
		t.Fatal(err)
	}
	if _, err := trail.Create(dir, header(), trail.Options{}); !errors.Is(err, fs.ErrExist) {
		t.Errorf("Create over texts: %v", err)
	}
}

func TestANewerFormatIsRefusedByName(t *testing.T) {
	dir := t.TempDir()
	zero := strings.Repeat("0", 64)
	line := trail.Record{Seq: 1, Prev: zero, At: morning, Kind: "header", V: 1, Body: json.RawMessage(`{"format":2,"shoot":"x","program":"","about":null}`)}.Line()
	if err := os.WriteFile(filepath.Join(dir, "trail.jsonl"), line, 0o600); err != nil {
		t.Fatal(err)
	}
	_, _, err1 := trail.Open(dir, trail.Options{})
	_, err2 := trail.Verify(dir, "")
	_, err3 := trail.ReadHeader(dir)
	for i, err := range []error{err1, err2, err3} {
		fe, ok := errors.AsType[*trail.FormatError](err)
		if !ok || fe.Format != 2 || !strings.Contains(err.Error(), "update thirdstop") || !strings.Contains(err.Error(), dir) {
			t.Errorf("%d: %v, want a FormatError", i, err)
		}
	}
}

func TestAnUnfinishedLastLineIsCutOffKeptAndReported(t *testing.T) {
	for _, part := range []string{"{", `{"seq":4,"prev":"`, "\x00\x00\x00\x00", strings.Repeat("x", 5<<20)} {
		dir := t.TempDir()
		tr := create(t, dir, trail.Options{})
		add(t, tr, "a")
		want := add(t, tr, "b")
		tr.Close()
		path := filepath.Join(dir, "trail.jsonl")
		clean, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		opt := trail.Options{Now: func() time.Time { return morning }}
		for try := range 2 { // twice in the same second: both are kept
			if err := os.WriteFile(path, append(clean[:len(clean):len(clean)], part...), 0o600); err != nil {
				t.Fatal(err)
			}
			var last error
			for _, err := range trail.Read(dir) {
				last = err
			}
			if last != trail.ErrUnfinished {
				t.Errorf("Read before the repair ended with %v", last)
			}
			if rep, err := trail.Verify(dir, ""); err != nil || rep.Unfinished != int64(len(part)) || rep.Records != 3 {
				t.Errorf("Verify before the repair: %+v, %v", rep, err)
			}
			tr, repairs := open(t, dir, opt)
			if len(repairs) != 1 || repairs[0].Record != 4 || repairs[0].Bytes != int64(len(part)) {
				t.Fatalf("repairs: %+v", repairs)
			}
			name := []string{"cut-4-20261125T091540Z.part", "cut-4-20261125T091540Z-2.part"}[try]
			if got := filepath.Base(repairs[0].KeptIn); got != name {
				t.Errorf("kept in %s, want %s", got, name)
			}
			if kept, err := os.ReadFile(repairs[0].KeptIn); err != nil || string(kept) != part {
				t.Errorf("%d bytes were kept (%v), want the %d cut off", len(kept), err, len(part))
			}
			if tr.Head().Hash != want.Hash() {
				t.Errorf("head is %v", tr.Head())
			}
			if now, _ := os.ReadFile(path); string(now) != string(clean) {
				t.Errorf("the file is not what it was before the unfinished line")
			}
			tr.Close()
		}
		tr, _ = open(t, dir, opt)
		if r := add(t, tr, "c"); r.Seq != 4 {
			t.Errorf("next record is %d", r.Seq)
		}
		if rep, err := trail.Verify(dir, tr.Head().String()); err != nil || rep.Unfinished != 0 {
			t.Errorf("Verify: %+v, %v", rep, err)
		}
	}
}

func TestAWriterAndReadersWorkAtTheSameTime(t *testing.T) {
	dir := t.TempDir()
	tr := create(t, dir, trail.Options{})
	ref, err := tr.Keep("stroke")
	if err != nil {
		t.Fatal(err)
	}
	add(t, tr, ref)
	done := make(chan struct{})
	var group sync.WaitGroup
	for _, look := range []func(){
		func() {
			n := uint64(0)
			for r, err := range tr.After(0) {
				if n++; err != nil || r.Seq != n {
					t.Errorf("After gave record %d as number %d, %v", r.Seq, n, err)
					return
				}
			}
		},
		func() {
			if s, err := tr.Text(ref); err != nil || s != "stroke" {
				t.Errorf("text %q, %v", s, err)
			}
		},
		func() {
			for _, err := range trail.Read(dir) {
				if err != nil && err != trail.ErrUnfinished {
					t.Errorf("Read: %v", err)
				}
			}
		},
		func() {
			if has, err := tr.Has(tr.Head()); !has || err != nil {
				t.Errorf("Has the head: %v, %v", has, err)
			}
		},
	} {
		group.Go(func() {
			for {
				select {
				case <-done:
					return
				default:
					look()
				}
			}
		})
	}
	for i := range 150 {
		gone, err := tr.Keep("for a moment")
		if err != nil {
			t.Fatal(err)
		}
		add(t, tr, gone)
		if i%10 == 0 {
			if err := tr.Erase(gone.ID); err != nil {
				t.Fatal(err)
			}
		}
	}
	close(done)
	group.Wait()
	if rep, err := trail.Verify(dir, tr.Head().String()); err != nil || rep.Records != 152 || rep.Erased != 15 {
		t.Errorf("Verify: %+v, %v", rep, err)
	}
}

func TestHeadsAreReadAsTheyAreWritten(t *testing.T) {
	h := trail.Head{Seq: 12, Hash: strings.Repeat("0a", 32)}
	for _, s := range []string{h.String(), "  " + strings.ToUpper(h.String()) + "\n"} {
		if got, err := trail.ParseHead(s); err != nil || got != h {
			t.Errorf("ParseHead(%q) = %v, %v", s, got, err)
		}
	}
	if got, err := trail.ParseHead(h.Hash); err != nil || got != (trail.Head{Hash: h.Hash}) {
		t.Errorf("ParseHead of a hash alone = %v, %v", got, err)
	}
	for _, s := range []string{"", "12", "0:" + h.Hash, "-1:" + h.Hash, "12:" + h.Hash[1:], h.Hash + "0", "12:" + strings.Repeat("g", 64)} {
		if got, err := trail.ParseHead(s); err == nil {
			t.Errorf("ParseHead(%q) = %v, want an error", s, got)
		}
	}
}

func ExampleTrail() {
	dir, _ := os.MkdirTemp("", "boathouse")
	defer os.RemoveAll(dir)
	at := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	t, err := trail.Create(filepath.Join(dir, "committee"), trail.Header{At: at, Program: "0.1"}, trail.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer t.Close()
	sitter, _ := t.Keep("the treasurer")
	r, _ := t.Append("input", 1, "r1", at, map[string]any{"sitter": sitter})
	name, _ := t.Text(sitter)
	fmt.Println(r.Seq, name)
	t.Erase(sitter.ID)
	_, err = t.Text(sitter)
	fmt.Println(errors.Is(err, trail.ErrErased))
	// Output:
	// 2 the treasurer
	// true
}
