package entropy

import "math"

// Levels: the transform of a block is orthonormal, so its first coefficient is
// eight times its mean, and the squares of all its coefficients add up to the
// squares of its samples (Parseval). The conversion to RGB is linear but for
// rounding and clipping: a channel is luma plus multiples of the chroma, and its
// square needs products of luma and chroma as well.
//
// What this leaves out, derived here:
//   - clipping in the conversion, which it knows nothing of;
//   - where chroma is subsampled, products of luma and chroma within an 8x8 block
//     of pixels: only those of the blocks' means count. Variances are that much off.
//     The means are not, since a part's mean follows from the coefficients exactly;
//   - the rounding of samples to whole numbers, 1/12 of a code value squared each,
//     and of means where chroma is uneven: it is as often up as down.
//
// All of it is reckoned in whole numbers, so that neither the order in which things are
// added nor the processor makes a difference. Numbers beyond what pictures have wrap around.
//
// MCUs that reach over the picture's edge are measured pixel by pixel.

// wave is what Levels adds up of a cell beside its tally: sums and squares of the
// three channels, less 128 and before rounding, in 1/Unit.
type wave struct {
	sum, square [3]int64
}

func (w *wave) merge(o *wave) {
	for ch := range w.sum {
		w.sum[ch] += o.sum[ch]
		w.square[ch] += o.square[ch]
	}
}

// spread is the variance times the pixels squared.
func (w *wave) spread(ch int, pixels uint16) float64 {
	return float64(max(0, int64(pixels)*w.square[ch]*Unit-w.sum[ch]*w.sum[ch])) / (Unit * Unit)
}

// mix is how much of Cb and Cr goes into a channel (JFIF 1.02), in the fixed point
// of libjpeg: 1/65536.
var mix = [3][2]int64{{0, 91881}, {-22554, -46802}, {116130, 0}}

// halves[k] is the mean of the first half of the k-th cosine of the transform. Of the
// second half it is the opposite, and of an even cosine but the first's either is 0.
var halves = func() (h [8]float64) {
	h[0] = math.Sqrt(0.125)
	for k := 1; k < 8; k += 2 {
		for n := range 4 {
			h[k] += 0.5 * math.Cos(float64(2*n+1)*float64(k)*math.Pi/16) / 4
		}
	}
	return h
}()

// partBits is the precision of means of parts of a block: 1/2^17 of a code value.
const partBits = 17

// weights are what coefficients but the first count for in the mean of a part of a
// block, less the block's mean: of the left half, of the upper half, and what the upper
// left quarter has beyond both. Those of the opposite parts are the opposite.
var weights = func() (w [3][64]int16) {
	for u := range 8 {
		for v := range 8 {
			if u == 0 && v == 0 {
				continue
			}
			which := 2
			if v == 0 {
				which = 0
			} else if u == 0 {
				which = 1
			}
			w[which][8*u+v] = int16(math.Round(halves[u] * halves[v] * (1 << partBits)))
		}
	}
	return w
}()

// dots is what the products of an MCU's coefficients are reckoned from, and in. Its layout
// is known to the assembly.
type dots struct {
	blocks  *int16            // the MCU's
	n       int               // how many
	quant   [10]*[64]int16    // each block's divisors, in 16 bits
	scaled  [10][64]int16     // each block's coefficients by their divisors, but the first: 0
	m       int               // how many products
	factors [20][2]*[64]int16 // of what with what
	product [20]int32
	step    [10]int32 // each block's divisor of the first coefficient
}

// products multiplies.
func (d *dots) products(blocks []int16) {
	for k := range d.n {
		b, q, s := (*[64]int16)(blocks[64*k:]), d.quant[k], &d.scaled[k]
		for i := 1; i < 64; i++ {
			s[i] = b[i] * q[i]
		}
	}
	for k := range d.m {
		x, y := d.factors[k][0], d.factors[k][1]
		sum := int32(0)
		for i, v := range x {
			sum += int32(v) * int32(y[i])
		}
		d.product[k] = sum
	}
}

// want adds a product of two blocks, or of a block and weights, and gives its number.
func (d *dots) want(x, y *[64]int16) int {
	d.factors[d.m] = [2]*[64]int16{x, y}
	d.m++
	return d.m - 1
}

// wants says which product is where, by block: with itself; with the Cr block of the same
// place, for Cb, or with the Cb and Cr blocks for luma; with weights.
type wants struct {
	self  [10]int
	cross [10][2]int
	parts [10][3]int
	share [4]share // by block of luma
}

