package photo

import (
	"bytes"
	"io"
	"path"
	"strings"
	"time"
)

// kind is what sort of file it is.
type kind int

const (
	kindUnknown kind = iota
	kindJPEG
	kindTIFF    // an export
	kindRawTIFF // CR2, NEF, ARW, DNG, PEF, ORF, RW2 and their kin
	kindCR3
	kindRAF
	kindHEIF
	kindPNG
	kindOldRaw // CRW and X3F, which hide their previews elsewhere
)

// refusals says why a kind isn't read, and what to do instead.
var refusals = map[kind]string{
	kindUnknown: "it is no picture file that can be measured; set the camera to JPEG, or to raw and JPEG",
	kindHEIF:    "HEIC and HIF pictures can't be measured; set the camera to JPEG, or to raw and JPEG",
	kindPNG:     "PNG pictures carry no camera settings and can't be measured; use the camera's JPEG",
	kindOldRaw:  "this kind of raw file can't be measured; set the camera to JPEG, or to raw and JPEG",
}

// editedAfter is how much later than the shutter a file may have been written
// by the camera itself: long exposures and their noise reduction take minutes.
const editedAfter = 15 * time.Minute

// rawEndings are TIFF-based raw files that begin like any TIFF.
var rawEndings = map[string]bool{
	".nef": true, ".nrw": true, ".arw": true, ".sr2": true, ".srf": true, ".dng": true,
	".pef": true, ".cr2": true, ".orf": true, ".rw2": true, ".srw": true, ".3fr": true,
	".fff": true, ".iiq": true, ".erf": true, ".mef": true, ".mos": true, ".kdc": true, ".rwl": true, ".raw": true,
}

// kindOf looks at the bytes, and at the name only to tell a raw file from an
// export where both begin alike.
func kindOf(name string, r io.ReaderAt, size int64) kind {
	head := make([]byte, min(size, 32))
	if !readAt(r, size, 0, head) {
		return kindUnknown
	}
	has := func(at int, mark string) bool {
		return len(head) >= at+len(mark) && string(head[at:at+len(mark)]) == mark
	}
	switch {
	case has(0, "\xFF\xD8"):
		return kindJPEG
	case has(0, "FUJIFILMCCD-RAW"):
		return kindRAF
	case has(0, "\x89PNG"):
		return kindPNG
	case has(0, "FOVb"), has(6, "HEAPCCDR"):
		return kindOldRaw
	case has(4, "ftyp"):
		if has(8, "crx ") {
			return kindCR3
		}
		return kindHEIF
	}
	t, err := openTIFF(r, size)
	switch {
	case err != nil:
		return kindUnknown
	case t.magic != 42, bytes.HasPrefix(head[8:], []byte("CR\x02")), rawEndings[strings.ToLower(path.Ext(name))]:
		return kindRawTIFF
	}
	raw := false
	_ = t.walk(func(d *directory) {
		const colourFilterArray, linearRaw = 32803, 34892 // TIFF/EP and DNG photometric interpretations
		photometric := d.number(tagPhotometric, 0)
		_, dng := d.get(tagDNGVersion)
		raw = raw || dng || photometric == colourFilterArray || photometric == linearRaw
	})
	if raw {
		return kindRawTIFF
	}
	return kindTIFF
}
