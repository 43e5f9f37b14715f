package entropy

import (
	"bytes"
	"sync"
	"sync/atomic"

	"thirdstop/assess/aside"
)

// A scan is one long sequence of codes, each beginning where the one before
// ended. To decode it on several cores it is cut at arbitrary bytes into chunks.
// Whoever takes a chunk starts decoding at its first bit as if an MCU began there,
// gets nonsense for a while, and soon falls into step with the truth, because
// Huffman codes synchronise themselves. Nothing of that is believed: when the
// chunk before has been decoded to its end, its exact end position is the true
// beginning, and decoding goes on from there, MCU by MCU, until it comes to a
// position where the guess was too. From that position on both must be the same.
// What the first coefficients are differences to is known then as well. If the
// two don't meet early on, the chunk is decoded again from its true beginning.
//
// Restart markers cut a scan into stretches that stand alone; then there is
// nothing to guess.

const (
	// roomBlocks is how many blocks' coefficients are kept at a time, 128 bytes each.
	roomBlocks = 4096
	// A chunk is meant to fill half of that: where a picture is plain, blocks are
	// shorter and there are more of them, and a chunk that doesn't fit must be
	// finished before the next can be joined to it.
	chunkBlocks = roomBlocks / 2
	chunkBytes  = 2 * mostMCU // and has no fewer bytes than this
	// headMCUs is how far into a chunk a guess and the truth may meet.
	headMCUs = 256
	// bridgeBlocks is how many blocks the way there may take.
	bridgeBlocks = 768
)

// chunk is a part of the scan: from a byte up to another; or, with restart
// markers, whole stretches.
type chunk struct {
	from, to int
}

// state is a true position at the beginning of a chunk: in bits, how many MCUs
// came before, and what the next differences add to.
type state struct {
	position int
	mcu      int
	pred     [3]int32
}

// work is what the workers of a job share.
type work struct {
	total    int // MCUs
	chunks   []chunk
	stretch  []int32 // with restart markers: where each stretch begins, then the end plus 2
	next     atomic.Int64
	meetings atomic.Int32 // guesses that met the truth
	misses   atomic.Int32 // and those that didn't
	mu       sync.Mutex
	arrived  sync.Cond
	turn     int // the chunk whose beginning is known, guarded by mu like all below
	at       state
	failed   bool
	partial  map[int]*band
	bandMCUs int // rows of MCUs in a band of cells
}

// split finds the end of the scan and cuts it up.
func (j *job) split(workers int, vector bool) error {
	j.total = j.mxx * j.myy
	blocks := j.total * len(j.plan)
	// A block takes a code for its difference and one more.
	if blocks > 4*len(j.scan) {
		return ErrNotMine
	}
	stretches := 1
	if j.interval > 0 {
		stretches = (j.total + j.interval - 1) / j.interval
	}
	j.stretch = append(j.stretch, 0)
	end := -1
	for at := 0; ; {
		i := marked(j.scan[at:], vector)
		if i < 0 {
			return ErrNotMine
		}
		at += i + 2
		marker := j.scan[at-1]
		if marker == 0xD9 {
			end = at - 2
			break
		}
		// Restart markers count from 0 to 7 and begin again.
		if marker != 0xD0+byte((len(j.stretch)-1)&7) || len(j.stretch) >= stretches {
			return ErrNotMine
		}
		j.stretch = append(j.stretch, int32(at))
	}
	if len(j.stretch) != stretches {
		return ErrNotMine
	}
	j.stretch = append(j.stretch, int32(end+2))
	j.scan = j.scan[:end]

	n := 1
	if workers > 1 {
		n = max(1, min((blocks+chunkBlocks-1)/chunkBlocks, len(j.scan)/chunkBytes))
	}
	if j.interval > 0 {
		n = min(n, stretches)
		for i := range n {
			j.chunks = append(j.chunks, chunk{i * stretches / n, (i + 1) * stretches / n})
		}
		return nil
	}
	from := 0
	for i := range n {
		to := (i + 1) * len(j.scan) / n
		// Not between a byte and its stuffing.
		if to < len(j.scan) && j.scan[to-1] == 0xFF {
			to++
		}
		j.chunks = append(j.chunks, chunk{from, to})
		from = to
	}
	return nil
}

// marked is where the first byte of the first marker lies, -1 where there is none. A zero behind it makes it a byte like others.
func marked(scan []byte, vector bool) int {
	at := 0
	if vector && len(scan) > 0 {
		at = markerVector(&scan[0], len(scan))
	}
	for {
		i := bytes.IndexByte(scan[at:], 0xFF)
		if i < 0 || at+i+1 >= len(scan) {
			return -1
		}
		if at += i; scan[at+1] != 0 {
			return at
		}
		at += 2
	}
}

