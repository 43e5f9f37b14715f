package entropy

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"sync"
	"testing"
)

// frame is a frame like a camera's: a bright backdrop near clipping, a darker
// sitter, noise everywhere, at a fine quality.
func frame(w, h int) []byte {
	rng := rand.New(rand.NewPCG(24, uint64(w)))
	img := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio420)
	for y := range h {
		for x := range w {
			// The light falls off, and noise has a bell curve and a grain.
			v := 250 - 14*x/w + int(3*rng.NormFloat64())
			if dx, dy := float64(x-w/2)/float64(w), float64(y-h*2/3)/float64(h); dx*dx*9+dy*dy*4 < 1 {
				v = 110 + int(40*math.Sin(float64(x)/23)*math.Cos(float64(y)/31)) + int(5*rng.NormFloat64())
			}
			img.Y[y*img.YStride+x] = uint8(min(max(v, 0), 255))
		}
	}
	for i := range img.Cb {
		img.Cb[i], img.Cr[i] = uint8(127+rng.IntN(4)), uint8(126+rng.IntN(4))
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: 94}); err != nil {
		panic(err)
	}
	return buf.Bytes()
}

// sizes are those of cameras with 12, 24 and 45 million pixels.
var sizes = []struct {
	name string
	data func() []byte
}{
	{"12MP", sync.OnceValue(func() []byte { return frame(4256, 2832) })},
	{"24MP", sync.OnceValue(func() []byte { return frame(6000, 4000) })},
	{"45MP", sync.OnceValue(func() []byte { return frame(8256, 5504) })},
}

// nothing is a sink for benchmarks.
type nothing struct{}

func (nothing) Blocks(int, [][3]uint32) {}
func (nothing) Cells(int, []Cell)       {}

func BenchmarkRead(b *testing.B) {
	for _, size := range sizes {
		for _, want := range []Want{Levels, Exact} {
			for _, workers := range []int{1, 2} {
				for _, vector := range []bool{true, false} {
					if vector && !vectors {
						continue
					}
					b.Run(fmt.Sprintf("%s/want=%d/goroutines=%d/vector=%v", size.name, want, workers, vector), func(b *testing.B) {
						data := size.data()
						if f := os.Getenv("THIRDSTOP_BENCH_FRAMES"); f != "" {
							_ = os.WriteFile(f+"/"+size.name+".jpg", data, 0o600)
						}
						b.SetBytes(int64(len(data)))
						b.ReportAllocs()
						for b.Loop() {
							if err := readWith(data, want, func(Frame) Sink { return nothing{} }, workers, vector); err != nil {
								b.Fatal(err)
							}
						}
					})
				}
			}
		}
	}
}
