package photo

import (
	"cmp"
	"encoding/binary"
	"io"
	"slices"
)

// place is a stretch of a file.
type place struct{ off, length int64 }

// inside reports whether the stretch lies within a file of a size.
func (p place) inside(size int64) bool {
	return p.off >= 0 && p.length >= 0 && p.off <= size && p.length <= size-p.off
}

// Compression values of TIFF 6.0 and its Technical Note 2 for JPEG.
const (
	compressionNone    = 1
	compressionOldJPEG = 6
	compressionJPEG    = 7
	compressionLossy   = 34892 // DNG 1.4
)

// rawContents is what the walk of a raw file finds.
type rawContents struct {
	previews      []place // where an embedded JPEG is said to be
	blocks        []*tiffFile
	width, height int64 // the largest picture that the file declares, as the sensor lies
}

func (c *rawContents) grow(w, h int64) {
	if w*h > c.width*c.height && w < 1<<20 && h < 1<<20 {
		c.width, c.height = w, h
	}
}

// walkRawTIFF lists the embedded JPEGs of a TIFF-based raw file. Where makers put
// them: two tags for offset and length in any directory (NEF, ARW, PEF, DNG), a
// strip of JPEG compression (CR2, DNG), a tag of its own (RW2), the maker note (ORF).
func walkRawTIFF(r io.ReaderAt, size int64) (c rawContents, err error) {
	t, err := openTIFF(r, size)
	if err != nil {
		return c, err
	}
	c.blocks = []*tiffFile{t}
	err = t.walk(func(d *directory) {
		c.grow(d.number(tagImageWidth, 0), d.number(tagImageLength, 0))
		if off, n := d.number(tagJPEGOffset, 0), d.number(tagJPEGLength, 0); off > 0 && n > 0 {
			c.previews = append(c.previews, place{off, n})
		}
		switch d.number(tagCompression, 0) {
		case compressionOldJPEG, compressionJPEG, compressionLossy:
			offs, lens := d.numbers(tagStripOffsets), d.numbers(tagStripLengths)
			if len(offs) == 1 && len(lens) == 1 {
				c.previews = append(c.previews, place{offs[0], lens[0]})
			}
		}
		if e, ok := d.get(tagJpgFromRaw); ok && t.magic == 0x55 {
			if off, n, inline := t.span(e); !inline {
				c.previews = append(c.previews, place{off, n})
			}
		}
		if e, ok := d.get(tagMakerNote); ok && (t.magic == 0x4F52 || t.magic == 0x5352) {
			if off, n, inline := t.span(e); !inline {
				c.previews = append(c.previews, orfPreview(t, off, n)...)
			}
		}
	})
	return c, err
}

// orfPreview finds the preview that an ORF's maker note points at. The layout is
// from memory; the tests check it against what ExifTool makes of the same bytes.
func orfPreview(t *tiffFile, off, length int64) []place {
	var head [16]byte
	if !readAt(t.r, t.size, off, head[:]) {
		return nil
	}
	note := &tiffFile{r: t.r, size: t.size, order: t.order}
	var base, dirAt int64
	switch {
	case string(head[:8]) == "OLYMPUS\x00": // the header, a byte order, a version; offsets from the note's start
		base, dirAt = off, 12
	case string(head[:9]) == "OM SYSTEM":
		base, dirAt = off, 16
	case string(head[:6]) == "OLYMP\x00": // offsets from the start of the file
		base, dirAt = 0, off+8
	default:
		return nil
	}
	if base > 0 {
		note.r, note.size = io.NewSectionReader(t.r, base, t.size-base), t.size-base
	}
	entries, _, err := note.dir(dirAt)
	if err != nil {
		return nil
	}
	d := directory{t: note, entries: entries}
	const cameraSettings, startTag, lengthTag, oldStart, oldLength = 0x2020, 0x0101, 0x0102, 0x0088, 0x0089
	if at, n := d.number(oldStart, 0), d.number(oldLength, 0); at > 0 && n > 0 {
		return []place{{base + at, n}}
	}
	e, ok := d.get(cameraSettings)
	if !ok {
		return nil
	}
	at, _, _ := note.span(e) // whatever its type, the four bytes are an offset
	entries, _, err = note.dir(at)
	if err != nil {
		return nil
	}
	d = directory{t: note, entries: entries}
	if at, n := d.number(startTag, 0), d.number(lengthTag, 0); at > 0 && n > 0 {
		return []place{{base + at, n}}
	}
	return nil
}

// walkRAF finds the JPEG of a RAF file: offset and length stand at bytes 84 and 88, big-endian.
func walkRAF(r io.ReaderAt, size int64) (c rawContents, err error) {
	var head [108]byte
	if !readAt(r, size, 0, head[:]) {
		return c, errShort
	}
	be := binary.BigEndian
	c.previews = []place{{int64(be.Uint32(head[84:])), int64(be.Uint32(head[88:]))}}
	return c, nil
}

// box is one box of an ISO base media file (ISO/IEC 14496-12, 4.2).
type box struct {
	kind string
	user string // the identifier of a "uuid" box, 16 bytes
	body place
}

