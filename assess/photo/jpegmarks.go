package photo

import (
	"bytes"
	"encoding/binary"
	"strings"
)

// jpegHead is what stands in front of a JPEG's picture data (ITU-T T.81, annex B).
type jpegHead struct {
	width, height int
	components    int
	precision     int
	frame         byte // the frame marker: 0xC0 baseline, 0xC1 extended, 0xC2 progressive, others rare
	exif          []byte
	icc           []byte
	xmp           []byte
	resources     bool // image resources of an editor (APP13)
	jfif          bool // a JFIF header (APP0), which the Exif standard does without
	scan          int  // where the first scan begins
	mpf           int  // where the tags that list the file's pictures begin (CIPA DC-007); 0 for none
}

// readJPEGHead walks the markers up to the first scan, and no further. It keeps
// slices of data, no copies.
func readJPEGHead(data []byte) (h jpegHead, err error) {
	if len(data) < 4 {
		return h, errShort
	}
	if data[0] != 0xFF || data[1] != 0xD8 {
		return h, errNotJPEG
	}
	at := 2
	for {
		// Between segments some writers leave stray bytes; image/jpeg skips them too.
		skip := bytes.IndexByte(data[at:], 0xFF)
		if skip < 0 {
			return h, errShort
		}
		at += skip
		for at < len(data) && data[at] == 0xFF {
			at++
		}
		if at >= len(data) {
			return h, errShort
		}
		marker := data[at]
		at++
		switch {
		case marker == 0xD9:
			return h, errNoScan
		case marker == 0 || marker == 1 || marker >= 0xD0 && marker <= 0xD8:
			continue // no segment follows
		}
		if at+2 > len(data) {
			return h, errShort
		}
		length := int(binary.BigEndian.Uint16(data[at:]))
		if length < 2 {
			return h, errBadSegment
		}
		if at+length > len(data) {
			return h, errShort
		}
		body := data[at+2 : at+length]
		if marker == 0xE2 && h.mpf == 0 && bytes.HasPrefix(body, []byte("MPF\x00")) {
			h.mpf = at + 6
		}
		at += length
		if marker == 0xDA {
			h.scan = at
			if h.frame == 0 {
				return h, errNoFrame
			}
			return h, nil
		}
		if err := h.segment(marker, body); err != nil {
			return h, err
		}
	}
}

func (h *jpegHead) segment(marker byte, body []byte) error {
	switch {
	case marker >= 0xC0 && marker <= 0xCF && marker != 0xC4 && marker != 0xC8 && marker != 0xCC:
		if h.frame != 0 {
			return errBadSegment // image/jpeg takes one frame only
		}
		if len(body) < 6 {
			return errBadSegment
		}
		h.frame = marker
		h.precision = int(body[0])
		h.height = int(binary.BigEndian.Uint16(body[1:]))
		h.width = int(binary.BigEndian.Uint16(body[3:]))
		h.components = int(body[5])
	case marker == 0xE0:
		h.jfif = h.jfif || bytes.HasPrefix(body, []byte("JFIF\x00"))
	case marker == 0xE1:
		if b, ok := bytes.CutPrefix(body, []byte("Exif\x00\x00")); ok && h.exif == nil {
			h.exif = b
		} else if b, ok := bytes.CutPrefix(body, []byte("http://ns.adobe.com/xap/1.0/\x00")); ok && h.xmp == nil {
			h.xmp = b
		}
	case marker == 0xE2:
		// Only the first part of a profile is kept: its description lies near the start.
		if b, ok := bytes.CutPrefix(body, []byte("ICC_PROFILE\x00")); ok && h.icc == nil && len(b) > 2 {
			h.icc = b[2:]
		}
	case marker == 0xED:
		if b, ok := bytes.CutPrefix(body, []byte("Photoshop 3.0\x00")); ok {
			h.resources = h.resources || editorResources(b)
		}
	}
	return nil
}

// editorResources reports whether a block of image resources holds more than a
// caption (resource 0x0404, IPTC, and 0x0425, its digest): cameras and copying
// programs write captions too, without touching the picture.
func editorResources(b []byte) bool {
	const caption, digest = 0x0404, 0x0425
	for len(b) >= 12 && string(b[:4]) == "8BIM" {
		id := binary.BigEndian.Uint16(b[4:])
		if id != caption && id != digest {
			return true
		}
		at := 6 + (int(b[6])+2)&^1 // past the name, a counted string padded to an even length
		if at+4 > len(b) {
			return false
		}
		size := int64(binary.BigEndian.Uint32(b[at:]))
		next := int64(at) + 4 + (size+1)&^1
		if next > int64(len(b)) {
			return false
		}
		b = b[next:]
	}
	return false
}

// profileName is the description of an ICC profile ("desc" tag, ICC.1:2022 10.15
// and the older textDescriptionType), empty where it can't be read.
func profileName(icc []byte) string {
	if len(icc) < 132 {
		return ""
	}
	be := binary.BigEndian
	n := int(be.Uint32(icc[128:]))
	for i := range min(n, 100) {
		at := 132 + 12*i
		if at+12 > len(icc) {
			break
		}
		if string(icc[at:at+4]) != "desc" {
			continue
		}
		off, length := int64(be.Uint32(icc[at+4:])), int64(be.Uint32(icc[at+8:]))
		if off+length > int64(len(icc)) || length < 12 {
			break
		}
		d := icc[off : off+length]
		switch string(d[:4]) {
		case "desc":
			text, _, _ := bytes.Cut(d[12:min(int64(len(d)), 12+int64(be.Uint32(d[8:])))], []byte{0})
			return strings.TrimSpace(string(text))
		case "mluc":
			if len(d) < 28 {
				break
			}
			length, off := int64(be.Uint32(d[20:])), int64(be.Uint32(d[24:]))
			if off+length > int64(len(d)) {
				break
			}
			var text []rune
			for b := d[off : off+length]; len(b) >= 2 && len(text) < 200; b = b[2:] {
				text = append(text, rune(be.Uint16(b)))
			}
			return strings.Trim(string(text), " \x00")
		}
	}
	return ""
}
