package photo

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"path"
	"slices"
	"strings"
)

// Source says what a picture was measured from.
type Source int

// The sources.
const (
	SourceFile    Source = iota // the file's own picture, every pixel
	SourcePreview               // the JPEG that a camera put into its raw file: approximate
)

// String names the source.
func (s Source) String() string {
	if s == SourcePreview {
		return "preview"
	}
	return "file"
}

// Picture is one camera file, read. It keeps the decoded image, or the file's
// bytes to decode it from, for [Picture.Thumbnail] until [Picture.Release].
type Picture struct {
	Name        string // as it was given to Read
	Survey      *Survey
	Exif        Exif
	Source      Source
	Orientation int // 1 to 8 as recorded, 1 where nothing is; the survey is already upright
	Labels      []Label

	decode  func() (image.Image, error) // nil once released
	half    func() (image.Image, error) // the same at half the size, or nil
	quarter image.Image                 // and at a quarter, or nil
	larger  *image.YCbCr                // the largest thumbnail that was made, upright; nil none
}

// Label is a remark that a person should see with the measurement.
type Label struct {
	Code string // stable; one of the Label... constants
	Text string // a sentence
}

// The labels.
const (
	LabelReduced     = "reduced"     // fewer pixels than the camera recorded
	LabelEdited      = "edited"      // not as the camera wrote it
	LabelAdobeRGB    = "adobe_rgb"   // Adobe RGB (1998) code values
	LabelProfile     = "profile"     // some other colour profile
	LabelGreyscale   = "greyscale"   // one channel
	LabelProgressive = "progressive" // cameras write baseline JPEG
	LabelPreview     = "preview"     // measured from the picture inside a raw file
	LabelExport      = "export"      // a TIFF that a program wrote
	LabelOwnTones    = "own_tones"   // by a phone, or put together of several pictures
	LabelNoExif      = "no_exif"     // nothing of the exposure was recorded
)

// Labelled reports whether the picture carries a label.
func (p *Picture) Labelled(code string) bool {
	return slices.ContainsFunc(p.Labels, func(l Label) bool { return l.Code == code })
}

func (p *Picture) label(code, format string, args ...any) {
	p.Labels = append(p.Labels, Label{code, fmt.Sprintf(format, args...)})
}

// Release lets go of the decoded image and the file's bytes. The survey and all else stay.
func (p *Picture) Release() { p.decode, p.half, p.quarter, p.larger = nil, nil, nil, nil }

// How large a picture may be. A larger one is refused before anything is
// reserved for it; the largest cameras of 2026 have about 150 megapixels.
const (
	maxPixels            = 400_000_000
	maxPixelsProgressive = 100_000_000 // keeps 12 bytes a pixel while it is decoded
	maxPixelsTIFF        = 150_000_000 // keeps 8
)

// Read reads a file that is complete. The name serves for errors and, where the
// bytes don't tell, for the kind of file by its ending. Errors are of kind
// [ErrUnsupported], [ErrDamaged] or [ErrUnfinished].
func Read(name string, data []byte) (*Picture, error) {
	p, err := read(name, data)
	if errors.Is(err, ErrUnfinished) && Whole(name, bytes.NewReader(data), int64(len(data))) == nil {
		// A decoder ran out of data in a file that has its end: waiting won't mend it.
		var found *FileError
		errors.As(err, &found)
		return nil, damaged(name, found.Err)
	}
	return p, err
}

func read(name string, data []byte) (*Picture, error) {
	kind := kindOf(name, bytes.NewReader(data), int64(len(data)))
	switch kind {
	case kindJPEG:
		return readJPEG(name, data)
	case kindTIFF:
		return readTIFF(name, data)
	case kindRawTIFF, kindCR3, kindRAF:
		return readRaw(name, kind, data)
	case kindUnknown:
		// What it will be can't be told yet.
		if err := Whole(name, bytes.NewReader(data), int64(len(data))); err != nil {
			return nil, err
		}
	}
	return nil, unsupported(name, refusals[kind])
}

