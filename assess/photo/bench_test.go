package photo

import (
	"bytes"
	"image"
	"image/jpeg"
	"math/rand/v2"
	"os"
	"sync"
	"testing"
)

// On two quiet cores (linux/amd64, Go 1.26, November 2026) the frame below, 5.0 MB, took
// djpeg 0.06 s, image/jpeg 0.23 s, the survey 0.08 s and the whole reading 0.32 s and 42 MB.

// frame24 is a 24-megapixel frame like a camera's: a bright backdrop, a darker
// sitter, noise everywhere, at a fine quality.
var frame24 = sync.OnceValue(func() []byte {
	const w, h = 6000, 4000
	rng := rand.New(rand.NewPCG(24, 6000))
	img := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio420)
	for y := range h {
		for x := range w {
			v := 236 - 20*x/w + rng.IntN(9)
			if dx, dy := x-w/2, y-h*2/3; dx*dx/4+dy*dy/9 < 400_000 {
				v = 90 + (x/40+y/60)%50 + rng.IntN(13)
			}
			img.Y[y*img.YStride+x] = uint8(v)
		}
	}
	for i := range img.Cb {
		img.Cb[i], img.Cr[i] = uint8(126+rng.IntN(4)), uint8(127+rng.IntN(4))
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: 93}); err != nil {
		panic(err)
	}
	// For a look at other decoders' times on the same frame.
	if f := os.Getenv("THIRDSTOP_BENCH_FRAME"); f != "" {
		if err := os.WriteFile(f, buf.Bytes(), 0o600); err != nil {
			panic(err)
		}
	}
	return buf.Bytes()
})

// BenchmarkRead24MP is the whole way from bytes to survey.
func BenchmarkRead24MP(b *testing.B) {
	data := frame24()
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		p, err := Read("frame.jpg", data)
		if err != nil {
			b.Fatal(err)
		}
		p.Release()
	}
}

// BenchmarkDecode24MP is the standard library's part in it.
func BenchmarkDecode24MP(b *testing.B) {
	data := frame24()
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := jpeg.Decode(bytes.NewReader(data)); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSurvey24MP is the measuring.
func BenchmarkSurvey24MP(b *testing.B) {
	img, err := jpeg.Decode(bytes.NewReader(frame24()))
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		surveyImage(img, 6)
	}
}

// BenchmarkWhole24MP is the watcher's question.
func BenchmarkWhole24MP(b *testing.B) {
	data := frame24()
	b.ReportAllocs()
	for b.Loop() {
		if err := Whole("frame.jpg", bytes.NewReader(data), int64(len(data))); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkThumbnail24MP is made on demand, after the reading.
func BenchmarkThumbnail24MP(b *testing.B) {
	p, err := Read("frame.jpg", frame24())
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		p.larger = nil
		if _, err := p.Thumbnail(1280); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkReadExif is what ordering the files of a folder costs for each.
func BenchmarkReadExif(b *testing.B) {
	data := cameraJPEG(b, 40, 24, 6)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ReadExif("frame.jpg", bytes.NewReader(data), int64(len(data))); err != nil {
			b.Fatal(err)
		}
	}
}
