package trail_test

import (
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"thirdstop/advise/trail"
	"thirdstop/advise/trail/trailtest"
)

const memDir = "shoots/committee"

// told is what a program heard from a trail, and may therefore rely on.
type told struct {
	created bool
	synced  []trail.Record // acknowledged as being on disk
	written []trail.Record // acknowledged as written, in the same order, synced ones included
	refs    map[uint64]trail.Ref
	texts   map[string]string // by id
	erasing map[string]bool   // Erase was called
	erased  map[string]bool   // Erase returned without an error
	err     error             // the first one
}

// shootOn plays a short shoot on a disk until something fails, and once more after that.
func shootOn(d trail.Disk) (out told) {
	out.refs, out.texts = make(map[uint64]trail.Ref), make(map[string]string)
	out.erasing, out.erased = make(map[string]bool), make(map[string]bool)
	opt := trail.Options{Disk: d}
	tr, err := trail.Create(memDir, header(), opt)
	if err != nil {
		out.err = err
		return out
	}
	out.created = true
	ids := []string{}
	step := func(i int) error {
		var body any = i
		var ref trail.Ref
		if i%2 == 0 {
			text := fmt.Sprintf("rower %d", i)
			if ref, err = tr.Keep(text); err != nil {
				return err
			}
			out.texts[ref.ID] = text
			ids = append(ids, ref.ID)
			body = map[string]any{"who": ref}
		}
		app, sync := tr.Append, true
		if i%3 == 1 {
			app, sync = tr.AppendUnsynced, false
		}
		r, err := app("input", 1, "r1", morning, body)
		if err != nil {
			return err
		}
		out.written = append(out.written, r)
		if ref.ID != "" {
			out.refs[r.Seq] = ref
		}
		if sync {
			out.synced = slices.Clone(out.written)
		}
		return nil
	}
	for i := range 12 {
		switch i {
		case 5, 9:
			id := ids[0]
			ids = ids[1:]
			out.erasing[id] = true
			if out.err = tr.Erase(id); out.err == nil {
				out.erased[id] = true
			}
		case 7:
			out.err = tr.Close()
			if out.err == nil {
				out.synced = slices.Clone(out.written)
				tr, _, out.err = trail.Open(memDir, opt)
				if out.err != nil {
					return out
				}
			}
		default:
			out.err = step(i)
		}
		if out.err != nil {
			break
		}
	}
	if out.err == nil {
		if out.err = tr.Sync(); out.err == nil {
			out.synced = slices.Clone(out.written)
		}
	}
	if errors.Is(out.err, trail.ErrPoisoned) {
		for range 2 {
			for _, err := range []error{step(2), step(3), tr.Sync(), tr.Erase(ids...)} {
				if !errors.Is(err, trail.ErrPoisoned) {
					out.err = fmt.Errorf("a poisoned trail answered with %v", err)
				}
			}
		}
		if err := tr.Close(); !errors.Is(err, trail.ErrPoisoned) {
			out.err = fmt.Errorf("closing a poisoned trail: %v", err)
		}
	} else if out.err == nil {
		out.err = tr.Close()
	}
	return out
}

// holds checks that a disk still has what a program was told, and goes on with the shoot.
func holds(d *trailtest.Disk, w told, promised []trail.Record) error {
	opt := trail.Options{Disk: d}
	tr, _, err := trail.Open(memDir, opt)
	if !w.created {
		if errors.Is(err, fs.ErrNotExist) {
			tr, err = trail.Create(memDir, header(), opt)
		}
		if err != nil {
			return fmt.Errorf("a shoot that could not be created can't be begun again: %w", err)
		}
		return tr.Close()
	}
	if err != nil {
		return fmt.Errorf("open: %w", err)
	}
	defer tr.Close()
	var got []trail.Record
	for r, err := range tr.After(1) {
		if err != nil {
			return err
		}
		got = append(got, r)
	}
	if len(got) < len(promised) {
		return fmt.Errorf("%d records are left of %d that were acknowledged", len(got), len(promised))
	}
	for i, r := range got {
		if i < len(w.written) && r.Hash() != w.written[i].Hash() {
			return fmt.Errorf("record %d is not the one that was acknowledged", r.Seq)
		}
		ref, ok := w.refs[r.Seq]
		if !ok {
			continue
		}
		text, err := tr.Text(ref)
		switch {
		case w.erased[ref.ID] && !errors.Is(err, trail.ErrErased):
			return fmt.Errorf("text of record %d came back after it was erased: %q, %v", r.Seq, text, err)
		case err != nil && !(w.erasing[ref.ID] && errors.Is(err, trail.ErrErased)):
			return fmt.Errorf("text of record %d: %w", r.Seq, err)
		case err == nil && text != w.texts[ref.ID]:
			return fmt.Errorf("text of record %d is %q", r.Seq, text)
		}
	}
	if _, err := tr.Append("input", 1, "", morning, "go on"); err != nil {
		return fmt.Errorf("going on: %w", err)
	}
	rep, err := trail.VerifyOn(d, memDir, tr.Head().String())
	if err == nil && len(rep.Missing) > 0 {
		err = fmt.Errorf("texts are missing: %v", rep.Missing)
	}
	for _, n := range d.Names() {
		if strings.HasSuffix(n, ".new") {
			err = fmt.Errorf("%s was left behind", n)
		}
	}
	return err
}

