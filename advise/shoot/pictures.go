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
	"time"

	"github.com/rs/zerolog"

	"thirdstop/advise"
	"thirdstop/advise/trail"
	"thirdstop/assess"
)

// The pictures that the page shows: longest edge in pixels of the large and the
// small one, made once per frame.
const (
	largeEdge = 1500 // a quarter of 24 megapixels, which photo keeps of the pass that measures
	smallEdge = 320
)

const (
	keepMeasured = 3   // frames that can be measured again without their file
	keepQueued   = 2   // decoded pictures that wait, some 40 to 150 MB each
	keepFiles    = 600 // picture files kept per shoot; the oldest go first
	keepHeld     = 4   // frames whose pictures are held in memory while they can't be stored, under 1 MB each
)

// lookAgain is how often it is seen, while there is little room, whether it came back.
const lookAgain = 5 * time.Second

// mostWait is how long, in all, a frame's pictures wait for the measuring of later ones: where frames come without a
// pause, people still see one now and then.
const mostWait = 2 * time.Second

// picturesDir is where the pictures lie in the folder of a shoot.
const picturesDir = "pictures"

// pictures makes the page's pictures after the advice is out, never before, stands still while a later frame is
// measured, and keeps them as files that may be deleted at any time. They never take the room that the record
// needs: without it the newest are held in memory, and all others made when somebody asks for them.
type pictures struct {
	dir      string
	room     *room
	log      zerolog.Logger
	baseline func() int // number of the frame whose pictures are never deleted, 0 none

	mu      sync.Mutex
	held    []held  // pictures that could not be stored, newest last
	recent  []entry // newest last
	queue   []entry // pictures that wait to be made, newest last
	waiting map[version]chan struct{}
	closed  bool
	busy    int           // frames that are being measured
	calm    chan struct{} // closed when none is any more; nil while none is
	wait    time.Duration // how long they are waited for
	jobs    chan struct{} // holds a token while something waits; closed with the shoot
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

// held are the pictures of a frame in memory, by edge.
type held struct {
	version
	jpegs map[int][]byte
}

func newPictures(dir string, r *room, baseline func() int, log zerolog.Logger) *pictures {
	p := &pictures{dir: dir, room: r, log: log, baseline: baseline, waiting: map[version]chan struct{}{}, wait: mostWait, jobs: make(chan struct{}, 1),
		done: make(chan struct{}), turn: make(chan struct{}, 1)}
	go p.run()
	return p
}

// put queues a frame's pictures, which are made newest first. Where the queue is full, in a burst, the oldest in it
// are left to be made out of the file when somebody asks for them: people look at the newest frame.
func (p *pictures) put(v version, m Measured) {
	e := entry{v, v.revision, m}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.recent = append(p.recent, e)
	if len(p.recent) > keepMeasured {
		p.recent = slices.Clone(p.recent[len(p.recent)-keepMeasured:])
	}
	if p.closed {
		m.Release()
		return
	}
	if p.queue = append(p.queue, e); len(p.queue) > keepQueued {
		old := p.queue[0]
		p.queue = slices.Delete(p.queue, 0, 1)
		old.m.Release()
		p.nothingWaits(old.version)
	}
	if p.waiting[v] == nil {
		p.waiting[v] = make(chan struct{})
	}
	select {
	case p.jobs <- struct{}{}:
	default: // there is a token
	}
}

// nothingWaits lets go of those who wait for a version's pictures. The caller holds mu.
func (p *pictures) nothingWaits(v version) {
	if w := p.waiting[v]; w != nil {
		close(w)
		delete(p.waiting, v)
	}
}

// next takes the newest that waits.
func (p *pictures) next() (e entry, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.queue) == 0 {
		return e, false
	}
	e = p.queue[len(p.queue)-1]
	p.queue = slices.Delete(p.queue, len(p.queue)-1, len(p.queue))
	return e, true
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

// measuring says that the measuring of a frame begins, or ends.
func (p *pictures) measuring(begins bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if begins {
		if p.busy++; p.busy == 1 {
			p.calm = make(chan struct{})
		}
		return
	}
	if p.busy--; p.busy == 0 {
		close(p.calm)
		p.calm = nil
	}
}

// yield is a function that waits while a frame is measured, and no longer than up to a time from now.
func (p *pictures) yield() func() {
	until := time.Now().Add(p.wait)
	return func() {
		for {
			p.mu.Lock()
			calm := p.calm
			if p.closed {
				calm = nil
			}
			p.mu.Unlock()
			left := time.Until(until)
			if calm == nil || left <= 0 {
				return
			}
			late := time.NewTimer(left)
			select {
			case <-calm:
			case <-late.C:
			}
			late.Stop()
		}
	}
}

func (p *pictures) run() {
	defer close(p.done)
	again := time.NewTicker(lookAgain)
	defer again.Stop()
	for {
		select {
		case _, ok := <-p.jobs:
			for e, more := p.next(); more; e, more = p.next() {
				p.do(e)
			}
			if !ok {
				return
			}
		case <-again.C:
			if p.room.shortage() != "" {
				p.room.allows(0)
			}
		}
	}
}

func (p *pictures) do(e entry) {
	p.mu.Lock()
	late := p.closed
	p.mu.Unlock()
	if !late {
		p.make(e)
	}
	e.m.Release()
	p.mu.Lock()
	defer p.mu.Unlock()
	p.nothingWaits(e.version)
}

// make makes the pictures of a frame. Without them the page shows none.
func (p *pictures) make(e entry) {
	if err := p.write(e); err != nil {
		p.log.Warn().Int("frame", e.frame).Str("why", sentence(err)).Msg("no picture for the page")
	}
}

func (p *pictures) write(e entry) error {
	h := held{e.version, map[int][]byte{}}
	var size uint64
	yield := p.yield()
	for _, edge := range []int{largeEdge, smallEdge} {
		jpeg, err := e.m.Thumbnail(edge, yield)
		if err != nil {
			return err
		}
		h.jpegs[edge] = jpeg
		size += uint64(len(jpeg)) + 8<<10 // and what a file takes beside its bytes
	}
	err := p.makeRoom(e.frame, size)
	if err == nil {
		err = p.store(h)
	}
	if err != nil {
		p.hold(h)
		if errors.Is(err, errNoRoom) { // told already, and once
			return nil
		}
		return err
	}
	return nil
}

// store writes the pictures of a frame as files. One that could not be written leaves nothing behind.
func (p *pictures) store(h held) error {
	// The shoot's own folder is not made again: had it gone, a new one would only look like it.
	if err := os.Mkdir(p.dir, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	for edge, jpeg := range h.jpegs {
		name := p.name(h.version, edge)
		err := os.WriteFile(name+".new", jpeg, 0o600)
		if err == nil {
			err = os.Rename(name+".new", name)
		}
		if err != nil {
			os.Remove(name + ".new")
			if trail.DiskFull(err) {
				p.room.full()
				return errNoRoom
			}
			return err
		}
	}
	return nil
}

// hold keeps pictures in memory that could not be stored.
func (p *pictures) hold(h held) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.held = append(p.held, h)
	if len(p.held) > keepHeld {
		p.held = slices.Clone(p.held[len(p.held)-keepHeld:])
	}
}

// makeRoom deletes the oldest pictures until there are not too many of them, and the new ones, those of a frame, leave
// the record its room. The baseline's stay, which every sheet shows, and so do the newest frame's, which everybody
// looks at. It fails with errNoRoom where there is none left to delete.
func (p *pictures) makeRoom(frame int, size uint64) error {
	names, err := os.ReadDir(p.dir) // sorted by name, which is by frame
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	var sizes []uint64
	total := size
	newest := fmt.Sprintf("%07d-", frame)
	if len(names) > 0 {
		newest = max(newest, ofFrame(names[len(names)-1].Name()))
	}
	baseline := ""
	if n := p.baseline(); n > 0 {
		baseline = fmt.Sprintf("%07d-", n)
	}
	for _, n := range names {
		var s uint64
		if info, err := n.Info(); err == nil { // else it is gone
			s = uint64(info.Size())
		}
		sizes = append(sizes, s)
		total += s
	}
	left := len(names) + 2 // with the two new ones: two for every frame of the state, and to spare
	for i, n := range names {
		if f := ofFrame(n.Name()); f == baseline || f == newest {
			continue
		}
		if _, ok := p.room.holds(size); ok && left <= keepFiles && total <= mostPictures {
			break
		}
		if err := os.Remove(filepath.Join(p.dir, n.Name())); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		total -= sizes[i]
		left--
	}
	if !p.room.allows(size) {
		return errNoRoom
	}
	return nil
}

// ofFrame is what the names of a frame's pictures begin with.
func ofFrame(name string) string {
	number, _, _ := strings.Cut(name, "-")
	return number + "-"
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
	p.mu.Lock()
	for _, h := range p.held {
		if h.version == v {
			jpeg := h.jpegs[size]
			p.mu.Unlock()
			return jpeg, nil
		}
	}
	p.mu.Unlock()
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
	s.pics.yield()()
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