// readJPEG reads a camera's JPEG, or an export.
func readJPEG(name string, data []byte) (*Picture, error) {
	head, err := openJPEG(name, data)
	if err != nil {
		return nil, err
	}
	p := &Picture{Name: name}
	var seen remarks
	p.Exif, seen = exifOf(bytesBlock(head.exif))
	if err := p.measureJPEG(name, data); err != nil {
		return nil, err
	}
	p.labelColour(head.icc)
	p.labelHistory(&head, seen)
	if ending := strings.ToLower(path.Ext(name)); rawEndings[ending] || ending == ".cr3" || ending == ".raf" {
		// Beside the camera's JPEG of the same stem it must not pass for the better picture.
		p.Source = SourcePreview
		p.label(LabelPreview, "a JPEG under the name of a raw file, as programs leave that put a raw file's preview in its place")
	}
	return p, nil
}

// measure takes the survey of the decoded picture.
func (p *Picture) measure(img image.Image) {
	p.Orientation = max(p.Exif.Orientation, 1)
	p.decode = decoded(img)
	p.took(surveyImage(img, p.Orientation))
}

// decoded is an image that has been decoded already.
func decoded(img image.Image) func() (image.Image, error) {
	return func() (image.Image, error) { return img, nil }
}

// took keeps the survey.
func (p *Picture) took(s *Survey) {
	p.Survey = s
	if p.Survey.Grey {
		p.label(LabelGreyscale, "this is a greyscale picture: the three channels are the same, and colour can't be judged")
	}
}

// exifOf reads the Exif of the blocks given. Exif that can't be read is as good
// as none: a picture is measured all the same.
func exifOf(blocks ...*tiffFile) (Exif, remarks) {
	blocks = slices.DeleteFunc(blocks, func(t *tiffFile) bool { return t == nil })
	block, dir, seen := cleanExif(blocks...)
	e, err := decodeExif(block, dir)
	if err != nil {
		return Exif{}, seen
	}
	return e, seen
}

// openJPEG reads what a JPEG declares and refuses what can't be read.
func openJPEG(name string, data []byte) (jpegHead, error) {
	head, err := readJPEGHead(data)
	if err != nil {
		return head, jpegError(name, halfJPEG(data, err))
	}
	return head, checkJPEG(name, &head, len(data))
}

// plainJPEG decodes a JPEG that has passed checkJPEG.
func plainJPEG(name string, data []byte) (image.Image, error) {
	img, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, jpegError(name, halfJPEG(data, err))
	}
	if _, ok := img.(*image.CMYK); ok {
		return nil, unsupported(name, cmykText)
	}
	return img, nil
}

// halfJPEG adds to a decoder's error that the file isn't whole, if so: half a
// file often stops making sense before it stops.
func halfJPEG(data []byte, err error) error {
	if whole := wholeJPEG(bytes.NewReader(data), int64(len(data))); errors.Is(whole, errShort) && !errors.Is(err, errShort) {
		return errors.Join(errShort, err)
	}
	return err
}

const cmykText = "the picture is in CMYK, the colours of a printing press; export it in RGB (sRGB is best)"

// checkJPEG refuses what can't be decoded, or not within reason.
func checkJPEG(name string, h *jpegHead, size int) error {
	pixels := int64(h.width) * int64(h.height)
	progressive := h.frame == 0xC2
	switch {
	case h.frame > 0xC2:
		return unsupported(name, "it is a rare kind of JPEG (lossless, hierarchical or arithmetic coding); set the camera to an ordinary JPEG")
	case h.precision != 8:
		return unsupported(name, "it is a JPEG of more than 8 bits a channel; set the camera to an ordinary JPEG")
	case h.components == 4:
		return unsupported(name, cmykText)
	case h.components != 1 && h.components != 3:
		return damaged(name, fmt.Errorf("%d colour channels", h.components))
	case pixels == 0:
		return damaged(name, fmt.Errorf("it declares a size of %d x %d pixels", h.width, h.height))
	case pixels > maxPixels || progressive && pixels > maxPixelsProgressive:
		return unsupported(name, fmt.Sprintf("it declares %d x %d pixels, more than can be read; export it smaller", h.width, h.height))
	// Each 8x8 block takes at least a bit in some scan: 512 pixels a byte.
	case pixels > 512*int64(size):
		return damaged(name, fmt.Errorf("it declares %d x %d pixels and has only %d bytes", h.width, h.height, size))
	}
	return nil
}

