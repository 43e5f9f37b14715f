package rig

import (
	"slices"

	"thirdstop/assess/exposure"
)

// Surer looks whether one more light, turned along with one of a solution's by the same stops, makes the next frame surer.
// Where frames have not told yet which of two lights makes a region, turning one alone is a bet on its share; turning
// both alike brings the region where it should be whichever it is, and leaves their ratio as it was. It costs a light more,
// so it must take away a good part of the misses to be expected.
func (f Fit) Surer(set Setting, ranges []Range, targets []Target, sol Solution) Solution {
	if sol.Touched == 0 || !unsureOf(sol.Levels, targets) {
		return sol
	}
	best, least := sol.Dials, f.expectedMiss(set, ranges, targets, sol.Dials)
	limit := least*alongGain - alongWorth
	for l, r := range ranges {
		if sol.Dials[l] == r.Now {
			continue
		}
		for u, other := range ranges {
			if other.Fixed || sol.Dials[u] != other.Now {
				continue
			}
			trial := slices.Clone(sol.Dials)
			for d := r.Least; d <= r.Most; d += max(r.Click, thirdOf(r.Click)) {
				if by := d - r.Now; by == 0 || sign(by) != sign(sol.Dials[l]-r.Now) {
					continue
				}
				trial[l], trial[u] = d, other.clicked(other.Now+d-r.Now)
				if m := f.expectedMiss(set, ranges, targets, trial); m < limit {
					best, least, limit = slices.Clone(trial), m, m
				}
			}
		}
	}
	if slices.Equal(best, sol.Dials) {
		return sol
	}
	for range 2 * len(ranges) { // the rest by single clicks: what one light took over, another need not give any more
		next, gained := []exposure.Dial(nil), least-1e-4
		for l, r := range ranges {
			if best[l] == r.Now {
				continue
			}
			trial := slices.Clone(best)
			for d := max(r.Least, best[l]-exposure.Stop); d <= min(r.Most, best[l]+exposure.Stop); d += max(r.Click, 1) {
				trial[l] = d
				if m := f.expectedMiss(set, ranges, targets, trial); m < gained {
					next, gained = slices.Clone(trial), m
				}
			}
		}
		if next == nil {
			break
		}
		best, least = next, gained
	}
	s := search{fit: f, set: set, ranges: ranges, targets: targets}
	s.prepare()
	met := sol.Met
	sol = s.solution(best)
	sol.Met = met
	return sol
}

const (
	alongGain  = 0.8  // what may be left of the misses to be expected, for one light more to be worth it
	alongWorth = 0.03 // and so many stops must be saved besides
)

// clicked is the nearest setting of the dial.
func (r Range) clicked(d exposure.Dial) exposure.Dial {
	click := max(r.Click, 1)
	d = max(r.Least, min(r.Most, d))
	return min(r.Most, r.Least+(d-r.Least+click/2)/click*click)
}

// thirdOf is the stride in which a dial is walked through: about a third of a stop, in whole clicks.
func thirdOf(click exposure.Dial) exposure.Dial {
	click = max(click, 1)
	return exposure.Third / click * click
}