// run decodes and measures all chunks.
func (j *job) run(workers int) error {
	j.arrived.L = &j.mu
	j.partial = map[int]*band{}
	j.bandMCUs = CellSize / j.mh
	var wg aside.Work
	for range max(1, min(workers, len(j.chunks))) {
		wg.Go(func() {
			ended := false
			defer func() {
				if !ended { // by a panic: others may wait for where its chunk ends
					j.fail()
				}
			}()
			w := pool.Get().(*worker)
			w.begin(j)
			for {
				i := int(j.next.Add(1)) - 1
				if i >= len(j.chunks) {
					break
				}
				if !w.chunk(i) {
					j.fail()
					break
				}
			}
			w.job, ended = nil, true
			pool.Put(w)
		})
	}
	wg.Wait()
	if j.failed {
		return ErrNotMine
	}
	return nil
}

func (j *job) fail() {
	j.mu.Lock()
	j.failed = true
	j.mu.Unlock()
	j.arrived.Broadcast()
}

// beginning waits until the true beginning of a chunk is known. With wait false
// it only looks. ok is false where it isn't known, or the job has failed.
func (j *job) beginning(i int, wait bool) (at state, ok bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	for wait && j.turn != i && !j.failed {
		j.arrived.Wait()
	}
	return j.at, j.turn == i && !j.failed
}

// handOver makes known where the next chunk begins.
func (j *job) handOver(next int, at state) {
	j.mu.Lock()
	j.turn, j.at = next, at
	j.mu.Unlock()
	j.arrived.Broadcast()
}

// pool keeps workers between files: a burst of frames finds its buffers ready.
var pool = sync.Pool{New: func() any { return new(worker) }}

// worker is what one goroutine needs.
type worker struct {
	*job
	coefs  [roomBlocks*64 + behind]int16
	kinds  [roomBlocks]kind
	bridge [bridgeBlocks*64 + behind]int16
	bkinds [bridgeBlocks]kind
	heads  []head
	main   stream
	aside  stream
	measurer
}

// head is a position in front of an MCU of a guess, and the sums up to there.
type head struct {
	position int
	sum      [3]int32
}

func (w *worker) begin(j *job) {
	w.job = j
	w.measurer.begin(j)
}

// why says what ended a run of MCUs.
type why int

const (
	full     why = iota // as many as were asked for
	boundary            // the end of the chunk
	senseless
)

// decode decodes up to n MCUs, or to the first position at or behind stop. With
// guess it takes down where the first ones began.
func (w *worker) decode(s *stream, out []int16, kinds []kind, n, stop int, guess bool) (int, why) {
	per := len(w.plan)
	for m := range n {
		if s.low() {
			s.fill()
		}
		if guess && m < headMCUs {
			w.heads = append(w.heads, head{s.position(), s.sum})
		}
		blocks := out[m*per*64 : (m+1)*per*64+behind]
		clear(blocks[:per*64])
		if !s.mcu(w.plan, blocks, kinds[m*per:(m+1)*per], w.job.vector) {
			return m, senseless
		}
		at := s.position()
		if at > s.end {
			return m, senseless
		}
		if at >= stop {
			return m + 1, boundary
		}
	}
	return n, full
}

// chunk does one chunk. It reports false where the file isn't for this reader.
func (w *worker) chunk(i int) bool {
	if w.interval > 0 {
		return w.stretches(w.chunks[i])
	}
	c := w.chunks[i]
	last := i == len(w.chunks)-1
	stop := noEnd
	if !last {
		part := w.scan[c.from:c.to]
		stop = 8 * (len(part) - bytes.Count(part, []byte{0xFF}))
	}
	at, known := w.beginning(i, false)
	if known || w.misses.Load() > 3 {
		if at, known = w.beginning(i, true); !known {
			return false
		}
		w.main.reset(w.scan[c.from:], at.position)
		return w.exact(i, at, stop)
	}

	n, reason := w.guess(c, stop)
	if at, known = w.beginning(i, true); !known {
		return false
	}
	bridged, h, met := w.meet(c, &at)
	if !met {
		w.misses.Add(1)
		w.main.reset(w.scan[c.from:], at.position)
		return w.exact(i, at, stop)
	}
	w.meetings.Add(1)
	// at is the true state where they meet: the guess holds from its MCU h on.
	per := len(w.plan)
	from := at.mcu
	n = min(n-h, w.total-at.mcu)
	at.mcu += n
	// What the guess's sums lack.
	lacks := at.pred
	for ch := range lacks {
		lacks[ch] -= w.heads[h].sum[ch]
		at.pred[ch] = lacks[ch] + w.main.sum[ch]
	}
	switch {
	case last && at.mcu == w.total:
		// What was read behind the last MCU doesn't matter.
	case reason == senseless || at.mcu >= w.total:
		return false
	case reason == boundary:
		at.position = w.main.position() - stop
		w.handOver(i+1, at)
	}
	if !w.measure(w.bridge[:], w.bkinds[:], bridged.n, from-bridged.n, bridged.pred) ||
		!w.measure(w.coefs[h*per*64:], w.kinds[h*per:], n, from, lacks) {
		return false
	}
	if reason == full && at.mcu < w.total {
		return w.exact(i, at, stop)
	}
	return true
}

