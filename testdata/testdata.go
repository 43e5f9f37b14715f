// Package testdata finds the pictures that tests measure: those that come with
// modules of the registry, and a collection of camera files that is too large
// and too mixed in its licences to live here. It also says what a pixel of a picture is. It is used by tests only.
package testdata

import (
	"image"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// PhotosVar names the environment variable that points at the collection of
// real camera files.
const PhotosVar = "THIRDSTOP_PHOTOS"

// Photos is the folder of real camera files, with elem joined to it. It skips the
// test, and says so, where the collection is not on this machine.
func Photos(t testing.TB, elem ...string) string {
	t.Helper()
	dir := os.Getenv(PhotosVar)
	if dir == "" {
		dir = filepath.Join(root(), "..", "shared", "photos")
	}
	p := filepath.Join(append([]string{dir}, elem...)...)
	if _, err := os.Stat(p); err != nil {
		t.Skipf("the collection of real camera files is not here (set %s to its folder): %v", PhotosVar, err)
	}
	return p
}

// Thorough says whether tests take all the files and studios that they know, as they do under CI=true without -short.
// Elsewhere they take some of them, so that a whole go test stays well under five minutes.
func Thorough() bool { return os.Getenv("CI") == "true" && !testing.Short() }

// Long skips a test that takes half a minute of processor time or more, and says so, unless tests are thorough.
func Long(t testing.TB) {
	t.Helper()
	if !Thorough() {
		t.Skip("takes half a minute of processor time or more; with CI=true it runs")
	}
}

// Scenes is how many scenes of the virtual studio a test takes: all of them where tests are thorough, else a part.
func Scenes(all, part int) int {
	if Thorough() {
		return all
	}
	return part
}

// Some is every nth of all, and all of them where tests are thorough.
func Some[T any](all []T, n int) []T {
	if Thorough() {
		return all
	}
	var some []T
	for i := 0; i < len(all); i += n {
		some = append(some, all[i])
	}
	return some
}

// Samples lists the real camera JPEGs that the goexif module carries. They are
// on every machine that can build thirdstop, so it fails where there are none.
func Samples(t testing.TB) []string {
	t.Helper()
	cmd := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/rwcarlsen/goexif")
	cmd.Dir = root()
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("where the goexif module lies: %v", err)
	}
	files, err := filepath.Glob(filepath.Join(strings.TrimSpace(string(out)), "exif", "samples", "*.jpg"))
	if err != nil || len(files) < 50 {
		t.Fatalf("the goexif module should carry some sixty sample JPEGs, found %d (%v)", len(files), err)
	}
	return files
}

// Tool is the path of a program that a check leans on. Where it is missing the
// test is skipped, except under CI=true, where it must be there.
func Tool(t testing.TB, name string) string {
	t.Helper()
	p, err := exec.LookPath(name)
	if err == nil {
		return p
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("this check needs the program %s, and CI must have it: %v", name, err)
	}
	t.Skipf("this check needs the program %s, which is not installed here", name)
	return ""
}

func root() string {
	_, file, _, _ := runtime.Caller(0)
	return filepath.Dir(filepath.Dir(file))
}

// Pixel is a pixel of a picture in 8 bits, red, green and blue: of YCbCr by the formula of JFIF 1.02 (ITU-T T.871) with libjpeg's factors
// (jdcolor.c), in floating point, to the nearest code value; of others as the standard library has it.
func Pixel(img image.Image, x, y int) (px [3]uint8) {
	switch img := img.(type) {
	case *image.YCbCr:
		c := img.YCbCrAt(x, y)
		b, r := float64(c.Cb)-128, float64(c.Cr)-128
		for ch, chroma := range [3]float64{91881 * r, -22554*b - 46802*r, 116130 * b} {
			px[ch] = uint8(min(max(math.Floor(float64(c.Y)+chroma/65536+0.5), 0), 255))
		}
	default:
		r, g, b, _ := img.At(x, y).RGBA()
		px = [3]uint8{uint8(r >> 8), uint8(g >> 8), uint8(b >> 8)}
	}
	return px
}
