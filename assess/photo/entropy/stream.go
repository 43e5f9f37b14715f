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
	acc  uint64   // the next bits, from the top
	bits uint     // how many of them count as read from buf
	pos  int      // next byte of buf
	n    int      // bytes in buf
	base int      // bytes that came before buf
	end  int      // length of the stretch in bits, once the last byte is in buf
	raw  []byte   // what is not yet in buf
	sum  [3]int32 // of the differences decoded, by component
	buf  [bufferSize + mostMCU]byte
}

const noEnd = math.MaxInt

// reset begins a stretch at a position within its first bytes.
func (s *stream) reset(raw []byte, position int) {
	s.acc, s.bits, s.pos, s.n, s.base, s.end, s.raw, s.sum = 0, 0, 0, 0, 0, noEnd, raw, [3]int32{}
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

// room is a block and what lies behind it. The decoder writes to the first 64
// places and to nowhere, and needs no look at bounds.
type room [256]int16

// behind is how many places must lie behind the last block of a buffer.
const behind = 256 - 64

// kind says where a block has coefficients.
type kind uint8

const (
	anywhere kind = iota
	flat          // the first alone
	corner        // among the first ten, which lie in the corner of 4x4
)

// cornerEnd is the place behind the last that lies in the corner whatever comes before.
const cornerEnd = 10

// kindOf is the kind of a block that has ended at a place.
func kindOf(place uint) kind {
	switch {
	case place == 1+endOfBlock:
		return flat
	case place > 1+endOfBlock && place <= cornerEnd+endOfBlock:
		return corner
	}
	return anywhere
}

// mcu decodes an MCU's blocks, which must be clear, and lie in out with room behind
// them. Of first coefficients what is stored is the sum of the differences since s was reset, which lacks what they add to
// and wraps around. It reports false where the bits make no sense.
func (s *stream) mcu(plan []planned, out []int16, kinds []kind, vector bool) bool {
	if s.pos > len(s.buf)-mostMCU {
		return false // a fault of ours: what is left of the buffer might not do
	}
	place := uint(0)
	for i := 0; i < len(plan); {
		var e uint64
		if vector && decodes {
			var done int
			done, place, e = blocksVector(s, &plan[i], len(plan)-i, &out[64*i], &kinds[i], place)
			if i += done; i == len(plan) {
				break
			}
		} else {
			place, e = s.block(&plan[i], (*room)(out[64*i:]), place)
		}
		if !ended(place) {
			// A long code or value; or the block was full before the second symbol, which
			// is the next block's; or nonsense.
			var ok bool
			if place, ok = s.odd(&plan[i], (*room)(out[64*i:]), place, e); !ok {
				return false
			}
		}
		if ended(place) {
			kinds[i] = kindOf(place)
			place = 0
			i++
		}
	}
	return true
}

// ended reports whether a place is that behind a block: behind its 64th
// coefficient, or wherever the end of the block was coded.
func ended(place uint) bool { return place == 64 || place-(1+endOfBlock) < 63 }

// block decodes a block from a place on, 0 being its beginning. It gives the place at
// which it stands still: [ended], or in front of what a look-up can't do. Then
// it gives the entry that told it so.
func (s *stream) block(p *planned, b *room, place uint) (uint, uint64) {
	buf, look := &s.buf, &p.ac.look
	acc, bits, pos := s.acc, s.bits, s.pos
	if place == 0 {
		acc |= binary.BigEndian.Uint64(buf[pos:]) >> (bits & 63)
		pos += int((63 - bits) >> 3)
		bits |= 56
		e := p.dc.look[acc>>(64-dcBits)]
		if e == 0 {
			s.acc, s.bits, s.pos = acc, bits, pos
			return 0, 0
		}
		b[0] = s.add(p.comp, fetch(acc, uint64(e>>8), uint64(e>>16)))
		acc <<= uint(e) & 63
		bits -= uint(e) & 63
		place = 1
	}
	// at holds the bits used since the last refill in bits 0 - 7 and the place in bits
	// 8 - 15, as entries do, so that adding an entry moves both.
	at := uint32(place << 8)
	var e uint64
	for {
		bits -= uint(at & 0xFF)
		at &= 0xFF00
		acc |= binary.BigEndian.Uint64(buf[pos:]) >> (bits & 63)
		pos += int((63 - bits) >> 3)
		bits |= 56
		for range 3 {
			e = look[acc>>(64-acBits)]
			b[places[(at>>8&0xFF)+uint32(e>>16&0xFF)+1]] = int16(e >> 48)
			at += uint32(e & 0xFFFF)
			b[places[uint8(at>>8)]] = int16(fetch(acc, e>>24, e>>32))
			if at&0xC000 != 0 {
				goto end
			}
			acc <<= e & 63
		}
	}
end:
	if ended(uint(at >> 8)) {
		acc <<= e & 63
	} else {
		at -= uint32(e & 0xFFFF)
	}
	s.acc, s.bits, s.pos = acc, bits-uint(at&0xFF), pos
	return uint(at >> 8), e
}

// odd decodes one symbol, or the first coefficient at place 0, of any length. e is the
// entry of the table for what comes next. It gives the place behind.
func (s *stream) odd(p *planned, b *room, place uint, e uint64) (uint, bool) {
	s.refill()
	if place == 0 {
		l, size := p.dc.codes.long(uint32(s.acc >> 48))
		if l == 0 || size > maxDC {
			return 0, false
		}
		s.skip(l)
		b[0] = s.add(p.comp, s.take(uint(size)))
		return 1, true
	}
	l, symbol := uint(e>>48), uint8(e>>32)
	if e>>8&0xFF != escape || l == 0 {
		l, symbol = p.ac.codes.long(uint32(s.acc >> 48))
		if l == 0 {
			return 0, false
		}
	}
	s.skip(l)
	size := uint(symbol & 15)
	switch {
	case symbol == 0:
		return place + endOfBlock, true
	case symbol == 0xF0:
		place += 16
		return place, place < 64
	}
	place += uint(symbol >> 4)
	if size == 0 || size > maxAC || place > 63 {
		return 0, false
	}
	b[order[place&63]] = int16(s.take(size))
	return place + 1, true
}

// add takes in a difference.
func (s *stream) add(comp, difference int) int16 {
	s.sum[comp] += int32(difference)
	return int16(s.sum[comp])
}

func (s *stream) skip(n uint) {
	s.acc <<= n & 63
	s.bits -= n
}

// take reads a value of some size, 0 to 11.
func (s *stream) take(size uint) int {
	v := extend(s.acc>>1>>(63-size), size)
	s.skip(size)
	return v
}