func TestAFailureAtEveryPossiblePointLosesNothingAcknowledged(t *testing.T) {
	good := &trailtest.Disk{}
	if w := shootOn(good); w.err != nil {
		t.Fatal(w.err)
	}
	ops := len(good.Log())
	if ops < 40 {
		t.Fatalf("the shoot has %d operations only: %v", ops, good.Log())
	}
	poisoned := 0
	for _, how := range []trailtest.Fault{trailtest.FailWhole, trailtest.FailHalf, trailtest.FailShort} {
		for at := 1; at <= ops; at++ {
			d := &trailtest.Disk{}
			d.FailAt(at, how, nil)
			w := shootOn(d)
			log := d.Log()
			name := fmt.Sprintf("fault %d at operation %d (%s)", how, at, log[at-1])
			if w.err == nil {
				t.Errorf("%s: nobody was told", name)
				continue
			}
			if errors.Is(w.err, trail.ErrPoisoned) {
				poisoned++
				if len(log) != at {
					t.Errorf("%s: the poisoned trail went on with %v", name, log[at:])
				}
				if how != trailtest.FailShort && (!errors.Is(w.err, syscall.ENOSPC) || w.err.Error() != "not recorded: the disk that holds shoots/committee is full; free some space and start thirdstop again") &&
					!strings.HasPrefix(w.err.Error(), "whether the texts are erased is not known: not recorded: the disk") {
					t.Errorf("%s: the sentence is %q", name, w.err)
				}
			} else if op, _, _ := strings.Cut(log[at-1], " "); w.created && op != "syncdir" && !strings.Contains(log[at-1], ".new") {
				t.Errorf("%s: %v, which is not ErrPoisoned", name, w.err)
			}
			// What the machine still sees, and what is left if the power goes as well.
			for seed := range uint64(20) {
				lost := d.PowerLoss(rand.New(rand.NewPCG(seed, uint64(at))))
				if err := holds(lost, w, w.synced); err != nil {
					t.Fatalf("%s, then power loss (seed %d): %v", name, seed, err)
				}
			}
			if err := holds(d, w, w.written); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
	}
	if poisoned < 60 {
		t.Errorf("only %d of the failures poisoned the trail", poisoned)
	}
}

// stopAt is a disk that panics at an operation, as a machine stops between two of them.
type stopAt struct {
	*trailtest.Disk
	left int
}

type stopped struct{}

func (s *stopAt) step() {
	if s.left--; s.left < 0 {
		panic(stopped{})
	}
}

func (s *stopAt) Create(name string) (trail.File, error) {
	s.step()
	f, err := s.Disk.Create(name)
	return stopFile{f, s}, err
}
func (s *stopAt) Append(name string) (trail.File, error) {
	f, err := s.Disk.Append(name)
	return stopFile{f, s}, err
}
func (s *stopAt) Rename(from, to string) error        { s.step(); return s.Disk.Rename(from, to) }
func (s *stopAt) SyncDir(dir string) error            { s.step(); return s.Disk.SyncDir(dir) }
func (s *stopAt) Truncate(name string, n int64) error { s.step(); return s.Disk.Truncate(name, n) }

type stopFile struct {
	trail.File
	s *stopAt
}

func (f stopFile) Write(b []byte) (int, error) { f.s.step(); return f.File.Write(b) }
func (f stopFile) Sync() error                 { f.s.step(); return f.File.Sync() }

func TestPowerLossBetweenAnyTwoOperationsLosesNothingAcknowledged(t *testing.T) {
	stops := 0
	for left := 0; ; left++ {
		d := &stopAt{Disk: &trailtest.Disk{}, left: left}
		var w told
		done := func() (done bool) {
			defer func() {
				if r := recover(); r != nil {
					if _, ok := r.(stopped); !ok {
						panic(r)
					}
				}
			}()
			w = shootOnUntilStopped(d, &w)
			return true
		}()
		for seed := range uint64(30) {
			lost := d.PowerLoss(rand.New(rand.NewPCG(seed, uint64(left))))
			// The power may fail again while Open repairs; then the next Open has to manage.
			again := &stopAt{Disk: lost, left: int(seed % 7)}
			func() {
				defer func() {
					if r := recover(); r != nil {
						if _, ok := r.(stopped); !ok {
							panic(r)
						}
					}
				}()
				if tr, _, err := trail.Open(memDir, trail.Options{Disk: again}); err == nil {
					tr.Close()
				}
			}()
			lost = lost.PowerLoss(rand.New(rand.NewPCG(seed, uint64(left)+1000)))
			if err := holds(lost, w, w.synced); err != nil {
				t.Fatalf("power loss after %d operations (seed %d, last %v): %v", left, seed, tail(d.Log()), err)
			}
		}
		if done {
			break
		}
		stops++
	}
	if stops < 20 {
		t.Errorf("only %d moments were tried", stops)
	}
}

func tail(log []string) []string { return log[max(0, len(log)-3):] }

// shootOnUntilStopped notes in w what was acknowledged as it goes, because a stop ends it without a return.
func shootOnUntilStopped(d trail.Disk, w *told) told {
	w.refs, w.texts = make(map[uint64]trail.Ref), make(map[string]string)
	w.erasing, w.erased = make(map[string]bool), make(map[string]bool)
	tr, err := trail.Create(memDir, header(), trail.Options{Disk: d})
	if err != nil {
		panic(err)
	}
	w.created = true
	var kept []string
	for i := range 9 {
		text := fmt.Sprintf("rower %d", i)
		ref, err := tr.Keep(text)
		if err != nil {
			panic(err)
		}
		w.texts[ref.ID] = text
		kept = append(kept, ref.ID)
		app := tr.Append
		if i%3 == 1 {
			app = tr.AppendUnsynced
		}
		r, err := app("input", 1, "r1", morning, ref)
		if err != nil {
			panic(err)
		}
		w.written = append(w.written, r)
		w.refs[r.Seq] = ref
		if i%3 != 1 {
			w.synced = slices.Clone(w.written)
		}
		if i%4 == 3 {
			w.erasing[kept[0]], w.erasing[kept[1]] = true, true
			if err := tr.Erase(kept[0], kept[1]); err != nil {
				panic(err)
			}
			w.erased[kept[0]], w.erased[kept[1]] = true, true
			kept = kept[2:]
		}
	}
	if err := tr.Close(); err != nil {
		panic(err)
	}
	return *w
}

func TestWhatIsCutOffIsOnDiskBeforeItIsCutOff(t *testing.T) {
	base := &trailtest.Disk{}
	create(t, memDir, trail.Options{Disk: base}).Close()
	whole, _ := base.Content(memChain)
	const part = `{"seq":2,"prev":"0123456789`
	cuts := 0
	for left := range 10 {
		for seed := range uint64(40) {
			d := &stopAt{Disk: &trailtest.Disk{}, left: left}
			d.SetContent(memChain, append(whole[:len(whole):len(whole)], part...))
			d.SetContent(memDir+"/names.jsonl", nil)
			func() {
				defer func() {
					if r := recover(); r != nil && r != (stopped{}) {
						panic(r)
					}
				}()
				if tr, _, err := trail.Open(memDir, trail.Options{Disk: d}); err != nil {
					t.Error(err)
				} else {
					tr.Close()
				}
			}()
			lost := d.PowerLoss(rand.New(rand.NewPCG(seed, uint64(left))))
			now, _ := lost.Content(memChain)
			if len(now) > len(whole) {
				continue
			}
			cuts++
			kept := false
			for _, n := range lost.Names() {
				b, _ := lost.Content(n)
				kept = kept || strings.HasSuffix(n, ".part") && string(b) == part
			}
			if !kept {
				t.Fatalf("power loss after %d operations (seed %d): the line was cut off and is kept nowhere: %v", left, seed, lost.Names())
			}
		}
	}
	if cuts < 40 {
		t.Errorf("the line was cut off in %d of the cases only", cuts)
	}
}

func TestAFullDiskWhenOpeningIsToldAndChangesNothing(t *testing.T) {
	d := &trailtest.Disk{}
	create(t, memDir, trail.Options{Disk: d}).Close()
	whole, _ := d.Content(memChain)
	broken := append(whole[:len(whole):len(whole)], "{"...)
	d.SetContent(memChain, broken)
	d.FailAt(2, trailtest.FailWhole, nil)
	_, _, err := trail.Open(memDir, trail.Options{Disk: d})
	if !errors.Is(err, syscall.ENOSPC) || !strings.Contains(err.Error(), "free some space and start thirdstop again") {
		t.Errorf("error is %v", err)
	}
	if now, _ := d.Content(memChain); string(now) != string(broken) {
		t.Errorf("the trail was changed")
	}
}

func TestAFailedEraseLeavesTheTrailUsable(t *testing.T) {
	d := &trailtest.Disk{}
	tr := create(t, memDir, trail.Options{Disk: d})
	ref, err := tr.Keep("the cox")
	if err != nil {
		t.Fatal(err)
	}
	add(t, tr, ref)
	for at := 1; at <= 4; at++ { // create, write, sync, rename
		d.FailAt(at, trailtest.FailHalf, nil)
		err := tr.Erase(ref.ID)
		if err == nil || errors.Is(err, trail.ErrPoisoned) || !strings.HasPrefix(err.Error(), "nothing erased: ") {
			t.Fatalf("operation %d of Erase failed, and Erase said %v (%v)", at, err, d.Log())
		}
		if text, err := tr.Text(ref); err != nil || text != "the cox" {
			t.Fatalf("text after a failed Erase: %q, %v", text, err)
		}
		add(t, tr, at)
		if _, err := tr.Keep("more"); err != nil {
			t.Fatal(err)
		}
	}
	d.FailAt(0, 0, nil)
	if err := tr.Erase(ref.ID); err != nil {
		t.Fatal(err)
	}
	if _, err := tr.Text(ref); !errors.Is(err, trail.ErrErased) {
		t.Errorf("text after Erase: %v", err)
	}
}

func TestOtherFailuresNameTheFileAndTheCause(t *testing.T) {
	d := &trailtest.Disk{}
	tr := create(t, memDir, trail.Options{Disk: d})
	d.FailAt(2, trailtest.FailWhole, syscall.EIO) // the write works, the sync fails
	before := tr.Head()
	_, err := tr.Append("input", 1, "", morning, 1)
	if !errors.Is(err, trail.ErrPoisoned) || !errors.Is(err, syscall.EIO) || !strings.HasPrefix(err.Error(), "not recorded: trail.jsonl in shoots/committee could not be written (") {
		t.Errorf("error is %v", err)
	}
	if tr.Head() != before {
		t.Errorf("head vouches for a record that was not acknowledged")
	}
	if !errors.Is(tr.Err(), trail.ErrPoisoned) {
		t.Errorf("Err() = %v", tr.Err())
	}
	for r, err := range tr.After(0) {
		if err != nil || r.Seq != 1 {
			t.Errorf("After gives record %d, %v", r.Seq, err)
		}
	}
}

// redirected is the machine's disk, but trail.jsonl is appended to another file.
type redirected struct {
	trail.OSDisk
	to string
}

func (d redirected) Append(name string) (trail.File, error) {
	if filepath.Base(name) == "trail.jsonl" {
		name = d.to
	}
	return d.OSDisk.Append(name)
}

func TestARealFullDeviceIsToldInASentence(t *testing.T) {
	if _, err := os.Stat("/dev/full"); err != nil {
		t.Skip("this system has no /dev/full")
	}
	dir := t.TempDir()
	create(t, dir, trail.Options{}).Close()
	tr, _ := open(t, dir, trail.Options{Disk: redirected{to: "/dev/full"}})
	_, err := tr.Append("input", 1, "", morning, "a")
	want := "not recorded: the disk that holds " + dir + " is full; free some space and start thirdstop again"
	if !errors.Is(err, trail.ErrPoisoned) || err.Error() != want {
		t.Errorf("error is %v, want %s", err, want)
	}
}
