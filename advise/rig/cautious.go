package rig

import (
	"math"
	"slices"

	"thirdstop/assess/exposure"
)

// Cautious takes turns of a solution back as far as that lowers what is to be expected of
// the next frame: not the misses at the predicted levels, but their mean over how far the
// levels may lie from there. A solution that the model is sure of stays as it is; one that rests on a
// guess goes only so far that being wrong about it costs least. Lights in keep are left as the
// solution has them.
func (f Fit) Cautious(set Setting, ranges []Range, targets []Target, sol Solution, keep func(light int) bool) Solution {
	if sol.Touched == 0 || !unsureOf(sol.Levels, targets) {
		return sol
	}
	s := search{fit: f, set: set, ranges: ranges, targets: targets}
	s.prepare()
	best := slices.Clone(sol.Dials)
	least := f.expectedMiss(set, ranges, targets, best)
	for range 3 * len(ranges) { // one light after the other, whichever gains most, so that their order decides nothing
		next, gained := []exposure.Dial(nil), least*(1-gainWorth)
		for l, r := range ranges {
			from, to := r.Now, sol.Dials[l]
			if from == to || keep(l) {
				continue
			}
			trial := slices.Clone(best)
			for d := to; ; d -= sign(to-from) * max(r.Click, 1) {
				if (to-from)*(d-from) <= 0 { // from on, or past it where a dial stands between clicks
					d = from
				}
				trial[l] = d
				if m := f.expectedMiss(set, ranges, targets, trial); m < gained {
					next, gained = slices.Clone(trial), m
				}
				if d == from {
					break
				}
			}
		}
		if next == nil {
			break
		}
		best, least = next, gained
	}
	if slices.Equal(best, sol.Dials) {
		return sol
	}
	met := sol.Met
	sol = s.solution(best)
	sol.Met = met // the targets can be met; it is only not yet known how
	return sol
}

const (
	cautionFrom = exposure.Stops(0.15) // sigma of a predicted level up to which a solution is taken at its word
	gainWorth   = 0.02                 // part of the expected misses that taking a turn back must save
)

func sign(d exposure.Dial) exposure.Dial {
	if d < 0 {
		return -1
	}
	return 1
}

func unsureOf(levels []Level, targets []Target) bool {
	for k, y := range levels {
		if targets[k].Judged && y.Sigma > cautionFrom {
			return true
		}
	}
	return false
}

// expectedMiss is the mean, over a Gaussian belief about each region, of how far it lies outside its target, in stops; over a
// target that must hold it counts for more. Mean of an exceedance: sigma*phi(z) + d*Phi(z), z = d/sigma (a
// standard integral of the normal density).
func (f Fit) expectedMiss(set Setting, ranges []Range, targets []Target, dials []exposure.Dial) float64 {
	set.Power = slices.Clone(set.Power)
	for l, d := range dials {
		set.Power[l] = ranges[l].Base + d.Stops()
	}
	var sum float64
	for k, y := range f.Predict(set) {
		t := targets[k]
		if !t.Judged {
			continue
		}
		s := math.Hypot(float64(y.Sigma), float64(scatterSigma))
		over := exceed(float64(y.Value-t.High-t.SlackHigh), s)
		switch {
		case t.Holds && t.Clips:
			over *= backCost
		case t.Holds:
			over *= keepCost
		}
		sum += over
		if !t.UpperOnly {
			sum += exceed(float64(t.Low-t.SlackLow-y.Value), s)
		}
	}
	return math.Round(sum*1e5) / 1e5
}

// What a blown white costs against one that is too dark. From a frame that holds it, what is lost is lost, and the frame
// tells little of where the light stands: of first guesses about one in seven may blow it (one in keepCost and one).
// One that is blown already is brought down in the fewest frames.
const (
	keepCost = 6
	backCost = 1.2
)

func exceed(d, sigma float64) float64 {
	z := d / sigma
	return sigma*math.Exp(-z*z/2)/math.Sqrt(2*math.Pi) + d*(1+math.Erf(z/math.Sqrt2))/2
}
