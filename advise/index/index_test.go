package index_test

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/index"
	"thirdstop/advise/shoot"
	"thirdstop/advise/trail"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// record writes a shoot as the daemon would, by its records alone; its notes and names are in the side file.
func record(t *testing.T, shoots, id, plan, note, file string, frames int) {
	t.Helper()
	at := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	tr, err := trail.Create(filepath.Join(shoots, id), trail.Header{At: at, Rules: advise.Rules, Program: "test", About: json.RawMessage(`{}`)}, trail.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var state advise.State
	put := func(in advise.Input, kept ...trail.Ref) {
		at = at.Add(9 * time.Second)
		in.At = at
		rec, err := tr.AppendUnsynced("input", 1, advise.Rules, at, map[string]any{"input": in, "kept": kept})
		if err != nil {
			t.Fatal(err)
		}
		var out []advise.Output
		if state, out = advise.Apply(state, in); len(out) > 0 {
			if _, err := tr.AppendUnsynced("output", 1, advise.Rules, at, map[string]any{"of": rec.Seq, "outputs": out}); err != nil {
				t.Fatal(err)
			}
		}
	}
	keep := func(text string) trail.Ref {
		r, err := tr.Keep(text)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	put(advise.Input{Session: &advise.Session{Phase: advise.Begun}})
	put(advise.Input{Plan: &advise.PlanText{Name: "boathouse.yaml", Text: plan}})
	put(advise.Input{Reference: &advise.Reference{Box: &assess.Box{X1: 1, Y1: 1}}})
	for n := 1; n <= frames; n++ {
		f, iso, s := exposure.FNumber(8), exposure.ISO(100), exposure.Shutter(1.0/125)
		r := &assess.Reading{Version: 1, Kind: assess.Full, Exif: assess.Exif{FNumber: &f, ISO: &iso, ExposureTime: &s}}
		r.Regions.Backdrop = &assess.Backdrop{Level: assess.Level{Value: -0.05, Sigma: 0.05}, WhiteFloor: -0.05, FloorSigma: 0.05, Confidence: 1}
		if n == frames { // after others that show how far over the edge it may lie
			r.Regions.Backdrop = &assess.Backdrop{Level: assess.Level{Value: 0, AtLeast: true, Sigma: 0.05}, FloorAtLeast: true, FloorSigma: 0.05, Confidence: 1}
		}
		r.Regions.WhiteReference = &assess.WhiteReference{Level: assess.Level{Value: -0.25, Sigma: 0.05}, Peak: -0.2, Declared: true, Confidence: 1}
		ref := keep(file)
		put(advise.Input{Frame: &advise.Frame{Number: n, Revision: 1, File: ref.ID, Hash: strings.Repeat("a", 64), Reading: r}}, ref)
	}
	if frames > 0 {
		put(advise.Input{Baseline: &advise.Baseline{Frame: frames}})
	}
	n := keep(note)
	put(advise.Input{Note: &advise.Note{Ref: n.ID}}, n)
	if err := tr.Close(); err != nil {
		t.Fatal(err)
	}
}

const boathouse = `version: 1
shoot: Alder Quay Rowing Club, committee
backdrop: {colour: white, distance: 2.4 m}
lights:
  - {role: background, group: A, power: 1/4, distance: 1.1 m}
  - {role: key, group: B, power: 1/8, distance: 1.2 m, modifier: shoot-through umbrella, direction: 45 right}
`

func open(t *testing.T, path string) *index.Index {
	t.Helper()
	x, err := index.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { x.Close() })
	return x
}

func update(t *testing.T, x *index.Index, shoots string, want index.Updated) {
	t.Helper()
	if got, err := x.Update(t.Context(), shoots, ""); err != nil || got != want {
		t.Errorf("Update = %+v, %v; want %+v", got, err, want)
	}
}

func ids(list []index.Shoot) string {
	var out []string
	for _, s := range list {
		out = append(out, s.ID)
	}
	return strings.Join(out, " ")
}

func TestTheIndexIsMadeOutOfTheTrailsAndIsTheSameWhenMadeAnew(t *testing.T) {
	dir := t.TempDir()
	shoots, path := filepath.Join(dir, "shoots"), filepath.Join(dir, "index ?#%.sqlite")
	record(t, shoots, "s1", boathouse, "the umbrella sagged", "stroke/Q_1.jpg", 3)
	record(t, shoots, "s2", strings.Replace(boathouse, "umbrella", "octagon", 1), "cold evening", "cox/Q_1.jpg", 2)
	record(t, shoots, "s3", strings.Replace(boathouse, "committee", "juniors", 1), "", "x.jpg", 0)
	x := open(t, path)
	update(t, x, shoots, index.Updated{Read: 3})
	update(t, x, shoots, index.Updated{})
	if _, err := os.Stat(path); err != nil {
		t.Fatalf("the index does not lie where it was asked to: %v", err)
	}
	list, err := x.List(t.Context(), 0)
	if err != nil || len(list) != 3 {
		t.Fatalf("List: %d shoots, %v", len(list), err)
	}
	s, err := x.Get(t.Context(), "s1")
	if err != nil {
		t.Fatal(err)
	}
	if s.Name != "Alder Quay Rowing Club, committee" || s.Frames != 3 || s.Judged != 3 || s.OnTarget != 3 || s.Baseline != 3 || s.FNumber != 8 || s.Backdrop != "white" ||
		s.BackdropAt != 2.4 || len(s.Lights) != 2 || s.Lights[1].Modifier != "shoot-through umbrella" || s.Lights[1].Power != -90 || s.Lights[1].Direction != "45° to the camera's right" ||
		len(s.Levels) != 2 || !s.Levels[0].AtLeast || s.Levels[1].Value != -0.2 {
		t.Errorf("s1 is %+v", s)
	}
	if _, err := x.Get(t.Context(), "gone"); err == nil || !strings.Contains(err.Error(), "no such shoot") {
		t.Errorf("Get of a shoot that is not there: %v", err)
	}
	before, err := x.Get(t.Context(), "s2")
	if err != nil {
		t.Fatal(err)
	}
	x.Close()

	// Thrown away, torn, another version, or no database at all: made anew.
	for what, spoil := range map[string]func() error{
		"gone":        func() error { return os.Remove(path) },
		"no database": func() error { return os.WriteFile(path, []byte(strings.Repeat("boathouse ", 2000)), 0o600) },
		"torn":        func() error { return os.Truncate(path, 5000) },
		"empty":       func() error { return os.Truncate(path, 0) },
	} {
		if err := spoil(); err != nil {
			t.Fatal(err)
		}
		x := open(t, path)
		if _, err := x.Update(t.Context(), shoots, ""); err != nil {
			t.Errorf("%s: %v", what, err)
		}
		after, err := x.Get(t.Context(), "s2")
		if err != nil || !reflect.DeepEqual(before, after) {
			t.Errorf("%s: made anew, s2 is %+v, %v; it was %+v", what, after, err, before)
		}
		x.Close()
	}
}

func TestChangesOfTheTrailsAreFollowed(t *testing.T) {
	dir := t.TempDir()
	shoots := filepath.Join(dir, "shoots")
	record(t, shoots, "s1", boathouse, "n", "a.jpg", 2)
	record(t, shoots, "s2", boathouse, "n", "a.jpg", 2)
	x := open(t, filepath.Join(dir, "index.sqlite"))
	update(t, x, shoots, index.Updated{Read: 2})
	// One grows, but it is the one that is open; one is damaged; one goes.
	tr, _, err := trail.Open(filepath.Join(shoots, "s1"), trail.Options{})
	if err != nil {
		t.Fatal(err)
	}
	tr.Append("input", 1, advise.Rules, time.Now(), map[string]any{"input": advise.Input{NotNow: &advise.NotNow{}}})
	tr.Close()
	if got, err := x.Update(t.Context(), shoots, "s1"); err != nil || got != (index.Updated{}) {
		t.Errorf("while s1 is open: %+v, %v", got, err)
	}
	update(t, x, shoots, index.Updated{Read: 1})
	chain := filepath.Join(shoots, "s2", "trail.jsonl")
	text, err := os.ReadFile(chain)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(chain, []byte(strings.Replace(string(text), "committee", "commiTTee", 1)+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	update(t, x, shoots, index.Updated{Read: 1, Bad: 1})
	if s, err := x.Get(t.Context(), "s2"); err != nil || !strings.Contains(s.Fault, "record") {
		t.Errorf("the damaged shoot is %+v, %v", s, err)
	}
	if err := os.RemoveAll(filepath.Join(shoots, "s2")); err != nil {
		t.Fatal(err)
	}
	update(t, x, shoots, index.Updated{Gone: 1})
	if list, err := x.List(t.Context(), 0); err != nil || ids(list) != "s1" {
		t.Errorf("left are %q, %v", ids(list), err)
	}
}

func TestSearchFindsWordsInPlansAndInWhatIsErasable(t *testing.T) {
	dir := t.TempDir()
	shoots := filepath.Join(dir, "shoots")
	record(t, shoots, "s1", boathouse, "the umbrella sagged; treasurer was late", "stroke/Q_1.jpg", 2)
	record(t, shoots, "s2", strings.Replace(boathouse, "umbrella", "octagon", 1), "cold evening", "cox/Q_1.jpg", 2)
	path := filepath.Join(dir, "index.sqlite")
	x := open(t, path)
	update(t, x, shoots, index.Updated{Read: 2})
	find := func(words, want string) {
		t.Helper()
		list, err := x.Search(t.Context(), shoots, strings.Fields(words))
		if err != nil || ids(list) != want {
			t.Errorf("search %q = %q, %v; want %q", words, ids(list), err, want)
		}
	}
	find("alder quay", "s2 s1")
	find("OCTAGON", "s2")
	find("treasurer", "s1")
	find("stroke/q_1", "s1")
	find("committee cold", "s2")
	find("octagon treasurer", "")
	find("100% _", "")
	// What was erased is found no more, and the index never held it.
	if _, err := shoot.Erase(filepath.Join(shoots, "s1"), shoot.Personal{Files: true, Notes: true, Sitters: true}); err != nil {
		t.Fatal(err)
	}
	find("treasurer", "")
	find("stroke/q_1", "")
	x.Close()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"treasurer", "Q_1", "cold evening", "cox/"} {
		if strings.Contains(string(text), word) {
			t.Errorf("the index holds %q, which is personal", word)
		}
	}
}

func TestAFullDiskOrAnotherProgramCostsTheIndexAlone(t *testing.T) {
	dir := t.TempDir()
	if _, err := index.Open(filepath.Join(dir, "no", "such", "folder", "index.sqlite")); err == nil || !strings.Contains(err.Error(), "index of the shoots") {
		t.Errorf("an index that can't be made: %v", err)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	x := open(t, filepath.Join(dir, "index.sqlite"))
	record(t, filepath.Join(dir, "shoots"), "s1", boathouse, "n", "a.jpg", 1)
	if _, err := x.Update(ctx, filepath.Join(dir, "shoots"), ""); err == nil {
		t.Error("an update that was given up says nothing")
	}
	second := open(t, filepath.Join(dir, "index.sqlite")) // two programs at once
	update(t, second, filepath.Join(dir, "shoots"), index.Updated{Read: 1})
	update(t, x, filepath.Join(dir, "shoots"), index.Updated{})
}
