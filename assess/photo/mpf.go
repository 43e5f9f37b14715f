package photo

import (
	"bytes"
	"image/jpeg"

	"thirdstop/assess/photo/entropy"
)

// Beside the picture itself, cameras put a smaller one into the file for their own
// screen, behind the picture's end. CIPA DC-007 (Multi-Picture Format) says where: a block of
// tags in an APP2 segment lists all pictures of the file. The numbers below are from
// memory; the tests hold what is found against what ExifTool finds in the same file.
const (
	tagMPEntry     = 0xB002   // 16 bytes for each picture
	mpEntrySize    = 16       // attributes, size, offset (4 bytes each) and two numbers that don't matter here
	maxMPEntries   = 256      // that are looked at
	mpTypeMask     = 0xFFFFFF // of the attributes
	mpThumbVGA     = 0x010001 // "large thumbnail", of VGA size or so
	mpThumbFullHD  = 0x010002 // of Full HD size or so
	previewSlack   = 0.015    // how far the preview's proportions may be off the picture's: another shape has borders
	maxPreviewPart = 4        // a preview with more pixels than a quarter of the picture's saves no time
)

// Preview reads the preview that a camera put into a JPEG beside the picture, upright like
// the picture and with its Exif: a few milliseconds, where [Read] takes tens. It shows the camera's own
// reduction of the picture, so small clipped spots are lost in it. ok is false where the file
// holds none of at least 640 pixels along its longer edge, or none that can be read.
func Preview(name string, data []byte) (p *Picture, ok bool) {
	head, err := readJPEGHead(data)
	if err != nil {
		return nil, false
	}
	best, ok := head.preview(data)
	if !ok {
		return nil, false
	}
	p = &Picture{Name: name, Source: SourcePreview}
	var seen remarks
	p.Exif, seen = exifOf(bytesBlock(head.exif))
	p.Orientation = max(p.Exif.Orientation, 1)
	s := surveyQuickly(best.data, p.Orientation, entropy.Exact)
	if s == nil {
		own, err := openJPEG(name, best.data)
		if err != nil || own.components == 4 {
			return nil, false
		}
		img, err := jpeg.Decode(bytes.NewReader(best.data))
		if err != nil {
			return nil, false
		}
		s = surveyImage(img, p.Orientation)
	}
	p.took(s)
	p.labelColour(head.icc)
	p.labelHistory(&head, seen)
	return p, true
}

// preview is the largest preview that the file's list of pictures names.
func (h *jpegHead) preview(data []byte) (best candidate, ok bool) {
	if h.mpf == 0 {
		return best, false
	}
	block := data[h.mpf:] // offsets count from here
	t := bytesBlock(block)
	if t == nil {
		return best, false
	}
	entries, _, err := t.dir(t.first)
	if err != nil {
		return best, false
	}
	d := directory{t: t, entries: entries}
	e, found := d.get(tagMPEntry)
	if !found {
		return best, false
	}
	list, found := t.bytes(e, maxMPEntries*mpEntrySize)
	if !found {
		return best, false
	}
	for ; len(list) >= mpEntrySize; list = list[mpEntrySize:] {
		kind := t.order.Uint32(list) & mpTypeMask
		at := place{int64(t.order.Uint32(list[8:])), int64(t.order.Uint32(list[4:]))}
		if kind != mpThumbVGA && kind != mpThumbFullHD || at.off == 0 || !at.inside(int64(len(block))) {
			continue
		}
		c := candidate{data: block[at.off : at.off+at.length]}
		own, err := readJPEGHead(c.data)
		if err != nil || own.frame > 0xC2 {
			continue
		}
		c.width, c.height = own.width, own.height
		if c.width*c.height > best.width*best.height && h.shows(c) {
			best, ok = c, true
		}
	}
	return best, ok
}

// shows reports whether a preview is of use for the picture: large enough, small enough,
// and of the same shape.
func (h *jpegHead) shows(c candidate) bool {
	if max(c.width, c.height) < minPreview || maxPreviewPart*c.width*c.height > h.width*h.height {
		return false
	}
	a, b := float64(c.width)*float64(h.height), float64(c.height)*float64(h.width)
	return a <= b*(1+previewSlack) && b <= a*(1+previewSlack)
}
