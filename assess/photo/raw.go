package photo

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"io"

	"golang.org/x/image/tiff"
)

// walkRaw looks through a raw file of a kind.
func walkRaw(k kind, r io.ReaderAt, size int64) (rawContents, error) {
	switch k {
	case kindRAF:
		return walkRAF(r, size)
	case kindCR3:
		return walkCR3(r, size)
	}
	return walkRawTIFF(r, size)
}

// readRaw measures a raw file by the largest JPEG that the camera put into it.
func readRaw(name string, k kind, data []byte) (*Picture, error) {
	contents, walkErr := walkRaw(k, bytes.NewReader(data), int64(len(data)))
	list, short := contents.usable(data)
	p := &Picture{Name: name, Source: SourcePreview}
	p.Exif, _ = exifOf(contents.blocks...)
	var failed error
	for _, c := range list[:min(len(list), 3)] {
		head, err := openJPEG(name, c.data)
		if err != nil {
			failed = err
			continue
		}
		raw := p.Exif
		own, _ := exifOf(bytesBlock(head.exif))
		p.Exif.fill(own)
		if err := p.measureJPEG(name, c.data); err != nil {
			failed, p.Exif = err, raw
			continue
		}
		p.labelColour(head.icc)
		p.labelPreview(c, contents.width, contents.height)
		p.labelOwnTones()
		return p, nil
	}
	switch {
	case short, errors.Is(walkErr, errShort):
		return nil, unfinished(name, errShort)
	case failed != nil:
		return nil, failed
	case walkErr != nil:
		return nil, damaged(name, walkErr)
	}
	return nil, unsupported(name, "the raw file holds no preview that is large enough to measure; set the camera to raw and JPEG")
}

func (p *Picture) labelPreview(c candidate, w, h int64) {
	w, h = max(w, int64(p.Exif.PixelX)), max(h, int64(p.Exif.PixelY))
	of := ""
	if w > int64(c.width) {
		of = fmt.Sprintf(" of a raw picture of %d x %d", w, h)
	}
	p.label(LabelPreview, "measured from the preview of %d x %d pixels inside the raw file%s: it shows the camera's rendering, not what the raw data hold", c.width, c.height, of)
}

// readTIFF reads an export of 8 or 16 bits a channel.
func readTIFF(name string, data []byte) (*Picture, error) {
	t, err := openTIFF(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, damaged(name, err)
	}
	entries, _, err := t.dir(t.first)
	if err != nil {
		return nil, tiffError(name, err)
	}
	d := &directory{t: t, entries: entries}
	if err := checkTIFF(name, d, len(data)); err != nil {
		return nil, err
	}
	img, err := decodeTIFF(data)
	if err != nil {
		return nil, tiffError(name, err)
	}
	if _, ok := img.(*image.CMYK); ok {
		return nil, unsupported(name, cmykText)
	}
	p := &Picture{Name: name}
	p.Exif, _ = exifOf(t)
	p.measure(img)
	if e, ok := d.get(tagICC); ok {
		if icc, ok := t.bytes(e, 4<<20); ok {
			p.labelColour(icc)
		}
	} else {
		p.labelColour(nil)
	}
	p.label(LabelExport, "a TIFF export: a program wrote it, its tones may have been changed, and it teaches nothing about the camera")
	if p.Exif.ExposureTime == 0 && p.Exif.FNumber == 0 && p.Exif.ISO == 0 {
		p.label(LabelNoExif, "the file doesn't say how it was exposed")
	}
	return p, nil
}

// checkTIFF refuses what can't be decoded, or not within reason, before anything is reserved.
func checkTIFF(name string, d *directory, size int) error {
	w, h := d.number(tagImageWidth, 0), d.number(tagImageLength, 0)
	bits := d.number(tagBitsPerSample, 1)
	photometric := d.number(tagPhotometric, -1)
	const whiteIsZero, blackIsZero, rgb, separated = 0, 1, 2, 5
	switch {
	case w <= 0 || h <= 0:
		return damaged(name, fmt.Errorf("it declares a size of %d x %d pixels", w, h))
	case photometric == separated:
		return unsupported(name, cmykText)
	case photometric != rgb && photometric != blackIsZero && photometric != whiteIsZero, bits != 8 && bits != 16:
		return unsupported(name, "it is a rare kind of TIFF; export RGB with 8 or 16 bits a channel, or JPEG")
	case w > maxPixelsTIFF || h > maxPixelsTIFF || w*h > maxPixelsTIFF:
		return unsupported(name, fmt.Sprintf("it declares %d x %d pixels, more than can be read; export it smaller", w, h))
	// No compression of TIFF packs more than about a thousand bytes into one (Deflate: 1032).
	case w*h > 1100*int64(size):
		return damaged(name, fmt.Errorf("it declares %d x %d pixels and has only %d bytes", w, h, size))
	}
	if tw, th := d.number(0x0142, 0), d.number(0x0143, 0); tw > w+512 || th > h+512 {
		return damaged(name, fmt.Errorf("its tiles of %d x %d pixels are larger than the picture", tw, th))
	}
	return nil
}

// decodeTIFF keeps a panic of the decoder from taking the program along.
func decodeTIFF(data []byte) (img image.Image, err error) {
	defer func() {
		if r := recover(); r != nil {
			img, err = nil, fmt.Errorf("tiff: %v", r)
		}
	}()
	return tiff.Decode(bytes.NewReader(data))
}

func tiffError(name string, err error) error {
	var odd tiff.UnsupportedError
	switch {
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF), errors.Is(err, errShort):
		return unfinished(name, err)
	case errors.As(err, &odd):
		return &FileError{Name: name, Kind: ErrUnsupported, Err: err,
			Text: "it is a rare kind of TIFF; export RGB with 8 or 16 bits a channel, or JPEG"}
	}
	return damaged(name, err)
}
