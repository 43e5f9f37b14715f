package studio

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"time"
)

// A small writer of Exif 2.32, for one camera that sets everything by hand. Tag
// numbers and types follow ExifTool's tag table, which also checks the result.

// TIFF field types.
const (
	tByte      = 1
	tASCII     = 2
	tShort     = 3
	tLong      = 4
	tRational  = 5
	tUndefined = 7
	tSRational = 10
)

type field struct {
	tag, kind uint16
	count     uint32
	data      []byte
}

func ascii(tag uint16, text string) field {
	b := append([]byte(text), 0)
	return field{tag, tASCII, uint32(len(b)), b}
}

func short(tag uint16, v int) field {
	return field{tag, tShort, 1, binary.BigEndian.AppendUint16(nil, uint16(v))}
}

func long(tag uint16, v int) field {
	return field{tag, tLong, 1, binary.BigEndian.AppendUint32(nil, uint32(v))}
}

func raw(tag uint16, b ...byte) field { return field{tag, tUndefined, uint32(len(b)), b} }

func rational(tag uint16, pairs ...uint32) field {
	var b []byte
	for _, v := range pairs {
		b = binary.BigEndian.AppendUint32(b, v)
	}
	return field{tag, tRational, uint32(len(pairs) / 2), b}
}

func srational(tag uint16, num, den int32) field {
	f := rational(tag, uint32(num), uint32(den))
	f.kind = tSRational
	return f
}

// exif is the TIFF block for a frame taken at a time, with a small JPEG of it.
// Fields stand in rising order of their tags, as TIFF 6.0 asks.
func (s *Studio) exif(at time.Time, small []byte) []byte {
	c := &s.Camera
	const layout, offset = "2006:01:02 15:04:05", "-07:00"
	stamp, zone, sub := at.Format(layout), at.Format(offset), at.Format(".000")[1:]
	t := float64(c.Shutter)
	exposed := rational(0x829a, 1, uint32(math.Round(1/t)))
	if t >= 0.3 {
		exposed = rational(0x829a, uint32(math.Round(t*10)), 10)
	}
	av, _ := c.FNumber.Av()
	tv, _ := c.Shutter.Tv()
	program := []field{
		exposed,
		rational(0x829d, uint32(math.Round(float64(c.FNumber)*10)), 10),
		short(0x8822, 1), // exposure program: manual
		short(0x8827, int(min(c.ISO, 65535))),
		short(0x8830, 2),               // sensitivity type: recommended exposure index
		long(0x8832, int(c.ISO)),       // which is
		raw(0x9000, []byte("0232")...), // Exif version
		ascii(0x9003, stamp),           // taken
		ascii(0x9004, stamp),           // made digital
		ascii(0x9010, zone),            // offsets from UTC
		ascii(0x9011, zone),            //
		ascii(0x9012, zone),            //
		raw(0x9101, 1, 2, 3, 0),        // components: Y, Cb, Cr
		srational(0x9201, thousand(float64(tv)), 1000),
		rational(0x9202, uint32(thousand(float64(av))), 1000),
		srational(0x9204, 0, 10), // exposure compensation
		short(0x9207, 5),         // metering mode: multi-segment
		// Radio triggers have no way to tell the camera that the flashes fire.
		short(0x9209, 0x10), // flash: off, did not fire
		rational(0x920a, uint32(math.Round(c.Focal*10)), 10),
		ascii(0x9290, sub),
		ascii(0x9291, sub),
		ascii(0x9292, sub),
		raw(0xa000, []byte("0100")...),
		short(0xa001, 1), // sRGB
		long(0xa002, c.Width),
		long(0xa003, c.PictureHeight),
		raw(0xa300, 3),   // file source: digital camera
		raw(0xa301, 1),   // scene type: directly photographed
		short(0xa401, 0), // custom rendered: no
		short(0xa402, 1), // exposure mode: manual
		short(0xa403, 1), // white balance: manual
		short(0xa405, int(math.Round(c.Focal))),
		short(0xa406, 0), // scene capture type: standard
		ascii(0xa431, c.Serial),
		ascii(0xa434, c.Lens),
	}
	const pointer = 0x8769
	main := []field{
		ascii(0x010f, c.Make),
		ascii(0x0110, c.Model),
		short(0x0112, c.Orientation),
		rational(0x011a, 300, 1),
		rational(0x011b, 300, 1),
		short(0x0128, 2), // inches
		ascii(0x0132, stamp),
		short(0x0213, 1), // chroma centred
		long(pointer, 0),
	}
	const thumbnailAt = 0x0201
	preview := []field{
		short(0x0103, 6), // compression: JPEG
		rational(0x011a, 72, 1),
		rational(0x011b, 72, 1),
		short(0x0128, 2),
		long(thumbnailAt, 0),
		long(0x0202, len(small)),
	}
	b := []byte("MM\x00\x2a\x00\x00\x00\x08")
	second := len(b) + directorySize(main)
	third := second + directorySize(program)
	main[len(main)-1] = long(pointer, second)
	preview[4] = long(thumbnailAt, third+directorySize(preview))
	b = appendDirectory(b, main, third)
	b = appendDirectory(b, program, 0)
	b = appendDirectory(b, preview, 0)
	return append(b, small...)
}

