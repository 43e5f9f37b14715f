package shoot

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"github.com/rs/zerolog"

	"thirdstop/advise"
	"thirdstop/advise/plan"
	"thirdstop/advise/trail"
	"thirdstop/assess"
	"thirdstop/assess/tone"
)

// Config says where a shoot is kept and what measures its frames.
type Config struct {
	Shoots   string           // folder that holds one folder per shoot; must exist
	Folder   string           // absolute path of the capture folder
	Fresh    bool             // begin a new shoot even where one could be gone on with
	Measurer Measurer         // reads frames
	Version  string           // of the program
	Bookmark int              // frames after which a running shoot gets a new bookmark, at the least; 0 is 500
	Now      func() time.Time // nil: time.Now
	Learned  plan.Effective   // guide numbers that earlier shoots taught; nil: none
	Curves   Curves           // learned tone curves; nil: none are learned
	Disk     trail.Disk       // nil: the machine's
	Log      zerolog.Logger   // numbers of frames and records, never names

	// Free is how many bytes can still be written on a folder's disk; nil asks the system.
	Free func(folder string) (uint64, error)
}

// Shoot is one open shoot. Its methods may be called from many goroutines.
type Shoot struct {
	c        Config
	id       string
	began    time.Time
	after    string // id of the newest shoot of this folder when this one was opened
	trail    *trail.Trail
	pics     *pictures
	room     *room
	asOpened os.FileInfo // of the trail, when it was opened

	mu         sync.Mutex // one writer: held from storing an input until it is shown
	state      advise.State
	stateAt    time.Time
	clients    map[string]Receipt // of every request that took effect
	numbers    map[string]int     // frame number by stem
	revision   []int              // newest revision by frame number - 1
	owed       bool               // the white reference changed, and the newest frame was not measured again since
	planFile   *string            // text of the plan that a file gave last
	planAt     uint64             // the state that came of the newest plan
	troubles   map[string]Trouble
	recording  string
	measuring  int
	latency    time.Duration
	unrecorded *unrecorded
	unstored   map[[32]byte]bool // contents that were measured and could not be stored
	preview    *Provisional      // of a file that is being measured
	previewOf  uint64            // the state from which it was drawn
	closed     bool
	shots      map[int]assess.Shot // frames that the tone curve's bracket may be learned from, by number
	shotsOf    tone.Key            // their camera and rendering
	learning   bool                // a tone curve is being learned
	told       map[string][32]byte // broken content that was recorded last, by relative path
	contents   [][32]byte          // of every file that was recorded, in order; only appended to
	nameless   [][32]byte          // those whose path was erased; only appended to
	bookmarked int                 // frames at the newest bookmark
	unmarkable bool                // no bookmark may be written any more

	// What runs beside the writer until Close.
	beside      sync.WaitGroup
	stopBeside  context.CancelFunc
	bookmarking sync.Mutex

	// What others than the writer read is locked by itself, so that they don't wait for the disk.
	contentMu sync.RWMutex
	content   []int               // revision as which the file came that the state shows, by frame number - 1; 0 none
	effective map[string][32]byte // content by relative path
	marks     map[string]fileMark // size and time by relative path
	orphans   map[[32]byte]bool   // content whose path was erased, or that belongs to an earlier shoot

	refsMu sync.RWMutex
	refs   map[string]trail.Ref // texts of the side file by id

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
	Trusted trail.Place  // up to which the records were not played, but their outcome taken from a bookmark
	Passed  []string     // ids of shoots that may belong to this folder and can't be read
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
		effective: map[string][32]byte{}, marks: map[string]fileMark{}, orphans: map[[32]byte]bool{}, troubles: map[string]Trouble{}, unstored: map[[32]byte]bool{}, told: map[string][32]byte{}}
	ctx, stop := context.WithCancel(context.Background())
	s.stopBeside = stop
	var start Start
	found, past, err := s.find(&start)
	if err != nil {
		stop()
		return nil, start, err
	}
	if found != "" {
		start.Resumed = true
		if err = s.resume(found, &start); err != nil {
			err = cantGoOn(found, err)
		}
	} else {
		err = s.begin()
	}
	if err != nil {
		stop()
		if s.trail != nil {
			s.trail.Close()
		}
		return nil, start, err
	}
	s.room = &room{dir: s.trail.Dir(), free: c.Free, change: func() { go s.showAgain() }}
	s.asOpened, _ = os.Stat(filepath.Join(s.trail.Dir(), "trail.jsonl")) // else only its absence is noticed
	s.pics = newPictures(filepath.Join(s.trail.Dir(), picturesDir), s.room, s.baseline, c.Log)
	phase := advise.Begun
	if start.Resumed {
		phase = advise.Resumed
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	err = s.step(inputBody{Input: advise.Input{Session: &advise.Session{Phase: phase, Version: c.Version}}})
	if err != nil {
		stop()
		s.pics.close()
		s.trail.Close()
		return nil, start, err
	}
	if p := start.Trusted; p.End > checkedFirst {
		s.beside.Go(func() { s.checkBefore(ctx, p) })
	}
	if s.owed { // killed between a declaration and measuring again
		if err := s.again(""); err != nil {
			s.c.Log.Warn().Err(err).Msg("the newest frame was not measured again")
		}
		s.show()
	}
	s.learnWhenReady()       // killed between the last frame of a bracket and its curve
	for _, p := range past { // nobody looks at their pictures any more, but for the baseline's, which the sheet shows
		if err := removePictures(p.dir, p.baseline); err != nil {
			s.c.Log.Warn().Str("shoot", filepath.Base(p.dir)).Msg("the pictures of an earlier shoot can't be removed")
		}
	}
	return s, start, nil
}

func (s *Shoot) begin() error {
	salt := rand.Text()
	body, err := json.Marshal(about{Salt: salt, Folder: hashFolder(salt, s.c.Folder), After: s.after})
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

// Snapshot is the newest state. It is never changed once it was handed out.
func (s *Shoot) Snapshot() *Snapshot { return s.shown.Load() }

// Watch gives a signal on every new snapshot; signals that nobody took in time become one.
func (s *Shoot) Watch() (<-chan struct{}, func()) { return s.watch.add() }

// baseline is the number of the baseline's frame as it is shown, 0 none.
func (s *Shoot) baseline() int {
	if shown := s.Snapshot(); shown != nil {
		return shown.State.Baseline
	}
	return 0
}

// ID is the shoot's id, which is also the name of its folder.
func (s *Shoot) ID() string { return s.id }

// Head is the end of the trail, to be kept elsewhere.
func (s *Shoot) Head() trail.Head { return s.trail.Head() }

// Alive waits for the writer and returns why it takes no more, nil while it does. Who
// gets no answer knows that the writer hangs.
func (s *Shoot) Alive() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.trail.Err()
}

// Close stops a shoot without ending it; it can be gone on with. Pictures that wait to
// be made are left to be made when somebody asks for them. A second Close does nothing.
func (s *Shoot) Close() error {
	s.mu.Lock()
	done := s.closed
	s.closed = true
	s.mu.Unlock()
	if done {
		return nil
	}
	s.stopBeside()
	s.beside.Wait() // without mu, which they may wait for
	s.mu.Lock()
	defer s.mu.Unlock()
	var err error
	if s.state.Phase != advise.Ended && s.trail.Err() == nil {
		err = s.step(inputBody{Input: advise.Input{Session: &advise.Session{Phase: advise.Paused, Version: s.c.Version}}})
	}
	s.pics.close()
	if err == nil && !s.unmarkable && s.trail.Err() == nil {
		s.lastBookmark()
	}
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
