package photo

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// Whole reports whether a file's structure is complete, without decoding its
// picture: nil if it is. Its errors are those of [Read]; the method Unfinished
// of [FileError] tells whether bytes are still missing, also where a writer has
// reserved the full size and not filled it yet.
func Whole(name string, r io.ReaderAt, size int64) error {
	k := kindOf(name, r, size)
	var err error
	switch k {
	case kindJPEG:
		err = wholeJPEG(r, size)
	case kindTIFF, kindRawTIFF:
		err = wholeTIFF(r, size, k == kindRawTIFF)
	case kindCR3, kindHEIF:
		err = wholeBoxes(r, size)
	case kindRAF:
		err = wholeRAF(r, size)
	case kindUnknown:
		// Every format announces itself in the first bytes; a writer may have come as far as some of them.
		if size < 32 && mayBecomePicture(r, size) || zeros(r, size, place{8, 24}) {
			return unfinished(name, errors.New("its beginning has not been written"))
		}
		return unsupported(name, refusals[k])
	}
	switch {
	case err == nil:
		return nil
	case errors.Is(err, errShort):
		return unfinished(name, err)
	}
	return damaged(name, err)
}

// mayBecomePicture reports whether a beginning of under 32 bytes can still become one of the
// files that kindOf knows. Bytes that are zero may be reserved and not yet written.
func mayBecomePicture(r io.ReaderAt, size int64) bool {
	head := make([]byte, size)
	if !readAt(r, size, 0, head) || len(bytes.TrimLeft(head, "\x00")) == 0 {
		return true
	}
	begins := func(mark string) bool {
		n := min(len(mark), len(head))
		return string(head[:n]) == mark[:n]
	}
	for _, mark := range []string{"\xFF\xD8", "FUJIFILMCCD-RAW", "\x89PNG", "FOVb", "II", "MM"} {
		if begins(mark) {
			return true
		}
	}
	// ISO/IEC 14496-12: a box's length, which is short for the first one, and its kind.
	const kind = "ftyp"
	return head[0] == 0 && (len(head) <= 4 || string(head[4:min(8, len(head))]) == kind[:min(4, len(head)-4)])
}

// wholeJPEG walks all segments and scans to the end marker. What comes after it
// (a second picture, padding) doesn't matter.
func wholeJPEG(r io.ReaderAt, size int64) error {
	in := bufio.NewReaderSize(io.NewSectionReader(r, 0, size), 64<<10)
	if _, err := in.Discard(2); err != nil {
		return errShort
	}
	scans := 0
	for {
		// Both between segments and in picture data the next marker is the next FF
		// that isn't stuffed (00), repeated (FF) or a restart (D0 to D7).
		marker, err := nextMarker(in)
		if err != nil {
			return errShort
		}
		switch {
		case marker == 0xD9:
			if scans == 0 {
				return errNoScan
			}
			return nil
		case marker <= 1 || marker >= 0xD0 && marker <= 0xD8:
			continue
		}
		var n [2]byte
		if _, err := io.ReadFull(in, n[:]); err != nil {
			return errShort
		}
		length := int(binary.BigEndian.Uint16(n[:]))
		if length == 0 && onlyZeros(in) {
			return errShort
		}
		if length < 2 {
			return errBadSegment
		}
		if _, err := in.Discard(length - 2); err != nil {
			return errShort
		}
		if marker == 0xDA {
			scans++
		}
	}
}

// onlyZeros reports whether nothing but zeros is left to read.
func onlyZeros(in *bufio.Reader) bool {
	for {
		if _, err := in.Peek(1); err != nil {
			return true
		}
		buf, _ := in.Peek(in.Buffered())
		if len(bytes.TrimLeft(buf, "\x00")) > 0 {
			return false
		}
		_, _ = in.Discard(len(buf))
	}
}

// nextMarker reads up to and including the next marker and gives its second byte.
func nextMarker(in *bufio.Reader) (byte, error) {
	for {
		if _, err := in.Peek(1); err != nil {
			return 0, err
		}
		buf, _ := in.Peek(in.Buffered())
		skip := bytes.IndexByte(buf, 0xFF)
		if skip < 0 {
			_, _ = in.Discard(len(buf))
			continue
		}
		_, _ = in.Discard(skip + 1)
		b, err := in.ReadByte()
		for err == nil && b == 0xFF {
			b, err = in.ReadByte()
		}
		if err != nil || b != 0 {
			return b, err
		}
	}
}