// thumbnail is a JPEG 160 pixels wide, each pixel the mean of those it stands for.
func thumbnail(img *image.RGBA) []byte {
	const width = 160
	w, h := img.Rect.Dx(), img.Rect.Dy()
	tw := min(width, w)
	th := max(1, h*tw/w)
	small := image.NewRGBA(image.Rect(0, 0, tw, th))
	for y := range th {
		for x := range tw {
			var sum [4]int
			n := 0
			for v := y * h / th; v < (y+1)*h/th; v++ {
				row := img.Pix[v*img.Stride+4*(x*w/tw) : v*img.Stride+4*((x+1)*w/tw)]
				for ; len(row) >= 4; row = row[4:] {
					sum[0], sum[1], sum[2] = sum[0]+int(row[0]), sum[1]+int(row[1]), sum[2]+int(row[2])
					n++
				}
			}
			out := small.Pix[y*small.Stride+4*x:][:4]
			out[0], out[1], out[2], out[3] = uint8(sum[0]/n), uint8(sum[1]/n), uint8(sum[2]/n), 255
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, small, &jpeg.Options{Quality: 80}); err != nil {
		panic(fmt.Sprintf("studio: image/jpeg refused a thumbnail of %d x %d: %v", tw, th, err))
	}
	return b.Bytes()
}

func thousand(v float64) int32 { return int32(math.Round(v * 1000)) }

func directorySize(fields []field) int {
	n := 2 + 12*len(fields) + 4
	for _, f := range fields {
		if len(f.data) > 4 {
			n += len(f.data) + len(f.data)%2
		}
	}
	return n
}

// appendDirectory writes an image file directory that starts at len(b), and
// behind it the values that don't fit in. next is where the following one starts; 0 is none.
func appendDirectory(b []byte, fields []field, next int) []byte {
	values := len(b) + 2 + 12*len(fields) + 4
	var rest []byte
	b = binary.BigEndian.AppendUint16(b, uint16(len(fields)))
	for _, f := range fields {
		b = binary.BigEndian.AppendUint16(b, f.tag)
		b = binary.BigEndian.AppendUint16(b, f.kind)
		b = binary.BigEndian.AppendUint32(b, f.count)
		if len(f.data) <= 4 {
			b = append(b, f.data...)
			b = append(b, make([]byte, 4-len(f.data))...)
			continue
		}
		b = binary.BigEndian.AppendUint32(b, uint32(values+len(rest)))
		rest = append(rest, f.data...)
		if len(f.data)%2 == 1 {
			rest = append(rest, 0)
		}
	}
	b = binary.BigEndian.AppendUint32(b, uint32(next))
	return append(b, rest...)
}

// withExif puts an APP1 segment behind a JPEG's start marker.
func withExif(picture, tiff []byte) []byte {
	body := append([]byte("Exif\x00\x00"), tiff...)
	out := make([]byte, 0, len(picture)+len(body)+4)
	out = append(out, picture[:2]...)
	out = append(out, 0xff, 0xe1)
	out = binary.BigEndian.AppendUint16(out, uint16(len(body)+2))
	out = append(out, body...)
	return append(out, picture[2:]...)
}