// jpegError turns a decoder's error into one about the file.
func jpegError(name string, err error) error {
	var odd jpeg.UnsupportedError
	switch {
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF), errors.Is(err, errShort):
		return unfinished(name, err)
	case errors.As(err, &odd):
		return &FileError{Name: name, Kind: ErrUnsupported, Err: err,
			Text: "it is a rare kind of JPEG; set the camera to an ordinary JPEG"}
	}
	return damaged(name, err)
}

// labelColour says so where code values aren't sRGB.
func (p *Picture) labelColour(icc []byte) {
	name := profileName(icc)
	switch {
	case strings.Contains(name, "Adobe RGB"), p.Exif.ColorSpace == 2,
		name == "" && p.Exif.Interop == "R03": // DCF 2.0: the optional colour space is Adobe RGB
		p.label(LabelAdobeRGB, "the picture is in Adobe RGB: its code values are taken as they are, and colours would look too pale as sRGB")
	case name != "" && !strings.Contains(name, "sRGB"):
		p.label(LabelProfile, "the picture has the colour profile %q: its code values are taken as they are", name)
	}
}

// labelHistory says so where a JPEG isn't what the camera wrote. Each mark is
// one that cameras don't leave, or always do; none is proof, so the sentence names it.
func (p *Picture) labelHistory(h *jpegHead, seen remarks) {
	e := &p.Exif
	if e.ExposureTime == 0 && e.FNumber == 0 && e.ISO == 0 {
		p.label(LabelNoExif, "the file doesn't say how it was exposed")
	}
	w, ht := h.width, h.height
	if long := max(e.PixelX, e.PixelY); long > max(w, ht) && min(e.PixelX, e.PixelY) > 0 {
		p.label(LabelReduced, "a reduced copy: %d x %d pixels of %d x %d; clipping of small spots can't be seen in it", w, ht, e.PixelX, e.PixelY)
	}
	if h.frame == 0xC2 {
		p.label(LabelProgressive, "a progressive JPEG: cameras don't write these, so a program has saved it")
	}
	if why := p.edited(h, seen); why != "" {
		p.label(LabelEdited, "not as the camera wrote it (%s): its tones may have been changed, so it teaches nothing about the camera", why)
	}
	p.labelOwnTones()
}

// labelOwnTones says so where a picture's tones need not follow from light alone by one curve.
func (p *Picture) labelOwnTones() {
	if why := p.Exif.ownTones(); why != "" {
		p.label(LabelOwnTones, "its tones may have been set for this picture alone (%s), so it teaches nothing about the camera", why)
	}
}

// edited names the mark of a program between camera and file, if there is one.
func (p *Picture) edited(h *jpegHead, seen remarks) string {
	e := &p.Exif
	switch {
	case bytes.Contains(h.xmp, []byte("xmpMM:History")), bytes.Contains(h.xmp, []byte("crs:")):
		return "it carries the history of a raw developer or editor"
	case h.resources:
		return "it carries an editor's image resources"
	case h.frame == 0xC2:
		return "it is a progressive JPEG"
	case e.Make == "" && e.Model == "":
		return "no camera is named in it"
	case !e.Written.IsZero() && !e.Taken.IsZero() && e.Written.Sub(e.Taken).Abs() > editedAfter:
		return "it was changed " + e.Written.Format("2006-01-02 15:04:05") + ", after it was taken"
	// DCF 2.0 asks cameras for a thumbnail, and Exif has no use for a JFIF header.
	// Missing notes alone occur in phones and old cameras.
	case !seen.makerNote && (h.jfif || !seen.thumbnail):
		return "the camera's own notes are missing"
	}
	return ""
}
