package shoot

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"github.com/rs/zerolog"

	"thirdstop/advise"
	"thirdstop/assess"
)

// The pictures that the page shows: longest edge in pixels of the large and the
// small one, made once per frame.
const (
	largeEdge = 1600
	smallEdge = 320
)

const (
	keepMeasured = 3   // frames that can be measured again without their file
	keepQueued   = 2   // decoded pictures that wait, some 40 to 150 MB each
	keepFiles    = 600 // picture files kept per shoot; the oldest go first
)

// picturesDir is where the pictures lie in the folder of a shoot.
const picturesDir = "pictures"

// pictures makes the page's pictures after the advice is out, never before, and
// keeps them as files that may be deleted at any time.
type pictures struct {
	dir string
	log zerolog.Logger

	mu      sync.Mutex
	recent  []entry // newest last
	waiting map[version]chan struct{}
	closed  bool
	jobs    chan entry
	done    chan struct{}
	turn    chan struct{} // holds one token; who has it may make a picture out of the file
}

// version is a frame's content: the revision as which its file came.
type version struct{ frame, revision int }

type entry struct {
	version
	reading int // newest revision that was measured of it
	m       Measured
}

func newPictures(dir string, log zerolog.Logger) *pictures {
	p := &pictures{dir: dir, log: log, waiting: map[version]chan struct{}{}, jobs: make(chan entry, keepQueued),
		done: make(chan struct{}), turn: make(chan struct{}, 1)}
	go p.run()
	return p
}

// put queues a frame's pictures. Where the queue is full, in a burst, they are left to be
// made out of the file when somebody asks for them.
func (p *pictures) put(v version, m Measured) {
	e := entry{v, v.revision, m}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.recent = append(p.recent, e)
	if len(p.recent) > keepMeasured {
		p.recent = slices.Clone(p.recent[len(p.recent)-keepMeasured:])
	}
	select {
	case p.jobs <- e:
		if p.waiting[v] == nil {
			p.waiting[v] = make(chan struct{})
		}
	default:
		m.Release()
	}
}

// again notes that a revision was measured again.
func (p *pictures) again(frame, was, revision int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for i := range p.recent {
		if p.recent[i].frame == frame && p.recent[i].reading == was {
			p.recent[i].reading = revision
		}
	}
}

// measured is a revision that can be measured again, nil where it was dropped.
func (p *pictures) measured(frame, revision int) Measured {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, e := range p.recent {
		if e.frame == frame && e.reading == revision {
			return e.m
		}
	}
	return nil
}

func (p *pictures) run() {
	defer close(p.done)
	for e := range p.jobs {
		p.mu.Lock()
		late := p.closed
		p.mu.Unlock()
		if !late {
			p.make(e)
		}
		e.m.Release()
		p.mu.Lock()
		if w := p.waiting[e.version]; w != nil {
			close(w)
			delete(p.waiting, e.version)
		}
		p.mu.Unlock()
	}
}

// make makes the pictures of a frame. Without them the page shows none.
func (p *pictures) make(e entry) {
	if err := p.write(e); err != nil {
		p.log.Warn().Int("frame", e.frame).Str("why", sentence(err)).Msg("no picture for the page")
	}
}

func (p *pictures) write(e entry) error {
	if err := os.MkdirAll(p.dir, 0o700); err != nil {
		return err
	}
	for _, edge := range []int{largeEdge, smallEdge} {
		jpeg, err := e.m.Thumbnail(edge)
		if err != nil {
			return err
		}
		name := p.name(e.version, edge)
		if err := os.WriteFile(name+".new", jpeg, 0o600); err != nil {
			return err
		}
		if err := os.Rename(name+".new", name); err != nil {
			return err
		}
	}
	return p.trim()
}

