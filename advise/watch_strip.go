package advise

import (
	"math"

	"thirdstop/advise/drift"
	"thirdstop/advise/rig"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// stripName is the detectors' name of a declared grey strip.
const stripName = "witness"

// stripSigma is what it differs by from frame to frame besides the flashes' scatter: it never moves.
const stripSigma exposure.Stops = 0.01

// strip is the level of the grey strip in a reading. Where it lies elsewhere than before, or is another, its
// levels so far say nothing.
func (w *watching) strip(r *assess.Reading) rig.Measured {
	x := r.Regions.Witness
	if x == nil {
		return rig.Measured{}
	}
	if x.Box != w.StripAt {
		w.StripAt = x.Box
		places := make([]place, len(w.Places))
		for i, p := range w.Places {
			p.Strip = anchor{}
			places[i] = p
		}
		w.Places = places
		w.Neutral[witnessNeutral], w.Chart[witnessNeutral] = assess.Channels{}, assess.Channels{}
	}
	return rig.Measured{OK: true, Value: x.Value.Round(), Sigma: max(x.Sigma.Round(), 0.02), AtLeast: x.AtLeast}
}

// stripResidual is what the strip shows beside its level under this setting; nothing where that isn't known yet. Which
// light makes its light isn't known either: it tells that something changed, and when.
func (w *watching) stripResidual(at int, y rig.Measured) []drift.Residual {
	a := w.Places[at].Strip
	if !y.OK || y.AtLeast || !a.Known {
		return nil
	}
	return []drift.Residual{{Region: stripName, Value: (y.Value - a.Level).Round(), Sigma: stripSigma,
		Doubt: exposure.Stops(math.Sqrt(a.Var)).Round(), Witnessed: true}}
}

// stripVar is the variance of the strip's level in one frame.
func (w *watching) stripVar() float64 {
	return math.Pow(float64(w.Drift.Scatter(stripName)), 2) + math.Pow(float64(stripSigma), 2)
}
