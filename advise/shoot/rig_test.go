package shoot

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"thirdstop/advise"
	"thirdstop/advise/plan"
	"thirdstop/advise/trail"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/watcher"
)

// The readings here are given, not measured: a file's content is a line like
// "backdrop -0.8 white -1.1 kind full", and anything else is damaged.

// given is a Measurer that reads such lines and counts.
type given struct {
	measured atomic.Int32
	again    atomic.Int32
	before   func() // called before each measuring, where set
	slow     chan struct{}
}

func (g *given) Measure(name string, data []byte, h assess.Hints) (*assess.Reading, Measured, error) {
	g.measured.Add(1)
	if g.before != nil {
		g.before()
	}
	m := &givenFrame{g: g, text: string(data)}
	if string(data) == "panic" {
		panic("a fault in the measuring")
	}
	if _, err := m.read(h); err != nil {
		return nil, nil, fmt.Errorf("%s: %w", name, err)
	}
	return m.Again(h), m, nil
}

type givenFrame struct {
	g        *given
	text     string
	released atomic.Bool
}

func (f *givenFrame) read(h assess.Hints) (*assess.Reading, error) {
	var floor, white float64
	var kind string
	if _, err := fmt.Sscanf(f.text, "backdrop %g white %g kind %s", &floor, &white, &kind); err != nil {
		return nil, errors.New("it is no picture: " + f.text)
	}
	stops, shutter, iso := exposure.FNumber(8), exposure.Shutter(1.0/125), exposure.ISO(200)
	r := &assess.Reading{Version: 1, Width: 900, Height: 1200, Orientation: 1, Kind: assess.Kind(kind),
		Exif: assess.Exif{FNumber: &stops, ExposureTime: &shutter, ISO: &iso}}
	l := assess.Level{Value: exposure.Stops(floor + 0.1), Sigma: 0.05}
	r.Regions.Backdrop = &assess.Backdrop{Level: l, WhiteFloor: exposure.Stops(floor), FloorSigma: 0.05, Confidence: 1}
	if h.WhiteReference != nil {
		r.Regions.WhiteReference = &assess.WhiteReference{Level: assess.Level{Value: exposure.Stops(white), Sigma: 0.05},
			Peak: exposure.Stops(white), Declared: true, Confidence: 1, Box: *h.WhiteReference}
	}
	return r, nil
}

func (f *givenFrame) Again(h assess.Hints) *assess.Reading {
	f.g.again.Add(1)
	r, _ := f.read(h)
	return r
}

func (f *givenFrame) Thumbnail(edge int, yield func()) ([]byte, error) {
	if f.g.slow != nil {
		<-f.g.slow
	}
	yield()
	if f.released.Load() {
		return nil, errors.New("released")
	}
	return fmt.Appendf(nil, "%s at %d", f.text, edge), nil
}

func (f *givenFrame) Release() { f.released.Store(true) }

// clock goes on by a hundredth of a second at every look.
type clock struct {
	mu sync.Mutex
	t  time.Time
}

func newClock() *clock { return &clock{t: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)} }

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = c.t.Add(10 * time.Millisecond)
	return c.t
}

// bench is a data folder, a capture folder and what a shoot there needs.
type bench struct {
	t       testing.TB
	dir     string // holds shoots/ and captures/
	capture string
	g       *given
	clock   *clock
	disk    trail.Disk
	log     zerolog.Logger
	fresh   bool
	free    func(string) (uint64, error) // nil: the machine's
}

