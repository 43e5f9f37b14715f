package shoot

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/rs/zerolog"

	"thirdstop/advise"
	"thirdstop/advise/trail"
)

// Config says where a shoot is kept and what measures its frames.
type Config struct {
	Shoots   string           // folder that holds one folder per shoot; must exist
	Folder   string           // absolute path of the capture folder
	Fresh    bool             // begin a new shoot even where one could be gone on with
	Measurer Measurer         // reads frames
	Version  string           // of the program
	Now      func() time.Time // nil: time.Now
	Disk     trail.Disk       // nil: the machine's
	Log      zerolog.Logger   // numbers of frames and records, never names
}

// Shoot is one open shoot. Its methods may be called from many goroutines.
type Shoot struct {
	c     Config
	id    string
	began time.Time
	trail *trail.Trail
	pics  *pictures

	mu        sync.Mutex // one writer: held from storing an input until it is shown
	state     advise.State
	refs      map[string]trail.Ref // by id
	clients   map[string]Receipt   // of every request that took effect
	numbers   map[string]int       // frame number by stem
	revision  []int                // newest revision by frame number - 1
	effective map[string][32]byte  // content by relative path
	orphans   map[[32]byte]bool    // content whose path was erased, or that belongs to an earlier shoot
	troubles  map[string]Trouble
	recording string
	measuring int
	latency   time.Duration

	eventsMu sync.RWMutex
	events   []Event

	shown atomic.Pointer[Snapshot]
	watch watchers
}

// Start says how a shoot was opened.
type Start struct {
	Resumed bool
	Repairs []trail.Repair
	Differs []Difference // outputs that today's rules would give otherwise; the record stands
}

