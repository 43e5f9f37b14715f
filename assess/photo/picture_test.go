package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"

	"golang.org/x/image/tiff"
)

func TestACameraJPEGIsReadUprightWithItsExif(t *testing.T) {
	plain := encodeJPEG(t, scenery(203, 150), 90)
	img, _ := jpeg.Decode(bytes.NewReader(plain))
	for o := 1; o <= 8; o++ {
		data := cameraJPEG(t, 203, 150, o)
		p, err := Read("frame.jpg", data)
		if err != nil {
			t.Fatal(err)
		}
		if want := bruteSurvey(img, o); !reflect.DeepEqual(p.Survey, want) {
			t.Errorf("orientation %d: the survey differs from the slow twin's", o)
		}
		if p.Orientation != o || p.Source != SourceFile || len(p.Labels) != 0 {
			t.Errorf("orientation %d: read as %d from the %v, labels %v; want no label", o, p.Orientation, p.Source, p.Labels)
		}
		checkExif(t, p.Exif, o)
		at, ok := Taken("frame.jpg", bytes.NewReader(data), int64(len(data)))
		if !ok || at.UTC().Format("15:04:05.000") != "08:20:30.042" {
			t.Errorf("taken at %v, %v; want 08:20:30.042 UTC", at, ok)
		}
	}
}

func TestExifIsFoundWhereverItsSegmentStands(t *testing.T) {
	exif := string(buildTIFF(binary.LittleEndian, 42, exifDirs(3)))
	jpg := encodeJPEG(t, scenery(32, 32), 90)
	xmp := segment(0xE1, "http://ns.adobe.com/xap/1.0/\x00", "<x:xmpmeta/>")
	e := segment(0xE1, "Exif\x00\x00", exif)
	for name, segments := range map[string][][]byte{
		"XMP first":          {xmp, e},
		"a comment first":    {segment(0xFE, "hello"), e},
		"stray bytes before": {segment(0xFE, "hello"), {0, 1, 2}, e},
		"fill bytes before":  {{0xFF, 0xFF}, e},
		"a second one after": {e, segment(0xE1, "Exif\x00\x00", "MM\x00*\x00\x00\x00\x08")},
	} {
		p, err := Read(name, withSegments(jpg, segments...))
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		checkExif(t, p.Exif, 3)
	}
}

// profile is an ICC profile with nothing but a description, in either form.
func profile(name string, unicode bool) string {
	be := binary.BigEndian
	desc := append([]byte("desc\x00\x00\x00\x00"), be.AppendUint32(nil, uint32(len(name)+1))...)
	desc = append(append(desc, name...), make([]byte, 80)...)
	if unicode {
		desc = []byte("mluc\x00\x00\x00\x00\x00\x00\x00\x01\x00\x00\x00\x0cenUS")
		desc = be.AppendUint32(be.AppendUint32(desc, uint32(2*len(name))), 28)
		for _, c := range name {
			desc = be.AppendUint16(desc, uint16(c))
		}
	}
	head := make([]byte, 128)
	head = append(be.AppendUint32(head, 1), "desc"...)
	head = be.AppendUint32(be.AppendUint32(head, 144), uint32(len(desc)))
	return string(append(head, desc...))
}

