package entropy

import (
	"bytes"
	"encoding/binary"
	"math"
)

const (
	// bufferSize is how much of the scan is freed of stuffing at a time: small
	// enough to stay in the nearest cache.
	bufferSize = 16 << 10
	// mostMCU is more than an MCU takes: 10 blocks of a difference (27 bits) and 63
	// coefficients (26 bits each), and what a refill looks ahead.
	mostMCU = 10*((27+63*26)/8+1) + 32
)

// stream reads bits of a stretch of a scan that holds no markers. Stuffed zero
// bytes (T.81 F.1.2.3) are taken out before, so that refilling takes no branch.
//
// Positions are in bits from where the stretch begins, not counting stuffing.
type stream struct {
	acc  uint64 // the next bits, from the top
	bits uint   // how many of them count as read from buf
	pos  int    // next byte of buf
	n    int    // bytes in buf
	base int    // bytes that came before buf
	end  int    // length of the stretch in bits, once the last byte is in buf
	raw  []byte // what is not yet in buf
	buf  [bufferSize + mostMCU]byte
}

const noEnd = math.MaxInt

// reset begins a stretch at a position within its first bytes.
func (s *stream) reset(raw []byte, position int) {
	s.acc, s.bits, s.pos, s.n, s.base, s.end, s.raw = 0, 0, 0, 0, 0, noEnd, raw
	s.fill()
	s.seek(position)
}

// seek goes to a position within the buffer.
func (s *stream) seek(position int) {
	s.pos = min(position/8-s.base, s.n)
	s.acc, s.bits = 0, 0
	s.refill()
	s.acc <<= position & 7
	s.bits -= uint(position & 7)
}

// position is where the next bit lies.
func (s *stream) position() int { return 8*(s.base+s.pos) - int(s.bits) }

func (s *stream) refill() {
	s.acc |= binary.BigEndian.Uint64(s.buf[s.pos:]) >> (s.bits & 63)
	s.pos += int((63 - s.bits) >> 3)
	s.bits |= 56
}

// low reports whether the buffer might not hold a whole MCU and can be filled.
func (s *stream) low() bool { return s.pos > s.n-mostMCU && s.end == noEnd }

// fill moves what is left to the front and frees more of its stuffing. Behind the
// last byte come zeros, which are as good as any bits: who reads them is past the end.
func (s *stream) fill() {
	kept := 0
	if s.pos < s.n {
		kept = copy(s.buf[:], s.buf[s.pos:s.n])
	}
	s.base += s.pos
	s.pos, s.n = 0, kept
	for s.n < bufferSize && len(s.raw) > 0 {
		part := s.raw[:min(len(s.raw), bufferSize-s.n)]
		i := bytes.IndexByte(part, 0xFF)
		if i < 0 {
			s.n += copy(s.buf[s.n:], part)
			s.raw = s.raw[len(part):]
			continue
		}
		s.n += copy(s.buf[s.n:], part[:i+1])
		s.raw = s.raw[min(i+2, len(s.raw)):] // without the zero that follows
	}
	if len(s.raw) == 0 {
		s.end = 8 * (s.base + s.n)
		clear(s.buf[s.n:])
	}
}

// block decodes one block into b, which must be clear. The difference of the
// first coefficient is stored as it is. flat says that no other was coded; ok is
// false where the bits make no sense.
func (s *stream) block(b *[64]int16, dc *dcTable, ac *acTable) (flat, ok bool) {
	buf := &s.buf
	acc, bits, pos := s.acc, s.bits, s.pos

	acc |= binary.BigEndian.Uint64(buf[pos:]) >> (bits & 63)
	pos += int((63 - bits) >> 3)
	bits |= 56
	if e := dc.look[acc>>(64-dcBits)]; e != 0 {
		b[0] = int16(e >> 8)
		acc <<= uint(e) & 15
		bits -= uint(e) & 15
	} else {
		l, size := dc.codes.long(uint32(acc >> 48))
		if l == 0 || size > maxDC {
			return false, false
		}
		acc <<= l & 31
		if size > 0 {
			b[0] = int16(extend(acc>>(64-uint(size)), uint(size)))
		}
		acc <<= size & 31
		bits -= l + uint(size)
	}

	var e uint64
	var last uint
	k := uint(1)
	for {
		acc |= binary.BigEndian.Uint64(buf[pos:]) >> (bits & 63)
		pos += int((63 - bits) >> 3)
		bits |= 56
		// Four look-ups of at most 12 bits fit in 56.
		e = ac.look[acc>>(64-acBits)]
		last = k + uint(e>>8&0xFF)
		if last > 63 {
			goto odd
		}
		acc <<= e & 15
		bits -= uint(e & 15)
		b[order[(k+uint(e>>16&0xFF))&63]&63] = int16(e >> 32)
		b[order[last&63]&63] = int16(e >> 48)
		k += uint(e >> 24 & 0xFF)
		if k > 63 {
			break
		}

		e = ac.look[acc>>(64-acBits)]
		last = k + uint(e>>8&0xFF)
		if last > 63 {
			goto odd
		}
		acc <<= e & 15
		bits -= uint(e & 15)
		b[order[(k+uint(e>>16&0xFF))&63]&63] = int16(e >> 32)
		b[order[last&63]&63] = int16(e >> 48)
		k += uint(e >> 24 & 0xFF)
		if k > 63 {
			break
		}

		e = ac.look[acc>>(64-acBits)]
		last = k + uint(e>>8&0xFF)
		if last > 63 {
			goto odd
		}
		acc <<= e & 15
		bits -= uint(e & 15)
		b[order[(k+uint(e>>16&0xFF))&63]&63] = int16(e >> 32)
		b[order[last&63]&63] = int16(e >> 48)
		k += uint(e >> 24 & 0xFF)
		if k > 63 {
			break
		}

		e = ac.look[acc>>(64-acBits)]
		last = k + uint(e>>8&0xFF)
		if last > 63 {
			goto odd
		}
		acc <<= e & 15
		bits -= uint(e & 15)
		b[order[(k+uint(e>>16&0xFF))&63]&63] = int16(e >> 32)
		b[order[last&63]&63] = int16(e >> 48)
		k += uint(e >> 24 & 0xFF)
		if k > 63 {
			break
		}
		continue

	odd:
		// A long code, a value that the table has no room for, or the end of the
		// block, where a second symbol would be the next block's.
		acc |= binary.BigEndian.Uint64(buf[pos:]) >> (bits & 63)
		pos += int((63 - bits) >> 3)
		bits |= 56
		l, symbol := uint(e&15), uint8(e>>32)
		if e>>8&0xFF != escape || l == 0 {
			l, symbol = ac.codes.long(uint32(acc >> 48))
			if l == 0 {
				return false, false
			}
		}
		acc <<= l & 31
		bits -= l
		size := uint(symbol & 15)
		if size == 0 {
			if symbol == 0 {
				k += endOfBlock
				break
			}
			k += 16
			if symbol != 0xF0 || k > 63 {
				return false, false
			}
			continue
		}
		k += uint(symbol >> 4)
		if size > maxAC || k > 63 {
			return false, false
		}
		b[order[k&63]&63] = int16(extend(acc>>(64-size), size))
		acc <<= size & 31
		bits -= size
		k++
		if k > 63 {
			break
		}
	}
	s.acc, s.bits, s.pos = acc, bits, pos
	return k == 1+endOfBlock, true
}
