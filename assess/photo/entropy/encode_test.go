package entropy

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
)

// A small baseline encoder, for layouts that image/jpeg's doesn't write. It
// encodes made-up coefficients, not pictures: what matters is that two decoders
// agree on them. Its Huffman tables are flat or skewed at will.

type bitWriter struct {
	out []byte
	acc uint64
	n   uint
}

func (w *bitWriter) put(v uint32, n uint) {
	w.acc = w.acc<<n | uint64(v)
	w.n += n
	for w.n >= 8 {
		b := byte(w.acc >> (w.n - 8))
		w.out = append(w.out, b)
		if b == 0xFF {
			w.out = append(w.out, 0)
		}
		w.n -= 8
	}
}

// pad fills up a byte with ones (T.81 F.1.2.3).
func (w *bitWriter) pad() {
	if w.n > 0 {
		w.put(1<<(8-w.n)-1, 8-w.n)
	}
}

// table is a Huffman table to encode with.
type table struct {
	counts [16]byte
	values []byte
	code   [256]uint32
	length [256]uint
}

// newTable gives the values codes: the first short ones, longer and longer, or
// all of about the same length.
func newTable(values []byte, skewed bool) *table {
	t := &table{values: values}
	left := len(values)
	free := 2
	for l := 0; l < 16 && left > 0; l++ {
		n := 0
		switch {
		case l == 15:
			n = left
		case skewed && l > 0:
			// Leave room: as many codes as still fit with the rest at 16 bits.
			n = min(left, free/2)
		case free > left || l >= 7 && free > 2:
			n = min(left, free-2)
		}
		for n > 0 && (free-n)<<(15-l) < left-n+1 {
			n--
		}
		t.counts[l] = byte(min(n, 255))
		n = int(t.counts[l])
		left -= n
		free = (free - n) * 2
	}
	code, i := uint32(0), 0
	for l, n := range t.counts {
		for range n {
			t.code[values[i]], t.length[values[i]] = code, uint(l+1)
			code++
			i++
		}
		code <<= 1
	}
	return t
}

func (t *table) put(w *bitWriter, v byte) { w.put(t.code[v], t.length[v]) }

// made is a file to be made up.
type made struct {
	width, height int
	lay           [4]int // factors of luma and of chroma; chroma 0 for grey
	interval      int
	skewed, same  bool // tables; the same for luma and chroma
	busy          int  // coefficients of a block at most
	large         bool // wild coefficients
	extended      bool // SOF1
	wide          bool // 16-bit divisors
	seed          uint64
}

func appendSegment(out []byte, marker byte, body []byte) []byte {
	out = append(out, 0xFF, marker)
	out = binary.BigEndian.AppendUint16(out, uint16(len(body)+2))
	return append(out, body...)
}

func size(v int) uint {
	n := uint(0)
	for v = max(v, -v); v > 0; v >>= 1 {
		n++
	}
	return n
}

func putValue(w *bitWriter, v int, n uint) {
	if v < 0 {
		v += 1<<n - 1
	}
	w.put(uint32(v), n)
}

