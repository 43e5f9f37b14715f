package entropy

import (
	"bytes"
	"errors"
	"fmt"
	"image/jpeg"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"thirdstop/testdata"
)

// ways are the ways to read a file that must all come to the same.
var ways = []struct {
	workers int
	vector  bool
}{{1, false}, {1, true}, {2, true}, {3, false}}

// agree reads data in every way and holds each against image/jpeg. It reports
// whether the quick reader takes the file.
func agree(t testing.TB, name string, data []byte) bool {
	t.Helper()
	want, decodeErr := plainly(data)
	taken := false
	for i, way := range ways {
		got, err := survey(data, Exact, way.workers, way.vector)
		label := fmt.Sprintf("%s on %d goroutines, vectors %v", name, way.workers, way.vector)
		switch {
		case err != nil && !errors.Is(err, ErrNotMine):
			t.Errorf("%s: %v, which is no answer this reader gives", label, err)
		case err == nil && decodeErr != nil:
			t.Errorf("%s: read, though image/jpeg says %v", label, decodeErr)
		case err == nil && want == nil:
			t.Errorf("%s: read, though it is of another kind", label)
		case err == nil:
			if d := differs(got, want); d != "" {
				t.Errorf("%s: %s", label, d)
			}
		}
		if i > 0 && taken != (err == nil) {
			t.Errorf("%s: taken %v, and on one goroutine %v", label, err == nil, taken)
		}
		taken = err == nil
	}
	return taken
}

func realFiles(t *testing.T) []string {
	files := testdata.Samples(t)
	dir := os.Getenv(testdata.PhotosVar)
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "..", "shared", "photos")
	}
	if _, err := os.Stat(dir); err != nil {
		t.Logf("without the collection of camera files: %v", err)
		return files
	}
	var more []string
	err := filepath.WalkDir(dir, func(f string, _ fs.DirEntry, err error) error {
		if e := strings.ToLower(filepath.Ext(f)); e == ".jpg" || e == ".jpeg" {
			more = append(more, f)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	files = append(files, testdata.Some(more, 7)...)
	if raceDetector {
		files = slices.DeleteFunc(files, func(f string) bool {
			s, err := os.Stat(f)
			return err == nil && s.Size() > 150<<10
		})
	}
	return files
}

// rare are the sound baseline files that are left to the plain reader, and why.
var rare = map[string]string{
	"video-001.q50.411.jpeg":    "4:1:1",
	"video-001.rgb.jpeg":        "RGB",
	"video-001.cmyk.jpeg":       "CMYK",
	"pil_sample_cmyk.jpg":       "CMYK",
	"icc_profile_big.jpg":       "",
	"Multiple_ICC_segments.jpg": "",
	"junk_jpeg_header.jpg":      "stray bytes between segments",
}

func TestRealPhotosMeasureAsTheyDecode(t *testing.T) {
	taken := 0
	files := realFiles(t)
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		_, decodeErr := jpeg.Decode(bytes.NewReader(data))
		name := filepath.Base(f)
		switch {
		case agree(t, name, data):
			taken++
		case decodeErr == nil && !bytes.Contains(data, []byte{0xFF, 0xC2}):
			if _, known := rare[name]; !known {
				t.Errorf("%s is a sound baseline file, and the quick reader leaves it alone", name)
			}
		}
	}
	t.Logf("%d of %d files are for the quick reader", taken, len(files))
}
