package photo

import (
	"bytes"
	"errors"
	"io"
	"runtime"
	"testing"

	"golang.org/x/image/tiff"
)

// most bounds what a fuzzed file weighs: what may be reserved grows with it.
const most = 64 << 10

// seeds are small files of every kind, sound and not.
func seeds(f *testing.F) [][]byte {
	preview, thumb := encodeJPEG(f, scenery(660, 24), 30), encodeJPEG(f, scenery(16, 12), 30)
	list := [][]byte{cameraJPEG(f, 40, 24, 6), encodeJPEG(f, scenery(17, 9), 50), head(0xC2, 8, 400, 300, 3), head(0xC0, 8, 65535, 65535, 3),
		[]byte("\x89PNG\r\n\x1a\n"), []byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"), nil, make([]byte, 100)}
	for _, data := range rawFiles(f, preview, thumb) {
		list = append(list, data)
	}
	var buf bytes.Buffer
	if err := tiff.Encode(&buf, scenery(30, 20), &tiff.Options{Compression: tiff.Deflate}); err != nil {
		f.Fatal(err)
	}
	list = append(list, buf.Bytes())
	for _, block := range hostileExif() {
		list = append(list, block, withSegments(encodeJPEG(f, scenery(16, 16), 50), segment(0xE1, "Exif\x00\x00", string(block[:min(len(block), 60000)]))))
	}
	return list
}

var endings = []string{"a.jpg", "a.nef", "a.tif", "a.orf"}

// oneKind reports whether an error is of exactly one of the three kinds.
func oneKind(err error) bool {
	n := 0
	for _, kind := range []error{ErrUnsupported, ErrDamaged, ErrUnfinished} {
		if errors.Is(err, kind) {
			n++
		}
	}
	return n == 1
}

// reserved runs a function and gives the bytes it reserved.
func reserved(run func()) uint64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	run()
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

func FuzzRead(f *testing.F) {
	for i, data := range seeds(f) {
		f.Add(data, uint8(i))
	}
	f.Fuzz(func(t *testing.T, data []byte, ending uint8) {
		if len(data) > most {
			return
		}
		name := endings[int(ending)%len(endings)]
		var p *Picture
		var err error
		used := reserved(func() { p, err = Read(name, data) })
		// 1100 pixels a byte at most, 8 bytes a pixel in a TIFF and its decoder's copy, 12 in a progressive JPEG.
		if used > 64<<20+uint64(len(data))*1100*24 {
			t.Fatalf("reserved %d bytes for a file of %d", used, len(data))
		}
		if err != nil {
			if p != nil || !oneKind(err) {
				t.Fatalf("picture %v with the error %v", p, err)
			}
			if isUnfinished(err) && Whole(name, bytes.NewReader(data), int64(len(data))) == nil {
				t.Fatalf("whole, but: %v", err)
			}
			return
		}
		s := p.Survey
		pixels := 0
		for i := range s.Cells {
			pixels += int(s.Cells[i].Pixels)
			for ch := range 3 {
				if c := &s.Cells[i]; c.Clipped[ch] > c.Pixels || c.Clipped[ch] > c.ClippedAny || !(c.Mean[ch] >= float32(c.Min[ch])-0.01) || !(c.Mean[ch] <= float32(c.Max[ch])+0.01) || c.Var[ch] < 0 {
					t.Fatalf("cell %d = %+v", i, *c)
				}
			}
		}
		if pixels != s.Width*s.Height {
			t.Fatalf("cells hold %d pixels of %d x %d", pixels, s.Width, s.Height)
		}
		if _, err := p.Thumbnail(50); err != nil {
			t.Fatal(err)
		}
		// What can be read from a picture file is whole; a raw file may lack sensor data behind its preview.
		if err := Whole(name, bytes.NewReader(data), int64(len(data))); err != nil && kindOf(name, bytes.NewReader(data), int64(len(data))) == kindJPEG {
			t.Fatalf("read, but not whole: %v", err)
		}
	})
}

func FuzzWhole(f *testing.F) {
	for i, data := range seeds(f) {
		f.Add(data, uint8(i), uint16(i*7))
	}
	f.Fuzz(func(t *testing.T, data []byte, ending uint8, cut uint16) {
		if len(data) > most {
			return
		}
		name := endings[int(ending)%len(endings)]
		whole := func(b []byte) error { return Whole(name, bytes.NewReader(b), int64(len(b))) }
		var err error
		if used := reserved(func() { err = whole(data) }); used > 64<<20 {
			t.Fatalf("reserved %d bytes", used)
		}
		if err != nil && !oneKind(err) {
			t.Fatal(err)
		}
		// A JPEG that isn't whole can't have become so by losing its end, and a whole
		// one stays whole with anything behind it.
		if kindOf(name, bytes.NewReader(data), int64(len(data))) != kindJPEG {
			return
		}
		if err != nil && len(data) > 2 && whole(data[:2+int(cut)%(len(data)-2)]) == nil {
			t.Fatal("the beginning is whole, and all of it isn't")
		}
		if err == nil && whole(append(bytes.Clone(data), byte(cut), byte(cut>>8))) != nil {
			t.Fatal("no longer whole with two bytes more")
		}
	})
}

// FuzzExif lets the sanitiser and the library at any block.
func FuzzExif(f *testing.F) {
	for _, block := range hostileExif() {
		f.Add(block)
	}
	for o := range 10 {
		f.Add(buildTIFF(binaryOrder(o), 42, exifDirs(o)))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > most {
			return
		}
		b := bytesBlock(data)
		if b == nil {
			return
		}
		var clean []byte
		var dir uint32
		var err error
		used := reserved(func() {
			clean, dir, _ = cleanExif(b)
			_, err = decodeExif(clean, dir)
		})
		if len(clean) > maxClean+100 || used > 64<<20 {
			t.Fatalf("a clean block of %d bytes, %d reserved", len(clean), used)
		}
		if err != nil {
			t.Fatalf("the library refuses a clean block: %v", err)
		}
		if len(clean) == 0 {
			return
		}
		if again, _, _ := cleanExif(bytesBlock(clean)); !bytes.Equal(again, clean) {
			t.Fatal("cleaning twice isn't cleaning once")
		}
	})
}

// FuzzWalkRaw lets the walkers of all raw formats at any file.
func FuzzWalkRaw(f *testing.F) {
	for _, data := range seeds(f) {
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > most {
			return
		}
		r, size := bytes.NewReader(data), int64(len(data))
		for _, k := range []kind{kindRawTIFF, kindCR3, kindRAF} {
			var c rawContents
			if used := reserved(func() { c, _ = walkRaw(k, r, size) }); used > 64<<20 {
				t.Fatalf("reserved %d bytes", used)
			}
			for _, p := range c.previews {
				if p.inside(size) {
					if _, err := io.ReadAll(io.NewSectionReader(r, p.off, p.length)); err != nil {
						t.Fatal(err)
					}
				}
			}
			_, _ = c.usable(data)
			_, _ = exifOf(c.blocks...)
		}
		_, _ = readJPEGHead(data)
		_ = profileName(data)
	})
}
