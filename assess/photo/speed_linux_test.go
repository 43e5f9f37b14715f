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

func processCost(t *testing.T, cmd *exec.Cmd) cost {
	start := time.Now()
	err := cmd.Run()
	c := cost{wall: time.Since(start)}
	if err != nil {
		t.Fatal(err)
	}
	c.cpu = cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	return c
}

// ownCost is that of the second run of two in a row: what a program needs that has read frames before.
func ownCost(run func()) cost {
	run()
	cpu := func() time.Duration {
		var u syscall.Rusage
		_ = syscall.Getrusage(syscall.RUSAGE_SELF, &u)
		return time.Duration(u.Utime.Nano() + u.Stime.Nano())
	}
	start, before := time.Now(), cpu()
	run()
	return cost{wall: time.Since(start), cpu: cpu() - before}
}

// least is the least of a list: what another's load adds is never negative.
func least(list []cost, of func(cost) time.Duration) float64 {
	best := of(list[0])
	for _, c := range list {
		best = min(best, of(c))
	}
	return float64(best)
}

// fineJPEG is a noisy bright frame in 4:2:0 at a fine quality.
func fineJPEG(b testing.TB, f string, w, h int) string {
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

// speedVar asks for TestSpeed, and says how many rounds: see .ci/speed.
const speedVar = "THIRDSTOP_SPEED"

// TestSpeed prints how long surveys take against djpeg (libjpeg-turbo), which decodes the same
// file to nowhere, and vips: ratios to djpeg, formed turn by turn in one run, of the least
// wall and CPU times. It fails for nothing: how fast a machine is isn't right or wrong.
func TestSpeed(t *testing.T) {
	rounds, _ := strconv.Atoi(os.Getenv(speedVar))
	if rounds < 1 {
		t.Skip("run by .ci/speed")
	}
	djpeg := testdata.Tool(t, "djpeg")
	vips, _ := exec.LookPath("vips")
	dir := t.TempDir()
	type file struct{ name, path string }
	files := []file{
		{"synthetic 12 MP", fineJPEG(t, filepath.Join(dir, "12.jpg"), 4256, 2832)},
		{"synthetic 24 MP", fineJPEG(t, filepath.Join(dir, "24.jpg"), 6000, 4000)},
		{"synthetic 45 MP", fineJPEG(t, filepath.Join(dir, "45.jpg"), 8256, 5504)},
		{"synthetic 100 MP", fineJPEG(t, filepath.Join(dir, "100.jpg"), 11648, 8736)},
	}
	for _, f := range largest(t, 4) {
		files = append(files, file{"camera, " + filepath.Base(f), f})
	}
	fmt.Println("| file | MB | djpeg ms | vips stats | levels | exact | exact, one core | levels CPU | exact CPU | cold process | its CPU | its peak MiB | allocated KiB |")
	fmt.Println("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |")
	for _, f := range files {
		data, err := os.ReadFile(f.path)
		if err != nil {
			t.Fatal(err)
		}
		ways := []func() cost{
			func() cost { return processCost(t, exec.Command(djpeg, "-outfile", os.DevNull, f.path)) },
			func() cost {
				if vips == "" {
					return cost{}
				}
				return processCost(t, exec.Command(vips, "stats", f.path, filepath.Join(dir, "stats.v")))
			},
			func() cost { return ownCost(func() { surveyQuickly(data, 1, entropy.Levels) }) },
			func() cost { return ownCost(func() { surveyQuickly(data, 1, entropy.Exact) }) },
			func() cost {
				defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
				return ownCost(func() { surveyQuickly(data, 1, entropy.Exact) })
			},
			func() cost {
				cmd := exec.Command(os.Args[0])
				cmd.Env = append(os.Environ(), readOneVar+"="+f.path)
				var out bytes.Buffer
				cmd.Stdout = &out
				c := processCost(t, cmd)
				if c.peak, err = strconv.ParseInt(strings.TrimSpace(out.String()), 10, 64); err != nil {
					t.Fatal(err)
				}
				return c
			},
		}
		if surveyQuickly(data, 1, entropy.Exact) == nil {
			t.Errorf("%s is not for the quick reader", f.name)
			continue
		}
		costs := make([][]cost, len(ways))
		for range rounds {
			for i, way := range ways {
				costs[i] = append(costs[i], way())
			}
		}
		allocated := reserved(func() { surveyQuickly(data, 1, entropy.Exact) })
		wall := func(c cost) time.Duration { return c.wall }
		cpu := func(c cost) time.Duration { return c.cpu }
		base, baseCPU := least(costs[0], wall), least(costs[0], cpu)
		ratio := func(i int) float64 { return least(costs[i], wall) / base }
		ratioCPU := func(i int) float64 { return least(costs[i], cpu) / baseCPU }
		fmt.Printf("| %s | %.1f | %.0f | %.2f | %.2f | %.2f | %.2f | %.2f | %.2f | %.2f | %.2f | %.0f | %d |\n", f.name, float64(len(data))/1e6, base/1e6,
			ratio(1), ratio(2), ratio(3), ratio(4), ratioCPU(2), ratioCPU(3), ratio(5), ratioCPU(5), float64(costs[5][0].peak)/1024, allocated/1024)
	}
}

// largest are the largest real files of the collection that the quick reader takes.
func largest(t *testing.T, n int) []string {
	type sized struct {
		path string
		size int64
	}
	var list []sized
	_ = filepath.WalkDir(testdata.Photos(t), func(f string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.EqualFold(filepath.Ext(f), ".jpg") {
			return nil
		}
		if s, err := d.Info(); err == nil && s.Size() > 2<<20 {
			list = append(list, sized{f, s.Size()})
		}
		return nil
	})
	slices.SortFunc(list, func(a, b sized) int { return int(b.size - a.size) })
	var out []string
	for _, s := range list {
		if data, err := os.ReadFile(s.path); len(out) < n && err == nil && surveyQuickly(data, 1, entropy.Exact) != nil {
			out = append(out, s.path)
		}
	}
	return out
}
