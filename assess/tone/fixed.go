package tone

import (
	"fmt"
	"math"
	"sort"

	"thirdstop/assess/exposure"
)

// Refusals. A camera whose JPEG follows from light alone moves every place of one tone by
// the same number of codes, wherever it lies, and moves equal tones alike in every frame. Local tone mapping breaks
// the first, a curve chosen anew for each frame and edited exports the second. The limits are derived here: several
// times what a real bracket and the virtual studio leave, and well under what such renderings do.
const (
	tiles         = 8    // across and down
	perTile       = 6    // places that a tile needs to be judged
	moveLimit     = 0.06 // stops that a tile may move otherwise than its tones elsewhere do
	movedShare    = 0.20 // of all tiles; a sitter who moves disturbs fewer
	leftLimit     = 0.05 // stops, robust spread of what one curve leaves
	exposureLimit = 5    // standard deviations by which a frame's exposure may be off
	exposureFloor = 0.15 // and stops under which it doesn't matter
)

// moves refuses frames in which equal tones move differently by where they lie.
func moves(steps []Step, about *Curve) error {
	judged, moved := 0, 0
	var sizes []float64
	for n := range steps {
		s := &steps[n]
		var by [tiles * tiles][]float64
		for ch := range 3 {
			bins := make(map[int][]int)
			for i := range s.Pairs {
				p := &s.Pairs[i]
				if p.Dark[ch] >= judgeFrom && p.Light[ch] <= judgeTo && !p.Clipped[ch] && !p.Part[ch] {
					b := int(math.Floor(axis(p.Light[ch]) / binWidth))
					bins[b] = append(bins[b], i)
				}
			}
			for _, b := range sortedKeys(bins) {
				of := bins[b]
				if len(of) < 2*perTile {
					continue
				}
				rest := trendless(s.Pairs, of, ch, about)
				for k, i := range of {
					t := tile(s.Pairs[i].Y)*tiles + tile(s.Pairs[i].X)
					by[t] = append(by[t], rest[k])
				}
			}
		}
		for _, v := range by {
			if len(v) < perTile {
				continue
			}
			m, spread := middle(v)
			judged++
			sizes = append(sizes, math.Abs(m))
			if math.Abs(m) > max(moveLimit, 4*1.2533*spread/math.Sqrt(float64(len(v)))) {
				moved++
			}
		}
	}
	if judged >= 8 && float64(moved) > movedShare*float64(judged) {
		m, _ := middle(sizes)
		return fmt.Errorf("%w: places of equal brightness moved differently from frame to frame, by %.2f stop in the middle, in %d of %d parts of the picture; "+
			"switch off the camera's automatic tone or shadow settings, use its own files and keep camera, light and scene still",
			ErrNotFixed, m, moved, judged)
	}
	return nil
}

func tile(x float64) int { return min(max(int(x*tiles), 0), tiles-1) }

// trendless is how far each place of a bin lies from the bin's median step in level, the straight
// trend over the bin's own width taken out.
func trendless(pairs []Pair, of []int, ch int, about *Curve) []float64 {
	d := make([]float64, len(of))
	x := make([]float64, len(of))
	for k, i := range of {
		d[k] = about.level(ch, pairs[i].Light[ch]) - about.level(ch, pairs[i].Dark[ch])
		x[k] = axis(pairs[i].Light[ch])
	}
	m, spread := middle(append([]float64(nil), d...))
	mx, _ := middle(append([]float64(nil), x...))
	var xy, xx float64
	for k := range d {
		if math.Abs(d[k]-m) <= 3*spread {
			xy += (x[k] - mx) * (d[k] - m)
			xx += (x[k] - mx) * (x[k] - mx)
		}
	}
	slope := 0.0
	if xx > 0 {
		slope = xy / xx
	}
	for k := range d {
		d[k] -= m + slope*(x[k]-mx)
	}
	return d
}