// zeros reports whether a stretch holds nothing but zeros.
func zeros(r io.ReaderAt, size int64, p place) bool {
	if !p.inside(size) {
		return false
	}
	buf := make([]byte, min(p.length, 64<<10))
	for p.length > 0 {
		b := buf[:min(p.length, int64(len(buf)))]
		if !readAt(r, size, p.off, b) || len(bytes.TrimLeft(b, "\x00")) > 0 {
			return false
		}
		p.off += int64(len(b))
		p.length -= int64(len(b))
	}
	return true
}

// How many zeros at the end of picture data mean that it hasn't been written
// yet. Raw data may be padded, or end in rows of a covered lens; a JPEG or any
// other compressed data has no use for so many.
const (
	tailRaw        = 16 << 10
	tailCompressed = 4 << 10
)

// emptyTail reports whether a stretch ends in nothing but zeros, at least tail of
// them or the whole stretch, which is how a reserved and not yet written end reads.
func emptyTail(r io.ReaderAt, size int64, p place, tail int64) bool {
	if p.length > tail {
		p = place{p.off + p.length - tail, tail}
	}
	return p.length >= 16 && zeros(r, size, p)
}

// wholeTIFF checks that everything the directories name lies within the file,
// and that the stretches of picture data don't end in nothing but zeros. An
// uncompressed export may well end in black, so of those only wholly empty ones count.
func wholeTIFF(r io.ReaderAt, size int64, raw bool) error {
	t, err := openTIFF(r, size)
	if err != nil {
		return err
	}
	if t.first == 0 { // the directory's place is written last
		return errShort
	}
	var found error
	check := func(p place, tail int64) {
		switch {
		case found != nil:
		case !p.inside(size):
			found = fmt.Errorf("%w: %d bytes at %d of %d", errShort, p.length, p.off, size)
		case emptyTail(r, size, p, tail):
			found = fmt.Errorf("%w: nothing but zeros at %d", errShort, p.off)
		}
	}
	err = t.walk(func(d *directory) {
		tail := int64(tailCompressed)
		switch {
		case raw:
			tail = tailRaw
		case d.number(tagCompression, compressionNone) == compressionNone:
			tail = size // wholly empty
		}
		for _, tags := range [][2]uint16{{tagStripOffsets, tagStripLengths}, {tagTileOffsets, tagTileLengths}, {tagJPEGOffset, tagJPEGLength}} {
			offs, lens := d.numbers(tags[0]), d.numbers(tags[1])
			// One stretch from the first to the last is what the writer fills.
			first, end := int64(1)<<62, int64(0)
			for i, off := range offs[:min(len(offs), len(lens))] {
				first, end = min(first, off), max(end, off+lens[i])
			}
			if first < end {
				check(place{first, end - first}, tail)
			}
		}
		for _, e := range d.entries {
			// Small values that point nowhere occur in good files; large ones are what is still to come.
			const large = 1 << 10
			if off, n, inline := t.span(e); !inline && n >= large && found == nil && !(place{off, n}).inside(size) {
				found = fmt.Errorf("%w: tag %#x at %d", errShort, e.tag, off)
			}
		}
	})
	if err != nil {
		return err
	}
	return found
}

func wholeRAF(r io.ReaderAt, size int64) error {
	var head [108]byte
	if !readAt(r, size, 0, head[:]) {
		return errShort
	}
	be := binary.BigEndian
	jpeg := place{int64(be.Uint32(head[84:])), int64(be.Uint32(head[88:]))}
	sensor := place{int64(be.Uint32(head[100:])), int64(be.Uint32(head[104:]))}
	for _, p := range []place{jpeg, sensor} {
		if p.length == 0 {
			continue
		}
		if !p.inside(size) || emptyTail(r, size, p, tailRaw) {
			return errShort
		}
	}
	if jpeg.length == 0 {
		return errShort // the header is written last by some, and empty until then
	}
	return nil
}

// wholeBoxes checks that the boxes fill the file, and that its picture data
// isn't empty at the end.
func wholeBoxes(r io.ReaderAt, size int64) error {
	var data place
	if !boxes(r, size, place{0, size}, func(b box) {
		if b.kind == "mdat" && b.body.length > 0 {
			data = b.body
		}
	}) {
		return errShort
	}
	if data.length > 0 && emptyTail(r, size, data, tailRaw) {
		return errShort
	}
	return nil
}
