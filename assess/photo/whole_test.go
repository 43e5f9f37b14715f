package photo

import (
	"bytes"
	"errors"
	"slices"
	"testing"
)

func TestAJPEGIsWholeAtItsEndMarkerAndNotBefore(t *testing.T) {
	for _, c := range []struct {
		what string
		data []byte
	}{
		{"a camera's JPEG", cameraJPEG(t, 80, 60, 6)},
		{"with fill bytes and a comment", withSegments(encodeJPEG(t, scenery(40, 30), 80), []byte{0xFF, 0xFF, 0xFF}, segment(0xFE, "FF D9 in a comment: \xFF\xD9"))},
		{"with stray bytes", withSegments(encodeJPEG(t, scenery(40, 30), 80), segment(0xFE, "x"), []byte{1, 2, 3})},
	} {
		whole := func(b []byte) error { return Whole("frame.jpg", bytes.NewReader(b), int64(len(b))) }
		if err := whole(c.data); err != nil {
			t.Errorf("%s: %v", c.what, err)
		}
		for cut := range len(c.data) {
			if err := whole(c.data[:cut]); !isUnfinished(err) {
				t.Fatalf("%s: the first %d bytes of %d: %v, want unfinished", c.what, cut, len(c.data), err)
			}
			reserved := append(slices.Clone(c.data[:cut]), make([]byte, len(c.data)-cut)...)
			if err := whole(reserved); !isUnfinished(err) {
				t.Fatalf("%s: %d bytes and then zeros up to %d: %v, want unfinished", c.what, cut, len(c.data), err)
			}
		}
		for _, tail := range [][]byte{make([]byte, 1359), []byte("a second picture behind the first"), {0xFF}, {0xFF, 0xD8, 0xFF, 0xE1, 0xFF, 0xFF}} {
			if err := whole(append(slices.Clone(c.data), tail...)); err != nil {
				t.Errorf("%s with %d bytes after its end: %v, want whole", c.what, len(tail), err)
			}
		}
	}
}

// A writer may have come as far as any byte of the first ones, by which the kinds are told apart.
func TestEveryBeginningOfAKnownKindIsUnfinished(t *testing.T) {
	for _, start := range []string{
		"\xFF\xD8\xFF\xE0\x00\x10JFIF\x00", "II*\x00\x10\x00\x00\x00CR\x02\x00", "MM\x00*\x00\x00\x00\x08", "IIRO\x08\x00\x00\x00", "IIU\x00\x18\x00\x00\x00",
		"FUJIFILMCCD-RAW 0201", "\x00\x00\x00\x18ftypcrx \x00\x00\x00\x01", "\x00\x00\x00\x18ftypheic\x00\x00\x00\x00",
		"II\x1a\x00\x00\x00HEAPCCDR", "FOVb\x00\x00\x02\x00", "\x89PNG\r\n\x1a\n",
	} {
		for cut := range 4 { // with four bytes some kinds are known already
			if err := Whole("a.jpg", bytes.NewReader([]byte(start[:cut])), int64(cut)); !isUnfinished(err) {
				t.Errorf("the first %d bytes of %q: %v, want unfinished", cut, start, err)
			}
		}
	}
}

func TestWhatWaitingCannotMendIsDamaged(t *testing.T) {
	for what, data := range map[string][]byte{
		"a segment shorter than its own length": {0xFF, 0xD8, 0xFF, 0xE1, 0, 1, 0, 0, 0, 0},
		"an end without a picture":              {0xFF, 0xD8, 0xFF, 0xFE, 0, 3, 'x', 0xFF, 0xD9},
		"a TIFF with a directory too long":      append([]byte("II*\x00\x08\x00\x00\x00\xFF\xFF"), make([]byte, 1<<20)...),
	} {
		err := Whole("frame", bytes.NewReader(data), int64(len(data)))
		if err == nil || isUnfinished(err) || !errors.Is(err, ErrDamaged) {
			t.Errorf("%s: %v, want damaged and not unfinished", what, err)
		}
	}
}

// Every complete real file is whole, and no longer is when its end is missing.
func TestRealFilesAreWholeAndTheirHalvesAreNot(t *testing.T) {
	onRealFiles(t, []string{".jpg", ".jpeg", ".tif", ".heic", ".hif", ".cr3", ".cr2", ".nef", ".dng", ".raf"}, func(t *testing.T, files []string) {
		n := 0
		for _, f := range someFiles(files) {
			data := mustRead(t, f)
			_, readErr := Read(f, data)
			err := Whole(f, bytes.NewReader(data), int64(len(data)))
			if (readErr == nil) && err != nil {
				t.Errorf("%s can be read, but isn't whole: %v", short(f), err)
			}
			if isUnfinished(readErr) && err == nil {
				t.Errorf("%s is whole, but reading says %v", short(f), readErr)
			}
			if err != nil {
				continue
			}
			n++
			half := data[:len(data)/2]
			if err := Whole(f, bytes.NewReader(half), int64(len(half))); !isUnfinished(err) && !endsEarly[short(f)] {
				t.Errorf("half of %s: %v, want unfinished", short(f), err)
			}
		}
		t.Logf("%d of %d files are whole", n, len(files))
		if n == 0 {
			t.Error("no whole file among them")
		}
	})
}

// endsEarly are files whose picture ends in their first half; what follows is an
// old disk's contents.
var endsEarly = map[string]bool{
	"metadata-extractor-images/Canon_IXUS_v2.jpg":            true,
	"metadata-extractor-images/Canon_PowerShot_S300.jpg":     true,
	"metadata-extractor-images/FujiFilm_FinePix4900Zoom.jpg": true,
	"metadata-extractor-images/FujiFilm_SP-2500.jpg":         true,
	"metadata-extractor-images/Kodak_ProBack.jpg":            true,
}