// fixed refuses a fit that one curve doesn't explain.
func (f *Fitted) fixed(steps []Step) error {
	if f.Off > leftLimit {
		return fmt.Errorf("%w: the best single curve still leaves ±%.2f stop between frames, a fixed one leaves under %.2f; "+
			"switch off automatic tone, picture effects and automatic ISO, use the camera's own files, and a light that doesn't flicker", ErrNotFixed, float64(f.Off), leftLimit)
	}
	worst, at, expected := exposure.Stops(0), 0, exposure.Stops(0)
	for i := range steps {
		for _, frame := range []int{steps[i].LightFrame, steps[i].DarkFrame} {
			e := max(f.Frames[frame], -f.Frames[frame])
			limit := max(exposureLimit*steps[i].Sigma/math.Sqrt2, exposureFloor)
			if e > limit && e > worst {
				worst, at, expected = e, frame, limit
			}
		}
	}
	if worst > 0 {
		return fmt.Errorf("%w: frame %d is brighter or darker by %.2f stop than its settings say, at most %.2f can be scatter; "+
			"an automatic setting, a change of light or an edit is the likely cause", ErrNotFixed, at+1, float64(worst), float64(expected))
	}
	return nil
}

// Miss is by how much a curve reads a step wrong.
type Miss struct {
	Step      int            // index of the step
	Code      float64        // in the lighter frame
	Dark      float64        // in the darker
	Channel   int            // 0 red, 1 green, 2 blue
	Off       exposure.Stops // step read minus true step
	Sigma     exposure.Stops // what the curve's sigmas and the step's own let expect
	Correct   exposure.Stops // the step as it was
	Measured  exposure.Stops // the step as read
	OfPlaces  int            // places whose median this is
	LeftFrame int            // the frame that was left out
}

// Misses reads steps with a curve: one miss for each channel and small range of codes. Clipped
// places, and codes under 3, are left out.
func Misses(steps []Step, c *Curve) []Miss {
	var out []Miss
	for i := range steps {
		s := &steps[i]
		for _, l := range gather(i, s, c) {
			if l.atLeast {
				continue
			}
			read := c.level(l.ch, l.light) - c.level(l.ch, l.dark)
			sigma := math.Hypot(math.Hypot(float64(c.Sigma(l.ch, l.light)), float64(c.Sigma(l.ch, l.dark))), math.Hypot(l.sigma, float64(s.Sigma)))
			out = append(out, Miss{Step: i, Code: l.light, Dark: l.dark, Channel: l.ch, Off: exposure.Stops(read) - s.Ratio,
				Sigma: exposure.Stops(sigma), Correct: s.Ratio, Measured: exposure.Stops(read), OfPlaces: l.pairs})
		}
	}
	return out
}

// LeaveOneOut learns anew for each frame, without the steps it is part of, and reads those
// steps with the curve that never saw the frame. Frames without which too little is left are skipped. Earlier brackets are learned from
// each time.
func LeaveOneOut(steps []Step, begin *Curve, earlier ...Bracket) []Miss {
	if begin == nil {
		begin = Default()
	}
	lines := make([][]seen, len(steps))
	frames := make(map[int]bool)
	for i := range steps {
		lines[i] = gather(i, &steps[i], begin)
		frames[steps[i].LightFrame], frames[steps[i].DarkFrame] = true, true
	}
	var out []Miss
	for _, frame := range sortedKeys(frames) {
		kept := Bracket{steps: steps}
		var test []Step
		var index []int
		for i := range steps {
			if steps[i].LightFrame == frame || steps[i].DarkFrame == frame {
				test, index = append(test, steps[i]), append(index, i)
			} else {
				kept.lines = append(kept.lines, lines[i]...)
			}
		}
		kept = kept.with(earlier)
		f, err := fit(kept.steps, kept.lines, begin)
		if err != nil {
			continue
		}
		for _, m := range Misses(test, f.Curve) {
			m.Step, m.LeftFrame = index[m.Step], frame
			out = append(out, m)
		}
	}
	return out
}

// Spread is the median and the 95th percentile of the sizes of misses whose codes lie in a range; 0 where there are none.
func Spread(all []Miss, from, to float64) (median, most exposure.Stops) {
	var v []float64
	for _, x := range all {
		if x.Dark >= from && x.Code <= to {
			v = append(v, math.Abs(float64(x.Off)))
		}
	}
	if len(v) == 0 {
		return 0, 0
	}
	sort.Float64s(v)
	return exposure.Stops(v[len(v)/2]), exposure.Stops(v[len(v)*95/100])
}

// Still refuses, by [ErrNotFixed], a step between two frames in which places of equal brightness moved differently:
// somebody or the camera moved, the light changed, or the camera set its tone by itself.
func Still(s Step) error { return moves([]Step{s}, Default()) }
