package entropy

// order maps the zig-zag order of coefficients (T.81 figure A.6) to places in a
// block, which is kept transposed: column times 8 plus row. So the transform's
// first pass finds a column of eight rows in eight neighbouring places.
var order = func() (o [64]uint8) {
	x, y, up := 0, 0, true
	for k := range o {
		o[k] = uint8(8*x + y)
		switch {
		case up && x == 7:
			y, up = y+1, false
		case up && y == 0:
			x, up = x+1, false
		case up:
			x, y = x+1, y-1
		case y == 7:
			x, up = x+1, true
		case x == 0:
			y, up = y+1, true
		default:
			x, y = x-1, y+1
		}
	}
	return o
}()

// places is order behind the place before: the k-th coefficient goes to places[k+1]. From
// the 64th on they go to nowhere, and so does what is in front of the first. There are as many as a
// place of 8 bits and 8 more can reach.
var places = func() (o [512]uint8) {
	for i := range o {
		o[i] = nowhere
	}
	copy(o[1:], order[:])
	return o
}()

// nowhere is a place behind a block: the next one's first, which is written later.
const nowhere = 64

// codes is a table of Huffman codes as the standard's decoder has them (T.81 F.2.2.3).
type codes struct {
	length [257]uint8
	value  [257]uint8
	n      int
	// limit[l] is the first 16-bit left-aligned number above all codes of up to l bits.
	limit [18]uint32
	// first[l] is the left-aligned first code of l bits, index[l] its place.
	first [17]uint32
	index [17]int
	start [257]uint16 // the codes, left-aligned
}

// build derives the codes from the numbers of each length (T.81 annex C). It
// refuses tables that have more codes than their lengths have room for.
func (c *codes) build(counts, values []byte) bool {
	code, n := uint32(0), 0
	for l := 1; l <= 16; l++ {
		c.first[l], c.index[l] = code<<(16-l), n
		for range counts[l-1] {
			if code >= 1<<l {
				return false
			}
			c.length[n], c.value[n], c.start[n] = uint8(l), values[n], uint16(code<<(16-l))
			code++
			n++
		}
		c.limit[l] = code << (16 - l)
		code <<= 1
	}
	c.limit[17] = 1 << 17
	c.n = n
	return true
}

// long finds a code at the front of 16 bits, whatever its length; 0 is none.
func (c *codes) long(bits uint32) (length uint, value uint8) {
	for l := uint(1); l <= 16; l++ {
		if bits < c.limit[l] {
			return l, c.value[c.index[l]+int((bits-c.first[l])>>(16-l))]
		}
	}
	return 0, 0
}

// Widths of the look-up tables, and the largest sizes of 8-bit pictures' differences
// and coefficients (T.81 tables F.1 and F.2).
const (
	dcBits = 9
	acBits = 11
	maxDC  = 11
	maxAC  = 10
)

// mostBits is how many bits an entry of the table of runs and values uses at most. A refill has 56 at least:
// enough for three entries, or for a difference and two.
const mostBits = 18

// dcTable looks up the codes of differences. An entry holds the bits used, code and value
// together, from bit 8 on those of the code, and from bit 16 on 63 less those of the value; 0 is for [codes.long].
type dcTable struct {
	look  [1 << dcBits]uint32
	codes codes
}

func newDC(c *codes) *dcTable {
	t := &dcTable{codes: *c}
	for i := range c.n {
		l, size := int(c.length[i]), int(c.value[i])
		if size > maxDC || l > dcBits {
			continue
		}
		at := int(c.start[i]) >> (16 - dcBits)
		for k := range 1 << (dcBits - l) {
			t.look[at+k] = uint32(l + size | l<<8 | (63-size)<<16)
		}
	}
	return t
}