// share is where the chroma of a block of luma comes from: the blocks of Cb and Cr, and how often what their left
// half, upper half and upper left quarter have beyond their mean counts: 1, -1 in the opposite part, or 0 where the
// block of luma covers both halves.
type share struct {
	blocks [2]int
	signs  [3]int64
}

// prepare works out, once for a file, which products its MCUs need.
func (m *measurer) prepare() {
	j, d := m.job, &m.dots
	d.n, d.m = len(j.plan), 0
	for k, p := range j.plan {
		d.quant[k], d.step[k] = &m.short[p.comp], j.comps[p.comp].quant[0]
		m.wants.self[k] = d.want(&d.scaled[k], &d.scaled[k])
	}
	if len(j.comps) == 1 {
		return
	}
	for k := range j.comps[1].blocks {
		b, r := m.first[1]+k, m.first[2]+k
		m.wants.cross[b][0] = d.want(&d.scaled[b], &d.scaled[r])
		for _, c := range [2]int{b, r} {
			for i := range weights {
				if i == 1 && m.shiftY == 0 || i == 0 && m.shiftX == 0 || i == 2 && m.shiftX+m.shiftY < 2 {
					continue
				}
				m.wants.parts[c][i] = d.want(&d.scaled[c], &weights[i])
			}
		}
	}
	luma := &j.comps[0]
	for by := range luma.v {
		for bx := range luma.h {
			x, y := 8*bx>>m.shiftX, 8*by>>m.shiftY
			at := y/8*j.comps[1].h + x/8
			s := &m.wants.share[by*luma.h+bx]
			*s = share{blocks: [2]int{m.first[1] + at, m.first[2] + at}}
			if m.shiftX == 1 {
				s.signs[0] = 1 - int64(x&4)/2
			}
			if m.shiftY == 1 {
				s.signs[1] = 1 - int64(y&4)/2
			}
			s.signs[2] = s.signs[0] * s.signs[1]
		}
	}
	if m.shiftX+m.shiftY == 0 {
		for k := range j.comps[0].blocks {
			for i := range 2 {
				m.wants.cross[k][i] = d.want(&d.scaled[k], &d.scaled[m.first[1+i]+k])
			}
		}
	}
}

// first is a block's first coefficient by its divisor.
func (d *dots) first(blocks []int16, k int) int64 {
	return int64(int32(blocks[64*k]) * d.step[k])
}

// block is the sum of a block's samples, less 128 each, and of their squares.
func (m *measurer) block(blocks []int16, kinds []kind, k int) (sum, square int64) {
	dc := m.dots.first(blocks, k)
	if kinds[k] == flat {
		v := even(int32(dc))
		return 64 * v, 64 * v * v
	}
	return 8 * dc, dc*dc + int64(m.dots.product[m.wants.self[k]])
}

// even is the one sample of a block without other coefficients, less 128: a whole number.
func even(dc int32) int64 { return int64(sample((dc<<17+1<<19)>>2)) - 128 }

// part is the mean of the part of a block of chroma that a block of luma shares, less 128, in 1/2^17.
func (m *measurer) part(s *share, i int) int64 {
	block := s.blocks[i]
	parts, product := &m.wants.parts[block], &m.dots.product
	// A block without other coefficients than the first has products of 0.
	return m.base[block] + s.signs[0]*int64(product[parts[0]]) + s.signs[1]*int64(product[parts[1]]) + s.signs[2]*int64(product[parts[2]])
}

