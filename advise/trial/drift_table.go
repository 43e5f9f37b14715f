package trial

import (
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"
)

// WriteTable writes what was found as Markdown, each share with its 95 % interval.
func (d *DriftFigures) WriteTable(w io.Writer) error {
	var b strings.Builder
	seenOn := map[bool]string{true: "card and backdrop", false: "face and clothes"}
	lights := map[bool]string{true: "background, key", false: "background, key, fill"}
	if len(d.Clean) > 0 {
		b.WriteString("Clean frames, sitters moving and changing every 15 frames. In brackets: 95 % (Clopper & Pearson).\n\n" +
			"| scatter | seen on | lights | frames | findings | in 10,000 | of which | wrong questions | card checks |\n|---|---|---|---|---|---|---|---|---|\n")
		for _, c := range d.Clean {
			c.write(&b, seenOn, lights[c.Apart])
		}
		for _, c := range both(d.Clean) {
			c.write(&b, seenOn, "both")
		}
	}
	if len(d.Courses) > 0 {
		b.WriteString("\nOne light drifts, background or key, up or down; frames count from the one where it reached 0.2 stop, that one included. In brackets: 95 % (Wilson).\n" +
			"On face and clothes alone a finding is a prompt for a card check.\n\n" +
			"| seen on | lights | scatter | drift | runs | median | 95th percentile | within 6 | the light named first | among the named |\n|---|---|---|---|---|---|---|---|---|---|\n")
		for _, c := range d.Courses {
			fmt.Fprintf(&b, "| %s | %s | %.2f | %s | %d | %s | %s | %s | %s | %s |\n", seenOn[c.Witness], lights[c.Apart], float64(c.Scatter), c.Course, c.Runs, rank(c.Delays, 0.5), rank(c.Delays, 0.95),
				percent(c.Within, c.Runs), percent(c.Light, c.Runs), percent(c.Candidate, c.Runs))
		}
	}
	if len(d.Faults) > 0 {
		b.WriteString("\nCauses, at 0.05 stop scatter, two lights: the last word on each. In brackets: 95 % (Wilson).\n\n" +
			"| fault | runs | right cause | among the named | right light | called |\n|---|---|---|---|---|---|\n")
		cause, among, runs, light, of := 0, 0, 0, 0, 0
		for _, f := range d.Faults {
			fmt.Fprintf(&b, "| %s | %d | %s | %s | %s | %s |\n", f.Fault, f.Runs, percent(f.Cause, f.Runs), percent(f.Among, f.Runs), percent(f.Light, f.Of), list(f.Said))
			cause, among, runs, light, of = cause+f.Cause, among+f.Among, runs+f.Runs, light+f.Light, of+f.Of
		}
		fmt.Fprintf(&b, "| all | %d | %s | %s | %s | |\n", runs, percent(cause, runs), percent(among, runs), percent(light, of))
	}
	if d.Skipped > 0 {
		fmt.Fprintf(&b, "\n%d studios were left out: no baseline was reached in their first frames.\n", d.Skipped)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// both are the counts of either rig together.
func both(all []CleanCount) (out []CleanCount) {
	for _, c := range all {
		i := slices.IndexFunc(out, func(x CleanCount) bool { return x.Scatter == c.Scatter && x.Witness == c.Witness })
		if i < 0 {
			c.Kinds = maps.Clone(c.Kinds)
			out = append(out, c)
			continue
		}
		x := &out[i]
		x.Frames, x.Alarms, x.Questions, x.Prompts = x.Frames+c.Frames, x.Alarms+c.Alarms, x.Questions+c.Questions, x.Prompts+c.Prompts
		for kind, n := range c.Kinds {
			x.Kinds[kind] += n
		}
	}
	return out
}

func (c CleanCount) write(w io.Writer, seenOn map[bool]string, lights string) {
	low, high := exact(c.Alarms, c.Frames)
	fmt.Fprintf(w, "| %.2f | %s | %s | %d | %d | %.2f (%.2f to %.2f) | %s | %d | %d |\n", float64(c.Scatter), seenOn[c.Witness], lights, c.Frames, c.Alarms,
		1e4*float64(c.Alarms)/float64(max(c.Frames, 1)), 1e4*low, 1e4*high, list(c.Kinds), c.Questions, c.Prompts)
}

// percent writes a share of runs with its Wilson interval.
func percent(hits, of int) string {
	if of == 0 {
		return "-"
	}
	low, high := wilson(hits, of)
	return fmt.Sprintf("%.0f %% (%.0f to %.0f)", 100*float64(hits)/float64(of), 100*low, 100*high)
}

// wilson is the 95 % interval of a share (Wilson 1927).
func wilson(hits, of int) (float64, float64) {
	const z = 1.959964
	n, p := float64(of), float64(hits)/float64(of)
	mid, half := p+z*z/(2*n), z*math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return max(0, (mid-half)/(1+z*z/n)), min(1, (mid+half)/(1+z*z/n))
}

// exact is the 95 % interval of a share (Clopper & Pearson 1934), found by halving.
func exact(hits, of int) (float64, float64) {
	if of == 0 {
		return 0, 1
	}
	// atMost is the chance of at most k hits.
	atMost := func(k int, p float64) (sum float64) {
		for i := range k + 1 {
			a, _ := math.Lgamma(float64(of + 1))
			b, _ := math.Lgamma(float64(i + 1))
			c, _ := math.Lgamma(float64(of - i + 1))
			sum += math.Exp(a - b - c + float64(i)*math.Log(p) + float64(of-i)*math.Log1p(-p))
		}
		return sum
	}
	find := func(over func(p float64) bool) float64 {
		low, high := 0.0, 1.0
		for range 60 {
			if m := (low + high) / 2; over(m) {
				high = m
			} else {
				low = m
			}
		}
		return (low + high) / 2
	}
	low, high := 0.0, 1.0
	if hits > 0 {
		low = find(func(p float64) bool { return 1-atMost(hits-1, p) > 0.025 })
	}
	if hits < of {
		high = find(func(p float64) bool { return atMost(hits, p) < 0.025 })
	}
	return low, high
}

// rank is a quantile of sorted delays.
func rank(d []int, q float64) string {
	if len(d) == 0 {
		return "-"
	}
	v := d[min(int(q*float64(len(d))), len(d)-1)]
	if v == missed {
		return "not found"
	}
	return fmt.Sprint(v)
}

func list(counts map[string]int) string {
	var out []string
	for _, k := range slices.Sorted(maps.Keys(counts)) {
		out = append(out, fmt.Sprintf("%s %d", k, counts[k]))
	}
	if len(out) == 0 {
		return "-"
	}
	return strings.Join(out, ", ")
}