// Open goes on with the newest shoot of the capture folder that was not ended, or
// begins a new one. The data folder must be locked to this program
// ([trail.LockDir]). A damaged trail is an error that names the record; nothing
// is written to it.
func Open(c Config) (*Shoot, Start, error) {
	if c.Now == nil {
		c.Now = time.Now
	}
	s := &Shoot{c: c, refs: map[string]trail.Ref{}, clients: map[string]Receipt{}, numbers: map[string]int{},
		effective: map[string][32]byte{}, orphans: map[[32]byte]bool{}, troubles: map[string]Trouble{}}
	found, err := s.find()
	if err != nil {
		return nil, Start{}, err
	}
	var start Start
	if found != "" {
		start.Resumed = true
		err = s.resume(found, &start)
	} else {
		err = s.begin()
	}
	if err != nil {
		if s.trail != nil {
			s.trail.Close()
		}
		return nil, start, err
	}
	s.pics = newPictures(filepath.Join(s.trail.Dir(), "pictures"), c.Log)
	phase := advise.Begun
	if start.Resumed {
		phase = advise.Resumed
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	_, err = s.step(inputBody{Input: advise.Input{Session: &advise.Session{Phase: phase, Version: c.Version}}})
	if err != nil {
		s.pics.close()
		s.trail.Close()
		return nil, start, err
	}
	return s, start, nil
}

// find looks for a shoot of this capture folder that can be gone on with, and
// remembers the files of those that can't, so that a new shoot does not take
// them for its own.
func (s *Shoot) find() (string, error) {
	entries, err := os.ReadDir(s.c.Shoots)
	if err != nil {
		return "", fmt.Errorf("the shoots in %s can't be listed: %w", s.c.Shoots, err)
	}
	type candidate struct {
		dir string
		at  time.Time
	}
	var all []candidate
	for _, e := range entries {
		dir := filepath.Join(s.c.Shoots, e.Name())
		h, err := trail.ReadHeader(dir)
		if errors.Is(err, fs.ErrNotExist) || !e.IsDir() {
			continue
		}
		var a about
		if err != nil || json.Unmarshal(h.About, &a) != nil || hashFolder(a.Salt, s.c.Folder) != a.Folder {
			continue // a damaged header can't be matched to a folder; `trail verify` tells of it
		}
		all = append(all, candidate{dir, h.At})
	}
	slices.SortFunc(all, func(a, b candidate) int { return b.at.Compare(a.at) })
	for i, c := range all {
		ended, err := s.recall(c.dir)
		if i == 0 && !ended && !s.c.Fresh {
			if err != nil {
				return "", fmt.Errorf("the shoot in %s can't be gone on with: %w; `thirdstop trail verify` tells more, and --fresh begins a new one beside it", c.dir, err)
			}
			clear(s.orphans)
			return c.dir, nil
		}
	}
	return "", nil
}

// recall reads through a shoot: whether it was ended, and which contents it holds.
func (s *Shoot) recall(dir string) (ended bool, err error) {
	for r, err := range trail.Read(dir) {
		if errors.Is(err, trail.ErrUnfinished) {
			break // a crash's last line; opening repairs it
		}
		if err != nil {
			return ended, err
		}
		if r.Kind != inputKind {
			continue
		}
		b, err := decodeInput(r)
		if err != nil {
			return ended, err
		}
		if p := b.Input.Session; p != nil {
			ended = p.Phase == advise.Ended
		}
		if f := b.Input.Frame; f != nil {
			if h, ok := parseHash(f.Hash); ok {
				s.orphans[h] = true
			}
		}
	}
	return ended, nil
}

func hashFolder(salt, folder string) string {
	sum := sha256.Sum256([]byte(salt + folder))
	return hex.EncodeToString(sum[:])
}

func parseHash(text string) (h [32]byte, ok bool) {
	b, err := hex.DecodeString(text)
	if err != nil || len(b) != len(h) {
		return h, false
	}
	return [32]byte(b), true
}

func (s *Shoot) begin() error {
	salt := rand.Text()
	body, err := json.Marshal(about{Salt: salt, Folder: hashFolder(salt, s.c.Folder)})
	if err != nil {
		return err
	}
	now := s.now()
	s.id = now.Format("20060102-150405-") + rand.Text()[:6]
	s.began = now
	s.trail, err = trail.Create(filepath.Join(s.c.Shoots, s.id), trail.Header{At: now, Rules: advise.Rules, Program: s.c.Version, About: body}, s.options())
	if err != nil {
		return fmt.Errorf("a new shoot can't be begun: %w", err)
	}
	return nil
}

func (s *Shoot) options() trail.Options { return trail.Options{Disk: s.c.Disk, Now: s.c.Now} }

// now is the daemon's clock as records keep it.
func (s *Shoot) now() time.Time { return s.c.Now().UTC().Truncate(time.Microsecond) }

// resume applies everything that was recorded, and brings what a crash left undone up to date.
func (s *Shoot) resume(dir string, start *Start) error {
	t, repairs, err := trail.Open(dir, s.options())
	if err != nil {
		return err
	}
	s.trail, s.id, start.Repairs = t, filepath.Base(dir), repairs
	h, err := trail.ReadHeader(dir)
	if err != nil {
		return err
	}
	s.began = h.At
	p := player{}
	for r, err := range t.After(0) {
		if err != nil {
			return err
		}
		in, at, err := p.play(r)
		if err != nil {
			return err
		}
		if in != nil {
			s.state = p.state
			s.remember(*in)
			s.log(*in, at, p.outputs)
			if in.Client != "" {
				s.clients[in.Client] = Receipt{State: s.state.Seq, Event: s.lastEvent(), At: at}
			}
		}
	}
	start.Differs = p.differs
	if p.open != 0 { // killed between an input and its outputs
		if _, err := t.AppendUnsynced(outputKind, bodyVersion, advise.Rules, s.now(), outputBody{Of: p.open, Outputs: p.outputs}); err != nil {
			return err
		}
	}
	return nil
}

// remember takes from an input what is needed to tell files and texts apart.
func (s *Shoot) remember(b inputBody) {
	for _, r := range b.Kept {
		s.refs[r.ID] = r
	}
	f := b.Input.Frame
	if f == nil {
		return
	}
	for len(s.revision) < f.Number {
		s.revision = append(s.revision, 0)
	}
	s.revision[f.Number-1] = max(s.revision[f.Number-1], f.Revision)
	h, ok := parseHash(f.Hash)
	if !ok {
		return // measured again, not a file
	}
	rel := s.words(f.File)
	if rel == "" {
		s.orphans[h] = true
		return
	}
	s.effective[rel] = h
	s.numbers[stem(rel)] = f.Number
}

// Snapshot is the newest state. It is never changed once it was handed out.
func (s *Shoot) Snapshot() *Snapshot { return s.shown.Load() }

// Watch gives a signal on every new snapshot; signals that nobody took in time become one.
func (s *Shoot) Watch() (<-chan struct{}, func()) { return s.watch.add() }

// ID is the shoot's id, which is also the name of its folder.
func (s *Shoot) ID() string { return s.id }

// Head is the end of the trail, to be kept elsewhere.
func (s *Shoot) Head() trail.Head { return s.trail.Head() }

// Close stops a shoot without ending it; it can be gone on with.
func (s *Shoot) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	var err error
	if s.state.Phase != advise.Ended && s.trail.Err() == nil {
		_, err = s.step(inputBody{Input: advise.Input{Session: &advise.Session{Phase: advise.Paused, Version: s.c.Version}}})
	}
	s.pics.close()
	return errors.Join(err, s.trail.Close())
}

// watchers hands out signals that a new snapshot is there.
type watchers struct {
	mu  sync.Mutex
	all map[chan struct{}]bool
}

func (w *watchers) add() (<-chan struct{}, func()) {
	c := make(chan struct{}, 1)
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.all == nil {
		w.all = map[chan struct{}]bool{}
	}
	w.all[c] = true
	return c, func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		delete(w.all, c)
	}
}

func (w *watchers) signal() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for c := range w.all {
		select {
		case c <- struct{}{}:
		default:
		}
	}
}
