package trail_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thirdstop/advise/trail"
	"thirdstop/advise/trail/trailtest"
)

func keep(t testing.TB, tr *trail.Trail, text string) trail.Ref {
	t.Helper()
	ref, err := tr.Keep(text)
	if err != nil {
		t.Fatalf("Keep: %v", err)
	}
	return ref
}

func TestAnErasedTextIsGoneAndTheChainStaysValid(t *testing.T) {
	dir := t.TempDir()
	tr := create(t, dir, trail.Options{})
	var refs []trail.Ref
	texts := []string{"the treasurer", "committee/stroke.jpg", "", "two\nlines", "not UTF-8: \xff\xfe", strings.Repeat("\x00", trail.MaxText), `quote " and \`}
	for _, s := range texts {
		ref := keep(t, tr, s)
		refs = append(refs, ref)
		add(t, tr, map[string]any{"deep": []any{1, map[string]any{"ref": ref}}})
	}
	if _, err := tr.Keep(strings.Repeat("x", trail.MaxText+1)); err == nil {
		t.Errorf("a text over the limit was kept")
	}
	check := func(gone map[int]bool) {
		t.Helper()
		for i, ref := range refs {
			got, err := tr.Text(ref)
			switch {
			case gone[i] && !errors.Is(err, trail.ErrErased):
				t.Errorf("text %d: %q, %v; want ErrErased", i, got, err)
			case !gone[i] && (err != nil || got != texts[i]):
				t.Errorf("text %d: %q, %v; want %q", i, got, err, texts[i])
			}
		}
		rep, err := trail.Verify(dir, tr.Head().String())
		if err != nil || rep.Kept != len(texts)-len(gone) || rep.Erased != len(gone) || len(rep.Missing) != 0 {
			t.Errorf("Verify: %+v, %v", rep, err)
		}
	}
	check(nil)
	chain, _ := os.ReadFile(filepath.Join(dir, "trail.jsonl"))
	for _, s := range texts {
		if len(s) > 8 && bytes.Contains(chain, []byte(s)) {
			t.Errorf("the chain itself holds %q", s)
		}
	}
	if err := tr.Erase(refs[0].ID, refs[4].ID); err != nil {
		t.Fatal(err)
	}
	check(map[int]bool{0: true, 4: true})
	if err := tr.Erase(refs[0].ID); err != nil {
		t.Errorf("erasing what is erased: %v", err)
	}
	if err := tr.Erase(refs[1].ID, strings.Repeat("0", 32)); !errors.Is(err, trail.ErrUnknownText) {
		t.Errorf("an unknown id: %v", err)
	}
	if err := tr.Erase("../../etc"); err == nil {
		t.Errorf("an id that is none was erased")
	}
	check(map[int]bool{0: true, 4: true})
	tr.Close()
	after, _ := os.ReadFile(filepath.Join(dir, "trail.jsonl"))
	if !bytes.Equal(after, chain) {
		t.Errorf("erasing changed the chain")
	}
	side, _ := os.ReadFile(filepath.Join(dir, "names.jsonl"))
	if bytes.Contains(side, []byte("treasurer")) || bytes.Contains(side, []byte(refs[0].Hash)) {
		t.Errorf("the side file still holds what was erased")
	}
	tr, _ = open(t, dir, trail.Options{})
	check(map[int]bool{0: true, 4: true})
	texts = append(texts, "after reopening")
	refs = append(refs, keep(t, tr, "after reopening"))
	add(t, tr, refs[len(refs)-1])
	check(map[int]bool{0: true, 4: true})
}

func TestAnAlteredTextIsFound(t *testing.T) {
	dir := t.TempDir()
	tr := create(t, dir, trail.Options{})
	a, b, c := keep(t, tr, "stroke"), keep(t, tr, "bow"), keep(t, tr, "cox")
	add(t, tr, []trail.Ref{a, b, c})
	tr.Close()
	path := filepath.Join(dir, "names.jsonl")
	clean, _ := os.ReadFile(path)

	for _, edit := range []struct{ old, new string }{{`"stroke"`, `"strike"`}, {`"text":"stroke"`, `"text":5}{"a":"b"`}, {`"stroke"`, "\"\xff\""}} {
		os.WriteFile(path, bytes.Replace(clean, []byte(edit.old), []byte(edit.new), 1), 0o600)
		rep, err := trail.Verify(dir, "")
		if !errors.Is(err, trail.ErrAltered) || len(rep.Altered) != 1 || rep.Altered[0] != a.ID || rep.Kept != 2 {
			t.Errorf("%s: Verify: %+v, %v", edit.new, rep, err)
		}
		tr, _ = open(t, dir, trail.Options{})
		if _, err := tr.Text(a); !errors.Is(err, trail.ErrAltered) {
			t.Errorf("%s: Text: %v", edit.new, err)
		}
		if got, err := tr.Text(b); err != nil || got != "bow" {
			t.Errorf("%s: the text beside it: %q, %v", edit.new, got, err)
		}
		tr.Close()
	}

	// A line taken out by hand, and one that can't be read any more.
	lines := bytes.SplitAfter(clean, []byte("\n"))
	os.WriteFile(path, join([][]byte{[]byte("scribble\n")}, lines[1:]), 0o600)
	rep, err := trail.Verify(dir, "")
	if err != nil || len(rep.Missing) != 1 || rep.Missing[0] != a.ID || rep.Kept != 2 {
		t.Errorf("a lost line: %+v, %v", rep, err)
	}
	tr, repairs := open(t, dir, trail.Options{})
	if len(repairs) != 1 || !strings.Contains(repairs[0].String(), "1 lines of "+path+" can't be read") {
		t.Errorf("repairs: %v", repairs)
	}
	if _, err := tr.Text(a); !errors.Is(err, trail.ErrErased) {
		t.Errorf("text of a lost line: %v", err)
	}
	if err := tr.Erase(b.ID); err != nil {
		t.Fatal(err)
	}
	if got, err := tr.Text(c); err != nil || got != "cox" {
		t.Errorf("the text that stays: %q, %v", got, err)
	}
	if now, _ := os.ReadFile(path); bytes.Contains(now, []byte("scribble")) {
		t.Errorf("Erase kept a line that nobody can read")
	}
}

func TestAnUnfinishedTextIsCutOffAndNotKeptAside(t *testing.T) {
	dir := t.TempDir()
	tr := create(t, dir, trail.Options{})
	a := keep(t, tr, "stroke")
	add(t, tr, a)
	tr.Close()
	path := filepath.Join(dir, "names.jsonl")
	clean, _ := os.ReadFile(path)
	os.WriteFile(path, append(clean[:len(clean):len(clean)], `{"id":"00`...), 0o600)
	tr, repairs := open(t, dir, trail.Options{})
	if len(repairs) != 1 || repairs[0].Bytes != 9 || repairs[0].KeptIn != "" {
		t.Errorf("repairs: %+v", repairs)
	}
	if now, _ := os.ReadFile(path); !bytes.Equal(now, clean) {
		t.Errorf("side file is %q", now)
	}
	if got, err := tr.Text(a); err != nil || got != "stroke" {
		t.Errorf("text: %q, %v", got, err)
	}
	files, _ := filepath.Glob(filepath.Join(dir, "*"))
	if len(files) != 2 {
		t.Errorf("files: %v", files)
	}
}

func TestATrailWithoutItsSideFileGoesOn(t *testing.T) {
	dir := t.TempDir()
	tr := create(t, dir, trail.Options{})
	a := keep(t, tr, "stroke")
	add(t, tr, a)
	tr.Close()
	os.Remove(filepath.Join(dir, "names.jsonl"))
	if rep, err := trail.Verify(dir, ""); err != nil || len(rep.Missing) != 1 {
		t.Errorf("Verify: %+v, %v", rep, err)
	}
	tr, repairs := open(t, dir, trail.Options{})
	if len(repairs) != 1 || !strings.Contains(repairs[0].String(), "was not there") {
		t.Errorf("repairs: %v", repairs)
	}
	if _, err := tr.Text(a); !errors.Is(err, trail.ErrErased) {
		t.Errorf("text: %v", err)
	}
	b := keep(t, tr, "bow")
	if got, err := tr.Text(b); err != nil || got != "bow" {
		t.Errorf("new text: %q, %v", got, err)
	}
}

func TestATextIsSyncedBeforeTheRecordThatRefersToIt(t *testing.T) {
	d := &trailtest.Disk{}
	tr := create(t, memDir, trail.Options{Disk: d})
	start := len(d.Log())
	ref := keep(t, tr, "stroke")
	keep(t, tr, "bow")
	add(t, tr, ref)
	add(t, tr, "no text")
	ref = keep(t, tr, "cox")
	if _, err := tr.AppendUnsynced("output", 1, "", morning, ref); err != nil {
		t.Fatal(err)
	}
	var ops []string
	for _, l := range d.Log()[start:] {
		f := strings.Fields(l)
		ops = append(ops, f[0]+" "+f[1])
	}
	want := "[write names.jsonl write names.jsonl sync names.jsonl write trail.jsonl sync trail.jsonl" +
		" write trail.jsonl sync trail.jsonl write names.jsonl sync names.jsonl write trail.jsonl]"
	if fmt.Sprint(ops) != want {
		t.Errorf("operations were %v, want %v", ops, want)
	}
}

func TestEveryTextIsReadBackUnchanged(t *testing.T) {
	d := &trailtest.Disk{}
	tr := create(t, memDir, trail.Options{Disk: d})
	rapid.Check(t, func(rt *rapid.T) {
		text := rapid.OneOf(rapid.String(), rapid.Map(rapid.SliceOf(rapid.Byte()), func(b []byte) string { return string(b) })).Draw(rt, "text")
		ref, err := tr.Keep(text)
		if err != nil {
			rt.Fatal(err)
		}
		js, err := json.Marshal(ref)
		if err != nil || string(js) != `{"kept":"`+ref.ID+`","sha256":"`+ref.Hash+`"}` {
			rt.Fatalf("ref is written %s, %v", js, err)
		}
		if got, err := tr.Text(ref); err != nil || got != text {
			rt.Fatalf("text %q came back as %q, %v", text, got, err)
		}
		ref.Hash = strings.Repeat("0", 64)
		if _, err := tr.Text(ref); !errors.Is(err, trail.ErrAltered) {
			rt.Fatalf("text under another hash: %v", err)
		}
	})
}
