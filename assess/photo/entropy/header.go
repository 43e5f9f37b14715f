package entropy

import "encoding/binary"

// component is one colour channel of the frame (T.81 B.2.2).
type component struct {
	id     byte
	h, v   int // blocks in an MCU, across and down
	quant  *[64]int32
	dc     *dcTable
	ac     *acTable
	tq     byte
	blocks int // h*v
}

// job is one file while it is read.
type job struct {
	width, height int
	comps         []component
	plan          []planned // the blocks of an MCU in order
	mw, mh        int       // pixels of an MCU
	mxx, myy      int       // MCUs across and down
	interval      int       // MCUs between restart markers, 0 for none
	scan          []byte    // the entropy-coded data, up to the end marker

	want    Want
	vector  bool
	sink    Sink
	planes  [3]plane // in Half, and in ReadQuarter where quarter is set
	quarter bool
	work
}

// planned is one block of an MCU.
type planned struct {
	comp int
	dc   *dcTable
	ac   *acTable
}

// tables is what segments define on the way to the scan.
type tables struct {
	quant     [4]*[64]int32
	dc        [4]*dcTable
	ac        [4]*acTable
	baseline  bool
	jfif      bool
	adobe     bool
	transform byte
}

// parse reads the segments in front of the scan. It is stricter than image/jpeg:
// whatever it lets pass must mean the same to both.
func parse(data []byte) (*job, error) {
	if len(data) < 4 || data[0] != 0xFF || data[1] != 0xD8 {
		return nil, ErrNotMine
	}
	j := &job{}
	var t tables
	at := 2
	for {
		if at+4 > len(data) || data[at] != 0xFF {
			return nil, ErrNotMine
		}
		marker := data[at+1]
		if marker == 0xFF { // fill byte (T.81 B.1.1.2)
			at++
			continue
		}
		length := int(binary.BigEndian.Uint16(data[at+2:]))
		if length < 2 || at+2+length > len(data) {
			return nil, ErrNotMine
		}
		body := data[at+4 : at+2+length]
		at += 2 + length
		ok := true
		switch {
		case marker == 0xC0 || marker == 0xC1:
			t.baseline = marker == 0xC0
			ok = j.frame(body)
		case marker == 0xC4:
			ok = t.huffman(body)
		case marker == 0xDB:
			ok = t.quantisation(body)
		case marker == 0xDD:
			ok = len(body) == 2
			if ok {
				j.interval = int(binary.BigEndian.Uint16(body))
			}
		case marker == 0xDA:
			if !j.start(body, &t) {
				return nil, ErrNotMine
			}
			j.scan = data[at:]
			return j, nil
		case marker == 0xE0:
			// The last such segment counts, as in image/jpeg.
			if len(body) >= 5 {
				t.jfif = string(body[:5]) == "JFIF\x00"
			}
		case marker == 0xEE:
			if len(body) >= 12 && string(body[:5]) == "Adobe" {
				t.adobe, t.transform = true, body[11]
			}
		case marker >= 0xE0 && marker <= 0xEF || marker == 0xFE:
		default:
			ok = false
		}
		if !ok {
			return nil, ErrNotMine
		}
	}
}

// frame reads the frame header.
func (j *job) frame(b []byte) bool {
	if j.comps != nil || len(b) != 9 && len(b) != 15 || len(b) != 6+3*int(b[5]) || b[0] != 8 {
		return false
	}
	j.height, j.width = int(binary.BigEndian.Uint16(b[1:])), int(binary.BigEndian.Uint16(b[3:]))
	if j.width == 0 || j.height == 0 {
		return false
	}
	for b := b[6:]; len(b) > 0; b = b[3:] {
		c := component{id: b[0], h: int(b[1] >> 4), v: int(b[1] & 15), tq: b[2]}
		if c.tq > 3 {
			return false
		}
		for _, other := range j.comps {
			if other.id == c.id {
				return false
			}
		}
		j.comps = append(j.comps, c)
	}
	if len(j.comps) == 1 {
		// A single component's blocks come row by row, whatever its factors (T.81 A.2.2).
		if c := &j.comps[0]; c.h < 1 || c.h > 2 || c.v < 1 || c.v > 2 {
			return false
		}
		j.comps[0].h, j.comps[0].v = 1, 1
	} else {
		y, cb, cr := &j.comps[0], &j.comps[1], &j.comps[2]
		if y.h < 1 || y.h > 2 || y.v < 1 || y.v > 2 || cb.h < 1 || cb.h > y.h || cb.v < 1 || cb.v > y.v || cr.h != cb.h || cr.v != cb.v {
			return false
		}
	}
	for i := range j.comps {
		c := &j.comps[i]
		c.blocks = c.h * c.v
	}
	j.mw, j.mh = 8*j.comps[0].h, 8*j.comps[0].v
	j.mxx, j.myy = (j.width+j.mw-1)/j.mw, (j.height+j.mh-1)/j.mh
	return true
}

// quantisation reads tables of divisors (T.81 B.2.4.1).
func (t *tables) quantisation(b []byte) bool {
	for len(b) > 0 {
		precision, to := b[0]>>4, b[0]&15
		size := 64 << precision
		if precision > 1 || to > 3 || len(b) < 1+size {
			return false
		}
		q := new([64]int32)
		for k, at := range order {
			if precision == 0 {
				q[at] = int32(b[1+k])
			} else {
				q[at] = int32(binary.BigEndian.Uint16(b[1+2*k:]))
			}
		}
		t.quant[to] = q
		b = b[1+size:]
	}
	return true
}

// huffman reads code tables (T.81 B.2.4.2).
func (t *tables) huffman(b []byte) bool {
	for len(b) > 0 {
		if len(b) < 17 {
			return false
		}
		class, to := b[0]>>4, b[0]&15
		if class > 1 || to > 3 || t.baseline && to > 1 {
			return false
		}
		n := 0
		for _, c := range b[1:17] {
			n += int(c)
		}
		if n == 0 || n > 256 || len(b) < 17+n {
			return false
		}
		var codes codes
		if !codes.build(b[1:17], b[17:17+n]) {
			return false
		}
		if class == 0 {
			t.dc[to] = newDC(&codes)
		} else {
			t.ac[to] = newAC(&codes)
		}
		b = b[17+n:]
	}
	return true
}

// start reads the scan header. The one scan must hold every component, in order.
func (j *job) start(b []byte, t *tables) bool {
	n := len(j.comps)
	if n == 0 || len(b) != 4+2*n || int(b[0]) != n {
		return false
	}
	if n == 3 && !t.jfif && (t.adobe && t.transform == 0 ||
		j.comps[0].id == 'R' && j.comps[1].id == 'G' && j.comps[2].id == 'B') {
		return false // RGB, by the rule of image/jpeg
	}
	most := byte(3)
	if t.baseline {
		most = 1
	}
	for i := range j.comps {
		c := &j.comps[i]
		td, ta := b[2+2*i]>>4, b[2+2*i]&15
		if b[1+2*i] != c.id || td > most || ta > most {
			return false
		}
		c.dc, c.ac, c.quant = t.dc[td], t.ac[ta], t.quant[c.tq]
		if c.dc == nil || c.ac == nil || c.quant == nil {
			return false
		}
		for range c.blocks {
			j.plan = append(j.plan, planned{i, c.dc, c.ac})
		}
	}
	if len(j.plan) > 10 { // T.81 B.2.3
		return false
	}
	// What follows selects coefficients, which only progressive files use.
	return true
}