// acTable looks up runs and values, up to two symbols at a time. The first's value is in the entry, the last's
// is still in the stream: what a look-up can yield is then a matter of the codes alone, and
// fetching a value holds nothing up. Fields of an entry:
//
//	bits  0 -  7  bits used, at most mostBits
//	bits  8 - 15  how far the place moves; endOfBlock more where the block ends
//	bits 16 - 23  where the first value goes, from the present place
//	bits 24 - 31  how many bits are in front of the last value
//	bits 32 - 39  63 less the last value's size
//	bits 48 - 63  the first value
//
// Both values are always stored, so that one or two takes no branch: the last goes
// in front of the new place. Where there is one only, it is the last, and the first is a 0 that it overwrites. A
// symbol without a value has size 0 and stores 0, where nothing has
// been stored yet. Places from 64 on are no places, and what is stored there is lost.
//
// What isn't so simple moves by escape and uses no bits. It holds the symbol from bit 32 on
// and its code's length from bit 48 on, or 0 where they are not known.
type acTable struct {
	look [1 << acBits]uint64
	// Codes of more than acBits bits, by their first 16 bits less from: the length from bit 8 on, and the symbol. 0
	// is for [codes.long], as is what is beyond them, and all symbols without a value.
	long  [longCodes]uint16
	from  uint32
	codes codes
}

// longCodes is more than the tables of T.81 annex K need by far (192), and than cameras' own do.
const longCodes = 1024

// Places are 8 bits: they tell 64 (a full block), endOfBlock and more, and escape and
// more apart.
const (
	endOfBlock = 128
	escape     = 192
)

func entry(used, first, move, before, size int, v int16) uint64 {
	return uint64(used) | uint64(move)<<8 | uint64(first)<<16 | uint64(before)<<24 | uint64(63-size)<<32 | uint64(uint16(v))<<48
}

func odd(symbol uint8, length int) uint64 {
	return escape<<8 | escape<<16 | uint64(symbol)<<32 | uint64(length)<<48
}

func newAC(c *codes) *acTable {
	t := &acTable{codes: *c}
	single := make([]uint64, 1<<acBits)
	for i := range single {
		single[i] = odd(0, 0)
	}
	for i := range c.n {
		l, run, size := int(c.length[i]), int(c.value[i]>>4), int(c.value[i]&15)
		if l > acBits || size > maxAC || size == 0 && run != 0 && run != 15 {
			continue
		}
		e := entry(l+size, run, run+1, l, size, 0)
		switch {
		case c.value[i] == 0:
			e = entry(l, escape, endOfBlock, l, 0, 0)
		case l+size > mostBits:
			e = odd(c.value[i], l)
		}
		at := int(c.start[i]) >> (16 - acBits)
		for k := range 1 << (acBits - l) {
			single[at+k] = e
		}
	}
	t.from = c.limit[acBits]
	for i := range c.n {
		l, size, at := int(c.length[i]), int(c.value[i]&15), int(c.start[i])-int(t.from)
		if l <= acBits || size == 0 || size > maxAC {
			continue
		}
		for k := at; k < min(at+1<<(16-l), longCodes); k++ {
			t.long[k] = uint16(l)<<8 | uint16(c.value[i])
		}
	}
	for i, e := range single {
		t.look[i] = e
		used, move, code := int(e&0xFF), int(e>>8&0xFF), int(e>>24&0xFF)
		if move >= endOfBlock || used > acBits {
			continue
		}
		f := single[i<<used&(1<<acBits-1)]
		on, next := int(f>>8&0xFF), int(f>>24&0xFF)
		if on == escape || used+next > acBits || used+int(f&0xFF) > mostBits {
			continue
		}
		v := extend(uint64(i>>(acBits-used)&(1<<(used-code)-1)), uint(used-code))
		// Where the end of the block is second, its 0 is lost behind it.
		t.look[i] = entry(used+int(f&0xFF), move-1, move+on, used+next, 63-int(f>>32&0xFF), int16(v))
	}
	return t
}

// fetch is the value of a size, 63 less which is given, behind some bits (T.81 F.2.2.1, EXTEND), without a branch.
func fetch(bits uint64, before, less uint64) int {
	t := bits << (before & 63)
	m := uint64(int64(^t) >> 63) // all ones where the value is negative
	return int((t^m)>>1>>(less&63) ^ m - m)
}

// extend turns the bits of a value of some size into the value (T.81 F.2.2.1, EXTEND).
func extend(v uint64, size uint) int {
	if size > 0 && v < 1<<(size-1) {
		return int(v) - 1<<size + 1
	}
	return int(v)
}
