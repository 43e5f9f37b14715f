package photo

import (
	"encoding/binary"
	"errors"
	"io"
)

// Tags of TIFF 6.0, Exif 2.32, DNG 1.7 and TIFF/EP that are looked at by number.
const (
	tagSubfileType   = 0x00FE
	tagImageWidth    = 0x0100
	tagImageLength   = 0x0101
	tagBitsPerSample = 0x0102
	tagCompression   = 0x0103
	tagPhotometric   = 0x0106
	tagMake          = 0x010F
	tagStripOffsets  = 0x0111
	tagOrientation   = 0x0112
	tagStripLengths  = 0x0117
	tagSamples       = 0x0115
	tagTileOffsets   = 0x0144
	tagTileLengths   = 0x0145
	tagSubDirs       = 0x014A
	tagJPEGOffset    = 0x0201
	tagJPEGLength    = 0x0202
	tagXMP           = 0x02BC
	tagExifDir       = 0x8769
	tagICC           = 0x8773
	tagGPSDir        = 0x8825
	tagMakerNote     = 0x927C
	tagInteropDir    = 0xA005
	tagDNGVersion    = 0xC612
	tagJpgFromRaw    = 0x002E // in RW2 files
)

// typeSizes is the size in bytes of one value, by TIFF type; 13 is IFD and 129 UTF-8.
var typeSizes = map[uint16]int64{1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 129: 1}

var (
	errNotTIFF = errors.New("no TIFF header")
	errShort   = errors.New("the file ends before what its directory names")
	errBadDir  = errors.New("a directory that is none")
)

// How much of a file's directories is looked at. Real raw files stay far below.
const (
	maxDirs     = 64
	maxEntries  = 2048
	maxOffsets  = 1 << 16 // strips or tiles of one picture
	maxTagBytes = 4096    // of a value that is copied
)

// tiffFile reads the directories of a TIFF, a TIFF-based raw file or an Exif
// block, wherever it lies. It follows no pointer by itself but in walk.
type tiffFile struct {
	r     io.ReaderAt
	size  int64
	order binary.ByteOrder
	first int64  // offset of the first directory; 0 is none
	magic uint16 // 42, or what a maker writes instead
}

// entry is one line of a directory.
type entry struct {
	tag, typ uint16
	count    uint32
	inline   [4]byte
}

func openTIFF(r io.ReaderAt, size int64) (*tiffFile, error) {
	var head [8]byte
	if !readAt(r, size, 0, head[:]) {
		return nil, errNotTIFF
	}
	t := &tiffFile{r: r, size: size}
	switch string(head[:2]) {
	case "II":
		t.order = binary.LittleEndian
	case "MM":
		t.order = binary.BigEndian
	default:
		return nil, errNotTIFF
	}
	t.magic = t.order.Uint16(head[2:])
	switch t.magic {
	case 42, 0x4F52, 0x5352, 0x0055: // TIFF; "RO" and "RS" in ORF; RW2
	default:
		return nil, errNotTIFF
	}
	t.first = int64(t.order.Uint32(head[4:]))
	return t, nil
}

// readAt fills b from off, or reports that it can't.
func readAt(r io.ReaderAt, size, off int64, b []byte) bool {
	if off < 0 || off > size || int64(len(b)) > size-off {
		return false
	}
	n, err := r.ReadAt(b, off)
	return n == len(b) && (err == nil || err == io.EOF)
}

// dir reads the directory at an offset: its entries and the offset of the next.
func (t *tiffFile) dir(off int64) (entries []entry, next int64, err error) {
	var n [2]byte
	if !readAt(t.r, t.size, off, n[:]) {
		return nil, 0, errShort
	}
	count := int64(t.order.Uint16(n[:]))
	switch {
	case count == 0 && zeros(t.r, t.size, place{off, min(16, t.size-off)}):
		return nil, 0, errShort // its place is reserved, and not written yet
	case count == 0 || count > maxEntries:
		return nil, 0, errBadDir
	}
	buf := make([]byte, 12*count+4)
	if !readAt(t.r, t.size, off+2, buf) {
		// Some writers leave out the pointer to a next directory at the end of a block.
		buf = buf[:12*count]
		if !readAt(t.r, t.size, off+2, buf) {
			return nil, 0, errShort
		}
	}
	entries = make([]entry, count)
	for i := range entries {
		b := buf[12*i:]
		entries[i] = entry{tag: t.order.Uint16(b), typ: t.order.Uint16(b[2:]), count: t.order.Uint32(b[4:])}
		copy(entries[i].inline[:], b[8:12])
	}
	if len(buf) > 12*int(count) {
		next = int64(t.order.Uint32(buf[12*count:]))
	}
	return entries, next, nil
}

