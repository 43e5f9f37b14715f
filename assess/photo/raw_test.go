package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image/jpeg"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"thirdstop/testdata"
)

// lossless is the head of a JPEG that holds sensor data (frame marker C3), which
// no preview reader may take for a preview.
func lossless() []byte {
	return append(withSegments([]byte{0xFF, 0xD8}, segment(0xC3, "\x0e\x0f\xa0\x17\x70\x02\x00\x11\x00\x01\x11\x00"),
		segment(0xDA, "\x02\x00\x00\x01\x00\x01\x00\x00")), bytes.Repeat([]byte{0x5A}, 40000)...)
}

// rawFiles builds one file per format, with the preview where that format's
// cameras put it, a thumbnail and stand-in sensor data.
func rawFiles(t testing.TB, preview, thumb []byte) map[string][]byte {
	t.Helper()
	le, be := binary.LittleEndian, binary.BigEndian
	sensor := lossless()
	strip := func(kind int, w, h int, data []byte) []tag {
		return []tag{{tagSubfileType, 4, kind}, {tagImageWidth, 4, w}, {tagImageLength, 4, h}, {tagCompression, 3, 7},
			{tagPhotometric, 3, 32803}, {tagStripOffsets, 4, blob(data)}, {tagStripLengths, 4, len(data)}}
	}
	pair := func(data []byte) []tag {
		return []tag{{tagCompression, 3, 6}, {tagJPEGOffset, 4, blob(data)}, {tagJPEGLength, 4, len(data)}}
	}
	sorted := func(d *dir) *dir {
		slices.SortFunc(d.tags, func(a, b tag) int { return int(a.id) - int(b.id) })
		return d
	}
	files := map[string][]byte{}
	// A second picture that could be measured stands before the largest.
	second := thumb
	if head, err := readJPEGHead(preview); err == nil && head.width > 700 {
		second = encodeJPEG(t, scenery(656, 496), 60)
	}
	files["a.nef"] = buildTIFF(be, 42, sorted(exifDirs(6, tag{tagSubDirs, 4, []*dir{{pair(preview)}, {strip(0, 6000, 4000, sensor)}}})))
	files["a.arw"] = buildTIFF(le, 42, sorted(exifDirs(6, pair(preview)...)), &dir{pair(thumb)})
	files["a.pef"] = buildTIFF(be, 42, sorted(exifDirs(6, strip(0, 6000, 4000, sensor)...)), &dir{pair(thumb)}, &dir{pair(preview)})
	files["a.dng"] = buildTIFF(le, 42, sorted(exifDirs(6, tag{tagDNGVersion, 1, []byte{1, 4, 0, 0}},
		tag{tagSubDirs, 4, []*dir{{strip(0, 6000, 4000, sensor)}, {strip(1, 656, 496, second)}, {strip(1, 800, 608, preview)}}})))
	cr2 := buildTIFF(le, 42, sorted(exifDirs(6, tag{tagCompression, 3, 6}, tag{tagStripOffsets, 4, blob(preview)}, tag{tagStripLengths, 4, len(preview)})),
		&dir{pair(thumb)}, &dir{strip(0, 6000, 4000, sensor)})
	files["a.cr2"] = cr2

	files["a.rw2"] = buildTIFF(le, 0x55, sorted(exifDirs(6, tag{tagJpgFromRaw, 7, preview}, tag{0x118, 4, blob(sensor)})))

	// The maker note's offsets count from its own start, which has to be known first.
	settings := &builder{order: le, buf: append([]byte("OLYMPUS\x00II\x03\x00"), make([]byte, 18)...)}
	at := len(settings.buf)
	settings.put(le.AppendUint16(nil, 3))
	for _, v := range [][3]uint32{{0x0100, 4, 1}, {0x0101, 4, 64 + 64}, {0x0102, 4, uint32(len(preview))}} {
		settings.buf = le.AppendUint32(le.AppendUint32(le.AppendUint16(le.AppendUint16(settings.buf, uint16(v[0])), uint16(v[1])), 1), v[2])
	}
	settings.buf = le.AppendUint32(settings.buf, 0)
	top := le.AppendUint16(nil, 1)
	top = le.AppendUint32(le.AppendUint32(le.AppendUint16(le.AppendUint16(top, 0x2020), 13), 1), uint32(at))
	copy(settings.buf[12:], le.AppendUint32(top, 0))
	note := append(settings.buf, make([]byte, 64+64-len(settings.buf))...)
	note = append(note, preview...)
	orf := exifDirs(6)
	orf.tags[0].value = "OLYMPUS CORPORATION" // ExifTool looks at it to know the notes
	sub := orf.tags[3].value.(*dir)
	for i := range sub.tags {
		if sub.tags[i].id == tagMakerNote {
			sub.tags[i].value = note
		}
	}
	files["a.orf"] = buildTIFF(le, 0x4F52, orf)

	raf := append([]byte("FUJIFILMCCD-RAW 0201FF000000X-1     "), make([]byte, 148-36)...)
	own := withSegments(preview, segment(0xE1, "Exif\x00\x00", string(buildTIFF(le, 42, exifDirs(6)))))
	copy(raf[84:], be.AppendUint32(be.AppendUint32(nil, uint32(len(raf))), uint32(len(own))))
	copy(raf[100:], be.AppendUint32(be.AppendUint32(nil, uint32(len(raf)+len(own))), uint32(len(sensor))))
	files["a.raf"] = slices.Concat(raf, own, sensor)

	main, sub2 := exifDirs(6), exifDirs(6).tags[3].value.(*dir)
	main.tags = main.tags[:3]
	cmt1, cmt2 := buildTIFF(le, 42, main), buildTIFF(le, 42, sub2)
	u32 := func(v ...uint32) (out []byte) {
		for _, v := range v {
			out = be.AppendUint32(out, v)
		}
		return out
	}
	cr3 := func(offset uint32) (head, rest []byte) {
		track := bmffBox("trak", bmffBox("mdia", bmffBox("minf", bmffBox("stbl",
			bmffBox("stsz", u32(0, 0, 1, uint32(len(preview)))), bmffBox("co64", u32(0, 1, 0, offset))))))
		head = slices.Concat(bmffBox("ftyp", []byte("crx \x00\x00\x00\x01crx isom")),
			bmffBox("moov", bmffBox("uuid", []byte(cr3Metadata), bmffBox("CMT1", cmt1), bmffBox("CMT2", cmt2)), track))
		prvw := bmffBox("PRVW", u32(0, 0x00010000|160, 120<<16|1, uint32(len(thumb))), thumb)
		rest = bmffBox("uuid", []byte(cr3Preview), u32(0, 1), prvw)
		return head, rest
	}
	head, rest := cr3(0)
	head, rest = cr3(uint32(len(head) + len(rest) + 8))
	files["a.cr3"] = slices.Concat(head, rest, bmffBox("mdat", preview, sensor))
	return files
}

