package trial

import (
	"fmt"
	"io"
	"math"
	"slices"
)

// Summary counts the outcomes of one kind of studio.
type Summary struct {
	Name      string
	Studios   int    // in which power alone can reach the targets
	After     [5]int // on target in truth after no, one, two, three and four corrections, and from then on
	Never     int
	Worse     int    // studios with a correction for the worse
	Clips     int    // studios with a correction after which a white clips that held
	Turns     int    // dials turned, all together
	FalseNo   int    // power could, and the advice said it can't
	Unreached int    // power can't
	Skipped   int    // nothing to try
	Walked    int    // frames that the set-up walks took, all together
	First     int    // walks whose first frame of all lights left nothing to turn
	Looked    int    // studios of which it is known how few lights had to be turned, and that came on target
	Excess    [3]int // of these with no light more than that, one more, two or more; fewer count as none
	FirstHeld int    // walks in which every target held in truth in that frame
}

// kinds are what the outcomes are counted by.
var kinds = []struct {
	name string
	is   func(Outcome) bool
}{
	{"unclipped start", func(o Outcome) bool { return !o.Clipped }},
	{"unclipped start, every light with a region of its own", func(o Outcome) bool { return !o.Clipped && o.Apart }},
	{"unclipped start, with a fill beside the key", func(o Outcome) bool { return !o.Clipped && !o.Apart }},
	{"clipped start", func(o Outcome) bool { return o.Clipped }},
	{"clipped start, every light with a region of its own", func(o Outcome) bool { return o.Clipped && o.Apart }},
	{"clipped start, with a fill beside the key", func(o Outcome) bool { return o.Clipped && !o.Apart }},
}

// afterWalk is what they are counted by where the set-up was walked: it begins with every light turned down.
var afterWalk = []struct {
	name string
	is   func(Outcome) bool
}{
	{"set-up walked", func(o Outcome) bool { return true }},
	{"set-up walked, every light with a region of its own", func(o Outcome) bool { return o.Apart }},
	{"set-up walked, with a fill beside the key", func(o Outcome) bool { return !o.Apart }},
}

// Sum counts outcomes by kind of start and rig, in one and the same order.
func Sum(all []Outcome) []Summary {
	var out []Summary
	by := kinds
	if slices.ContainsFunc(all, func(o Outcome) bool { return o.Walked > 0 }) {
		by = afterWalk
	}
	for _, k := range by {
		s := Summary{Name: k.name}
		for _, o := range all {
			if k.is(o) {
				s.add(o)
			}
		}
		out = append(out, s)
	}
	return out
}

func (s *Summary) add(o Outcome) {
	switch {
	case o.Skipped != "":
		s.Skipped++
		return
	case !o.Reach:
		s.Unreached++
		return
	}
	s.Studios++
	s.Walked += o.Walked
	if o.First {
		s.First++
	}
	if o.FirstHeld {
		s.FirstHeld++
	}
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
	if o.Clips > 0 {
		s.Clips++
	}
	s.Turns += o.Turns
	if o.Least >= 0 && o.OnTarget > 0 {
		s.Looked++
		s.Excess[max(0, min(2, o.Turned-o.Least))]++
	}
	if o.Look {
		s.FalseNo++
	}
}

// Wilson is the 95 % confidence interval of a share (Wilson 1927; from memory), 0 to 1.
func Wilson(hits, of int) (low, high float64) {
	if of == 0 {
		return 0, 1
	}
	const z = 1.959964
	n, p := float64(of), float64(hits)/float64(of)
	mid, half := p+z*z/(2*n), z*math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return max(0, (mid-half)/(1+z*z/n)), min(1, (mid+half)/(1+z*z/n))
}

func share(hits, of int) string {
	if of == 0 {
		return ""
	}
	low, high := Wilson(hits, of)
	return fmt.Sprintf("%.1f %% (%.1f to %.1f)", 100*float64(hits)/float64(of), 100*low, 100*high)
}

// WriteTable prints Markdown: shares with their 95 % confidence intervals.
func WriteTable(w io.Writer, all []Summary) error {
	fmt.Fprintln(w, "| studios | number | on target at once | after one correction | after two | after three | after four | a correction for the worse | a white clips that held | dials turned | wrongly \"out of reach\" | truly out of reach | skipped |")
	fmt.Fprintln(w, "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |")
	for _, s := range all {
		fmt.Fprintf(w, "| %s | %d |", s.Name, s.Studios)
		for _, n := range s.After {
			fmt.Fprintf(w, " %s |", share(n, s.Studios))
		}
		fmt.Fprintf(w, " %s | %s | %.1f | %s | %d | %d |\n", share(s.Worse, s.Studios), share(s.Clips, s.Studios), float64(s.Turns)/float64(max(s.Studios, 1)), share(s.FalseNo, s.Studios), s.Unreached, s.Skipped)
	}
	for _, s := range all {
		if s.Walked > 0 {
			fmt.Fprintf(w, "\n%s: %.1f frames a walk; the first frame of all lights on target in %s, and with nothing left to turn in %s.\n", s.Name, float64(s.Walked)/float64(s.Studios), share(s.FirstHeld, s.Studios), share(s.First, s.Studios))
		}
	}
	for _, s := range all {
		if s.Looked > 0 {
			fmt.Fprintf(w, "\n%s: of %d that came on target %s had no light turned that need not be, %s one, %s two or more, held against the least number of any settings (hair lights left out).\n", s.Name, s.Looked, share(s.Excess[0], s.Looked), share(s.Excess[1], s.Looked), share(s.Excess[2], s.Looked))
		}
	}
	_, err := fmt.Fprintln(w)
	return err
}