func newBench(t testing.TB) *bench {
	t.Helper()
	dir := t.TempDir()
	b := &bench{t: t, dir: dir, capture: filepath.Join(dir, "captures"), g: &given{}, clock: newClock(), log: zerolog.Nop()}
	for _, d := range []string{b.capture, b.shoots()} {
		if err := os.MkdirAll(d, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	return b
}

func (b *bench) shoots() string { return filepath.Join(b.dir, "shoots") }

func (b *bench) config() Config {
	return Config{Shoots: b.shoots(), Folder: b.capture, Fresh: b.fresh, Measurer: b.g, Version: "test", Now: b.clock.now, Disk: b.disk, Log: b.log, Free: b.free}
}

func (b *bench) open() *Shoot {
	b.t.Helper()
	s, _ := b.opened()
	return s
}

func (b *bench) opened() (*Shoot, Start) {
	b.t.Helper()
	s, start, err := Open(b.config())
	if err != nil {
		b.t.Fatalf("opening the shoot: %v", err)
	}
	b.t.Cleanup(func() { s.Close() })
	return s, start
}

func (b *bench) close(s *Shoot) {
	b.t.Helper()
	if err := s.Close(); err != nil {
		b.t.Fatalf("closing the shoot: %v", err)
	}
}

// file is a version as the watcher delivers it, also written to the capture folder.
func (b *bench) file(rel, text string) watcher.Version {
	b.t.Helper()
	p := filepath.Join(b.capture, filepath.FromSlash(rel))
	if err := os.MkdirAll(filepath.Dir(p), 0o700); err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(p, []byte(text), 0o600); err != nil {
		b.t.Fatal(err)
	}
	return watcher.Version{Rel: rel, Path: p, Data: []byte(text), Hash: sha256.Sum256([]byte(text)), Size: int64(len(text)),
		Written: b.clock.now()}
}

// take delivers a file as the watcher does, and must succeed.
func (b *bench) take(s *Shoot, rel, text string) {
	b.t.Helper()
	v := b.file(rel, text)
	if s.Known(v.Rel, v.Hash) {
		return
	}
	if err := s.Complete(context.Background(), v); err != nil {
		b.t.Fatalf("Complete(%s) = %v", rel, err)
	}
}

func (b *bench) submit(s *Shoot, r Request) Receipt {
	b.t.Helper()
	receipt, err := s.Submit(context.Background(), r)
	if err != nil {
		b.t.Fatalf("Submit(%+v) = %v", r, err)
	}
	return receipt
}

// planText is a plan of two lights, a background A and a key B, on white.
func planText() string {
	p := plan.Plan{Version: plan.FormatVersion, Shoot: "Alder Quay Rowing Club", Backdrop: plan.Backdrop{Colour: plan.White},
		Targets: plan.DefaultTargets(plan.White), Camera: plan.Camera{FNumber: 8, Shutter: 1.0 / 125, ISO: 200},
		Lights: []plan.Light{
			{Role: plan.Background, Group: "A", Power: -2 * exposure.Stop, Scale: exposure.ThirdFractions, Least: -7 * exposure.Stop},
			{Role: plan.Key, Group: "B", Power: -3 * exposure.Stop, Scale: exposure.ThirdFractions, Least: -7 * exposure.Stop}}}
	return string(p.Marshal())
}

func withPlan(r Request) Request {
	r.Plan = &advise.PlanText{Name: "boathouse.yaml", Text: planText()}
	return r
}

var card = assess.Box{X0: 0.4, Y0: 0.7, X1: 0.6, Y1: 0.8}

const (
	dark = "backdrop -0.8 white -1.1 kind full"
	good = "backdrop 0.2 white -0.2 kind full"
)

// frames lists frames as "number.revision", newest last.
func frames(s *Shoot) string {
	var out []string
	for _, f := range s.Snapshot().State.Frames {
		out = append(out, fmt.Sprintf("%d.%d", f.Number, f.Revision))
	}
	return strings.Join(out, " ")
}

// trailOf is the only shoot's folder.
func (b *bench) trailOf(s *Shoot) string { return filepath.Join(b.shoots(), s.ID()) }

// breaking is the machine's disk with hooks before each write and sync of a file.
type breaking struct {
	trail.OSDisk
	before func(op, file string) error
}

type breakingFile struct {
	trail.File
	d    *breaking
	name string
}

func (d *breaking) wrap(f trail.File, err error, name string) (trail.File, error) {
	if err != nil {
		return nil, err
	}
	return breakingFile{f, d, filepath.Base(name)}, nil
}

func (d *breaking) Create(name string) (trail.File, error) {
	f, err := d.OSDisk.Create(name)
	return d.wrap(f, err, name)
}

func (d *breaking) Append(name string) (trail.File, error) {
	f, err := d.OSDisk.Append(name)
	return d.wrap(f, err, name)
}

func (f breakingFile) Write(b []byte) (int, error) {
	if err := f.d.before("write", f.name); err != nil {
		return 0, err
	}
	return f.File.Write(b)
}

func (f breakingFile) Sync() error {
	if err := f.d.before("sync", f.name); err != nil {
		return err
	}
	return f.File.Sync()
}
