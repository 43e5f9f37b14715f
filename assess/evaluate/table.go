package evaluate

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"sort"

	"thirdstop/assess/exposure"
	"thirdstop/assess/tone"
)

// Figure is a figure with its 95 % confidence interval.
type Figure struct{ Value, Low, High float64 }

func (f Figure) String() string { return fmt.Sprintf("%.3f (%.3f to %.3f)", f.Value, f.Low, f.High) }

// Row is what is found of one quantity in one range of levels under one curve.
type Row struct {
	Samples, Scenes int
	Median, Most    Figure  // of the size of the error, stops; Most is the 95th percentile
	RMS             float64 // root mean square of error over stated sigma; 1 is honest
	Within          float64 // share of errors within two sigmas; 0.95 is honest
}

// draws of the bootstrap.
const draws = 1000

// Row takes the figures. Confidence intervals draw whole scenes, because values of one scene share its curve.
func (s *Scenes) Row(q Quantity, stage int, from, to exposure.Stops) (Row, bool) {
	byScene := map[int][]float64{}
	var r Row
	var sum float64
	for _, x := range s.Samples {
		if x.Quantity != q || x.Truth < from || x.Truth >= to {
			continue
		}
		off := math.Abs(float64(x.Off[stage]))
		byScene[x.Scene] = append(byScene[x.Scene], off)
		r.Samples++
		z := off / max(float64(x.Sigma[stage]), 1e-3)
		sum += z * z
		if z <= 2 {
			r.Within++
		}
	}
	r.Scenes = len(byScene)
	if r.Scenes < 5 {
		return r, false
	}
	r.RMS, r.Within = math.Sqrt(sum/float64(r.Samples)), r.Within/float64(r.Samples)
	var groups [][]float64
	var keys []int
	for k := range byScene {
		keys = append(keys, k)
	}
	sort.Ints(keys)
	for _, k := range keys {
		groups = append(groups, byScene[k])
	}
	r.Median, r.Most = Bootstrap(groups, rand.New(rand.NewPCG(s.Seed, 0xb007)))
	return r, true
}

// Bootstrap gives the median and the 95th percentile of all values, in their unit, with 95 % percentile intervals from drawing whole groups
// (Efron 1979): values of one group hang together. There must be a value.
func Bootstrap(groups [][]float64, rng *rand.Rand) (median, most Figure) {
	var medians, mosts []float64
	for range draws {
		var v []float64
		for range groups {
			v = append(v, groups[rng.IntN(len(groups))]...)
		}
		m, p := two(v)
		medians, mosts = append(medians, m), append(mosts, p)
	}
	m, p := two(slices.Concat(groups...))
	return interval(m, medians), interval(p, mosts)
}

func two(v []float64) (median, most float64) {
	sort.Float64s(v)
	return v[len(v)/2], v[min(len(v)*95/100, len(v)-1)]
}

func interval(value float64, drawn []float64) Figure {
	sort.Float64s(drawn)
	return Figure{value, drawn[len(drawn)*25/1000], drawn[len(drawn)*975/1000]}
}

// ranges of true level for the table.
var ranges = []struct {
	words    string
	from, to exposure.Stops
}{
	{"below -1 stop", -30, -1},
	{"-1 stop to white", -1, 0},
}

var stageWords = [stages]string{"before learning (default curve)", "after learning (own bracket)", "curve known exactly"}

// WriteTable prints Markdown.
func (s *Scenes) WriteTable(w io.Writer) error {
	scenes := map[int]bool{}
	for _, x := range s.Samples {
		scenes[x.Scene] = true
	}
	fmt.Fprintf(w, "%d random scenes of the virtual studio (seed %d), %s, flare, vignetting, noise, motion; every tenth through JPEG files.\n", s.Count, s.Seed, s.Words)
	fmt.Fprintf(w, "%d gave unclipped values; no backdrop was found in %d; in %d nothing was learned; %.1f brackets were taken a scene. Errors in stops, 95 %% confidence intervals in brackets.\n\n", len(scenes), s.Unseen, len(s.Refused), float64(s.Brackets)/float64(max(s.Count, 1)))
	fmt.Fprintln(w, "| quantity | true level | curve | values (scenes) | median error | 95 % of errors under | error in sigmas, r.m.s. | within 2 sigmas |")
	fmt.Fprintln(w, "| --- | --- | --- | --- | --- | --- | --- | --- |")
	for _, q := range Quantities {
		for _, in := range ranges {
			for stage := range stages {
				r, ok := s.Row(q, stage, in.from, in.to)
				if !ok {
					fmt.Fprintf(w, "| %s | %s | %s | %d (%d) | too few to say | | | |\n", q, in.words, stageWords[stage], r.Samples, r.Scenes)
					continue
				}
				z, within := fmt.Sprintf("%.1f", r.RMS), fmt.Sprintf("%.0f %%", 100*r.Within)
				if stage == Perfect {
					z, within = "", ""
				}
				fmt.Fprintf(w, "| %s | %s | %s | %d (%d) | %v | %v | %s | %s |\n", q, in.words, stageWords[stage], r.Samples, r.Scenes, r.Median, r.Most, z, within)
			}
		}
	}
	for _, why := range s.Refused {
		fmt.Fprintf(w, "\nNot learned: %s\n", why)
	}
	_, err := fmt.Fprintln(w)
	return err
}

// WriteBracket prints what a real bracket says: each frame's steps read under the default, and under a
// curve that never saw the frame.
func WriteBracket(w io.Writer, name string, steps []tone.Step) error {
	before, after := tone.Misses(steps, tone.Default()), tone.LeaveOneOut(steps, nil)
	fmt.Fprintf(w, "Real bracket, %s: %d steps. Error of a step, stops.\n\n", name, len(steps))
	fmt.Fprintln(w, "| code values | curve | medians of places | median error | 95 % of errors under | worst | error in sigmas, r.m.s. |")
	fmt.Fprintln(w, "| --- | --- | --- | --- | --- | --- | --- |")
	for _, in := range []struct {
		words    string
		from, to float64
	}{{"3 to 12 (noise and rounding)", 3, 12}, {"12 to 40", 12, 40}, {"40 to 230", 40, 230}, {"230 to 252", 230, 255}} {
		for k, m := range [2][]tone.Miss{before, after} {
			var v []float64
			var sum float64
			for _, x := range m {
				if x.Code >= in.from && x.Code < in.to {
					v = append(v, math.Abs(float64(x.Off)))
					sum += math.Pow(float64(x.Off/x.Sigma), 2)
				}
			}
			if len(v) < 10 {
				continue
			}
			median, most := two(v)
			fmt.Fprintf(w, "| %s | %s | %d | %.3f | %.3f | %.3f | %.1f |\n", in.words, [2]string{"default", "learned, leave-one-out"}[k], len(v), median, most, v[len(v)-1], math.Sqrt(sum/float64(len(v))))
		}
	}
	_, err := fmt.Fprintln(w)
	return err
}
