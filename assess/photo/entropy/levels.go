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
//     and half a code value of a mean at most: see rounding.
//
// Where there are vector kernels, Exact takes hardly longer than this and is to be
// preferred. Without them this takes a third of its time.
//
// MCUs that reach over the picture's edge are measured pixel by pixel.

// wave is what Levels adds up of a cell beside its tally: sums and squares of the
// three channels, less 128 and before rounding. They are whole numbers, in 1/Unit, so
// that the order in which they are added doesn't matter.
type wave struct {
	sum, square [3]int64
}

func (w *wave) add(ch int, sum, square float64) {
	w.sum[ch] += int64(math.RoundToEven(sum * Unit))
	w.square[ch] += int64(math.RoundToEven(square * Unit))
}

func (w *wave) merge(o *wave) {
	for ch := range w.sum {
		w.sum[ch] += o.sum[ch]
		w.square[ch] += o.square[ch]
	}
}

// spread writes down the variance times the pixels squared.
func (w *wave) spread(c *Cell) {
	for ch := range w.sum {
		sum := float64(w.sum[ch]) / Unit
		c.Spread[ch] = max(0, float64(c.Pixels)*float64(w.square[ch])/Unit-sum*sum)
	}
}

// mix is how much of Cb and Cr goes into a channel (JFIF 1.02), in the fixed point
// of image/color.
var mix = [3][2]float64{{0, 91881.0 / 65536}, {-22554.0 / 65536, -46802.0 / 65536}, {116130.0 / 65536, 0}}

// halves[s][k] is the mean of the first (s=0) or second half of the k-th cosine
// of the transform; halves[2] of the whole.
var halves = func() (h [3][8]float64) {
	for k := range 8 {
		scale := 0.5
		if k == 0 {
			scale = math.Sqrt(0.125)
		}
		for n := range 8 {
			v := scale * math.Cos(float64(2*n+1)*float64(k)*math.Pi/16)
			h[n/4][k] += v / 4
			h[2][k] += v / 8
		}
	}
	return h
}()

// odd are the cosines whose halves have a mean.
var odd = [5]int{0, 1, 3, 5, 7}

// levels measures an MCU by its coefficients.
func (m *measurer) levels(blocks []int16, flat []bool, mx, my int) {
	j := m.job
	x0, y0 := mx*j.mw, my*j.mh
	cell := x0 / CellSize
	t, wave := &m.band.cells[cell], &m.band.waves[cell]
	if x0+j.mw > j.width || y0+j.mh > j.height {
		m.edge(blocks, flat, mx, my, t, wave)
		return
	}
	luma := &j.comps[0]
	if len(j.comps) == 1 {
		sum, square := m.block(blocks, flat, 0, luma)
		m.blockIs = [3]uint32{}
		for ch := range 3 {
			wave.add(ch, sum, square)
			m.blockIs[ch] = fixed(sum + 64*128)
		}
		m.emitLevels(t, x0, y0)
		return
	}

	// Chroma: squares of all its blocks, each sample as often as it covers pixels.
	chroma := &j.comps[1]
	covers := float64(int(1) << (m.shiftX + m.shiftY))
	var squares [3]float64 // Cb Cb, Cr Cr, Cb Cr
	for k := range chroma.blocks {
		b, r := m.first[1]+k, m.first[2]+k
		sb, bb := m.block(blocks, flat, b, chroma)
		sr, rr := m.block(blocks, flat, r, &j.comps[2])
		br := sb * sr / 64
		if !flat[b] && !flat[r] {
			br = m.product(blocks, b, r)
		}
		squares[0] += covers * bb
		squares[1] += covers * rr
		squares[2] += covers * br
	}
	for ch := range 3 {
		wave.add(ch, 0, mix[ch][0]*mix[ch][0]*squares[0]+mix[ch][1]*mix[ch][1]*squares[1]+2*mix[ch][0]*mix[ch][1]*squares[2])
	}
	for by := range luma.v {
		for bx := range luma.h {
			k := by*luma.h + bx
			sum, square := m.block(blocks, flat, k, luma)
			var part, with [2]float64 // of Cb and Cr: the mean, and the product with luma
			var same [2]bool
			for i := range 2 {
				block, half := m.part(bx, by, i)
				part[i] = m.mean(blocks, flat, block, half)
				same[i] = flat[block]
				with[i] = sum * part[i]
				if m.shiftX+m.shiftY == 0 && !flat[k] && !flat[block] {
					with[i] = m.product(blocks, k, block)
				}
			}
			for ch := range 3 {
				c := mix[ch][0]*part[0] + mix[ch][1]*part[1]
				wave.add(ch, sum+64*c, square+2*(mix[ch][0]*with[0]+mix[ch][1]*with[1]))
				m.blockIs[ch] = fixed(sum + 64*(128+c+rounding(ch, sum/64+128, part, same)))
			}
			m.emitLevels(t, x0+8*bx, y0+8*by)
		}
	}
}

