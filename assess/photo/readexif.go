package photo

import (
	"errors"
	"io"
	"time"
)

// maxHead is how much of a JPEG is read to find its Exif: the segments in
// front of the picture data may hold a profile, an editor's notes and previews.
const maxHead = 4 << 20

// ReadExif reads what the camera recorded, and nothing of the picture: the file
// may still lack its end. The error is one of [Read]'s where the file isn't one
// whose Exif can be found; a file without Exif gives the zero value and no error.
func ReadExif(name string, r io.ReaderAt, size int64) (Exif, error) {
	kind := kindOf(name, r, size)
	switch kind {
	case kindJPEG:
		e, _, err := jpegExif(r, size)
		if err != nil {
			return Exif{}, jpegError(name, err)
		}
		return e, nil
	case kindTIFF:
		t, err := openTIFF(r, size)
		if err != nil {
			return Exif{}, damaged(name, err)
		}
		e, _ := exifOf(t)
		return e, nil
	case kindRawTIFF, kindCR3, kindRAF:
		contents, err := walkRaw(kind, r, size)
		e, _ := exifOf(contents.blocks...)
		for _, p := range contents.previews {
			if e.ExposureTime != 0 && !e.Taken.IsZero() {
				break
			}
			if p.inside(size) {
				own, _, _ := jpegExif(io.NewSectionReader(r, p.off, p.length), p.length)
				e.fill(own)
			}
		}
		if err != nil && e == (Exif{}) {
			return e, unfinished(name, err)
		}
		return e, nil
	}
	return Exif{}, unsupported(name, refusals[kind])
}

// jpegExif finds the Exif in the head of a JPEG: it mostly lies in the first
// few kilobytes, so more is read only where that isn't enough.
func jpegExif(r io.ReaderAt, size int64) (Exif, remarks, error) {
	for part := int64(64 << 10); ; part *= 8 {
		data := make([]byte, min(size, part))
		if !readAt(r, size, 0, data) {
			return Exif{}, remarks{}, errShort
		}
		head, err := readJPEGHead(data)
		switch {
		case head.exif != nil:
			e, seen := exifOf(bytesBlock(head.exif))
			return e, seen, nil
		case !errors.Is(err, errShort), part >= maxHead:
			return Exif{}, remarks{}, nil
		case part >= size:
			return Exif{}, remarks{}, err
		}
	}
}

// Taken is when the frame was taken, as far as the file says, to put frames in
// order. Cameras seldom record their offset from UTC: then UTC stands in for it,
// so times compare among one camera's frames and not with this machine's clock.
func Taken(name string, r io.ReaderAt, size int64) (time.Time, bool) {
	e, err := ReadExif(name, r, size)
	if err != nil || e.Taken.IsZero() {
		return time.Time{}, false
	}
	return e.Taken, true
}
