package photo

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"testing"
)

// What tests build files from: directories of tags, written the way TIFF 6.0
// says, in either byte order.

type tag struct {
	id, typ uint16
	value   any // string, []byte, int, []int, rational, *dir, []*dir, blob, or raw
}

type rational [2]uint32

// blob is bytes elsewhere in the file; the tag holds their offset.
type blob []byte

// raw is an entry written as it stands, sound or not.
type raw struct {
	count  uint32
	inline uint32
}

type dir struct{ tags []tag }

type builder struct {
	buf   []byte
	order binary.AppendByteOrder
}

// buildTIFF writes a chain of directories. What a directory points at lies before it.
func buildTIFF(order binary.AppendByteOrder, magic uint16, chain ...*dir) []byte {
	b := &builder{order: order}
	mark := "II"
	if order == binary.AppendByteOrder(binary.BigEndian) {
		mark = "MM"
	}
	b.buf = order.AppendUint32(order.AppendUint16([]byte(mark), magic), 0)
	next := uint32(0)
	for i := len(chain) - 1; i >= 0; i-- {
		next = b.dir(chain[i], next)
	}
	copy(b.buf[4:], order.AppendUint32(nil, next))
	return b.buf
}

func (b *builder) put(p []byte) uint32 {
	if len(b.buf)%2 == 1 {
		b.buf = append(b.buf, 0)
	}
	at := uint32(len(b.buf))
	b.buf = append(b.buf, p...)
	return at
}

func (b *builder) dir(d *dir, next uint32) uint32 {
	var out []byte
	out = b.order.AppendUint16(out, uint16(len(d.tags)))
	for _, t := range d.tags {
		out = b.order.AppendUint16(b.order.AppendUint16(out, t.id), t.typ)
		var value []byte
		count := 1
		switch v := t.value.(type) {
		case raw:
			out = b.order.AppendUint32(b.order.AppendUint32(out, v.count), v.inline)
			continue
		case string:
			value, count = append([]byte(v), 0), len(v)+1
		case []byte:
			value, count = v, len(v)
		case int:
			value = b.ints(t.typ, v)
		case []int:
			value, count = b.ints(t.typ, v...), len(v)
		case rational:
			value = b.order.AppendUint32(b.order.AppendUint32(nil, v[0]), v[1])
		case blob:
			value = b.order.AppendUint32(nil, b.put(v))
		case *dir:
			value = b.order.AppendUint32(nil, b.dir(v, 0))
		case []*dir:
			count = len(v)
			for _, sub := range v {
				value = b.order.AppendUint32(value, b.dir(sub, 0))
			}
		default:
			panic(fmt.Sprintf("no way to write a %T", v))
		}
		out = b.order.AppendUint32(out, uint32(count))
		if len(value) > 4 {
			value = b.order.AppendUint32(nil, b.put(value))
		}
		out = append(out, append(value, 0, 0, 0, 0)[:4]...)
	}
	return b.put(b.order.AppendUint32(out, next))
}

func (b *builder) ints(typ uint16, values ...int) []byte {
	var out []byte
	for _, v := range values {
		switch typ {
		case 1, 7:
			out = append(out, byte(v))
		case 3:
			out = b.order.AppendUint16(out, uint16(v))
		default:
			out = b.order.AppendUint32(out, uint32(v))
		}
	}
	return out
}

// exifDirs is the Exif of an invented camera.
func exifDirs(orientation int, more ...tag) *dir {
	return &dir{append([]tag{
		{0x010F, 2, "Boathouse Optical"}, {0x0110, 2, "Sculler 1"}, {tagOrientation, 3, orientation},
		{tagExifDir, 4, &dir{[]tag{
			{0x829A, 5, rational{1, 160}}, {0x829D, 5, rational{8, 1}}, {0x8822, 3, 1}, {0x8827, 3, 100},
			{0x9003, 2, "2026:06:13 10:20:30"}, {0x9011, 2, "+02:00"}, {0x9291, 2, "042"},
			{0x9209, 3, 16}, {0x920A, 5, rational{85, 1}}, {tagMakerNote, 7, []byte("notes of the maker")},
			{0xA402, 3, 1}, {0xA403, 3, 1}, {0xA431, 2, "AQ-0007"}, {0xA434, 2, "Oar 85/1.8"},
		}}},
	}, more...)}
}

// wantExif is what exifDirs must read as.
func checkExif(t *testing.T, e Exif, orientation int) {
	t.Helper()
	if e.ExposureTime != 1.0/160 || e.FNumber != 8 || e.ISO != 100 || e.FocalLength != 85 || e.Flash != 16 || e.Program != 1 ||
		e.ExposureMode != 1 || e.WhiteBalance != 1 || e.Make != "Boathouse Optical" || e.Model != "Sculler 1" || e.Serial != "AQ-0007" ||
		e.Lens != "Oar 85/1.8" || e.Orientation != orientation || e.TakenText != "2026-06-13T10:20:30.042+02:00" || !e.HasOffset {
		t.Errorf("Exif reads as %+v", e)
	}
}

// scenery is a picture with light and dark places, some of them clipped.
func scenery(w, h int) *image.RGBA {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			v := 140 + 150*math.Sin(float64(x)/37)*math.Cos(float64(y)/23)
			img.SetRGBA(x, y, color.RGBA{clip8(v), clip8(v * 0.9), clip8(v*0.8 + float64(x%5)), 255})
		}
	}
	return img
}

func clip8(v float64) uint8 { return uint8(min(max(v, 0), 255)) }

func encodeJPEG(t testing.TB, img image.Image, quality int) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: quality}); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

// withSegments puts segments (marker, body) right behind a JPEG's start.
func withSegments(jpg []byte, segments ...[]byte) []byte {
	out := append([]byte{}, jpg[:2]...)
	for _, s := range segments {
		out = append(out, s...)
	}
	return append(out, jpg[2:]...)
}

func segment(marker byte, body ...string) []byte {
	out := []byte{0xFF, marker, 0, 0}
	for _, b := range body {
		out = append(out, b...)
	}
	binary.BigEndian.PutUint16(out[2:], uint16(len(out)-2))
	return out
}

// cameraJPEG is a JPEG with the Exif of exifDirs.
func cameraJPEG(t testing.TB, w, h, orientation int) []byte {
	exif := buildTIFF(binary.BigEndian, 42, exifDirs(orientation))
	return withSegments(encodeJPEG(t, scenery(w, h), 90), segment(0xE1, "Exif\x00\x00", string(exif)))
}

// bmffBox is one box of an ISO base media file.
func bmffBox(kind string, body ...[]byte) []byte {
	all := bytes.Join(body, nil)
	return append(append(binary.BigEndian.AppendUint32(nil, uint32(8+len(all))), kind...), all...)
}

func binaryOrder(i int) binary.AppendByteOrder {
	if i%2 == 0 {
		return binary.LittleEndian
	}
	return binary.BigEndian
}