// boxes calls visit for each box within a stretch, and stops where a box
// makes no sense. It reports whether the boxes fill the stretch exactly.
func boxes(r io.ReaderAt, size int64, within place, visit func(box)) bool {
	at, end := within.off, within.off+within.length
	for n := 0; at < end && n < 10_000; n++ {
		var head [16]byte
		if end-at < 8 || !readAt(r, size, at, head[:8]) {
			return false
		}
		b := box{kind: string(head[4:8])}
		length, header := int64(binary.BigEndian.Uint32(head[:])), int64(8)
		switch length {
		case 0: // to the end of the file; a kind of zeros is a stretch not written yet
			if b.kind == "\x00\x00\x00\x00" {
				return false
			}
			length = end - at
		case 1:
			if !readAt(r, size, at+8, head[8:]) {
				return false
			}
			length, header = int64(binary.BigEndian.Uint64(head[8:])), 16
		}
		if b.kind == "uuid" {
			if !readAt(r, size, at+header, head[:]) {
				return false
			}
			b.user = string(head[:])
			header += 16
		}
		if length < header || length > end-at {
			return false
		}
		b.body = place{at + header, length - header}
		visit(b)
		at += length
	}
	return at == end
}

// The identifiers of the two boxes of a CR3 file that matter here.
const (
	cr3Metadata = "\x85\xc0\xb6\x87\x82\x0f\x11\xe0\x81\x11\xf4\xce\x46\x2b\x6a\x48"
	cr3Preview  = "\xea\xf4\x2b\x5e\x1c\x98\x4b\x88\xb9\xfb\xb7\xdc\x40\x6e\x4d\x16"
)

// walkCR3 finds the Exif blocks of a CR3 file, its preview and the first sample
// of each track, one of which is a JPEG of full size.
func walkCR3(r io.ReaderAt, size int64) (c rawContents, err error) {
	var first, second *tiffFile
	whole := boxes(r, size, place{0, size}, func(b box) {
		switch {
		case b.kind == "uuid" && b.user == cr3Preview:
			// Eight bytes, then a box PRVW: 16 bytes of sizes, then the JPEG.
			if b.body.length < 8 {
				return
			}
			boxes(r, size, place{b.body.off + 8, b.body.length - 8}, func(b box) {
				if b.kind == "PRVW" && b.body.length > 16 {
					c.previews = append(c.previews, place{b.body.off + 16, b.body.length - 16})
				}
			})
		case b.kind == "moov":
			boxes(r, size, b.body, func(b box) {
				switch {
				case b.kind == "trak":
					if p, ok := firstSample(r, size, b.body, 0); ok {
						c.previews = append(c.previews, p)
					}
				case b.kind == "uuid" && b.user == cr3Metadata:
					boxes(r, size, b.body, func(b box) {
						if b.kind != "CMT1" && b.kind != "CMT2" {
							return
						}
						t, err := openTIFF(io.NewSectionReader(r, b.body.off, b.body.length), b.body.length)
						switch {
						case err != nil:
						case b.kind == "CMT1":
							first = t
						default:
							second = t
						}
					})
				}
			})
		}
	})
	if first != nil {
		c.blocks = append(c.blocks, first)
		if second != nil {
			c.blocks = append(c.blocks, second)
		}
		if entries, _, err := first.dir(first.first); err == nil {
			d := directory{t: first, entries: entries}
			c.grow(d.number(tagImageWidth, 0), d.number(tagImageLength, 0))
		}
	}
	if !whole {
		err = errShort
	}
	return c, err
}

// firstSample is where the first sample of a track lies, from its sample table
// (ISO/IEC 14496-12, 8.7: stsz, stco and co64).
func firstSample(r io.ReaderAt, size int64, within place, depth int) (p place, ok bool) {
	var hasOffset, hasLength bool
	boxes(r, size, within, func(b box) {
		var buf [20]byte
		n := min(b.body.length, int64(len(buf)))
		if !readAt(r, size, b.body.off, buf[:n]) {
			return
		}
		be := binary.BigEndian
		switch b.kind {
		case "mdia", "minf", "stbl":
			if inner, found := firstSample(r, size, b.body, depth+1); found && depth < 4 {
				p, ok = inner, true
			}
		case "stsz":
			p.length = int64(be.Uint32(buf[4:]))
			if p.length == 0 {
				p.length = int64(be.Uint32(buf[12:]))
			}
			hasLength = true
		case "stco":
			p.off, hasOffset = int64(be.Uint32(buf[8:])), true
		case "co64":
			p.off, hasOffset = int64(be.Uint64(buf[8:])), true
		}
	})
	return p, ok || hasOffset && hasLength && p.off > 0 && p.length > 0
}

// candidate is an embedded JPEG whose head makes sense.
type candidate struct {
	data          []byte
	width, height int
}

// minPreview is the least long edge of a preview worth measuring: at 40 by 27
// cells a head and its surroundings still fall apart. Thumbnails are below it.
const minPreview = 640

// usable lists the previews that can be measured, largest first. It reports
// whether one would lie past the end of the file.
func (c *rawContents) usable(data []byte) (list []candidate, short bool) {
	for _, p := range c.previews {
		if !p.inside(int64(len(data))) {
			short = true
			continue
		}
		jpg := data[p.off : p.off+p.length]
		head, err := readJPEGHead(jpg)
		if err != nil || head.frame > 0xC2 || max(head.width, head.height) < minPreview {
			continue
		}
		list = append(list, candidate{jpg, head.width, head.height})
	}
	slices.SortStableFunc(list, func(a, b candidate) int { return cmp.Compare(b.width*b.height, a.width*a.height) })
	return list, short
}
