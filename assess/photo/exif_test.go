package photo

import (
	"bytes"
	"encoding/binary"
	"testing"
	"time"
)

// hostileExif are blocks that make an unguarded reader loop, panic or reserve gigabytes.
func hostileExif() map[string][]byte {
	le := binary.LittleEndian
	// Two directories of one entry each that name each other as the next: 52 bytes
	// that keep the Exif library busy until memory is gone.
	loop := []byte("II*\x00\x08\x00\x00\x00")
	for _, next := range []uint32{26, 8} {
		loop = append(le.AppendUint16(loop, 1), "\x12\x01\x03\x00\x01\x00\x00\x00\x01\x00\x00\x00"...)
		loop = le.AppendUint32(loop, next)
	}
	loop = append(loop, make([]byte, 52-len(loop))...)
	self := bytes.Clone(loop)
	le.PutUint32(self[22:], 8)
	return map[string][]byte{
		"directories in a circle":  loop,
		"a directory after itself": self,
		"counts that overflow": buildTIFF(le, 42, exifDirs(1, tag{0x0111, 3, raw{0x80000001, 8}}, tag{0x013E, 5, raw{0x20000001, 8}},
			tag{0x0301, 12, raw{0xFFFFFFFF, 8}}, tag{0x0302, 2, raw{0xFFFFFFFF, 0xFFFFFFFF}})),
		"a count of none":           buildTIFF(le, 42, exifDirs(1, tag{0x0131, 2, raw{0, 0}}, tag{0x0132, 3, raw{0, 0}})),
		"types that are none":       buildTIFF(le, 42, exifDirs(1, tag{0x0131, 0, raw{1, 0}}, tag{0x0132, 99, raw{5, 0}}, tag{0x0133, 0xFFFF, raw{5, 0}})),
		"a type of Exif 3.0":        buildTIFF(binary.BigEndian, 42, exifDirs(1, tag{0x0131, 129, []byte("firmware 1.0\x00")})),
		"a pointer type":            buildTIFF(le, 42, exifDirs(1, tag{0x0301, 13, raw{1, 8}})),
		"a value past the end":      buildTIFF(le, 42, exifDirs(1, tag{0x0131, 2, raw{400, 1 << 30}})),
		"a large value":             buildTIFF(le, 42, exifDirs(1, tag{0x0131, 1, bytes.Repeat([]byte{1}, 200_000)})),
		"a tag twice":               buildTIFF(le, 42, exifDirs(1, tag{0x010F, 2, "Another Maker"})),
		"an Exif pointer to itself": buildTIFF(le, 42, &dir{[]tag{{tagExifDir, 4, raw{1, 8}}}}),
		"a thumbnail that is none":  buildTIFF(le, 42, exifDirs(1), &dir{[]tag{{tagJPEGOffset, 4, 1 << 30}, {tagJPEGLength, 4, 1 << 30}}}),
		"nothing":                   []byte("II*\x00\x00\x00\x00\x00"),
	}
}

func TestHostileExifNeverReachesTheLibrary(t *testing.T) {
	for what, block := range hostileExif() {
		done := make(chan Exif)
		go func() {
			e, _ := exifOf(bytesBlock(block))
			done <- e
		}()
		select {
		case e := <-done:
			switch what {
			case "nothing", "directories in a circle", "a directory after itself", "an Exif pointer to itself":
			default:
				// The sound entries beside a bad one are still read.
				if e.ExposureTime != 1.0/160 || e.Make != "Boathouse Optical" || e.ISO != 100 {
					t.Errorf("%s: the sound entries read as %+v", what, e)
				}
			}
			if what == "a type of Exif 3.0" && e.Software != "firmware 1.0" {
				t.Errorf("a UTF-8 text of Exif 3.0 reads as %q", e.Software)
			}
		case <-time.After(10 * time.Second):
			t.Fatalf("%s: still reading after 10 seconds", what)
		}
	}
}

// Both byte orders give the same clean block, byte for byte.
func TestTheCleanBlockHasOneByteOrder(t *testing.T) {
	a, _, _ := cleanExif(bytesBlock(buildTIFF(binary.LittleEndian, 42, exifDirs(5))))
	b, _, _ := cleanExif(bytesBlock(buildTIFF(binary.BigEndian, 42, exifDirs(5))))
	if len(a) == 0 || !bytes.Equal(a, b) {
		t.Errorf("clean blocks of %d and %d bytes differ", len(a), len(b))
	}
	// Cleaning a clean block changes nothing: what is written is read back.
	c, _, _ := cleanExif(bytesBlock(a))
	if !bytes.Equal(a, c) {
		t.Error("cleaning twice isn't cleaning once")
	}
}

