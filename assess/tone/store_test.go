package tone

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func entry(t testing.TB) Entry {
	t.Helper()
	c, err := Learned("learned-test", []Knot{{8, -8, 0.3}, {120, -3, 0.05}, {255, 0, 0.2}})
	if err != nil {
		t.Fatal(err)
	}
	return Entry{Version: EntryVersion, Key: Key{Make: "Quayside", Model: "Quayside One", Serial: "AQ000117", ColorSpace: 1}, Curve: c,
		Learned: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC), Frames: 9, From: 5, To: 251, Edge: true, Median: 0.015, Most: 0.05}
}

func TestStoredCurvesComeBack(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "curves")
	s, err := OpenStore(dir)
	if err != nil {
		t.Fatalf("a folder that isn't there: %v", err)
	}
	e := entry(t)
	path, err := s.Save(e)
	if err != nil {
		t.Fatal(err)
	}
	if s.For(e.Key).Name() != "learned-test" {
		t.Error("the store that saved doesn't know the curve")
	}
	back, err := OpenStore(dir)
	if err != nil {
		t.Fatal(err)
	}
	list := back.List()
	if len(list) != 1 || list[0].Key != e.Key || !list[0].Learned.Equal(e.Learned) || list[0].Most != e.Most {
		t.Fatalf("came back as %+v", list)
	}
	for code := 0.0; code <= 255; code += 3 {
		if back.For(e.Key).Linear(0, code) != e.Curve.Linear(0, code) {
			t.Fatalf("the curve differs at code %v", code)
		}
	}
	names, _ := filepath.Glob(filepath.Join(dir, "*"))
	hidden, _ := filepath.Glob(filepath.Join(dir, ".curve-*"))
	if len(names)+len(hidden) != 1 || names[0] != path {
		t.Errorf("the folder holds %v %v, want the curve alone", names, hidden)
	}
}

// Another body, rendering or colour space is another curve: the default until it is learned.
func TestOtherCamerasHaveTheDefault(t *testing.T) {
	s := &Store{dir: t.TempDir(), entries: map[Key]Entry{}}
	e := entry(t)
	if _, err := s.Save(e); err != nil {
		t.Fatal(err)
	}
	for _, change := range []func(k *Key){
		func(k *Key) { k.Serial = "AQ000118" }, func(k *Key) { k.ColorSpace = 2 }, func(k *Key) { k.Contrast = 1 },
		func(k *Key) { k.Model = "Quayside Two" }, func(k *Key) { k.CustomRendered = 1 }, func(k *Key) { k.Saturation = 2 },
	} {
		k := e.Key
		change(&k)
		if s.For(k) != Default() {
			t.Errorf("%+v has the curve %s, want the default", k, s.For(k).Name())
		}
		if k.file() == e.Key.file() {
			t.Errorf("%+v and %+v share a file", k, e.Key)
		}
	}
	var none *Store
	if none.For(e.Key) != Default() || (&Store{}).For(e.Key) != Default() {
		t.Error("an empty store must give the default")
	}
}

func TestDamagedCurvesAreNamedAndLeftOut(t *testing.T) {
	dir := t.TempDir()
	s, _ := OpenStore(dir)
	e := entry(t)
	if _, err := s.Save(e); err != nil {
		t.Fatal(err)
	}
	bad := filepath.Join(dir, "torn.json")
	if err := os.WriteFile(bad, []byte(`{"version":1,"key"`), 0o600); err != nil {
		t.Fatal(err)
	}
	back, err := OpenStore(dir)
	if !errors.Is(err, ErrEntry) || !strings.Contains(err.Error(), bad) {
		t.Errorf("the error is %v, want one that is ErrEntry and names %s", err, bad)
	}
	if len(back.List()) != 1 {
		t.Errorf("%d curves are left, want the good one", len(back.List()))
	}
	for _, text := range []string{`{}`, `{"version":9}`, `{"version":1,"curve":{"name":"default-1","source":"default"}}`, `{"version":1}`, `[]`} {
		if _, err := DecodeEntry([]byte(text)); !errors.Is(err, ErrEntry) {
			t.Errorf("%s gave %v, want an error that is ErrEntry", text, err)
		}
	}
	if _, err := s.Save(Entry{Key: e.Key, Curve: Default()}); !errors.Is(err, ErrEntry) {
		t.Errorf("the default was stored as if learned (%v)", err)
	}
}

// Any bytes are refused by name or come back as they were.
func FuzzDecodeEntry(f *testing.F) {
	text, err := json.Marshal(entry(f))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add([]byte(`{"version":1,"curve":null}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		e, err := DecodeEntry(data)
		if err != nil {
			if !errors.Is(err, ErrEntry) {
				t.Fatalf("an error of no kind: %v", err)
			}
			return
		}
		out, err := json.Marshal(e)
		if err != nil {
			t.Skip("a time that JSON can't write")
		}
		back, err := DecodeEntry(out)
		if err != nil || back.Key != e.Key || back.Curve.Linear(0, 99.5) != e.Curve.Linear(0, 99.5) {
			t.Fatalf("%s came back as %+v (%v)", out, back, err)
		}
	})
}
