package entropy

import "encoding/binary"

// tally is what has been added up of a cell, but for the sums, which its blocks have.
type tally struct {
	square  [3]uint32 // at most 256 times 255 squared
	clipped [4]uint32 // the fourth: pixels with any channel clipped
	min     [3]uint8
	max     [3]uint8
	pixels  uint16
}

// band is a row of cells, or as much of it as one worker has seen. What hasn't been
// touched is as it was made, so that bands are put together by adding.
type band struct {
	row    int
	mcus   int
	lo, hi int // the columns of cells that were touched, hi not included
	cells  []tally
	waves  []wave         // in Levels
	blocks [2][][3]uint32 // two rows of sums, in 1/Unit
	result []Cell
}

// block is where the sums of the block at a pixel go.
func (b *band) block(x, y int) *[3]uint32 { return &b.blocks[y/BlockSize&1][x/BlockSize] }

// measurer turns coefficients into sums.
type measurer struct {
	job     *job
	band    *band
	spare   []*band
	samples [10][64]uint8
	fours   [10]uint32 // means of 4x4 of them, for a quarter
	terms   [4]terms
	inverse blockRun
	run     pixelRun
	first   [3]int // a component's first block in an MCU
	shiftX  uint   // chroma samples are 1<<shift pixels wide
	shiftY  uint
	vector  bool
	short   [3][64]int16 // divisors in 16 bits, in Levels
	dots    dots
	wants   wants
	base    [10]int64 // means of blocks of chroma, in 1/2^partBits, in Levels
}

func (m *measurer) begin(j *job) {
	m.job, m.band = j, nil
	m.spare = nil
	at := 0
	for i, c := range j.comps {
		m.first[i] = at
		at += c.blocks
	}
	m.shiftX, m.shiftY = 0, 0
	if len(j.comps) == 3 {
		m.shiftX, m.shiftY = uint(j.comps[0].h/j.comps[1].h-1), uint(j.comps[0].v/j.comps[1].v-1)
	}
	m.vector = j.vector
	m.inverse = blockRun{samples: &m.samples[0], n: len(j.plan)}
	for k := range j.plan {
		m.inverse.quant[k] = j.comps[j.plan[k].comp].quant
	}
	if j.want == Levels {
		for i, c := range j.comps {
			for k, q := range c.quant {
				m.short[i][k] = int16(q)
			}
		}
		m.prepare()
	}
	if m.vector {
		m.place()
	}
}

// measure takes n MCUs' blocks, of which the first is the mcu-th of the picture. Their first coefficients lack
// something each, by component. It reports false where one is beyond what 8-bit pictures can have.
func (w *worker) measure(coefs []int16, kinds []kind, n, mcu int, lacks [3]int32) bool {
	m := &w.measurer
	per := len(w.plan)
	mx, my := mcu%w.mxx, mcu/w.mxx
	for k := range w.plan {
		m.inverse.lacks[k] = int16(lacks[w.plan[k].comp])
	}
	for i := range n {
		if !m.one(coefs[i*per*64:(i+1)*per*64], kinds[i*per:(i+1)*per], mx, my) {
			return false
		}
		if mx++; mx == w.mxx {
			mx, my = 0, my+1
		}
	}
	m.flush()
	return true
}

// one measures an MCU.
func (m *measurer) one(blocks []int16, kinds []kind, mx, my int) bool {
	j := m.job
	if j.want == smaller {
		return m.shrink(blocks, kinds, mx, my)
	}
	if row := my * j.mh / CellSize; m.band == nil || m.band.row != row {
		m.flush()
		m.band = m.fresh(row)
	}
	m.band.mcus++
	cell := mx * j.mw / CellSize
	m.band.lo, m.band.hi = min(m.band.lo, cell), max(m.band.hi, cell+1)
	if j.want == Levels {
		return m.levels(blocks, kinds, mx, my)
	}
	if !m.transform(blocks, kinds) {
		return false
	}
	m.exact(mx, my)
	return true
}

// exact looks at every pixel of an MCU.
func (m *measurer) exact(mx, my int) {
	j := m.job
	if j.quarter {
		m.quarters(mx, my)
	}
	x0, y0 := mx*j.mw, my*j.mh
	t := &m.band.cells[x0/CellSize]
	if m.vector && x0+j.mw <= j.width && y0+j.mh <= j.height {
		m.whole(t, x0, y0)
	} else {
		m.pixels(t, x0, y0)
	}
}

// blockRun is what a vector kernel turns into samples: an MCU's blocks. Its layout is known to the assembly.
type blockRun struct {
	coefs   *int16
	kinds   *kind
	samples *[64]uint8
	n       int
	quant   [10]*[64]int32 // each block's divisors
	lacks   [10]int16      // what each block's first coefficient lacks, 16 bits that wrap around
}