func (m made) encode() []byte {
	rng := rand.New(rand.NewPCG(m.seed, 7))
	var dcValues, acValues []byte
	for v := range 12 {
		dcValues = append(dcValues, byte((v+3)%12))
	}
	acValues = append(acValues, 0x00, 0x01, 0x02, 0x11, 0x03)
	for run := range 16 {
		for size := 1; size <= 10; size++ {
			if v := byte(run<<4 | size); v != 0x01 && v != 0x02 && v != 0x11 && v != 0x03 {
				acValues = append(acValues, v)
			}
		}
	}
	acValues = append(acValues, 0xF0)
	dc := [2]*table{newTable(dcValues, m.skewed), newTable(dcValues, !m.skewed)}
	ac := [2]*table{newTable(acValues, m.skewed), newTable(acValues, !m.skewed)}
	if m.same {
		dc[1], ac[1] = dc[0], ac[0]
	}

	out := []byte{0xFF, 0xD8}
	for to := range 2 {
		q := []byte{byte(to)}
		if m.wide {
			q[0] |= 0x10
		}
		for range 64 {
			v := 1 + rng.IntN(24)
			if m.wide {
				q = append(q, byte(v>>8))
			}
			q = append(q, byte(v))
		}
		out = appendSegment(out, 0xDB, q)
	}
	comps := [][3]int{{m.lay[0], m.lay[1], 0}}
	if m.lay[2] > 0 {
		comps = append(comps, [3]int{m.lay[2], m.lay[3], 1}, [3]int{m.lay[2], m.lay[3], 1})
	}
	sof := []byte{8}
	sof = binary.BigEndian.AppendUint16(sof, uint16(m.height))
	sof = binary.BigEndian.AppendUint16(sof, uint16(m.width))
	sof = append(sof, byte(len(comps)))
	sos := []byte{byte(len(comps))}
	for i, c := range comps {
		sof = append(sof, byte(i+1), byte(c[0]<<4|c[1]), byte(c[2]))
		sos = append(sos, byte(i+1), byte(c[2]<<4|c[2]))
	}
	frame := byte(0xC0)
	if m.extended {
		frame = 0xC1
	}
	out = appendSegment(out, frame, sof)
	for to := range 2 {
		out = appendSegment(out, 0xC4, append(append([]byte{byte(to)}, dc[to].counts[:]...), dc[to].values...))
		out = appendSegment(out, 0xC4, append(append([]byte{0x10 | byte(to)}, ac[to].counts[:]...), ac[to].values...))
	}
	if m.interval > 0 {
		out = appendSegment(out, 0xDD, binary.BigEndian.AppendUint16(nil, uint16(m.interval)))
	}
	out = appendSegment(out, 0xDA, append(sos, 0, 63, 0))

	mw, mh := 8*m.lay[0], 8*m.lay[1]
	if len(comps) == 1 {
		mw, mh = 8, 8
	}
	total := ((m.width + mw - 1) / mw) * ((m.height + mh - 1) / mh)
	var w bitWriter
	var pred [3]int
	for mcu := range total {
		if m.interval > 0 && mcu > 0 && mcu%m.interval == 0 {
			w.pad()
			w.out = append(w.out, 0xFF, 0xD0+byte(mcu/m.interval-1)&7)
			pred = [3]int{}
		}
		for i, c := range comps {
			n := c[0] * c[1]
			if len(comps) == 1 {
				n = 1
			}
			for range n {
				m.block(&w, rng, dc[c[2]], ac[c[2]], &pred[i])
			}
		}
	}
	w.pad()
	return append(append(out, w.out...), 0xFF, 0xD9)
}

// block writes one block of made-up coefficients.
func (m made) block(w *bitWriter, rng *rand.Rand, dc, ac *table, pred *int) {
	span := 60.0
	if m.large {
		span = 900
	}
	v := int(math.Round(span * rng.NormFloat64()))
	v = max(-1000, min(1000, v))
	diff := v - *pred
	*pred = v
	n := size(diff)
	dc.put(w, byte(n))
	putValue(w, diff, n)

	k := 1
	for range rng.IntN(m.busy + 1) {
		run := 0
		switch rng.IntN(12) {
		case 0:
			run = rng.IntN(40)
		case 1, 2, 3:
			run = rng.IntN(4)
		}
		if k+run > 63 {
			break
		}
		for ; run > 15; run -= 16 {
			ac.put(w, 0xF0)
			k += 16
		}
		k += run
		v := 1 + int(span/8*math.Abs(rng.NormFloat64())/float64(k))
		if m.large {
			v = 1 + rng.IntN(1<<rng.IntN(11))
		}
		v = min(v, 1023)
		if rng.IntN(2) == 0 {
			v = -v
		}
		n := size(v)
		ac.put(w, byte(run<<4)|byte(n))
		putValue(w, v, n)
		k++
		if k > 63 {
			return // a full block has no end mark
		}
	}
	ac.put(w, 0)
}
