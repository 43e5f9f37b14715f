package photo

import (
	"bytes"
	"encoding/binary"
	"slices"
)

// The Exif library loops for ever on directories that point at each other,
// panics on values that are not there and reserves what a count asks for. So it
// never sees a camera's bytes: this file writes a small new TIFF from those
// entries of the first, the Exif and the interoperability directory that are sound.

// maxClean bounds the new block.
const maxClean = 64 << 10

// cleanExif writes a new little-endian TIFF block from the sound entries of the
// blocks given. The first block's main directory is the base. Raw files that keep
// their Exif directory in a block of its own give that as a second one. It
// returns the offset of the Exif directory in the new block, 0 if there is none,
// and what the block left out that is still worth knowing.
func cleanExif(blocks ...*tiffFile) (block []byte, exifDir uint32, seen remarks) {
	var main, exif, interop []cleanEntry
	budget := maxClean
	for i, t := range blocks {
		entries, next, err := t.dir(t.first)
		if err != nil {
			continue
		}
		seen.thumbnail = seen.thumbnail || next > 0 && next < t.size
		d := directory{t: t, entries: entries}
		if i > 0 { // the block of a raw file that holds nothing but the Exif directory
			exif = cleanDir(&d, exif, &budget, &seen)
		} else {
			main = cleanDir(&d, main, &budget, &seen)
		}
		exif, interop = cleanSub(&d, exif, interop, &budget, &seen)
	}
	if len(main)+len(exif) == 0 {
		return nil, 0, seen
	}
	// Pointers are written last, when the places are known.
	if len(exif) > 0 {
		main = append(main, pointer(tagExifDir))
	}
	if len(interop) > 0 {
		exif = append(exif, pointer(tagInteropDir))
	}
	block = append(block, "II*\x00\x08\x00\x00\x00"...)
	block, at := writeDir(block, main)
	if len(exif) > 0 {
		exifDir = uint32(len(block))
		binary.LittleEndian.PutUint32(block[at[tagExifDir]:], exifDir)
		block, at = writeDir(block, exif)
		if len(interop) > 0 {
			binary.LittleEndian.PutUint32(block[at[tagInteropDir]:], uint32(len(block)))
			block, _ = writeDir(block, interop)
		}
	}
	return block, exifDir, seen
}

// remarks is what the sanitiser saw of entries it leaves out.
type remarks struct {
	makerNote bool
	thumbnail bool // a second directory, which is where a thumbnail is described
}

// cleanSub takes in the Exif directory that d points at, and the
// interoperability directory that one points at.
func cleanSub(d *directory, exif, interop []cleanEntry, budget *int, seen *remarks) ([]cleanEntry, []cleanEntry) {
	off := d.number(tagExifDir, 0)
	if off == 0 {
		return exif, interop
	}
	entries, _, err := d.t.dir(off)
	if err != nil {
		return exif, interop
	}
	sub := directory{t: d.t, entries: entries}
	exif = cleanDir(&sub, exif, budget, seen)
	if off := sub.number(tagInteropDir, 0); off != 0 {
		if entries, _, err := d.t.dir(off); err == nil {
			interop = cleanDir(&directory{t: d.t, entries: entries}, interop, budget, seen)
		}
	}
	return exif, interop
}

// cleanEntry is an entry whose value is known to be sound, in little-endian order.
type cleanEntry struct {
	tag, typ uint16
	count    uint32
	value    []byte
}

func pointer(tag uint16) cleanEntry {
	return cleanEntry{tag: tag, typ: 4, count: 1, value: make([]byte, 4)}
}

// cleanDir adds to have the sound entries of d whose tag is not there yet.
func cleanDir(d *directory, have []cleanEntry, budget *int, seen *remarks) []cleanEntry {
	for _, e := range d.entries {
		switch e.tag {
		case tagMakerNote:
			seen.makerNote = seen.makerNote || e.count > 0
			continue
		// Pointers are written anew; positions in the old file mean nothing in the new block.
		case tagExifDir, tagGPSDir, tagInteropDir, tagSubDirs, tagStripOffsets, tagStripLengths,
			tagTileOffsets, tagTileLengths, tagJPEGOffset, tagJPEGLength, tagXMP, tagICC, tagDNGVersion:
			continue
		}
		if slices.ContainsFunc(have, func(c cleanEntry) bool { return c.tag == e.tag }) {
			continue
		}
		value, ok := d.t.bytes(e, maxTagBytes)
		if !ok || len(value)+12 > *budget {
			continue
		}
		typ := e.typ
		switch typ {
		case 129: // Exif 3.0 UTF-8, which the library doesn't know
			typ = 2
		case 13: // a pointer to a directory
			typ = 4
		}
		*budget -= len(value) + 12
		have = append(have, cleanEntry{e.tag, typ, e.count, littleEndian(value, typ, d.t.order)})
	}
	return have
}

// littleEndian is a value in little-endian order.
func littleEndian(v []byte, typ uint16, order binary.ByteOrder) []byte {
	v = slices.Clone(v)
	if order == binary.ByteOrder(binary.LittleEndian) {
		return v
	}
	size := int(typeSizes[typ])
	if typ == 5 || typ == 10 { // two numbers of four bytes each
		size = 4
	}
	for i := 0; i+size <= len(v); i += size {
		slices.Reverse(v[i : i+size])
	}
	return v
}

// writeDir appends a directory and its values, and returns where in the block
// each value lies.
func writeDir(block []byte, entries []cleanEntry) ([]byte, map[uint16]int) {
	slices.SortFunc(entries, func(a, b cleanEntry) int { return int(a.tag) - int(b.tag) })
	le := binary.LittleEndian
	at := make(map[uint16]int, len(entries))
	free := len(block) + 2 + 12*len(entries) + 4
	var values []byte
	block = le.AppendUint16(block, uint16(len(entries)))
	for _, e := range entries {
		block = le.AppendUint16(block, e.tag)
		block = le.AppendUint16(block, e.typ)
		block = le.AppendUint32(block, e.count)
		if len(e.value) <= 4 {
			at[e.tag] = len(block)
			var inline [4]byte
			copy(inline[:], e.value)
			block = append(block, inline[:]...)
			continue
		}
		at[e.tag] = free + len(values)
		block = le.AppendUint32(block, uint32(free+len(values)))
		values = append(values, e.value...)
		if len(values)%2 == 1 { // values begin on a word boundary (TIFF 6.0, section 2)
			values = append(values, 0)
		}
	}
	block = le.AppendUint32(block, 0)
	return append(block, values...), at
}

// bytesBlock opens a block of Exif bytes; nil where it is none.
func bytesBlock(b []byte) *tiffFile {
	t, err := openTIFF(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return nil
	}
	return t
}