// emitLevels gives the whole block in blockIs to the sink and adds it to its cell.
func (m *measurer) emitLevels(t *tally, x, y int) {
	t.pixels += 64
	for ch, v := range m.blockIs {
		t.sum[ch] += v
	}
	m.job.sink.Block(x/BlockSize, y/BlockSize, &m.blockIs, 64)
}

// fixed is a sum of 64 code values in 1/Unit, kept within what samples can have.
func fixed(sum float64) uint32 { return uint32(min(max(sum, 0), 64*255)*Unit + 0.5) }

// rounding is how much the conversion's whole numbers are above the true value on
// average. It adds y/255 before it cuts off the fraction. Where chroma is even, its
// fraction is known; else any fraction is as likely.
func rounding(ch int, y float64, chroma [2]float64, same [2]bool) float64 {
	var c float64
	for i, v := range chroma {
		if mix[ch][i] == 0 {
			continue
		}
		if !same[i] {
			return y/255 - 0.5
		}
		c += mix[ch][i] * v
	}
	fraction := c - math.Floor(c)
	carry := 0.0
	if fraction+y/255 >= 1 {
		carry = 1
	}
	return carry - fraction
}

// part is the block of chroma that a block of luma shares, and which half of it
// across and down.
func (m *measurer) part(bx, by, i int) (block int, half [2]int) {
	c := &m.job.comps[1+i]
	x, y := 8*bx>>m.shiftX, 8*by>>m.shiftY
	half = [2]int{2, 2}
	if m.shiftX == 1 {
		half[0] = x % 8 / 4
	}
	if m.shiftY == 1 {
		half[1] = y % 8 / 4
	}
	return m.first[1+i] + y/8*c.h + x/8, half
}

// block is the sum of a block's samples, less 128 each, and of their squares.
func (m *measurer) block(blocks []int16, flat []bool, k int, c *component) (sum, square float64) {
	dc := int32(blocks[k*64]) * c.quant[0]
	if flat[k] {
		v := even(dc)
		return 64 * v, 64 * v * v
	}
	return 8 * float64(dc), m.product(blocks, k, k)
}

// product adds up the products of two blocks' samples, less 128 each.
func (m *measurer) product(blocks []int16, k, l int) float64 {
	a, b := (*[64]int16)(blocks[k*64:]), (*[64]int16)(blocks[l*64:])
	qa, qb := m.short[m.job.plan[k].comp], m.short[m.job.plan[l].comp]
	first := float64(int32(a[0])*int32(qa[0])) * float64(int32(b[0])*int32(qb[0]))
	rest := int32(0)
	if m.vector {
		rest = dotVector(a, qa, b, qb)
	} else {
		rest = dot(a, qa, b, qb)
	}
	return first + float64(rest)
}

// dot adds up the products of two blocks' coefficients but the first. Numbers
// beyond 16 and 32 bits, which no picture has, wrap around.
func dot(a, qa, b, qb *[64]int16) int32 {
	var sum int32
	for i := 1; i < 64; i++ {
		sum += int32(a[i]*qa[i]) * int32(b[i]*qb[i])
	}
	return sum
}

// even is the one sample of a block without other coefficients, less 128: a whole number.
func even(dc int32) float64 { return float64(sample((dc<<17+1<<19)>>2)) - 128 }

// mean is the mean of a block's samples, less 128, or of a half of it each way.
func (m *measurer) mean(blocks []int16, flat []bool, k int, half [2]int) float64 {
	b, q := blocks[k*64:k*64+64], m.short[m.job.plan[k].comp]
	if flat[k] {
		return even(int32(b[0]) * int32(q[0]))
	}
	if half == [2]int{2, 2} {
		return float64(int32(b[0])*int32(q[0])) / 8
	}
	var sum float64
	for _, u := range odd {
		if u > 0 && half[0] == 2 {
			break
		}
		for _, v := range odd {
			if v > 0 && half[1] == 2 {
				break
			}
			if c := b[8*u+v]; c != 0 {
				sum += float64(int32(c)*int32(q[8*u+v])) * halves[half[0]][u] * halves[half[1]][v]
			}
		}
	}
	return sum
}

// edge measures an MCU pixel by pixel.
func (m *measurer) edge(blocks []int16, flat []bool, mx, my int, t *tally, w *wave) {
	one := tally{min: [3]uint8{255, 255, 255}}
	m.transform(blocks, flat)
	m.pixels(&one, mx*m.job.mw, my*m.job.mh)
	n := float64(one.pixels)
	t.pixels += one.pixels
	for ch := range t.sum {
		t.sum[ch] += one.sum[ch] * Unit
		sum := float64(one.sum[ch])
		w.add(ch, sum-128*n, float64(one.square[ch])-2*128*sum+128*128*n)
	}
}
