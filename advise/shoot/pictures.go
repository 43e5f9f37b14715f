package shoot

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/rs/zerolog"
)

// The pictures that the page shows: longest edge in pixels of the large and the
// small one, made once per frame.
const (
	largeEdge = 1600
	smallEdge = 320
)

const (
	keepMeasured = 3    // frames that can be measured again without their file
	keepFiles    = 4000 // picture files kept per shoot; the oldest go first
)

// pictures makes the page's pictures after the advice is out, never before, and
// keeps them as files that may be deleted at any time.
type pictures struct {
	dir string
	log zerolog.Logger

	mu      sync.Mutex
	recent  []entry     // newest last
	made    map[int]int // newest revision whose pictures are there, by frame
	waiting map[int]chan struct{}
	jobs    chan entry
	done    chan struct{}
}

type entry struct {
	frame, revision int
	m               Measured
}

func newPictures(dir string, log zerolog.Logger) *pictures {
	p := &pictures{dir: dir, log: log, made: map[int]int{}, waiting: map[int]chan struct{}{}, jobs: make(chan entry, 64), done: make(chan struct{})}
	names, _ := filepath.Glob(filepath.Join(dir, "*-"+strconv.Itoa(largeEdge)+".jpg"))
	for _, n := range names {
		var frame, revision int
		if _, err := fmt.Sscanf(filepath.Base(n), "%d-%d-", &frame, &revision); err == nil {
			p.made[frame] = max(p.made[frame], revision)
		}
	}
	go p.run()
	return p
}

// put queues a frame's pictures. Where the queue is full, in a burst, the frame goes without.
func (p *pictures) put(frame, revision int, m Measured) {
	e := entry{frame, revision, m}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.recent = append(p.recent, e)
	if len(p.recent) > keepMeasured {
		p.recent = slices.Clone(p.recent[len(p.recent)-keepMeasured:])
	}
	select {
	case p.jobs <- e:
		if p.waiting[frame] == nil {
			p.waiting[frame] = make(chan struct{})
		}
	default:
		m.Release()
	}
}

// again notes a new revision of the same picture.
func (p *pictures) again(frame, revision int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for i := range p.recent {
		if p.recent[i].frame == frame {
			p.recent[i].revision = revision
		}
	}
}

func (p *pictures) measured(frame int) Measured {
	p.mu.Lock()
	defer p.mu.Unlock()
	for i := len(p.recent) - 1; i >= 0; i-- {
		if p.recent[i].frame == frame {
			return p.recent[i].m
		}
	}
	return nil
}

func (p *pictures) run() {
	defer close(p.done)
	for e := range p.jobs {
		err := p.make(e)
		e.m.Release()
		if err != nil {
			p.log.Warn().Int("frame", e.frame).Err(err).Msg("no picture for the page")
		}
		p.mu.Lock()
		if err == nil {
			p.made[e.frame] = max(p.made[e.frame], e.revision)
		}
		if w := p.waiting[e.frame]; w != nil {
			close(w)
			delete(p.waiting, e.frame)
		}
		p.mu.Unlock()
	}
}

func (p *pictures) make(e entry) error {
	if err := os.MkdirAll(p.dir, 0o700); err != nil {
		return err
	}
	for _, edge := range []int{largeEdge, smallEdge} {
		jpeg, err := e.m.Thumbnail(edge)
		if err != nil {
			return err
		}
		name := p.name(e.frame, e.revision, edge)
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
	if err != nil || len(names) <= keepFiles {
		return err
	}
	slices.SortFunc(names, func(a, b os.DirEntry) int { return strings.Compare(a.Name(), b.Name()) }) // names sort by frame
	for _, n := range names[:len(names)-keepFiles] {
		if err := os.Remove(filepath.Join(p.dir, n.Name())); err != nil {
			return err
		}
	}
	return nil
}

func (p *pictures) name(frame, revision, edge int) string {
	return filepath.Join(p.dir, fmt.Sprintf("%07d-%03d-%d.jpg", frame, revision, edge))
}

// thumbnail waits for a picture that is being made, and reads it.
func (p *pictures) thumbnail(ctx context.Context, frame, edge int) ([]byte, error) {
	p.mu.Lock()
	w := p.waiting[frame]
	p.mu.Unlock()
	if w != nil {
		select {
		case <-w:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	p.mu.Lock()
	revision, ok := p.made[frame]
	p.mu.Unlock()
	if !ok {
		return nil, fmt.Errorf("%w: there is no picture of frame %d", ErrNoFrame, frame)
	}
	size := largeEdge
	if edge <= smallEdge {
		size = smallEdge
	}
	data, err := os.ReadFile(p.name(frame, revision, size))
	if err != nil {
		return nil, fmt.Errorf("%w: the picture of frame %d is gone", ErrNoFrame, frame)
	}
	return data, nil
}

// close waits until the queued pictures are made.
func (p *pictures) close() {
	close(p.jobs)
	<-p.done
}

// Thumbnail is a JPEG of a frame, upright: the large one, or the small one for
// an edge up to 320 pixels. It waits for one that is being made.
func (s *Shoot) Thumbnail(ctx context.Context, frame, edge int) ([]byte, error) {
	return s.pics.thumbnail(ctx, frame, edge)
}
