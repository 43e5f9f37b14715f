package photo

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"thirdstop/testdata"
)

// countAll is the clipped count and the mean of a whole picture, taken pixel by
// pixel from what image/jpeg decodes.
func countAll(img image.Image) (c Clipped, mean [3]float64) {
	b := img.Bounds()
	c.Pixels = b.Dx() * b.Dy()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			any := false
			for ch, v := range testdata.Pixel(img, x, y) {
				mean[ch] += float64(v)
				if v >= 254 {
					c.Channel[ch]++
					any = true
				}
			}
			if any {
				c.Any++
			}
		}
	}
	for ch := range mean {
		mean[ch] /= float64(c.Pixels)
	}
	return c, mean
}

// someFiles drops most of the long exposure bracket, whose frames are much alike
// and 21 megapixels each, and under the race detector every large file.
func someFiles(files []string) []string {
	n := 0
	return slices.DeleteFunc(slices.Clone(files), func(f string) bool {
		if info, err := os.Stat(f); raceDetector && err == nil && info.Size() > 150_000 {
			return true
		}
		if !strings.HasPrefix(filepath.Base(f), "IMG_69") {
			return false
		}
		n++
		return n%6 != 1
	})
}

// Clipped counts are exact, and means agree, against image/jpeg on every real
// photo that it decodes. Against djpeg (libjpeg-turbo), with chroma repeated as
// image/jpeg does it and interpolated as djpeg does by default, the shares lie within 0.5 % of the frame.
func TestClippedCountsOfRealPhotos(t *testing.T) {
	onRealFiles(t, []string{".jpg", ".jpeg"}, func(t *testing.T, files []string) {
		compared, against, worst := 0, [2]int{}, [2]float64{}
		tool, _ := exec.LookPath("djpeg")
		for _, f := range someFiles(files) {
			data := mustRead(t, f)
			p, err := Read(f, data)
			if err != nil {
				if _, derr := jpeg.Decode(bytes.NewReader(data)); derr == nil && !strings.Contains(err.Error(), "CMYK") {
					t.Errorf("image/jpeg decodes %s, but: %v", short(f), err)
				}
				continue
			}
			img, err := jpeg.Decode(bytes.NewReader(data))
			if err != nil {
				t.Fatal(err)
			}
			want, mean := countAll(img)
			if got := p.Survey.Clipped(); got != want {
				t.Errorf("%s: clipped %+v, want exactly %+v (image/jpeg)", short(f), got, want)
			}
			for ch, m := range p.Survey.Mean() {
				// Cell means are float32: 7 digits of 255, the more of them the less it shows.
				if math.Abs(m-mean[ch]) > 1e-4 {
					t.Errorf("%s: mean of channel %d = %.6f, want %.6f (image/jpeg)", short(f), ch, m, mean[ch])
				}
			}
			compared++
			// The twin looks at each pixel again: small pictures only.
			if p.Survey.Pixels() < 1_000_000 && !reflect.DeepEqual(p.Survey, bruteSurvey(img, p.Orientation)) {
				t.Errorf("%s: the survey differs from the slow twin's", short(f))
			}
			if tool == "" || p.Survey.Pixels() < 10_000 { // a single pixel weighs too much in a stamp
				continue
			}
			for i, chroma := range []string{"-nosmooth", ""} {
				other, err := djpegClipped(tool, chroma, f)
				if err != nil {
					t.Errorf("%s: djpeg: %v", short(f), err)
					continue
				}
				a, anyA := p.Survey.Clipped().Shares()
				b, anyB := other.Shares()
				apart := max(math.Abs(a[0]-b[0]), math.Abs(a[1]-b[1]), math.Abs(a[2]-b[2]), math.Abs(anyA-anyB))
				if chroma == "" && smoothed[short(f)] != "" || lone[short(f)] != "" {
					continue
				}
				against[i]++
				worst[i] = max(worst[i], apart)
				if apart > 0.005 {
					t.Errorf("%s: clipped shares %.4f any %.4f, djpeg %s %.4f any %.4f: more than 0.5 %% of the frame apart", short(f), a, anyA, chroma, b, anyB)
				}
			}
		}
		t.Logf("%d files exact against image/jpeg; %d within %.3f %% of the frame of djpeg -nosmooth, %d within %.3f %% of djpeg",
			compared, against[0], 100*worst[0], against[1], 100*worst[1])
		if tool == "" {
			testdata.Tool(t, "djpeg")
		}
	})
}