// levels measures an MCU by its coefficients.
func (m *measurer) levels(blocks []int16, kinds []kind, mx, my int) bool {
	j := m.job
	x0, y0 := mx*j.mw, my*j.mh
	cell := x0 / CellSize
	t, wave := &m.band.cells[cell], &m.band.waves[cell]
	if x0+j.mw > j.width || y0+j.mh > j.height {
		return m.edge(blocks, kinds, mx, my, t, wave)
	}
	if !m.settle(blocks) {
		return false
	}
	if m.vector {
		m.dots.blocks = &blocks[0]
		dotsVector(&m.dots)
	} else {
		m.dots.products(blocks)
	}
	t.pixels += uint16(64 * j.comps[0].blocks)
	if len(j.comps) == 1 {
		sum, square := m.block(blocks, kinds, 0)
		v := within(Unit * (sum + 64*128))
		for ch := range 3 {
			wave.sum[ch] += Unit * sum
			wave.square[ch] += Unit * square
		}
		*m.band.block(x0, y0) = [3]uint32{v, v, v}
		return true
	}

	// Chroma: squares of all its blocks, each sample as often as it covers pixels.
	var bb, rr, br int64
	for k := range j.comps[1].blocks {
		b, r := m.first[1]+k, m.first[2]+k
		sb, qb := m.block(blocks, kinds, b)
		sr, qr := m.block(blocks, kinds, r)
		m.base[b], m.base[r] = sb<<(partBits-6), sr<<(partBits-6)
		bb += qb
		rr += qr
		if kinds[b] == flat || kinds[r] == flat {
			br += sb * sr / 64
		} else {
			br += sb/8*(sr/8) + int64(m.dots.product[m.wants.cross[b][0]])
		}
	}
	covers := m.shiftX + m.shiftY
	for ch := range 3 {
		b, r := mix[ch][0], mix[ch][1]
		wave.square[ch] += (b*b*bb + r*r*rr + 2*b*r*br) << covers >> (2*16 - unitBits)
	}
	m.lumas(blocks, kinds, x0, y0, wave)
	return true
}

// lumas measures the blocks of luma of an MCU, with the parts of chroma that belong to them.
func (m *measurer) lumas(blocks []int16, kinds []kind, x0, y0 int, wave *wave) {
	luma := &m.job.comps[0]
	apart := m.shiftX+m.shiftY > 0
	for k := range luma.blocks {
		share := &m.wants.share[k]
		sum, square := m.block(blocks, kinds, k)
		meanB, meanR := m.part(share, 0), m.part(share, 1)
		evenB, evenR := kinds[share.blocks[0]] == flat, kinds[share.blocks[1]] == flat
		plain := apart || kinds[k] == flat || evenB && evenR
		to := m.band.block(x0+8*(k%luma.h), y0+8*(k/luma.h))
		// What chroma adds to a pixel of each channel, in 1/2^33.
		for ch, c := range [3]int64{mix[0][1] * meanR, mix[1][0]*meanB + mix[1][1]*meanR, mix[2][0] * meanB} {
			of := Unit*sum + (c+1<<(32-6-unitBits))>>(33-6-unitBits)
			wave.sum[ch] += of
			if plain {
				wave.square[ch] += Unit*square + sum*c>>(32-unitBits)
			} else {
				wave.square[ch] += Unit*square + m.with(kinds, k, share.blocks[0], share.blocks[1], sum, meanB, meanR, ch)>>(15-unitBits)
			}
			of += 64 * 128 * Unit
			if (ch == 0 || evenB) && (ch == 2 || evenR) {
				of += rounding(c)
			}
			to[ch] = within(of)
		}
	}
}

// with adds up a channel's products of luma and chroma, in 1/65536, where chroma is as large as luma.
func (m *measurer) with(kinds []kind, k, b, r int, sum, meanB, meanR int64, ch int) int64 {
	withB, withR := sum*(meanB>>(partBits-3))/8, sum*(meanR>>(partBits-3))/8
	if kinds[b] != flat {
		withB += int64(m.dots.product[m.wants.cross[k][0]])
	}
	if kinds[r] != flat {
		withR += int64(m.dots.product[m.wants.cross[k][1]])
	}
	return mix[ch][0]*withB + mix[ch][1]*withR
}

// within keeps a sum of 64 code values, in 1/Unit, within what samples can have.
func within(sum int64) uint32 { return uint32(min(max(sum, 0), 64*255*Unit)) }

// rounding is how much the conversion's whole numbers of a block are above their true values, times 64, in 1/Unit,
// where chroma, c in 1/2^33, is even. Else any fraction is as likely, and they are above as often as below.
func rounding(c int64) int64 {
	exact := c >> partBits // in 1/65536
	return ((exact+1<<15)>>16<<16 - exact) >> (16 - 6 - unitBits)
}

// edge measures an MCU pixel by pixel.
func (m *measurer) edge(blocks []int16, kinds []kind, mx, my int, t *tally, w *wave) bool {
	one := tally{min: [3]uint8{255, 255, 255}}
	if !m.transform(blocks, kinds) {
		return false
	}
	sums := m.pixels(&one, mx*m.job.mw, my*m.job.mh)
	n := int64(one.pixels)
	t.pixels += one.pixels
	for ch, sum := range sums {
		w.sum[ch] += Unit * (int64(sum) - 128*n)
		w.square[ch] += Unit * (int64(one.square[ch]) - 2*128*int64(sum) + 128*128*n)
	}
	return true
}
