package photo

import (
	"bytes"
	"encoding/binary"
	"image"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"golang.org/x/image/draw"

	"thirdstop/testdata"
)

// withPreviews is a camera's JPEG that lists pictures behind its end, of a type each.
func withPreviews(order binary.AppendByteOrder, jpg []byte, kind uint32, previews ...[]byte) []byte {
	// The block of tags is as long whatever stands in it, and lies behind the start of the
	// file, its segment's head and its name.
	n := 1 + len(previews)
	build := func(entries []byte) []byte {
		return buildTIFF(order, 42, &dir{[]tag{{0xB000, 7, []byte("0100")}, {0xB001, 4, n}, {tagMPEntry, 7, entries}}})
	}
	length := len(build(make([]byte, mpEntrySize*n)))
	whole := len(jpg) + length + 8
	from := 2 + 8 // what offsets count from
	entry := func(kind uint32, size, off int) []byte {
		b := order.AppendUint32(order.AppendUint32(nil, kind), uint32(size))
		return append(order.AppendUint32(b, uint32(off)), 0, 0, 0, 0)
	}
	entries, tail := entry(0x20030000, whole, 0), []byte(nil)
	for _, p := range previews {
		entries = append(entries, entry(kind, len(p), whole+len(tail)-from)...)
		tail = append(tail, p...)
	}
	return append(withSegments(jpg, segment(0xE2, "MPF\x00", string(build(entries)))), tail...)
}

// reduced is a picture at another size.
func reduced(img image.Image, w, h int) image.Image {
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.ApproxBiLinear.Scale(out, out.Bounds(), img, img.Bounds(), draw.Src, nil)
	return out
}

func TestPreviewsOfEveryOrientation(t *testing.T) {
	for orientation := 1; orientation <= 8; orientation++ {
		main := cameraJPEG(t, 1920, 1280, orientation)
		img := scenery(1920, 1280)
		small, large := encodeJPEG(t, reduced(img, 640, 428), 90), encodeJPEG(t, reduced(img, 900, 600), 90)
		data := withPreviews(binaryOrder(orientation), main, mpThumbVGA, small, large)
		p, ok := Preview("a.jpg", data)
		full, err := Read("a.jpg", data)
		if !ok || err != nil {
			t.Fatalf("orientation %d: a preview %v, the file %v", orientation, ok, err)
		}
		s, f := p.Survey, full.Survey
		if max(s.Width, s.Height) != 900 || (s.Width < s.Height) != (f.Width < f.Height) || p.Source != SourcePreview || p.Exif != full.Exif {
			t.Errorf("orientation %d: the preview is %d x %d, %v, of %d x %d, with the Exif %+v", orientation, s.Width, s.Height, p.Source, f.Width, f.Height, p.Exif)
		}
		// The same scene lies the same way up: blocks at the same place are alike. A block of the
		// preview covers four of the picture, across which the scene changes.
		apart := 0.0
		for i := range 200 {
			x, y := float64(i%20)/20+0.02, float64(i/20)/10+0.04
			a := s.BlockAt(int(x*float64(s.BlockCols)), int(y*float64(s.BlockRows)))
			b := f.BlockAt(int(x*float64(f.BlockCols)), int(y*float64(f.BlockRows)))
			apart += math.Abs(float64(a[1])-float64(b[1])) / 256 / 200
		}
		if apart > 25 {
			t.Errorf("orientation %d: preview and picture are %.0f code values apart", orientation, apart)
		}
	}
}

func TestPreviewsThatAreOfNoUse(t *testing.T) {
	main := cameraJPEG(t, 1920, 1280, 1)
	img := scenery(1920, 1280)
	fit := encodeJPEG(t, reduced(img, 900, 600), 90)
	for name, data := range map[string][]byte{
		"no list":            main,
		"too small":          withPreviews(binary.LittleEndian, main, mpThumbVGA, encodeJPEG(t, reduced(img, 600, 400), 90)),
		"hardly smaller":     withPreviews(binary.LittleEndian, main, mpThumbFullHD, encodeJPEG(t, reduced(img, 1500, 1000), 90)),
		"another shape":      withPreviews(binary.LittleEndian, main, mpThumbVGA, encodeJPEG(t, reduced(img, 800, 600), 90)),
		"another view":       withPreviews(binary.LittleEndian, main, 0x020002, fit),
		"no picture":         withPreviews(binary.LittleEndian, main, mpThumbVGA, bytes.Repeat([]byte("oar "), 9000)),
		"cut off":            withPreviews(binary.LittleEndian, main, mpThumbVGA, fit[:len(fit)/2]),
		"behind the end":     withPreviews(binary.LittleEndian, main, mpThumbVGA, fit)[:len(main)+2000],
		"nothing":            nil,
		"a list and no more": segment(0xE2, "MPF\x00II*\x00\x08\x00\x00\x00"),
	} {
		if p, ok := Preview("a.jpg", data); ok {
			t.Errorf("%s: read as a preview of %d x %d", name, p.Survey.Width, p.Survey.Height)
		}
	}
}

// What is found is what ExifTool extracts from the same file.
func TestPreviewsAreThoseOfExifTool(t *testing.T) {
	tool := testdata.Tool(t, "exiftool")
	img := scenery(1920, 1280)
	small, large := encodeJPEG(t, reduced(img, 640, 428), 80), encodeJPEG(t, reduced(img, 900, 600), 80)
	for _, order := range []binary.AppendByteOrder{binary.LittleEndian, binary.BigEndian} {
		data := withPreviews(order, cameraJPEG(t, 1920, 1280, 1), mpThumbFullHD, small, large)
		name := filepath.Join(t.TempDir(), "a.jpg")
		if err := os.WriteFile(name, data, 0o600); err != nil {
			t.Fatal(err)
		}
		kind, err := exec.Command(tool, "-s3", "-MPImageType", name).Output()
		if err != nil || !bytes.Contains(kind, []byte("Large Thumbnail (full HD equivalent)")) {
			t.Errorf("ExifTool calls the pictures %q (%v)", kind, err)
		}
		theirs, err := exec.Command(tool, "-b", "-MPImage3", name).Output()
		if err != nil {
			t.Fatal(err)
		}
		head, err := readJPEGHead(data)
		if err != nil {
			t.Fatal(err)
		}
		if ours, ok := head.preview(data); !ok || !bytes.Equal(ours.data, theirs) || !bytes.Equal(theirs, large) {
			t.Errorf("%v: found %d bytes (%v), ExifTool %d, written %d", order, len(ours.data), ok, len(theirs), len(large))
		}
	}
}

func FuzzPreview(f *testing.F) {
	main, fit := cameraJPEG(f, 96, 64, 6), encodeJPEG(f, scenery(660, 440), 20)
	f.Add(withPreviews(binary.LittleEndian, main, mpThumbVGA, fit))
	f.Add(withPreviews(binary.BigEndian, main, mpThumbFullHD, fit[:200], fit))
	f.Add(main)
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > most {
			return
		}
		var p *Picture
		var ok bool
		if used := reserved(func() { p, ok = Preview("a.jpg", data) }); used > 64<<20+uint64(len(data))*1100*24 {
			t.Fatalf("reserved %d bytes for a file of %d", used, len(data))
		}
		if ok && (p.Survey == nil || max(p.Survey.Width, p.Survey.Height) < minPreview) {
			t.Fatalf("a preview of %+v", p.Survey)
		}
	})
}
