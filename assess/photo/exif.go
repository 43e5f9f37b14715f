package photo

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/rwcarlsen/goexif/exif"
	"github.com/rwcarlsen/goexif/tiff"

	"thirdstop/assess/exposure"
	"thirdstop/assess/legible"
)

// Exif is what the camera recorded of a frame. A zero or empty field was not
// recorded, unless a field Has... says otherwise. Nothing is guessed from maker notes.
type Exif struct {
	ExposureTime  exposure.Shutter
	FNumber       exposure.FNumber
	ISO           exposure.ISO
	FocalLength   float64 // millimetres
	FocalLength35 int     // the one that shows as much on 24 x 36 mm (FocalLengthIn35mmFilm), millimetres

	Flash           int // the tag as it is: bit 0 fired, bits 3 and 4 mode (Exif 2.32, Flash)
	HasFlash        bool
	Program         int // ExposureProgram: 1 is manual
	HasProgram      bool
	ExposureMode    int // 0 auto, 1 manual, 2 bracket
	HasExposureMode bool
	WhiteBalance    int // 0 auto, 1 manual
	HasWhiteBalance bool

	Taken     time.Time // when the shutter opened, by the camera's clock; UTC stands in where HasOffset is false
	TakenText string    // the same as RFC 3339 with the sub-seconds as recorded; no offset where none was
	HasOffset bool
	Written   time.Time // DateTime, when the file was last changed; same stand-in

	Make, Model, Lens, Serial, Software string

	Orientation    int // 1 to 8; 0 where it was not recorded
	ColorSpace     int // 1 sRGB, 2 Adobe RGB in some cameras, 65535 uncalibrated
	Interop        string
	PixelX, PixelY int // size of the picture as the camera wrote it
	CustomRendered int // 0 normal, 1 custom; the standard defines no other
	Composite      int // CompositeImage (Exif 2.32): 0 unknown, 1 no, 2 put together of several pictures, 3 the same while shooting
	Contrast       int // 0 normal, 1 soft, 2 hard
	Saturation     int // 0 normal, 1 low, 2 high
}

// extraFields are tags of Exif 2.31 and later that the library doesn't name.
var extraFields = map[uint16]exif.FieldName{
	0x8830: "SensitivityType",
	0x8831: "StandardOutputSensitivity",
	0x8832: "RecommendedExposureIndex",
	0x8833: "ISOSpeed",
	0x9010: "OffsetTime",
	0x9011: "OffsetTimeOriginal",
	0x9012: "OffsetTimeDigitized",
	0xA431: "BodySerialNumber",
	0xA460: "CompositeImage",
	0xC62F: "CameraSerialNumber", // DNG, in the first directory
}

// decodeExif reads a block that cleanExif wrote.
func decodeExif(block []byte, exifDir uint32) (e Exif, err error) {
	if len(block) == 0 {
		return Exif{}, nil
	}
	// The library panics on some values. What it is given should hold none of
	// them; this is the second lock.
	defer func() {
		if r := recover(); r != nil {
			e, err = Exif{}, fmt.Errorf("exif: %v", r)
		}
	}()
	x, err := exif.Decode(bytes.NewReader(block))
	if err != nil {
		return Exif{}, err
	}
	if len(x.Tiff.Dirs) > 0 {
		x.LoadTags(x.Tiff.Dirs[0], extraFields, false)
	}
	if exifDir != 0 {
		r := bytes.NewReader(block)
		if _, err := r.Seek(int64(exifDir), 0); err == nil {
			if d, _, err := tiff.DecodeDir(r, x.Tiff.Order); err == nil {
				x.LoadTags(d, extraFields, false)
			}
		}
	}
	t := tags{x}
	e.ExposureTime = exposure.Shutter(t.ratio(exif.ExposureTime, 1e-7, 1e5))
	e.FNumber = exposure.FNumber(t.ratio(exif.FNumber, 0.1, 1000))
	e.FocalLength = t.ratio(exif.FocalLength, 0.1, 1e5)
	e.ISO = exposure.ISO(t.iso())
	e.Flash, e.HasFlash = t.number(exif.Flash)
	e.Program, e.HasProgram = t.number(exif.ExposureProgram)
	e.ExposureMode, e.HasExposureMode = t.number(exif.ExposureMode)
	e.WhiteBalance, e.HasWhiteBalance = t.number(exif.WhiteBalance)
	e.Make, e.Model = t.text(exif.Make), t.text(exif.Model)
	e.Lens, e.Software = t.text(exif.LensModel), t.text(exif.Software)
	if e.Serial = t.text("BodySerialNumber"); e.Serial == "" {
		e.Serial = t.text("CameraSerialNumber")
	}
	if o, ok := t.number(exif.Orientation); ok && o >= 1 && o <= 8 {
		e.Orientation = o
	}
	e.ColorSpace, _ = t.number(exif.ColorSpace)
	e.Interop = t.text(exif.InteroperabilityIndex)
	e.PixelX, _ = t.number(exif.PixelXDimension)
	e.PixelY, _ = t.number(exif.PixelYDimension)
	e.CustomRendered, _ = t.number(exif.CustomRendered)
	e.Composite, _ = t.number("CompositeImage")
	if v, ok := t.number(exif.FocalLengthIn35mmFilm); ok && v > 0 { // 0 is unknown
		e.FocalLength35 = v
	}
	e.Contrast, _ = t.number(exif.Contrast)
	e.Saturation, _ = t.number(exif.Saturation)

	e.Written, _, _, _ = t.moment(exif.DateTime, "SubSecTime", "OffsetTime")
	var ok bool
	for _, names := range [][3]exif.FieldName{
		{exif.DateTimeOriginal, exif.SubSecTimeOriginal, "OffsetTimeOriginal"},
		{exif.DateTimeDigitized, exif.SubSecTimeDigitized, "OffsetTimeDigitized"},
		{exif.DateTime, exif.SubSecTime, "OffsetTime"},
	} {
		if e.Taken, e.TakenText, e.HasOffset, ok = t.moment(names[0], names[1], names[2]); ok {
			break
		}
	}
	return e, nil
}