func TestSingleValues(t *testing.T) {
	for _, c := range []struct {
		what string
		sub  []tag
		ok   func(Exif) bool
	}{
		{"ISO over 65535 stands in the recommended exposure index (Exif 2.32, annex G)",
			[]tag{{0x8827, 3, 65535}, {0x8830, 3, 2}, {0x8832, 4, 102400}}, func(e Exif) bool { return e.ISO == 102400 }},
		{"or in the ISO speed", []tag{{0x8827, 3, 65535}, {0x8833, 4, 204800}}, func(e Exif) bool { return e.ISO == 204800 }},
		{"a full ISO without either is not known", []tag{{0x8827, 3, 65535}}, func(e Exif) bool { return e.ISO == 0 }},
		{"ISO written as two numbers", []tag{{0x8827, 3, []int{100, 0}}}, func(e Exif) bool { return e.ISO == 100 }},
		{"ISO as a long", []tag{{0x8827, 4, 400}}, func(e Exif) bool { return e.ISO == 400 }},
		{"a time over nothing", []tag{{0x829A, 5, rational{1, 0}}}, func(e Exif) bool { return e.ExposureTime == 0 }},
		{"a time of nothing", []tag{{0x829A, 5, rational{0, 1}}}, func(e Exif) bool { return e.ExposureTime == 0 }},
		{"a time as text", []tag{{0x829A, 2, "1/160"}}, func(e Exif) bool { return e.ExposureTime == 0 }},
		{"no flash tag", nil, func(e Exif) bool { return !e.HasFlash && !e.HasProgram && !e.HasWhiteBalance && !e.HasExposureMode }},
		{"flash did not fire", []tag{{0x9209, 3, 0}}, func(e Exif) bool { return e.HasFlash && e.Flash == 0 }},
		{"no date", nil, func(e Exif) bool { return e.Taken.IsZero() && e.TakenText == "" }},
		{"a blank date", []tag{{0x9003, 2, "    :  :     :  :  "}}, func(e Exif) bool { return e.Taken.IsZero() }},
		{"a date of zeros", []tag{{0x9003, 2, "0000:00:00 00:00:00"}}, func(e Exif) bool { return e.Taken.IsZero() }},
		{"the date of digitizing where there is no other", []tag{{0x9004, 2, "2026:01:02 03:04:05"}, {0x9292, 2, "9"}},
			func(e Exif) bool {
				return e.TakenText == "2026-01-02T03:04:05.9" && !e.HasOffset && e.Taken.Nanosecond() == 9e8
			}},
		{"a date in UTC", []tag{{0x9003, 2, "2026:01:02 03:04:05"}, {0x9011, 2, "+00:00"}},
			func(e Exif) bool { return e.TakenText == "2026-01-02T03:04:05Z" && e.HasOffset }},
		{"a date west of it", []tag{{0x9003, 2, "2026:01:02 03:04:05"}, {0x9011, 2, "-03:30"}},
			func(e Exif) bool { return e.TakenText == "2026-01-02T03:04:05-03:30" && e.Taken.UTC().Hour() == 6 }},
		{"a blank offset", []tag{{0x9003, 2, "2026:01:02 03:04:05"}, {0x9011, 2, "   :  "}},
			func(e Exif) bool { return e.TakenText == "2026-01-02T03:04:05" && !e.HasOffset }},
		{"sub-seconds that are none", []tag{{0x9003, 2, "2026:01:02 03:04:05"}, {0x9291, 2, "-1"}},
			func(e Exif) bool { return e.TakenText == "2026-01-02T03:04:05" }},
	} {
		e, _ := exifOf(bytesBlock(buildTIFF(binary.BigEndian, 42, &dir{[]tag{{tagExifDir, 4, &dir{append(c.sub, tag{0x9000, 7, []byte("0232")})}}}})))
		if !c.ok(e) {
			t.Errorf("%s: read as %+v", c.what, e)
		}
	}
	for _, c := range []struct {
		what string
		sub  []tag
		own  bool
	}{
		{"put together of several pictures (Exif 2.32, CompositeImage 2)", []tag{{0xA460, 3, 2}}, true},
		{"and while shooting (3)", []tag{{0xA460, 3, 3}}, true},
		{"not put together (1)", []tag{{0xA460, 3, 1}}, false},
		{"custom process (CustomRendered 1), as cameras write for their picture styles", []tag{{0xA401, 3, 1}}, false},
		{"a value that Exif reserves", []tag{{0xA401, 3, 6}}, true},
		{"24 x 36 mm", []tag{{0x920A, 5, rational{85, 1}}, {0xA405, 3, 85}}, false},
		{"a sensor of 13.2 x 8.8 mm behind an exchangeable lens (from memory)", []tag{{0x920A, 5, rational{10, 1}}, {0xA405, 3, 27}}, false},
		{"a phone's sensor", []tag{{0x920A, 5, rational{686, 100}}, {0xA405, 3, 24}}, true},
		{"an equivalent of 0, which is unknown", []tag{{0x920A, 5, rational{5, 1}}, {0xA405, 3, 0}}, false},
		{"no equivalent", []tag{{0x920A, 5, rational{4, 1}}}, false},
	} {
		e, _ := exifOf(bytesBlock(buildTIFF(binary.BigEndian, 42, &dir{[]tag{{tagExifDir, 4, &dir{append([]tag{{0x9000, 7, []byte("0232")}}, c.sub...)}}}})))
		if why := e.ownTones(); (why != "") != c.own {
			t.Errorf("%s: said is %q", c.what, why)
		}
	}
	for o, want := range map[int]int{0: 0, 1: 1, 8: 8, 9: 0} {
		if e, _ := exifOf(bytesBlock(buildTIFF(binary.LittleEndian, 42, exifDirs(o)))); e.Orientation != want {
			t.Errorf("orientation %d reads as %d, want %d", o, e.Orientation, want)
		}
	}
}