// span is where an entry's value lies, if not in the entry itself. Sizes are
// 64 bits wide, so that no count can overflow them.
func (t *tiffFile) span(e entry) (off, length int64, inline bool) {
	length = int64(e.count) * typeSizes[e.typ]
	return int64(t.order.Uint32(e.inline[:])), length, length <= 4
}

// bytes is an entry's value in file order, unless it is larger than most, of
// an unknown type, empty or not inside the file.
func (t *tiffFile) bytes(e entry, most int64) ([]byte, bool) {
	off, length, inline := t.span(e)
	switch {
	case length <= 0 || length > most:
		return nil, false
	case inline:
		return e.inline[:length:length], true
	}
	b := make([]byte, length)
	return b, off < t.size && length <= t.size-off && readAt(t.r, t.size, off, b)
}

// numbers is an entry's value as whole numbers, empty where it is something else.
func (t *tiffFile) numbers(e entry) []int64 {
	b, ok := t.bytes(e, 4*maxOffsets)
	if !ok {
		return nil
	}
	var v []int64
	switch e.typ {
	case 1, 7:
		for _, x := range b {
			v = append(v, int64(x))
		}
	case 3:
		for ; len(b) >= 2; b = b[2:] {
			v = append(v, int64(t.order.Uint16(b)))
		}
	case 4, 13:
		for ; len(b) >= 4; b = b[4:] {
			v = append(v, int64(t.order.Uint32(b)))
		}
	}
	return v
}

// directory is one directory of a file, with what is needed to make sense of it.
type directory struct {
	t       *tiffFile
	off     int64
	kind    uint16 // the tag that points here; 0 for the main chain
	index   int    // position in the order of the walk; 0 is the first
	entries []entry
}

// get is the entry with a tag.
func (d *directory) get(tag uint16) (entry, bool) {
	for _, e := range d.entries {
		if e.tag == tag {
			return e, true
		}
	}
	return entry{}, false
}

// number is the first whole number of a tag, or otherwise the default.
func (d *directory) number(tag uint16, otherwise int64) int64 {
	if e, ok := d.get(tag); ok {
		if v := d.t.numbers(e); len(v) > 0 {
			return v[0]
		}
	}
	return otherwise
}

func (d *directory) numbers(tag uint16) []int64 {
	if e, ok := d.get(tag); ok {
		return d.t.numbers(e)
	}
	return nil
}

// walk visits the directories of the main chain and those they point at, each
// once and maxDirs at most. It returns the first error of a directory, but
// visits all it can.
func (t *tiffFile) walk(visit func(*directory)) error {
	type ref struct {
		off  int64
		kind uint16
	}
	var failed error
	seen := map[int64]bool{}
	queue := []ref{{t.first, 0}}
	for n := 0; len(queue) > 0 && n < maxDirs; n++ {
		at := queue[0]
		queue = queue[1:]
		if at.off == 0 || seen[at.off] {
			continue
		}
		seen[at.off] = true
		entries, next, err := t.dir(at.off)
		if err != nil {
			// An optional chain that leads nowhere is common; the first directory and
			// the pictures it lists are what counts.
			if failed == nil && (n == 0 || errors.Is(err, errShort)) {
				failed = err
			}
			continue
		}
		d := &directory{t: t, off: at.off, kind: at.kind, index: len(seen) - 1, entries: entries}
		visit(d)
		for _, tag := range []uint16{tagSubDirs, tagExifDir, tagInteropDir} {
			for _, off := range d.numbers(tag) {
				if len(queue) < maxDirs {
					queue = append(queue, ref{off, tag})
				}
			}
		}
		if at.kind == 0 || at.kind == tagSubDirs {
			queue = append(queue, ref{next, at.kind})
		}
	}
	return failed
}