// tags reads single values; what is missing, misshapen or out of range is not recorded.
type tags struct{ x *exif.Exif }

func (t tags) get(name exif.FieldName) *tiff.Tag {
	tag, err := t.x.Get(name)
	if err != nil || tag.Count == 0 {
		return nil
	}
	return tag
}

// ratio is a fraction between least and most, or 0.
func (t tags) ratio(name exif.FieldName, least, most float64) float64 {
	tag := t.get(name)
	if tag == nil {
		return 0
	}
	v := math.NaN()
	switch tag.Format() {
	case tiff.RatVal:
		if n, d, err := tag.Rat2(0); err == nil && d != 0 {
			v = float64(n) / float64(d)
		}
	case tiff.IntVal:
		if n, err := tag.Int64(0); err == nil {
			v = float64(n)
		}
	case tiff.FloatVal:
		v, _ = tag.Float(0)
	}
	if !(v >= least && v <= most) {
		return 0
	}
	return v
}

func (t tags) number(name exif.FieldName) (int, bool) {
	tag := t.get(name)
	if tag == nil || tag.Format() != tiff.IntVal {
		return 0, false
	}
	v, err := tag.Int(0)
	return v, err == nil
}

// text is a string without the padding that cameras leave.
func (t tags) text(name exif.FieldName) string {
	tag := t.get(name)
	if tag == nil || tag.Format() != tiff.StringVal {
		return ""
	}
	s, err := tag.StringVal()
	if err != nil {
		return ""
	}
	s, _, _ = strings.Cut(s, "\x00")
	return strings.TrimSpace(legible.Line(s))
}

// isoFull is where the 16-bit PhotographicSensitivity is full and the real
// value stands in one of the 32-bit tags (Exif 2.32, annex G).
const isoFull = 65535

func (t tags) iso() float64 {
	v, ok := t.number(exif.ISOSpeedRatings)
	if ok && v > 0 && v < isoFull {
		return float64(v)
	}
	for _, name := range []exif.FieldName{"RecommendedExposureIndex", "ISOSpeed", "StandardOutputSensitivity"} {
		if v, ok := t.number(name); ok && v > 0 && v <= 1e7 {
			return float64(v)
		}
	}
	return 0
}

// moment reads a date with its sub-seconds and its offset.
func (t tags) moment(date, subSec, offset exif.FieldName) (at time.Time, text string, hasOffset, ok bool) {
	s := t.text(date)
	if len(s) < 19 {
		return at, "", false, false
	}
	// "2006:01:02 15:04:05"; some writers use other marks between the numbers.
	b := []byte(s[:19])
	b[4], b[7], b[10], b[13], b[16] = '-', '-', 'T', ':', ':'
	at, err := time.Parse("2006-01-02T15:04:05", string(b))
	if err != nil || at.Year() < 1900 {
		return time.Time{}, "", false, false
	}
	text = string(b)
	if digits := t.text(subSec); digits != "" && len(digits) <= 9 && strings.Trim(digits, "0123456789") == "" {
		n, _ := strconv.Atoi((digits + "000000000")[:9])
		at = at.Add(time.Duration(n))
		text += "." + digits
	}
	if zone, err := time.Parse("-07:00", t.text(offset)); err == nil {
		_, seconds := zone.Zone()
		at = at.Add(-time.Duration(seconds) * time.Second).In(time.FixedZone("", seconds))
		return at, text + zone.Format("Z07:00"), true, true
	}
	return at, text, false, true
}

// smallSensor is how many times smaller than 24 x 36 mm, along the diagonal, a sensor is that no tethered camera has: the smallest
// with exchangeable lenses are 2.7 times smaller, phones about 3.5 to 8 times (common practice, no source; on the real files of the tests
// cameras with exchangeable lenses have at most 1.5, phones and compact cameras 3.9 to 8.2).
const smallSensor = 3

// ownTones says why a picture's tones need not follow from light alone, by what standard Exif records; empty where nothing says so. Phones
// put pictures together and set the tones of each part anew.
func (e *Exif) ownTones() string {
	switch {
	case e.Composite == 2 || e.Composite == 3:
		return "it was put together of several pictures"
	case e.CustomRendered > 1:
		return "it was rendered in a way of the camera's own"
	case e.FocalLength > 0 && float64(e.FocalLength35) > smallSensor*e.FocalLength:
		return "its sensor is as small as a phone's"
	}
	return ""
}

// fill takes over from other what e lacks: a raw file's own directories may
// leave out what its embedded picture records.
func (e *Exif) fill(other Exif) {
	if e.ExposureTime == 0 && e.FNumber == 0 && e.ISO == 0 {
		make, model, serial, o := e.Make, e.Model, e.Serial, e.Orientation
		*e = other
		if make != "" {
			e.Make, e.Model, e.Serial = make, model, serial
		}
		if o != 0 {
			e.Orientation = o
		}
	}
	if e.Taken.IsZero() {
		e.Taken, e.TakenText, e.HasOffset = other.Taken, other.TakenText, other.HasOffset
	}
	if e.Orientation == 0 {
		e.Orientation = other.Orientation
	}
}
