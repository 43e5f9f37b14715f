package trial

import (
	"fmt"
	"math"
	"strings"
)

// Summary counts outcomes of one kind of start.
type Summary struct {
	Name      string
	Studios   int
	After     [4]int // on target in truth after no, one, two and three corrections, and from then on
	Never     int
	Worse     int // studios with a correction for the worse
	FalseNo   int // power could, and the advice said it can't
	Unreached int // power can't
	Skipped   int
}

// Sum counts outcomes, starts clipped and unclipped apart.
func Sum(all []Outcome) []Summary {
	out := []Summary{{Name: "unclipped start"}, {Name: "clipped start"}}
	for _, o := range all {
		s := &out[0]
		if o.Clipped {
			s = &out[1]
		}
		switch {
		case o.Skipped != "":
			s.Skipped++
			continue
		case !o.Reach:
			s.Unreached++
			continue
		}
		s.Studios++
		if o.OnTarget == 0 {
			s.Never++
		}
		for k := range s.After {
			if o.OnTarget > 0 && o.OnTarget <= k+1 {
				s.After[k]++
			}
		}
		if o.Worse > 0 {
			s.Worse++
		}
		if o.Look {
			s.FalseNo++
		}
	}
	return out
}

// Wilson is the 95 % confidence interval of a share (Wilson 1927; from memory), 0 to 1.
func Wilson(hits, of int) (low, high float64) {
	if of == 0 {
		return 0, 1
	}
	const z = 1.959964
	n, p := float64(of), float64(hits)/float64(of)
	mid, half := p+z*z/(2*n), z*math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return (mid - half) / (1 + z*z/n), (mid + half) / (1 + z*z/n)
}

func share(hits, of int) string {
	low, high := Wilson(hits, of)
	return fmt.Sprintf("%.1f %% (%.1f to %.1f)", 100*float64(hits)/float64(max(of, 1)), 100*low, 100*high)
}

// String is one line with shares and their 95 % intervals.
func (s Summary) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %d studios; on target", s.Name, s.Studios)
	for k, n := range s.After {
		fmt.Fprintf(&b, ", after %d: %s", k, share(n, s.Studios))
	}
	fmt.Fprintf(&b, "; never %d; for the worse %d; wrongly out of reach %d; truly out of reach %d; skipped %d", s.Never, s.Worse, s.FalseNo, s.Unreached, s.Skipped)
	return b.String()
}
