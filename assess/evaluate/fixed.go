package evaluate

import (
	"fmt"
	"io"
	"math"
	"slices"

	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
	"thirdstop/assess/tone"
)

// WriteFixed prints how far the default is off on all of some curves, and how far the best fixed curve would be: the one that
// shows each code value at the middle level of them all. What that one leaves no default can mend. Nothing is drawn by
// chance here, so there are no confidence intervals.
func WriteFixed(w io.Writer, words string, kinds []studio.CurveKind) error {
	type miss struct{ truth, byDefault, byBest, sigma float64 }
	var all []miss
	for code := 20.0; code <= 250; code += 5 {
		var truths []float64
		for _, k := range kinds {
			truths = append(truths, math.Log2(k.Light(code)))
		}
		sorted := slices.Sorted(slices.Values(truths))
		middle := sorted[len(sorted)/2]
		level, sigma := tone.Default().Stops(1, code, 0)
		for _, t := range truths {
			all = append(all, miss{t, float64(level) - t, middle - t, float64(sigma)})
		}
	}
	fmt.Fprintf(w, "%s: error of one curve for all of them, in stops, over code values 20 to 250.\n\n", words)
	fmt.Fprintln(w, "| true level | curve | median error | 95 % of errors under | error in sigmas, r.m.s. |")
	fmt.Fprintln(w, "| --- | --- | --- | --- | --- |")
	for _, in := range []struct {
		words    string
		from, to exposure.Stops
	}{{"below -1 stop", -30, -1}, {"-1 stop to white", -1, 0}} {
		var d, b []float64
		sum := 0.0
		for _, m := range all {
			if m.truth >= float64(in.from) && m.truth < float64(in.to) {
				d, b = append(d, math.Abs(m.byDefault)), append(b, math.Abs(m.byBest))
				sum += math.Pow(m.byDefault/m.sigma, 2)
			}
		}
		if len(d) == 0 {
			continue
		}
		rms := math.Sqrt(sum / float64(len(d)))
		m, p := two(d)
		fmt.Fprintf(w, "| %s | the default | %.2f | %.2f | %.1f |\n", in.words, m, p, rms)
		m, p = two(b)
		fmt.Fprintf(w, "| %s | the best fixed curve | %.2f | %.2f | |\n", in.words, m, p)
	}
	_, err := fmt.Fprintln(w)
	return err
}