// mostFirst is above the size of any first coefficient. 8-bit pictures have less than 2048, and a
// difference is less than that: none gets from there to where 16 bits wrap around unnoticed.
const mostFirst = 1 << 14

// transform turns an MCU's coefficients into samples. It reports false where a first one is out of bounds.
func (m *measurer) transform(blocks []int16, kinds []kind) bool {
	r := &m.inverse
	if m.vector {
		r.coefs, r.kinds = &blocks[0], &kinds[0]
		return samplesVector(r)
	}
	if !m.settle(blocks) {
		return false
	}
	for k := range r.n {
		b, q := (*[64]int16)(blocks[k*64:]), r.quant[k]
		if kinds[k] == flat {
			level(&m.samples[k], sample((int32(b[0])*q[0]<<17+1<<19)>>2))
		} else {
			idct(b, q, &m.samples[k])
		}
	}
	return true
}

// settle adds what the first coefficients lack. It reports false where one is out of bounds then.
func (m *measurer) settle(blocks []int16) bool {
	all := uint16(0)
	for k, lacks := range m.inverse.lacks[:m.inverse.n] {
		v := blocks[k*64] + lacks
		blocks[k*64] = v
		all |= uint16(v) + mostFirst
	}
	return all < 2*mostFirst
}

// pixels looks at those pixels of an MCU that belong to the picture, one by one, and
// gives their sums.
func (m *measurer) pixels(t *tally, x0, y0 int) (all [3]uint32) {
	j := m.job
	luma := &j.comps[0]
	for by := range luma.v {
		for bx := range luma.h {
			x, y := x0+8*bx, y0+8*by
			if x >= j.width || y >= j.height {
				continue
			}
			w, h := min(8, j.width-x), min(8, j.height-y)
			var sum [3]uint32
			if len(j.comps) == 1 {
				t.grey(&m.samples[0], w, h, &sum)
			} else {
				m.colour(t, bx, by, w, h, &sum)
			}
			t.pixels += uint16(w * h)
			to := m.band.block(x, y)
			for ch, v := range sum {
				all[ch] += v
				to[ch] = v * Unit
			}
		}
	}
	return all
}

// level fills a block with one sample.
func level(b *[64]uint8, v uint8) {
	eight := uint64(v) * 0x0101010101010101
	for i := 0; i < len(b); i += 8 {
		binary.NativeEndian.PutUint64(b[i:], eight)
	}
}

// add takes in one sample of a channel and reports 1 where it is clipped.
func (t *tally) add(ch int, v uint32) uint32 {
	t.square[ch] += v * v
	t.min[ch], t.max[ch] = min(t.min[ch], uint8(v)), max(t.max[ch], uint8(v))
	if v >= ClipCode {
		t.clipped[ch]++
		return 1
	}
	return 0
}

// colour looks at w x h pixels of a block of luma.
func (m *measurer) colour(t *tally, bx, by, w, h int, sum *[3]uint32) {
	chroma := &m.job.comps[1]
	luma := &m.samples[by*m.job.comps[0].h+bx]
	for y := range h {
		cy := (8*by + y) >> m.shiftY
		for x := range w {
			cx := (8*bx + x) >> m.shiftX
			block := cy/8*chroma.h + cx/8
			at := cy%8*8 + cx%8
			r, g, b := rgb(luma[8*y+x], m.samples[m.first[1]+block][at], m.samples[m.first[2]+block][at])
			sum[0] += r
			sum[1] += g
			sum[2] += b
			t.clipped[3] += t.add(0, r) | t.add(1, g) | t.add(2, b)
		}
	}
}

// grey is the same for a file of one component.
func (t *tally) grey(luma *[64]uint8, w, h int, sum *[3]uint32) {
	for y := range h {
		for _, v := range luma[8*y : 8*y+w] {
			for ch := range sum {
				sum[ch] += uint32(v)
			}
			t.clipped[3] += t.add(0, uint32(v)) | t.add(1, uint32(v)) | t.add(2, uint32(v))
		}
	}
}

// rgb is the conversion of JFIF 1.02, rounded to the nearest code value, in the fixed point of libjpeg (jdcolor.c).
// image/color's cuts off after adding y/255, which puts light colours half a code value too high.
func rgb(y, cb, cr uint8) (r, g, b uint32) {
	b1, r1 := int32(cb)-128, int32(cr)-128
	return clamp(y, 91881*r1), clamp(y, -22554*b1-46802*r1), clamp(y, 116130*b1)
}

// clamp adds what chroma adds, in 1/65536.
func clamp(y uint8, chroma int32) uint32 {
	return uint32(min(max(int32(y)+(chroma+1<<15)>>16, 0), 255))
}

