package tone

import (
	"math"
	"sort"

	"thirdstop/assess/exposure"
)

// Pair is one place seen in two frames that differ in exposure by a known step:
// its mean code values, 0 to 255, in the frame with more and in the one with less.
// A channel that clips in the lighter frame is shown by Clipped and says only that
// its light is at the edge or over; in the darker one no channel may clip.
type Pair struct {
	Light, Dark [3]float64
	Clipped     [3]bool // practically every sample of the place clips in the lighter frame
	Part        [3]bool // some do, and how far under the edge the place lies can't be said
	X, Y        float64 // middle of the place, in fractions of the upright frame
}

// Step is what two frames of one unmoved scene say of the curve.
type Step struct {
	LightFrame, DarkFrame int            // numbers that tell frames apart: a frame's own error counts in all its steps
	Ratio                 exposure.Stops // how much more exposure the lighter one got, over 0
	Sigma                 exposure.Stops // one standard deviation of Ratio: shutter or flash scatter
	Pairs                 []Pair
}

// The limits of codes that are learned from. Under lowest, noise is cut off at 0 and
// what is left is rounding; over highest, a place can't be told from one that lies over the edge. Half of the places at topmost clip.
const (
	lowest  = 3.0
	highest = 254.9
	topmost = 253.5
)

// Where the response is judged to be fixed or not: clear of both ends, where noise
// and rounding move levels by themselves.
const (
	judgeFrom = 20.0
	judgeTo   = 245.0
)

// clipCode is the code from which a sample counts as clipped.
const clipCode = 254

// A seen is one line of the fit: the median of many pairs of one step, channel and
// small range of codes, so that a sitter who moves through some of them has no say.
type seen struct {
	step, ch    int
	light, dark float64 // codes
	sigma       float64 // stops, of the difference in level
	atLeast     bool    // the lighter one clips: dark is no more than the ratio under the edge
	pairs       int
}

// axis is the coordinate in which a curve is smooth: the code's log odds, with both ends moved out, so that
// the shadows and the shoulder are given as much room as the mid-tones.
func axis(code float64) float64 { return math.Log((code + 3) / (258 - code)) }

func unaxis(x float64) float64 {
	e := math.Exp(x)
	return (258*e - 3) / (1 + e)
}

// binWidth along the axis; a scene of all tones fills some fifty of them.
const binWidth = 0.12

// fewest pairs make a line.
const fewest = 5

// gather makes lines of a step's pairs, under a curve that is about right.
func gather(n int, s *Step, about *Curve) []seen {
	var out []seen
	for ch := range 3 {
		bins := make(map[int][]int)
		var in, over []float64 // codes of places that don't clip, and that do
		for i := range s.Pairs {
			p := &s.Pairs[i]
			if !(p.Dark[ch] >= lowest && p.Dark[ch] <= topmost) {
				continue
			}
			switch {
			case p.Clipped[ch]:
				over = append(over, p.Dark[ch])
			case !p.Part[ch] && p.Light[ch] <= topmost:
				in = append(in, p.Dark[ch])
			}
			if p.Clipped[ch] || p.Part[ch] || !(p.Light[ch] <= highest && p.Light[ch] > lowest) {
				continue
			}
			// By both codes: by one of them, noise in it alone would decide who is in.
			b := int(math.Floor((axis(p.Light[ch]) + axis(p.Dark[ch])) / (2 * binWidth)))
			bins[b] = append(bins[b], i)
		}
		for _, b := range sortedKeys(bins) {
			if line, ok := median(s.Pairs, bins[b], ch, about); ok {
				line.step, line.ch = n, ch
				out = append(out, line)
			}
		}
		if at, ok := border(in, over); ok {
			out = append(out, seen{step: n, ch: ch, light: clipCode, dark: at, sigma: 0.03, atLeast: true, pairs: len(over)})
		}
	}
	return out
}

// roughness is how far a mean code may be off where noise doesn't even out the
// rounding, one standard deviation in codes; what a median of pairs can't be better
// than (lens, neighbours of other brightness) is added in stops. Both derived here from the
// residuals of a real bracket.
const (
	roughness = 0.15
	leastOff  = 0.008
)

func median(pairs []Pair, of []int, ch int, about *Curve) (seen, bool) {
	if len(of) < fewest {
		return seen{}, false
	}
	codes, diffs := make([]float64, len(of)), make([]float64, len(of))
	for k, i := range of {
		codes[k] = pairs[i].Light[ch]
		diffs[k] = about.level(ch, pairs[i].Light[ch]) - about.level(ch, pairs[i].Dark[ch])
	}
	d, spread := middle(diffs)
	light, _ := middle(codes)
	dark := about.codeAt(ch, about.level(ch, light)-d)
	if dark < lowest {
		return seen{}, false
	}
	// Neighbouring places share what is wrong with them, so past 25 more pairs don't count.
	noise := 1.2533 * spread / math.Sqrt(float64(min(len(of), 25)))
	rough := roughness * math.Hypot(float64(about.Steepness(ch, light)), float64(about.Steepness(ch, dark)))
	return seen{light: light, dark: dark, sigma: math.Hypot(math.Hypot(noise, rough), leastOff), pairs: len(of)}, true
}

// level is the level at a code, without the floor.
func (c *Curve) level(ch int, code float64) float64 {
	return math.Log2(max(c.Linear(ch, code), 1e-9))
}

func (c *Curve) codeAt(ch int, level float64) float64 { return c.Code(ch, math.Exp2(level)) }

// middle is the median of values and their spread, as a standard deviation, from the
// median distance to it (1.4826 times, for the normal distribution). It reorders v.
func middle(v []float64) (m, spread float64) {
	if len(v) == 0 {
		return 0, 0
	}
	sort.Float64s(v)
	m = v[len(v)/2]
	if len(v)%2 == 0 {
		m = (m + v[len(v)/2-1]) / 2
	}
	d := make([]float64, len(v))
	for i := range v {
		d[i] = math.Abs(v[i] - m)
	}
	sort.Float64s(d)
	return m, 1.4826 * d[len(d)/2]
}

func sortedKeys[V any](m map[int]V) []int {
	keys := make([]int, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Ints(keys)
	return keys
}

// border is the code that parts places that clip in the lighter frame from those that don't with
// the fewest on the wrong side: those that moved are there. It is the lowest code on the clipped side.
func border(in, over []float64) (float64, bool) {
	const least = 2 * fewest
	if len(over) < least {
		return 0, false
	}
	sort.Float64s(in)
	sort.Float64s(over)
	best, at := math.MaxInt, 0
	for k := range over {
		wrong := k + len(in) - sort.SearchFloat64s(in, over[k])
		if wrong < best {
			best, at = wrong, k
		}
	}
	if len(over)-at < least || best > len(over)/4 {
		return 0, false
	}
	return over[at], true
}
