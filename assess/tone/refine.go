package tone

import (
	"errors"
	"fmt"
	"math"

	"thirdstop/assess/exposure"
)

// Known is a region that was seen in two frames between which its light changed by a known step: an adjustment that
// was made, or an aperture or ISO. Its code values are medians of the region, so that where in it somebody stands doesn't matter.
type Known struct {
	Light [3]float64     `json:"light_codes"`  // red, green, blue in the lighter frame, 0 to 255; 0 where a channel says nothing
	Dark  [3]float64     `json:"dark_codes"`   // in the darker
	Ratio exposure.Stops `json:"ratio_stops"`  // how much more light the lighter one got, over 0
	Sigma exposure.Stops `json:"sigma_stops"`  // one standard deviation of Ratio: scatter of the flashes, other lights in the region
	Shoot string         `json:"shoot"`        // where it was seen,
	Frame int            `json:"frame"`        // and in which frame the change showed
	Of    string         `json:"of,omitempty"` // the region
}

// FewestKnown steps are learned from at the least.
const FewestKnown = 3

// Refine learns a camera's curve from single known steps, as far as they reach: the curve begun from (nil is [Default]) is
// changed where they speak against it, within what its sigma allows, and gets surer where they agree. It
// is [Fit] with medians of regions in place of places, and without its demands, for the prior holds what is not seen. Each step
// has an error of its own within its Sigma, so that a flash's scatter is not taken for the curve; a step that is far off counts for nothing
// (Cauchy's weights). Steps at the edge of clipping say nothing, and are to be left out.
//
// Errors wrap [ErrTooLittle], or [ErrNotFixed] where steps contradict each other by more than their sigmas.
func Refine(known []Known, begin *Curve) (*Fitted, error) {
	if begin == nil {
		begin = Default()
	}
	var steps []Step
	var lines []seen
	for _, k := range known {
		if !(k.Ratio >= 0.1 && k.Ratio <= 4) || !(k.Sigma > 0 && k.Sigma <= 1) {
			continue
		}
		n := len(steps)
		at := len(lines)
		for ch := range 3 {
			l, d := k.Light[ch], k.Dark[ch]
			if !(d >= lowest && l <= highest && l > d) {
				continue
			}
			rough := regionOff * math.Hypot(float64(begin.Steepness(ch, l)), float64(begin.Steepness(ch, d)))
			lines = append(lines, seen{step: n, ch: ch, light: l, dark: d, sigma: math.Hypot(rough, leastOff), pairs: 1})
		}
		if len(lines) > at {
			steps = append(steps, Step{LightFrame: 2 * n, DarkFrame: 2*n + 1, Ratio: k.Ratio, Sigma: k.Sigma})
		}
	}
	if len(steps) < FewestKnown {
		return nil, fmt.Errorf("%w: %d known steps, %d are the least", ErrTooLittle, len(steps), FewestKnown)
	}
	stated := make([]exposure.Stops, len(steps))
	off := make([]float64, len(steps))
	for i := range steps {
		stated[i] = steps[i].Sigma
	}
	var f *Fitted
	left := 0.0
	for round := range rounds { // a step that lies off is believed the less, the further (Cauchy's weights)
		var err error
		if f, err = solve(steps, lines, begin, endHeld); err != nil {
			return nil, err
		}
		for i := range steps {
			off[i] = float64((f.Frames[2*i] - f.Frames[2*i+1]) / stated[i])
			if round == 0 && i == len(steps)-1 {
				_, left = middle(append([]float64(nil), off...))
			}
			steps[i].Sigma = stated[i] * exposure.Stops(math.Sqrt(1+off[i]*off[i]/(tail*tail)))
		}
	}
	if len(off) >= enoughToTell && left > contradicts {
		return nil, fmt.Errorf("%w: the same change of light moves regions differently, by %.1f times its scatter", ErrNotFixed, left)
	}
	return f, nil
}

const (
	// regionOff is how far a region's median code may be off between two frames by where people and card are, in code values
	// (derived here from the virtual studio).
	regionOff = 1.0
	// rounds of weights, and from how many of its sigmas a step is believed less.
	rounds = 8
	tail   = 1.5
	// enoughToTell are the steps from which they can be told to contradict each other.
	enoughToTell = 16
	// contradicts is the spread of what they are off by, in their sigmas, from which the response is not fixed: twice what
	// scatter alone leaves. Of fewer than sixteen steps one in ten would be blamed wrongly (derived here, on the studio's curves).
	contradicts = 2.0
)

// mostKnown steps are kept of a camera, the newest.
const mostKnown = 60

// betterBy is by how much of its sigma a curve must get surer to take the place of the one before.
const betterBy = 0.08

// misfit is how badly a curve reads steps, as twice the negative logarithm of their likelihood, up to a constant: the squares of what
// they are off by in sigmas, of which those that lie far off count less (the weights of [Refine]).
func misfit(all []Known, c *Curve) float64 {
	sum := 0.0
	for _, k := range all {
		off, n := 0.0, 0.0
		for ch := range 3 {
			if l, d := k.Light[ch], k.Dark[ch]; d >= lowest && l <= highest && l > d {
				off += c.level(ch, l) - c.level(ch, d) - float64(k.Ratio)
				n++
			}
		}
		if n > 0 && k.Sigma > 0 {
			z := off / n / float64(k.Sigma)
			sum += tail * tail * math.Log1p(z*z/(tail*tail))
		}
	}
	return sum
}

// leastGain is by how much a learned curve must read its steps better than the default to be worth having: what one free number is
// charged by Akaike's criterion (1974). On 108 made-up shoots of 3 and of 6 steps it keeps all curves that got better by 0.05 stop, and of 21 each
// that got worse by as much it leaves 6 and 7; of 10 steps, 18 of 31.
const leastGain = 2.0

// Improved is a camera's entry after steps that a shoot showed: those of earlier shoots, as they are stored, and
// these, all learned from anew, so that no step counts twice. It reports false where nothing better comes of it: too few
// steps, steps that the default reads as well within their scatter, a curve hardly surer than before, or a curve that a bracket gave, which single steps are no match for. The error wraps [ErrNotFixed]
// where the steps contradict each other.
func Improved(e Entry, stored bool, key Key, shoot string, of []Known) (Entry, bool, error) {
	if stored && len(e.Known) == 0 {
		return e, false, nil
	}
	var all []Known
	for _, k := range e.Known {
		if k.Shoot != shoot {
			all = append(all, k)
		}
	}
	for _, k := range of {
		k.Shoot = shoot
		all = append(all, k)
	}
	if n := len(all); n > mostKnown {
		all = all[n-mostKnown:]
	}
	f, err := Refine(all, nil)
	if err != nil {
		if errors.Is(err, ErrTooLittle) {
			err = nil
		}
		return e, false, err
	}
	if misfit(all, Default())-misfit(all, f.Curve) < leastGain {
		return e, false, nil
	}
	was := Default()
	if stored {
		was = e.Curve
	}
	if f.Curve.SigmaOneStopUnder() > was.SigmaOneStopUnder()*(1-betterBy) {
		return e, false, nil
	}
	return Entry{Version: EntryVersion, Key: key, Curve: f.Curve, Frames: 2 * len(all), From: f.From, To: f.To, Known: all}, true, nil
}
