package tone

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"

	"thirdstop/assess/photo"
	"thirdstop/testdata"
)

// underRace is set when the race detector is on, under which 21-megapixel frames take minutes.
var underRace bool

// bracketTimes are the exposure times of the bracket's 18 frames in seconds, by name. The Exif
// ExposureTime is rounded (13, 6, 3.2 ...); these are the camera's own figures, as ExifTool 12.57
// prints them with -TargetExposureTime -n.
var bracketTimes = []float64{12.6992084157456, 6.3496042078728, 3.1748021039364, 1.5874010519682, 0.7937005259841,
	0.39685026299205, 0.198425131496025, 0.0992125657480125, 0.0496062828740063, 0.0248031414370031, 0.0124015707185016,
	0.00620078535925078, 0.00310039267962539, 0.00155019633981269, 0.000775098169906347, 0.000387549084953174,
	0.000193774542476587, 0.0001220703125}

// bracket surveys the real exposure bracket.
func bracket(t *testing.T) []*photo.Survey {
	t.Helper()
	dir := testdata.Photos(t, "radiantlab-HDRICalibrationTool")
	if testing.Short() || underRace {
		t.Skip("eighteen frames of 21 megapixels: not in short mode, nor under the race detector")
	}
	files, _ := filepath.Glob(filepath.Join(dir, "*.JPG"))
	if len(files) != len(bracketTimes) {
		t.Fatalf("the bracket has %d frames, want %d", len(files), len(bracketTimes))
	}
	if bracketFrames != nil {
		return bracketFrames
	}
	var out []*photo.Survey
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		p, err := photo.Read(filepath.Base(f), data)
		if err != nil {
			t.Fatal(err)
		}
		p.Release()
		out = append(out, p.Survey)
	}
	bracketFrames = out
	return out
}

// bracketFrames keeps the bracket between tests, which don't run in parallel.
var bracketFrames []*photo.Survey

// step is one region seen in two frames.
type step struct {
	code      float64 // in the lighter frame
	err       float64 // stops read minus true stops
	frame, at int     // which frame is the darker; where the region lies
	read      float64
}

// steps follows regions of 8x8 cells from each frame to the next: those in which nothing clips
// in either, that are smooth in both, and whose darker version is over code 12 (below it
// this camera's noise and rounding rule). A region's level is that of its median cell in the
// brightest channel, as in a reading. Only every nth row of regions is looked at.
func steps(frames []*photo.Survey, c *Curve, nth int) []step {
	const side = 8
	var out []step
	for f := 1; f < len(frames); f++ {
		dark, lightF := frames[f], frames[f-1]
		truth := math.Log2(bracketTimes[f-1] / bracketTimes[f])
		for r := 0; r+side <= dark.Rows; r += side * nth {
			for col := 0; col+side <= dark.Cols; col += side {
				var a, b, codes []float64
				for i := range side * side {
					p, q := dark.At(col+i%side, r+i/side), lightF.At(col+i%side, r+i/side)
					if q.ClippedAny > 0 || max(p.Var[0], p.Var[1], p.Var[2], q.Var[0], q.Var[1], q.Var[2]) > 25 {
						continue
					}
					lp, code := brightest(c, p)
					lq, codeQ := brightest(c, q)
					if code < 12 {
						continue
					}
					a, b, codes = append(a, lp), append(b, lq), append(codes, codeQ)
				}
				if len(a) < side*side*3/4 {
					continue
				}
				sort.Float64s(a)
				sort.Float64s(b)
				sort.Float64s(codes)
				n := len(a) / 2
				read := b[n] - a[n]
				out = append(out, step{codes[n], read - truth, f, r*dark.Cols + col, read / truth})
			}
		}
	}
	return out
}

func brightest(c *Curve, q *photo.Cell) (level, code float64) {
	level = math.Inf(-1)
	for ch := range q.Mean {
		if l, _ := c.Stops(ch, float64(q.Mean[ch]), float64(q.Var[ch])); float64(l) > level {
			level, code = float64(l), float64(q.Mean[ch])
		}
	}
	return level, code
}

// spreadOf is the median and the worst size of errors, and what 95 % of them stay under.
func spreadOf(s []step) (med, p95, worst float64) {
	v := make([]float64, len(s))
	for i := range s {
		v[i] = math.Abs(s[i].err)
	}
	sort.Float64s(v)
	return v[len(v)/2], v[len(v)*95/100], v[len(v)-1]
}

func only(s []step, in func(step) bool) []step {
	var out []step
	for _, e := range s {
		if in(e) {
			out = append(out, e)
		}
	}
	return out
}