// smoothed are pictures left out of the comparison with interpolated chroma, and why.
var smoothed = map[string]string{
	"go-stdlib/video-001.q50.440.jpeg":                 "a still of 150 x 103 pixels with hard coloured edges",
	"go-stdlib/video-001.restart2.jpeg":                "the same still",
	"go-stdlib/video-001.rgb.jpeg":                     "the same still; green and blue themselves have half the pixels",
	"go-stdlib/video-001.separate.dc.progression.jpeg": "the same still",
}

// lone are pictures left out of both comparisons, and why.
var lone = map[string]string{
	"go-stdlib/video-001.progressive.jpeg": "a still of 150 x 103 pixels: 0.51 % of it, 79 pixels, lie between the two roundings of inverse transform and colour",
	"pillow/junk_jpeg_header.jpg":          "a web graphic that rings around 254: 0.94 % of it lies between the two roundings",
}

// djpegClipped counts in what djpeg decodes.
func djpegClipped(tool, chroma, file string) (c Clipped, err error) {
	args := []string{"-pnm", file}
	if chroma != "" {
		args = slices.Insert(args, 0, chroma)
	}
	cmd := exec.Command(tool, args...)
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		return c, err
	}
	if err := cmd.Start(); err != nil {
		return c, err
	}
	defer cmd.Wait()
	in := bufio.NewReaderSize(pipe, 1<<20)
	var kind string
	var w, h, most int
	if _, err := fmt.Fscan(in, &kind, &w, &h, &most); err != nil {
		return c, err
	}
	if _, err := in.ReadByte(); err != nil || most != 255 {
		return c, errors.Join(err, fmt.Errorf("largest value %d", most))
	}
	channels := map[string]int{"P5": 1, "P6": 3}[kind]
	row := make([]byte, w*channels)
	for range h {
		if _, err := io.ReadFull(in, row); err != nil {
			return c, err
		}
		for px := range slices.Chunk(row, channels) {
			any := false
			for ch := range 3 {
				if px[ch%channels] >= 254 {
					c.Channel[ch]++
					any = true
				}
			}
			if any {
				c.Any++
			}
		}
	}
	c.Pixels = w * h
	return c, nil
}

// The eight portraits of recurser/exif-orientation-examples (MIT) are one picture
// stored in the eight orientations, with its number printed across the middle. Both
// edges are multiples of eight pixels, so their blocks lie alike.
func TestTheEightOrientationExamplesGiveOneSurvey(t *testing.T) {
	var first *Survey
	for o := 1; o <= 8; o++ {
		f := testdata.Photos(t, "exif-orientation-examples", fmt.Sprintf("Portrait_%d.jpg", o))
		p, err := Read(f, mustRead(t, f))
		if err != nil {
			t.Fatal(err)
		}
		s := p.Survey
		if p.Orientation != o || s.Width != 1200 || s.Height != 1800 {
			t.Fatalf("%s: orientation %d, %d x %d upright; want %d, 1200 x 1800", short(f), p.Orientation, s.Width, s.Height, o)
		}
		if first == nil {
			first = s
			continue
		}
		var sum float64
		var far, n int
		for row := range s.BlockRows {
			for col := range s.BlockCols {
				x, y := float64(col)/float64(s.BlockCols), float64(row)/float64(s.BlockRows)
				if x > 0.40 && x < 0.60 && y > 0.42 && y < 0.60 { // the number
					continue
				}
				for ch, v := range s.BlockAt(col, row) {
					d := math.Abs(float64(v)-float64(first.BlockAt(col, row)[ch])) / 256
					sum += d
					n++
					if d > 8 {
						far++
					}
				}
			}
		}
		t.Logf("orientation %d: blocks differ by %.3f code values on average, %d of %d by more than 8", o, sum/float64(n), far, n)
		if mean := sum / float64(n); mean > 1 || far > n/1000 {
			t.Errorf("orientation %d: blocks differ from orientation 1 by %.2f code values on average, %d of %d by more than 8: more than JPEG noise", o, mean, far, n)
		}
	}
}