// trim deletes the oldest pictures of a long shoot.
func (p *pictures) trim() error {
	names, err := os.ReadDir(p.dir)
	if err != nil || len(names) <= keepFiles { // two for every frame of the state, and to spare
		return err
	}
	slices.SortFunc(names, func(a, b os.DirEntry) int { return strings.Compare(a.Name(), b.Name()) }) // names sort by frame
	for _, n := range names[:len(names)-keepFiles] {
		if err := os.Remove(filepath.Join(p.dir, n.Name())); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

// removePictures deletes the pictures of a shoot but those of one frame.
func removePictures(dir string, but int) error {
	if but == 0 {
		return os.RemoveAll(filepath.Join(dir, picturesDir))
	}
	names, err := os.ReadDir(filepath.Join(dir, picturesDir))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	for _, n := range names {
		if !strings.HasPrefix(n.Name(), fmt.Sprintf("%07d-", but)) {
			err = errors.Join(err, os.Remove(filepath.Join(dir, picturesDir, n.Name())))
		}
	}
	return err
}

func (p *pictures) name(v version, edge int) string {
	return filepath.Join(p.dir, fmt.Sprintf("%07d-%03d-%d.jpg", v.frame, v.revision, edge))
}

// thumbnail waits for a picture that is being made, and reads it.
func (p *pictures) thumbnail(ctx context.Context, v version, edge int) ([]byte, error) {
	p.mu.Lock()
	w := p.waiting[v]
	p.mu.Unlock()
	if w != nil {
		select {
		case <-w:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	size := largeEdge
	if edge <= smallEdge {
		size = smallEdge
	}
	jpeg, err := os.ReadFile(p.name(v, size))
	if err != nil {
		return nil, fmt.Errorf("%w: there is no picture of frame %d", ErrNoFrame, v.frame)
	}
	return jpeg, nil
}

// Picture reads a picture that the page showed of a frame, as far as it is still there: the small one, or the
// large one. The revision is the one as which the frame's file came.
func Picture(dir string, frame, revision int, large bool) ([]byte, error) {
	edge := smallEdge
	if large {
		edge = largeEdge
	}
	p := pictures{dir: filepath.Join(dir, picturesDir)}
	return os.ReadFile(p.name(version{frame, revision}, edge))
}

// close makes the picture that is under way and leaves those that wait.
func (p *pictures) close() {
	p.mu.Lock()
	p.closed = true
	p.mu.Unlock()
	close(p.jobs)
	<-p.done
}

// Thumbnail is a JPEG of a frame, upright: the large one, or the small one for
// an edge up to 320 pixels. It waits for one that is being made, and where one
// is missing it is made out of the frame's file.
func (s *Shoot) Thumbnail(ctx context.Context, frame, edge int) ([]byte, error) {
	v := version{frame: frame}
	s.contentMu.RLock()
	if frame > 0 && frame <= len(s.content) {
		v.revision = s.content[frame-1]
	}
	s.contentMu.RUnlock()
	if v.revision == 0 {
		return nil, fmt.Errorf("%w: frame %d has no picture", ErrNoFrame, frame)
	}
	jpeg, err := s.pics.thumbnail(ctx, v, edge)
	if !errors.Is(err, ErrNoFrame) {
		return jpeg, err
	}
	select {
	case s.pics.turn <- struct{}{}:
		defer func() { <-s.pics.turn }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	if jpeg, err := s.pics.thumbnail(ctx, v, edge); !errors.Is(err, ErrNoFrame) {
		return jpeg, err // another caller made it while this one waited
	}
	if !s.picture(v) {
		return nil, err
	}
	return s.pics.thumbnail(ctx, v, edge)
}

// picture makes the pictures of a frame out of its file, if that is still as it was.
func (s *Shoot) picture(v version) bool {
	frames := s.Snapshot().State.Frames
	i := slices.IndexFunc(frames, func(f advise.FrameState) bool { return f.Number == v.frame && f.Reading != nil })
	if i < 0 {
		return false
	}
	name, data, err := s.file(frames[i])
	if err != nil {
		return false
	}
	_, m, err := s.measure(name, data, assess.Hints{})
	if err != nil || m == nil {
		return false
	}
	defer m.Release()
	s.pics.make(entry{version: v, m: m})
	return true
}
