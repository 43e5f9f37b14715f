package rig

import "thirdstop/assess/exposure"

// After is the fit as it would be after one more frame under a setting that shows every region just as
// predicted: how sure one will be, not where the coefficients will lie. Regions that are not to be
// seen in it are left out.
func (m Model) After(set Setting, sigma exposure.Stops, shown []bool) Fit {
	before := m.Fit()
	o := Observation{Setting: set, Levels: make([]Measured, m.Spec.Regions), Count: 1}
	for r, p := range before.Predict(set) {
		if r < len(shown) && shown[r] && p.Value < 0 { // what clips tells next to nothing
			o.Levels[r] = Measured{OK: true, Value: p.Value, Sigma: sigma}
		}
	}
	return m.With(o).Fit()
}