// guess decodes a chunk from its first bit. Nonsense at first is no surprise: it
// begins again a byte later.
func (w *worker) guess(c chunk, stop int) (int, why) {
	room := roomBlocks / len(w.plan)
	w.main.reset(w.scan[c.from:], 0)
	for from := 0; ; {
		w.heads = w.heads[:0]
		n, reason := w.decode(&w.main, w.coefs[:], w.kinds[:], room, stop, true)
		if reason != senseless || n >= headMCUs {
			return n, reason
		}
		// Positions in front of the MCU that failed don't matter any more.
		if len(w.heads) > 0 {
			from = w.heads[len(w.heads)-1].position
		}
		// Behind the last MCU of all there is nothing, which makes no sense either.
		if w.main.end != noEnd && w.main.end-from <= 8*mostMCU {
			return n, reason
		}
		from += 8
		if from >= stop || from/8 < w.main.base {
			w.heads = w.heads[:0]
			return 0, senseless
		}
		w.main.seek(from)
	}
}

// bridge is what was decoded between the true beginning and the meeting.
type bridge struct {
	n    int
	pred [3]int32 // at the beginning
}

// meet decodes from a chunk's true beginning until it comes to a position of the
// guess, which it gives as an index of heads. at is moved there.
func (w *worker) meet(c chunk, at *state) (b bridge, h int, ok bool) {
	b.pred = at.pred
	start := *at
	position := at.position
	per := len(w.plan)
	for {
		for h < len(w.heads) && w.heads[h].position < position {
			h++
		}
		if h == len(w.heads) {
			break
		}
		if w.heads[h].position == position {
			at.position = position
			at.mcu += b.n
			if b.n > 0 {
				for ch := range at.pred {
					at.pred[ch] += w.aside.sum[ch]
				}
			}
			return b, h, true
		}
		if b.n == 0 {
			w.aside.reset(w.scan[c.from:], position)
		}
		if (b.n+1)*per > bridgeBlocks || start.mcu+b.n >= w.total {
			break
		}
		n, reason := w.decode(&w.aside, w.bridge[b.n*per*64:], w.bkinds[b.n*per:], 1, noEnd, false)
		if reason == senseless {
			break
		}
		b.n += n
		position = w.aside.position()
	}
	*at = start
	return b, 0, false
}

// exact decodes from a true state, which main stands at, to the chunk's end.
func (w *worker) exact(i int, at state, stop int) bool {
	room := roomBlocks / len(w.plan)
	last := i == len(w.chunks)-1
	lacks := at.pred
	for ch := range lacks {
		lacks[ch] -= w.main.sum[ch]
	}
	for {
		from := at.mcu
		n, reason := w.decode(&w.main, w.coefs[:], w.kinds[:], min(room, w.total-at.mcu), stop, false)
		if reason == senseless {
			return false
		}
		at.mcu += n
		for ch := range at.pred {
			at.pred[ch] = lacks[ch] + w.main.sum[ch]
		}
		done := reason == boundary || at.mcu == w.total
		if done && (at.mcu == w.total) != last {
			return false
		}
		if done && !last {
			at.position = w.main.position() - stop
			w.handOver(i+1, at)
		}
		if !w.measure(w.coefs[:], w.kinds[:], n, from, lacks) {
			return false
		}
		if done {
			return true
		}
	}
}

// stretches does a chunk of stretches between restart markers.
func (w *worker) stretches(c chunk) bool {
	room := roomBlocks / len(w.plan)
	for k := c.from; k < c.to; k++ {
		w.main.reset(w.scan[w.stretch[k]:w.stretch[k+1]-2], 0)
		mcu := k * w.interval
		end := min(mcu+w.interval, w.total)
		for mcu < end {
			n, reason := w.decode(&w.main, w.coefs[:], w.kinds[:], min(room, end-mcu), noEnd, false)
			if reason != full || !w.measure(w.coefs[:], w.kinds[:], n, mcu, [3]int32{}) {
				return false
			}
			mcu += n
		}
		// Only padding may follow, but the last stretch may be followed by anything.
		if k+2 < len(w.stretch) && (w.main.end == noEnd || w.main.end-w.main.position() >= 8) {
			return false
		}
	}
	return true
}