func TestWhatAFileCannotShowIsSaid(t *testing.T) {
	jpg := encodeJPEG(t, scenery(64, 48), 90)
	exif := func(change func(main, sub *dir)) []byte {
		d := exifDirs(1)
		change(d, d.tags[3].value.(*dir))
		return segment(0xE1, "Exif\x00\x00", string(buildTIFF(binary.LittleEndian, 42, d)))
	}
	same := func(main, sub *dir) {}
	dropNotes := func(_, sub *dir) {
		sub.tags = slices.DeleteFunc(sub.tags, func(t tag) bool { return t.id == tagMakerNote })
	}
	var grey bytes.Buffer
	if err := jpeg.Encode(&grey, image.NewGray(image.Rect(0, 0, 40, 40)), nil); err != nil {
		t.Fatal(err)
	}
	icc := func(name string, unicode bool) []byte {
		return segment(0xE2, "ICC_PROFILE\x00\x01\x01", profile(name, unicode))
	}
	for _, c := range []struct {
		what string
		data []byte
		want string // codes, with a blank between
	}{
		{"a camera's own", withSegments(jpg, exif(same)), ""},
		{"a camera's own with an sRGB profile", withSegments(jpg, exif(same), icc("sRGB IEC61966-2.1", false)), ""},
		{"Adobe RGB by its profile", withSegments(jpg, exif(same), icc("Adobe RGB (1998)", false)), "adobe_rgb"},
		{"Adobe RGB by a profile of version 4", withSegments(jpg, exif(same), icc("Adobe RGB (1998)", true)), "adobe_rgb"},
		{"another profile", withSegments(jpg, exif(same), icc("Display P3", true)), "profile"},
		{"Adobe RGB by the interoperability index", withSegments(jpg, exif(func(_, sub *dir) {
			sub.tags = append(sub.tags, tag{0xA001, 3, 65535}, tag{tagInteropDir, 4, &dir{[]tag{{1, 2, "R03"}}}})
		})), "adobe_rgb"},
		{"Adobe RGB by the colour space", withSegments(jpg, exif(func(_, sub *dir) { sub.tags = append(sub.tags, tag{0xA001, 3, 2}) })), "adobe_rgb"},
		{"a reduced copy", withSegments(jpg, exif(func(_, sub *dir) {
			sub.tags = append(sub.tags, tag{0xA002, 4, 6000}, tag{0xA003, 4, 4000})
		})), "reduced"},
		{"no reduced copy but turned", withSegments(jpg, exif(func(_, sub *dir) {
			sub.tags = append(sub.tags, tag{0xA002, 4, 48}, tag{0xA003, 4, 64})
		})), ""},
		{"changed after it was taken", withSegments(jpg, exif(func(main, _ *dir) {
			main.tags = append(main.tags, tag{0x0132, 2, "2026:06:13 11:20:30"}, tag{0x9010, 2, "+02:00"})
		})), "edited"},
		{"an editor's resources", withSegments(jpg, exif(same), segment(0xED, "Photoshop 3.0\x008BIM\x03\xED\x00\x00\x00\x00\x00\x02ab")), "edited"},
		{"an editor's resources after a caption", withSegments(jpg, exif(same), segment(0xED, "Photoshop 3.0\x008BIM\x04\x04\x03abc\x00\x00\x00\x03capx8BIM\x04\x0C\x00\x00\x00\x00\x00\x00")), "edited"},
		{"a caption", withSegments(jpg, exif(same), segment(0xED, "Photoshop 3.0\x008BIM\x04\x04\x00\x00\x00\x00\x00\x05rowerx8BIM\x04\x25\x00\x00\x00\x00\x00\x02ab")), ""},
		{"an editor's history", withSegments(jpg, exif(same), segment(0xE1, "http://ns.adobe.com/xap/1.0/\x00<xmpMM:History>")), "edited"},
		{"without the camera's notes, and a JFIF header", withSegments(jpg, segment(0xE0, "JFIF\x00\x01\x02\x00\x00\x01\x00\x01\x00\x00"), exif(dropNotes)), "edited"},
		{"without the camera's notes and thumbnail", withSegments(jpg, exif(dropNotes)), "edited"},
		{"without notes, but as cameras write", withSegments(jpg, segment(0xE1, "Exif\x00\x00", string(func() []byte {
			d := exifDirs(1)
			dropNotes(d, d.tags[3].value.(*dir))
			return buildTIFF(binary.LittleEndian, 42, d, &dir{[]tag{{0x0103, 3, 6}}})
		}()))), ""},
		{"nothing recorded", jpg, "no_exif edited"},
		{"greyscale", withSegments(grey.Bytes(), exif(same)), "greyscale"},
	} {
		p, err := Read("frame.jpg", c.data)
		if err != nil {
			t.Errorf("%s: %v", c.what, err)
			continue
		}
		var got []string
		for _, l := range p.Labels {
			got = append(got, l.Code)
			if len(l.Text) < 20 || strings.Contains(l.Text, "%!") {
				t.Errorf("%s: label %s reads %q", c.what, l.Code, l.Text)
			}
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s: labels %v, want %q", c.what, p.Labels, c.want)
		}
	}
}