// Every raw format is measured by its largest embedded JPEG, in the raw file's
// orientation. The files are built here after the formats' descriptions
// (TIFF 6.0; DNG 1.7; ISO/IEC 14496-12); the real files at hand hold previews too small to measure, but one.
func TestRawFilesAreReadThroughTheirLargestPreview(t *testing.T) {
	preview, thumb := encodeJPEG(t, scenery(800, 608), 90), encodeJPEG(t, scenery(160, 120), 90)
	files := rawFiles(t, preview, thumb)
	img, err := jpeg.Decode(bytes.NewReader(preview))
	if err != nil {
		t.Fatal(err)
	}
	want := surveyImage(img, 6)
	for name, data := range files {
		p, err := Read(name, data)
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		if !reflect.DeepEqual(p.Survey, want) {
			t.Errorf("%s: the survey of %d x %d differs from that of its preview, turned", name, p.Survey.Width, p.Survey.Height)
		}
		if p.Source != SourcePreview || !p.Labelled(LabelPreview) || p.Labelled(LabelEdited) || p.Orientation != 6 {
			t.Errorf("%s: source %v, orientation %d, labels %v; want a preview, 6, and it said so", name, p.Source, p.Orientation, p.Labels)
		}
		if name == "a.orf" {
			p.Exif.Make = "Boathouse Optical"
		}
		checkExif(t, p.Exif, 6)
		e, err := ReadExif(name, bytes.NewReader(data), int64(len(data)))
		if err != nil {
			t.Error(err)
		}
		if name == "a.orf" {
			e.Make = "Boathouse Optical"
		}
		checkExif(t, e, 6)
		if err := Whole(name, bytes.NewReader(data), int64(len(data))); err != nil {
			t.Errorf("Whole: %v", err)
		}
	}
}

