package photo

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"thirdstop/assess/photo/entropy"
	"thirdstop/testdata"
)

// readOneVar makes the test program read one file and end, so that a whole
// process can be timed and its memory looked at.
const readOneVar = "THIRDSTOP_READ_ONE"

func TestMain(m *testing.M) {
	if f := os.Getenv(readOneVar); f != "" {
		data, err := os.ReadFile(f)
		if err == nil && surveyQuickly(data, 1, entropy.Exact) == nil {
			err = errors.New("not for the quick reader")
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		// The peak that the parent is told counts what was there before exec, too.
		status, _ := os.ReadFile("/proc/self/status")
		_, after, _ := strings.Cut(string(status), "VmHWM:")
		fmt.Println(strings.Fields(after)[0])
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// cost is what something took.
type cost struct {
	wall, cpu time.Duration
	peak      int64 // KiB
}

func processCost(cmd *exec.Cmd) (cost, error) {
	start := time.Now()
	err := cmd.Run()
	c := cost{wall: time.Since(start)}
	if err != nil {
		return c, err
	}
	c.cpu = cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	return c, nil
}

func ownCost(run func()) cost {
	cpu := func() time.Duration {
		var u syscall.Rusage
		_ = syscall.Getrusage(syscall.RUSAGE_SELF, &u)
		return time.Duration(u.Utime.Nano() + u.Stime.Nano())
	}
	start, before := time.Now(), cpu()
	run()
	return cost{wall: time.Since(start), cpu: cpu() - before}
}

func median[T int64 | time.Duration](list []cost, of func(cost) T) float64 {
	var v []T
	for _, c := range list {
		v = append(v, of(c))
	}
	slices.Sort(v)
	return float64(v[len(v)/2])
}

// fineJPEG is a noisy bright frame in 4:2:0 at a fine quality.
func fineJPEG(b *testing.B, f string, w, h int) string {
	rng := rand.New(rand.NewPCG(uint64(w), uint64(h)))
	img := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio420)
	for i := range img.Y {
		x, y := i%img.YStride, i/img.YStride
		v := 250 - 14*x/w + int(3*rng.NormFloat64())
		if dx, dy := x-w/2, y-h*2/3; 9*dx*dx+4*dy*dy < h*h {
			v = 90 + (x/40+y/60)%50 + int(5*rng.NormFloat64())
		}
		img.Y[i] = uint8(min(max(v, 0), 255))
	}
	for i := range img.Cb {
		img.Cb[i], img.Cr[i] = uint8(127+rng.IntN(4)), uint8(126+rng.IntN(4))
	}
	out, err := os.Create(f)
	if err != nil {
		b.Fatal(err)
	}
	defer out.Close()
	if err := jpeg.Encode(out, img, &jpeg.Options{Quality: 94}); err != nil {
		b.Fatal(err)
	}
	return f
}

// BenchmarkAgainstDjpeg forms ratios to djpeg (libjpeg-turbo), which decodes the same
// file to nowhere, turn by turn in one run: medians, each taken over its own list.
// Run it on a quiet machine; CPU ratios suffer least from others' load.
func BenchmarkAgainstDjpeg(b *testing.B) {
	djpeg := testdata.Tool(b, "djpeg")
	dir := b.TempDir()
	type file struct{ name, path string }
	files := []file{
		{"12MP", fineJPEG(b, filepath.Join(dir, "12.jpg"), 4256, 2832)},
		{"24MP", fineJPEG(b, filepath.Join(dir, "24.jpg"), 6000, 4000)},
		{"45MP", fineJPEG(b, filepath.Join(dir, "45.jpg"), 8256, 5504)},
	}
	if real, _ := filepath.Glob(filepath.Join(os.Getenv(testdata.PhotosVar), "*", "*.[jJ][pP][gG]")); os.Getenv(testdata.PhotosVar) != "" {
		for _, f := range real {
			if s, err := os.Stat(f); err == nil && s.Size() > 3_400_000 {
				files = append(files, file{"real/" + strings.TrimSuffix(filepath.Base(f), filepath.Ext(f)), f})
			}
		}
	}
	for _, f := range files {
		data, err := os.ReadFile(f.path)
		if err != nil {
			b.Fatal(err)
		}
		ways := []struct {
			name string
			run  func() cost
		}{
			{"exact", func() cost { return ownCost(func() { surveyQuickly(data, 1, entropy.Exact) }) }},
			{"exact/one-core", func() cost {
				defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
				return ownCost(func() { surveyQuickly(data, 1, entropy.Exact) })
			}},
			{"levels", func() cost { return ownCost(func() { surveyQuickly(data, 1, entropy.Levels) }) }},
			{"process", func() cost {
				cmd := exec.Command(os.Args[0])
				cmd.Env = append(os.Environ(), readOneVar+"="+f.path)
				var out bytes.Buffer
				cmd.Stdout = &out
				c, err := processCost(cmd)
				if err == nil {
					c.peak, err = strconv.ParseInt(strings.TrimSpace(out.String()), 10, 64)
				}
				if err != nil {
					b.Fatal(err)
				}
				return c
			}},
		}
		for _, way := range ways {
			b.Run(f.name+"/"+way.name, func(b *testing.B) {
				var ours, theirs []cost
				for b.Loop() {
					for range 5 {
						c, err := processCost(exec.Command(djpeg, "-outfile", os.DevNull, f.path))
						if err != nil {
							b.Fatal(err)
						}
						theirs = append(theirs, c)
						ours = append(ours, way.run())
					}
				}
				wall := func(c cost) time.Duration { return c.wall }
				cpu := func(c cost) time.Duration { return c.cpu }
				b.ReportMetric(median(ours, wall)/median(theirs, wall), "wall/djpeg")
				b.ReportMetric(median(ours, cpu)/median(theirs, cpu), "cpu/djpeg")
				b.ReportMetric(median(ours, wall)/1e6, "ms")
				b.ReportMetric(median(theirs, wall)/1e6, "djpeg-ms")
				if peak := median(ours, func(c cost) int64 { return c.peak }); peak > 0 {
					b.ReportMetric(peak/1024, "peak-MiB")
				}
			})
		}
	}
}