// head is a JPEG that ends after its frame header and a first scan header.
func head(frame byte, precision byte, w, h uint16, components int) []byte {
	body := []byte{precision, byte(h >> 8), byte(h), byte(w >> 8), byte(w), byte(components)}
	for i := range components {
		body = append(body, byte(i+1), 0x11, 0)
	}
	return append(withSegments([]byte{0xFF, 0xD8}, segment(frame, string(body)), segment(0xDA, "\x01\x01\x00\x00\x3f\x00")), 0xFF, 0xD9)
}

func TestWhatCannotBeReadIsRefusedWithASentence(t *testing.T) {
	for _, c := range []struct {
		what string
		name string
		data []byte
		kind error
		says string
	}{
		{"CMYK", "a.jpg", head(0xC0, 8, 16, 16, 4), ErrUnsupported, "export it in RGB"},
		{"lossless JPEG", "a.jpg", head(0xC3, 8, 16, 16, 3), ErrUnsupported, "ordinary JPEG"},
		{"arithmetic coding", "a.jpg", head(0xC9, 8, 16, 16, 3), ErrUnsupported, "ordinary JPEG"},
		{"twelve bits", "a.jpg", head(0xC1, 12, 16, 16, 3), ErrUnsupported, "8 bits"},
		{"no height", "a.jpg", head(0xC0, 8, 16, 0, 3), ErrDamaged, "copy the file"},
		{"two channels", "a.jpg", head(0xC0, 8, 16, 16, 2), ErrDamaged, "copy the file"},
		{"a huge size", "a.jpg", head(0xC0, 8, 65535, 65535, 3), ErrUnsupported, "smaller"},
		{"a large size and no data", "a.jpg", head(0xC0, 8, 19000, 19000, 3), ErrDamaged, "has only"},
		{"a large progressive one", "a.jpg", head(0xC2, 8, 19000, 19000, 3), ErrUnsupported, "smaller"},
		{"HEIC", "a.heic", []byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"), ErrUnsupported, "set the camera to JPEG"},
		{"PNG", "a.png", []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR, and so on and on"), ErrUnsupported, "camera's JPEG"},
		{"an old raw file", "a.crw", []byte("II\x1a\x00\x00\x00HEAPCCDR and so on and on"), ErrUnsupported, "set the camera to JPEG"},
		{"text", "a.txt", []byte("boat list of the morning, crews and oars"), ErrUnsupported, "no picture file"},
		{"a line of text", "a.jpg", []byte("boathouse\n"), ErrUnsupported, "no picture file"},
		{"one letter", "a.jpg", []byte("b"), ErrUnsupported, "no picture file"},
		{"text behind zeros", "a.jpg", []byte("\x00\x00\x00\x00boathouse\n"), ErrUnsupported, "no picture file"},
		{"nothing", "a.jpg", nil, ErrUnfinished, "still being written"},
		{"zeros", "a.jpg", make([]byte, 5000), ErrUnfinished, "still being written"},
		{"a start and zeros", "a.jpg", append([]byte{0xFF, 0xD8}, make([]byte, 5000)...), ErrUnfinished, "still being written"},
		{"half a JPEG", "a.jpg", encodeJPEG(t, scenery(300, 200), 90)[:4000], ErrUnfinished, "still being written"},
	} {
		p, err := Read(c.name, c.data)
		if p != nil || !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.says) || !strings.HasPrefix(err.Error(), c.name+": ") {
			t.Errorf("%s: %v, want an error of the kind %q that says %q", c.what, err, c.kind, c.says)
		}
		var told *FileError
		if errors.As(err, &told) && (told.Foreign() != (c.kind == ErrUnsupported) || told.Sentence() == "" || strings.Contains(told.Sentence(), c.name)) {
			t.Errorf("%s: foreign %v, sentence %q, want it without the name", c.what, told.Foreign(), told.Sentence())
		}
	}
}

// A file of a few bytes can't make the reader reserve memory for what it declares.
func TestHostileSizesReserveNothing(t *testing.T) {
	bomb := &dir{[]tag{{tagImageWidth, 4, 12000}, {tagImageLength, 4, 12000}, {tagBitsPerSample, 3, []int{16, 16, 16}}, {tagCompression, 3, 1},
		{tagPhotometric, 3, 2}, {tagStripOffsets, 4, 8}, {tagSamples, 3, 3}, {tagStripLengths, 4, 8}}}
	for name, data := range map[string][]byte{
		"a.jpg": head(0xC0, 8, 65535, 65535, 3), "b.jpg": head(0xC0, 8, 19000, 19000, 3), "c.jpg": head(0xC2, 8, 9000, 9000, 3),
		"d.tif": buildTIFF(binary.LittleEndian, 42, bomb),
		"e.jpg": withSegments(head(0xC0, 8, 16, 0, 3), segment(0xE1, "Exif\x00\x00", string(hostileExif()["counts that overflow"]))),
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := Read(name, data)
		runtime.ReadMemStats(&after)
		if used := after.TotalAlloc - before.TotalAlloc; err == nil || used > 8<<20 {
			t.Errorf("%s, %d bytes: reserved %d bytes and returned %v; want an error and next to nothing", name, len(data), used, err)
		}
	}
}

func TestTIFFExportsOfEightAndSixteenBits(t *testing.T) {
	small := scenery(90, 70)
	large := image.NewRGBA64(small.Rect)
	for y := range 70 {
		for x := range 90 {
			large.Set(x, y, small.At(x, y))
		}
	}
	want := bruteSurvey(small, 1)
	for _, c := range []struct {
		what string
		img  image.Image
		opt  *tiff.Options
	}{
		{"8 bits", small, nil}, {"16 bits", large, nil},
		{"8 bits, deflated", small, &tiff.Options{Compression: tiff.Deflate, Predictor: true}},
		{"16 bits, deflated", large, &tiff.Options{Compression: tiff.Deflate}},
	} {
		var buf bytes.Buffer
		if err := tiff.Encode(&buf, c.img, c.opt); err != nil {
			t.Fatal(err)
		}
		p, err := Read("export.tif", buf.Bytes())
		if err != nil {
			t.Errorf("%s: %v", c.what, err)
			continue
		}
		if !reflect.DeepEqual(p.Survey, want) || !p.Labelled(LabelExport) {
			t.Errorf("%s: survey differs from the slow twin's, or the export isn't labelled: %v", c.what, p.Labels)
		}
		for cut := 0; cut < buf.Len(); cut += 501 {
			if err := Whole("export.tif", bytes.NewReader(buf.Bytes()[:cut]), int64(cut)); !isUnfinished(err) {
				t.Errorf("%s: the first %d bytes of %d: %v, want unfinished", c.what, cut, buf.Len(), err)
			}
		}
		if err := Whole("export.tif", bytes.NewReader(buf.Bytes()), int64(buf.Len())); err != nil {
			t.Error(err)
		}
	}
}

// Its pixels are means of what they cover, and it stands upright.
func TestThumbnailsAreUprightMeans(t *testing.T) {
	const w, h = 640, 400
	for o := 1; o <= 8; o++ {
		data := cameraJPEG(t, w, h, o)
		p, err := Read("frame.jpg", data)
		if err != nil {
			t.Fatal(err)
		}
		thumb, err := p.Thumbnail(80)
		if err != nil {
			t.Fatal(err)
		}
		small, err := jpeg.Decode(bytes.NewReader(thumb))
		if err != nil {
			t.Fatal(err)
		}
		uw, uh := layoutOf(o).size(80, 50)
		if small.Bounds().Size() != (image.Point{uw, uh}) {
			t.Fatalf("orientation %d: the thumbnail is %v, want %d x %d", o, small.Bounds().Size(), uw, uh)
		}
		// At an eighth of the size each of its pixels is a block of the survey.
		var worst, sum float64
		for y := range uh {
			for x := range uw {
				r, g, b, _ := small.At(x, y).RGBA()
				block := p.Survey.BlockAt(x, y)
				for ch, v := range [3]uint32{r, g, b} {
					d := math.Abs(float64(v)/257 - float64(block[ch])/256)
					worst, sum = max(worst, d), sum+d
				}
			}
		}
		// JPEG at quality 85 moves single pixels; a misplaced picture is off by dozens.
		if mean := sum / float64(3*uw*uh); mean > 3 || worst > 40 {
			t.Errorf("orientation %d: thumbnail and blocks differ by %.1f on average and %.0f at most", o, mean, worst)
		}
		p.Release()
		if _, err := p.Thumbnail(80); !errors.Is(err, ErrReleased) {
			t.Errorf("a thumbnail after Release: %v, want ErrReleased", err)
		}
	}
}

// shrink against sums over whole samples, on sizes that divide and those that don't.
func TestShrinkKeepsTheMean(t *testing.T) {
	for _, c := range []struct{ w, h, tw, th int }{{64, 64, 8, 8}, {101, 67, 13, 9}, {10, 10, 10, 10}, {3, 5, 6, 10}, {3, 5, 6, 5}, {3, 5, 3, 10}, {5, 5, 15, 10}, {1, 1, 1, 1}, {50, 3, 7, 1}} {
		pix := make([]uint8, c.w*c.h)
		total := 0.0
		for i := range pix {
			pix[i] = uint8(i * 37)
			total += float64(pix[i])
		}
		got := 0.0
		out := shrink(plane{pix, c.w, 1, c.w, c.h, 0, 0}, c.tw, c.th, func() {})
		for _, v := range out {
			got += float64(v)
		}
		if d := math.Abs(got/float64(len(out)) - total/float64(len(pix))); d > 1 {
			t.Errorf("%d x %d to %d x %d: the mean moved by %.2f", c.w, c.h, c.tw, c.th, d)
		}
		if c.w == c.tw && c.h == c.th && !reflect.DeepEqual(out, pix) {
			t.Errorf("%d x %d to its own size isn't the same", c.w, c.h)
		}
	}
	if got, want := shrink(plane{[]uint8{1, 2, 9, 3, 4, 9}, 3, 1, 2, 2, 0, 0}, 4, 4, func() {}), []uint8{1, 1, 2, 2, 1, 1, 2, 2, 3, 3, 4, 4, 3, 3, 4, 4}; !reflect.DeepEqual(got, want) {
		t.Errorf("twice as large: %v, want %v", got, want)
	}
	flat := shrink(plane{bytes.Repeat([]byte{200}, 77*31), 77, 1, 77, 31, 0, 0}, 20, 9, func() {})
	if !reflect.DeepEqual(flat, bytes.Repeat([]byte{200}, 20*9)) {
		t.Errorf("a flat plane didn't stay flat: %v", flat[:20])
	}
}

func TestThumbnailsOfEveryKindOfImage(t *testing.T) {
	grey16 := image.NewGray16(image.Rect(0, 0, 33, 21))
	for i := range grey16.Pix {
		grey16.Pix[i] = 100
	}
	for _, img := range []image.Image{grey16, image.NewNRGBA(image.Rect(0, 0, 33, 21)), image.NewRGBA64(image.Rect(0, 0, 33, 21)),
		image.NewGray(image.Rect(0, 0, 33, 21)), image.NewPaletted(image.Rect(0, 0, 33, 21), color.Palette{color.Gray{100}})} {
		p := &Picture{decode: decoded(img), Orientation: 6}
		data, err := p.Thumbnail(11)
		if err != nil {
			t.Fatal(err)
		}
		small, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil || small.Bounds().Size() != (image.Point{7, 11}) {
			t.Errorf("thumbnail of a %T: %v, %v; want 7 x 11", img, small.Bounds(), err)
		}
	}
	for _, ratio := range ratios {
		img := image.NewYCbCr(image.Rect(0, 0, 35, 27), ratio)
		for i := range img.Cb {
			img.Cb[i], img.Cr[i] = 90, 170
		}
		for i := range img.Y {
			img.Y[i] = 120
		}
		p := &Picture{decode: decoded(img), Orientation: 1}
		data, err := p.Thumbnail(9)
		if err != nil {
			t.Fatal(err)
		}
		small, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		c := small.(*image.YCbCr).YCbCrAt(8, 6)
		if math.Abs(float64(c.Y)-120) > 2 || math.Abs(float64(c.Cb)-90) > 2 || math.Abs(float64(c.Cr)-170) > 2 {
			t.Errorf("%v: the corner of a flat picture's thumbnail is %v, want 120 90 170", ratio, c)
		}
	}
}