// ExifTool finds the same bytes in the same files.
func TestPreviewsAreThoseExifToolExtracts(t *testing.T) {
	tool := testdata.Tool(t, "exiftool")
	preview, thumb := encodeJPEG(t, scenery(800, 608), 90), encodeJPEG(t, scenery(160, 120), 90)
	names := map[string]string{"a.nef": "-JpgFromRaw", "a.arw": "-PreviewImage", "a.dng": "-PreviewImage -JpgFromRaw", "a.cr2": "-PreviewImage",
		"a.orf": "-PreviewImage", "a.raf": "-PreviewImage", "a.rw2": "-JpgFromRaw", "a.pef": "-JpgFromRaw", "a.cr3": "-PreviewImage"}
	for name, data := range rawFiles(t, preview, thumb) {
		file := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
		want := preview
		if name == "a.cr3" {
			want = thumb // the box PRVW; ExifTool asks more of a track than is built here
		}
		got, err := exec.Command(tool, append(strings.Fields(names[name]), "-a", "-b", file)...).Output()
		if err != nil || !bytes.Contains(got, want[2:]) {
			t.Errorf("%s: ExifTool extracts %d bytes with %s (%v), want the preview of %d", name, len(got), names[name], err, len(preview))
		}
	}
}

// The offsets that ExifTool reports for real raw files, cut down as they are, are
// among those found here.
func TestPreviewPlacesOfRealRawFilesEqualExifTools(t *testing.T) {
	tool := testdata.Tool(t, "exiftool")
	checked := 0
	for _, f := range []string{"exiftool-t-images/CanonRaw.cr2", "exiftool-t-images/Nikon.nef", "exiftool-t-images/DNG.dng", "exiv2/IMG_1361.dng"} {
		f = testdata.Photos(t, filepath.FromSlash(f))
		out, err := exec.Command(tool, "-n", "-s3", "-SubIFD*:JpgFromRawStart", "-SubIFD*:JpgFromRawLength",
			"-IFD0:PreviewImageStart", "-IFD0:PreviewImageLength", "-SubIFD1:PreviewImageStart", "-SubIFD1:PreviewImageLength",
			"-SubIFD2:JpgFromRawStart", "-SubIFD2:JpgFromRawLength", "-SubIFD:JpgFromRawStart", "-SubIFD:JpgFromRawLength", f).Output()
		if err != nil {
			t.Fatal(err)
		}
		data := mustRead(t, f)
		contents, _ := walkRawTIFF(bytes.NewReader(data), int64(len(data)))
		numbers := strings.Fields(string(out))
		for i := 0; i+1 < len(numbers); i += 2 {
			var p place
			p.off, p.length = atoi(numbers[i]), atoi(numbers[i+1])
			checked++
			if !slices.Contains(contents.previews, p) {
				t.Errorf("%s: ExifTool finds a preview at %d of %d bytes, here they are %v", short(f), p.off, p.length, contents.previews)
			}
		}
	}
	if checked < 4 {
		t.Errorf("only %d previews to compare", checked)
	}
}

func atoi(s string) (n int64) {
	for _, c := range s {
		n = 10*n + int64(c-'0')
	}
	return n
}