// Levels across a real camera's exposure bracket differ by its true steps. Source of
// the truth: the camera's own exposure times (see bracketTimes). The tolerances are what was
// found, rounded up; they are those of one camera and one of its renderings, and a step is
// one stop but for the last, of 0.667.
func TestDefaultCurveReadsTheStepsOfARealBracket(t *testing.T) {
	all := steps(bracket(t), Default(), 1)
	plain := only(steps(bracket(t), SRGB(), 2), func(s step) bool { return s.frame < 17 })
	for _, tc := range []struct {
		name                string
		from, to            float64 // code in the lighter frame
		median, most, worst float64 // stops; most is for 95 % of the regions
	}{
		{"under one stop below the edge", 40, 230, 0.08, 0.15, 0.30},
		{"the last stop", 230, 256, 0.08, 0.15, 0.30},
		{"deep shadows", 12, 40, 0.15, 0.25, 0.60},
	} {
		part := only(all, func(s step) bool { return s.code >= tc.from && s.code < tc.to })
		if len(part) < 50 {
			t.Errorf("%s: only %d regions to judge by", tc.name, len(part))
			continue
		}
		med, p95, worst := spreadOf(part)
		t.Logf("%s (codes %v to %v): %d regions, error median %.3f, 95 %% %.3f, worst %.3f stop", tc.name, tc.from, tc.to, len(part), med, p95, worst)
		if med > tc.median || p95 > tc.most || worst > tc.worst {
			t.Errorf("%s: error of a step is %.3f stop in the median, %.3f for 95 %% and %.3f at worst, want at most %.2f, %.2f and %.2f",
				tc.name, med, p95, worst, tc.median, tc.most, tc.worst)
		}
	}
	// The published ranges for this camera read as plain sRGB: 1.3 to 1.6 in the mid-tones, 0.75 to 0.95 near white.
	for _, tc := range []struct{ from, to, lo, hi float64 }{{95, 140, 1.3, 1.7}, {190, 222, 0.75, 0.95}} {
		part := only(plain, func(s step) bool { return s.code >= tc.from && s.code < tc.to })
		v := make([]float64, len(part))
		for i := range part {
			v[i] = part[i].read
		}
		sort.Float64s(v)
		if m := v[len(v)/2]; m < tc.lo || m > tc.hi {
			t.Errorf("read as plain sRGB a true stop up to codes %v to %v shows as %.2f, want %.2f to %.2f", tc.from, tc.to, m, tc.lo, tc.hi)
		}
	}
}

// The default's two numbers hold for what they were not chosen on: chosen on the steps
// between even frames (by a search over both numbers), they are nearly the same, and nearly as good on
// the rest, as those chosen on the odd ones; and the rounded default costs little against either.
func TestDefaultCurveIsNotFittedToOneHalf(t *testing.T) {
	frames := bracket(t)
	odd := func(s step) bool { return s.frame%2 == 1 }
	even := func(s step) bool { return s.frame%2 == 0 }
	usable := func(s step) bool { return s.code >= 40 }
	score := func(c *Curve, in func(step) bool) float64 {
		med, _, _ := spreadOf(only(steps(frames, c, 4), func(s step) bool { return usable(s) && in(s) }))
		return med
	}
	best := func(in func(step) bool) *Curve {
		var at *Curve
		least := math.Inf(1)
		for _, n := range []float64{1.4, 1.6, 1.8} {
			for _, k := range []float64{0.1, 0.15, 0.25} {
				c := byFormula("tried", FromDefault, render(n, k), func(_, _, _ float64) float64 { return 0 })
				if s := score(c, in); s < least {
					least, at = s, c
				}
			}
		}
		return at
	}
	a, b := best(even), best(odd)
	t.Logf("chosen on even steps: %.3f there, %.3f on odd; chosen on odd: %.3f there, %.3f on even; default: %.3f and %.3f (even, odd)",
		score(a, even), score(a, odd), score(b, odd), score(b, even), score(Default(), even), score(Default(), odd))
	for _, in := range []func(step) bool{even, odd} {
		if d := score(Default(), in); d > 0.12 {
			t.Errorf("the default's median error on one half of the steps is %.3f stop, want at most 0.12", d)
		}
	}
	if d := math.Abs(score(a, odd) - score(b, odd)); d > 0.03 {
		t.Errorf("what was chosen on even steps is worse by %.3f stop on odd ones, want at most 0.03", d)
	}
}

// The constants above are what ExifTool reads from the files.
func TestBracketTimesAreExifTools(t *testing.T) {
	dir := testdata.Photos(t, "radiantlab-HDRICalibrationTool")
	out, err := exec.Command(testdata.Tool(t, "exiftool"), "-n", "-s3", "-ext", "JPG", "-fileOrder", "FileName", "-q", "-TargetExposureTime", dir).Output()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Fields(string(out))
	if len(lines) != len(bracketTimes) {
		t.Fatalf("ExifTool printed %d times, want %d", len(lines), len(bracketTimes))
	}
	for i, l := range lines {
		if v, err := strconv.ParseFloat(l, 64); err != nil || math.Abs(v/bracketTimes[i]-1) > 1e-9 {
			t.Errorf("frame %d: ExifTool says %s s, the table %v", i, l, bracketTimes[i])
		}
	}
}
