package entropy

// A vector kernel takes the conversion to RGB apart: a channel is luma plus what depends on the chroma alone, rounded.

// terms is what a block of chroma adds to red, green and blue, each as 8 rows of 8 words, or of 16
// where a sample is two pixels wide.
type terms [3][8 * 16]int16

// pixelRun is what the kernel takes and gives for the blocks of luma of an MCU.
// Its layout is known to the assembly.
type pixelRun struct {
	luma    *uint8       // 0: blocks of 64, one behind the other
	n       int          // 8: how many
	terms   [4]*int16    // 16: where in its terms each block begins
	step    int          // 48: bytes of terms from a pair of rows to the next
	second  int          // 56: and from the first row of a pair to the second
	sum     [4][4]uint32 // 64: by block and channel
	square  [4]uint32    // 128
	clipped [4]uint32    // 144
	min     [8]uint8     // 160
	max     [8]uint8     // 168
	_       [16]byte
	acc     [11][32]uint8 // 192: minima, maxima, counts and a mask, not yet brought together
}

// place works out, once for a file, where the terms of an MCU's blocks lie.
func (m *measurer) place() {
	j := m.job
	luma := &j.comps[0]
	r := &m.run
	r.luma, r.n = &m.samples[0][0], luma.blocks
	if len(j.comps) == 1 {
		m.terms[0] = terms{}
		r.terms[0], r.step, r.second = &m.terms[0][0][0], 0, 0
		return
	}
	row := 16
	if m.shiftX == 1 {
		row = 32
	}
	r.step, r.second = 2*row, row
	if m.shiftY == 1 {
		r.step, r.second = row, 0
	}
	for by := range luma.v {
		for bx := range luma.h {
			cx, cy := 8*bx>>m.shiftX, 8*by>>m.shiftY
			block := cy/8*j.comps[1].h + cx/8
			// A wide row has two words for each sample.
			r.terms[by*luma.h+bx] = &m.terms[block][0][cy%8*row/2+cx%8<<m.shiftX]
		}
	}
}

// whole measures an MCU of which every pixel belongs to the picture.
func (m *measurer) whole(t *tally, x0, y0 int) {
	j := m.job
	if len(j.comps) == 3 {
		for k := range j.comps[1].blocks {
			termsVector(&m.samples[m.first[1]+k], &m.samples[m.first[2]+k], &m.terms[k], int(m.shiftX))
		}
	}
	r := &m.run
	pixelsVector(r)
	for ch := range t.min {
		t.square[ch] += r.square[ch]
		t.min[ch], t.max[ch] = min(t.min[ch], r.min[ch]), max(t.max[ch], r.max[ch])
	}
	for k := range t.clipped {
		t.clipped[k] += r.clipped[k]
	}
	t.pixels += uint16(64 * r.n)
	across := j.comps[0].h
	for k := range r.n {
		to := m.band.block(x0+8*(k%across), y0+8*(k/across))
		to[0], to[1], to[2] = Unit*r.sum[k][0], Unit*r.sum[k][1], Unit*r.sum[k][2]
	}
}