func TestARealCR3IsMeasuredByItsPreview(t *testing.T) {
	f := testdata.Photos(t, "exiv2", "Canon-R6-pruned.CR3")
	p, err := Read(f, mustRead(t, f))
	if err != nil {
		t.Fatal(err)
	}
	// Sizes and values as ExifTool reports them: PreviewImage 1620 x 1080, 1/4 s, f/25, ISO 100.
	if p.Survey.Width != 1620 || p.Survey.Height != 1080 || p.Exif.ExposureTime != 0.25 || p.Exif.FNumber != 25 || p.Exif.ISO != 100 || p.Source != SourcePreview {
		t.Errorf("read %d x %d from the %v, %+v", p.Survey.Width, p.Survey.Height, p.Source, p.Exif)
	}
}

func TestARawFileWithoutAUsablePreviewIsRefused(t *testing.T) {
	thumb := encodeJPEG(t, scenery(160, 120), 90)
	for name, data := range rawFiles(t, thumb, thumb) {
		_, err := Read(name, data)
		if !errors.Is(err, ErrUnsupported) || !strings.Contains(err.Error(), "raw and JPEG") {
			t.Errorf("%s with a thumbnail alone: %v, want a refusal that says what to do", name, err)
		}
	}
}

// A raw file that ends anywhere before its last byte is unfinished, and so is one
// whose second half is reserved and not written.
func TestHalfARawFileIsUnfinished(t *testing.T) {
	preview, thumb := encodeJPEG(t, scenery(800, 608), 90), encodeJPEG(t, scenery(160, 120), 90)
	for name, data := range rawFiles(t, preview, thumb) {
		for cut := 0; cut < len(data); cut += 1 + len(data)/97 {
			err := Whole(name, bytes.NewReader(data[:cut]), int64(cut))
			if !isUnfinished(err) {
				t.Errorf("%s: the first %d bytes of %d: %v, want unfinished", name, cut, len(data), err)
			}
			if len(data)-cut < tailRaw+8 {
				continue
			}
			reserved := append(slices.Clone(data[:cut]), make([]byte, len(data)-cut)...)
			if err := Whole(name, bytes.NewReader(reserved), int64(len(reserved))); !isUnfinished(err) {
				t.Errorf("%s: %d bytes and then zeros up to %d: %v, want unfinished", name, cut, len(data), err)
			}
		}
	}
}

// Where the directory comes first, only the zeros tell that the picture data that
// it names, at the end of a file of full size, haven't been written.
func TestAReservedEndOfPictureDataIsUnfinished(t *testing.T) {
	for _, c := range []struct {
		name        string
		compression int
		tail        int
	}{{"a.dng", 1, tailRaw}, {"a.dng", 7, tailRaw}, {"a.tif", 5, tailCompressed}, {"a.tif", 1, 50000}} {
		build := func(offset int) []byte {
			return buildTIFF(binary.BigEndian, 42, &dir{[]tag{{tagImageWidth, 4, 250}, {tagImageLength, 4, 200}, {tagBitsPerSample, 3, 8},
				{tagCompression, 3, c.compression}, {tagPhotometric, 3, 1}, {tagStripOffsets, 4, []int{offset, offset + 30000}},
				{tagStripLengths, 4, []int{30000, 20000}}}})
		}
		head := build(0)
		head = build(len(head))
		data := append(head, bytes.Repeat([]byte{0x5A}, 50000)...)
		if err := Whole(c.name, bytes.NewReader(data), int64(len(data))); err != nil {
			t.Errorf("%s, compression %d: %v, want whole", c.name, c.compression, err)
		}
		clear(data[len(data)-c.tail+1:])
		if err := Whole(c.name, bytes.NewReader(data), int64(len(data))); err != nil {
			t.Errorf("%s, compression %d, %d zeros at the end: %v, want whole", c.name, c.compression, c.tail-1, err)
		}
		clear(data[len(data)-c.tail:])
		if err := Whole(c.name, bytes.NewReader(data), int64(len(data))); !isUnfinished(err) {
			t.Errorf("%s, compression %d, %d zeros at the end: %v, want unfinished", c.name, c.compression, c.tail, err)
		}
	}
}

func isUnfinished(err error) bool {
	var e interface{ Unfinished() bool }
	return errors.As(err, &e) && e.Unfinished() && errors.Is(err, ErrUnfinished)
}