// fresh is an empty band.
func (m *measurer) fresh(row int) *band {
	cols := (m.job.width + CellSize - 1) / CellSize
	if n := len(m.spare); n > 0 {
		b := m.spare[n-1]
		m.spare = m.spare[:n-1]
		b.empty(b.lo, b.hi)
		b.row, b.mcus, b.lo, b.hi = row, 0, cols, 0
		return b
	}
	b := &band{row: row, lo: cols, cells: make([]tally, cols), result: make([]Cell, cols)}
	for i := range b.blocks {
		b.blocks[i] = make([][3]uint32, (m.job.width+BlockSize-1)/BlockSize)
	}
	if m.job.want == Levels {
		b.waves = make([]wave, cols)
	}
	b.empty(0, cols)
	return b
}

// empty makes columns of cells as good as new.
func (b *band) empty(lo, hi int) {
	for i := lo; i < hi; i++ {
		b.cells[i] = tally{min: [3]uint8{255, 255, 255}}
	}
	if b.waves != nil && lo < hi {
		clear(b.waves[lo:hi])
	}
	for _, row := range b.blocks {
		for i := 2 * lo; i < min(2*hi, len(row)); i++ {
			row[i] = [3]uint32{}
		}
	}
}

// join puts a band together with what other workers have of it. It gives the band if all of it is there, nil if some is
// missing, and b itself if it was the first.
func (j *job) join(b *band, all int) *band {
	j.mu.Lock()
	defer j.mu.Unlock()
	have := j.partial[b.row]
	if have == nil {
		j.partial[b.row] = b
		return b
	}
	have.merge(b)
	if have.mcus < all {
		return nil
	}
	delete(j.partial, b.row)
	return have
}

// flush hands the band in: to the sink if it is complete, and else to be put
// together with what other workers have of it.
func (m *measurer) flush() {
	b := m.band
	if b == nil {
		return
	}
	m.band = nil
	j := m.job
	all := j.mxx * min(j.bandMCUs, j.myy-b.row*j.bandMCUs)
	if b.mcus < all {
		have := j.join(b, all)
		if have == b {
			return
		}
		m.spare = append(m.spare, b)
		if have == nil {
			return
		}
		b = have
	}
	for i, sums := range b.blocks {
		if row := 2*b.row + i; BlockSize*row < j.height {
			j.sink.Blocks(row, sums)
		}
	}
	b.finish(j.want)
	j.sink.Cells(b.row, b.result)
	m.spare = append(m.spare, b)
}

// merge adds another part of the same row of cells. Parts hardly overlap: most are taken over as they are.
func (b *band) merge(o *band) {
	b.mcus += o.mcus
	left, right := min(o.hi, max(o.lo, b.lo)), max(o.lo, min(o.hi, b.hi))
	b.take(o, o.lo, left)
	b.take(o, right, o.hi)
	for i := left; i < right; i++ {
		t, u := &b.cells[i], &o.cells[i]
		t.pixels += u.pixels
		for ch := range t.square {
			t.square[ch] += u.square[ch]
			t.min[ch], t.max[ch] = min(t.min[ch], u.min[ch]), max(t.max[ch], u.max[ch])
		}
		for k := range t.clipped {
			t.clipped[k] += u.clipped[k]
		}
		if b.waves != nil {
			b.waves[i].merge(&o.waves[i])
		}
	}
	for k, row := range o.blocks {
		for i := 2 * left; i < min(2*right, len(row)); i++ {
			for ch, v := range row[i] {
				b.blocks[k][i][ch] += v
			}
		}
	}
	b.lo, b.hi = min(b.lo, o.lo), max(b.hi, o.hi)
}

// take takes over columns of cells that b hasn't touched.
func (b *band) take(o *band, lo, hi int) {
	if lo >= hi {
		return
	}
	copy(b.cells[lo:hi], o.cells[lo:hi])
	if b.waves != nil {
		copy(b.waves[lo:hi], o.waves[lo:hi])
	}
	for k, row := range o.blocks {
		copy(b.blocks[k][2*lo:min(2*hi, len(row))], row[2*lo:])
	}
}

// finish makes the results of a complete band.
func (b *band) finish(want Want) {
	for i := range b.cells {
		t, c := &b.cells[i], &b.result[i]
		*c = Cell{Pixels: t.pixels}
		for k := 2 * i; k < min(2*i+2, len(b.blocks[0])); k++ {
			for ch := range c.Sum {
				c.Sum[ch] += b.blocks[0][k][ch] + b.blocks[1][k][ch]
			}
		}
		if want == Levels {
			for ch := range c.Spread {
				c.Spread[ch] = b.waves[i].spread(ch, t.pixels)
			}
			continue
		}
		for ch, sum := range c.Sum {
			// Whole numbers of less than 2^53: exact.
			sum := int64(sum / Unit)
			c.Spread[ch] = float64(int64(t.pixels)*int64(t.square[ch]) - sum*sum)
			c.Clipped[ch] = uint16(t.clipped[ch])
		}
		c.Min, c.Max, c.Any = t.min, t.max, uint16(t.clipped[3])
	}
}
