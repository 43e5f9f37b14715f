package rig

import (
	"math"
	"testing"

	"thirdstop/assess/exposure"
)

// Coefficients can't be negative, as in non-negative least squares (Lawson & Hanson 1974). Source: the self-test of GNU
// Octave's lsqnonneg with C as here and d = [.8587 .1781 .0747 .8405], whose solution is [0, 0.6929344]; without the bound it
// is [-2.56, 3.11]. The fit works in stops, so it is given what that solution makes of C, and must find it again: the
// second light makes everything, and the first as good as nothing.
func TestTheFitFindsANonNegativeSolution(t *testing.T) {
	c := [4][2]float64{{0.0372, 0.2869}, {0.6861, 0.7071}, {0.6233, 0.6245}, {0.6344, 0.6170}}
	const x1 = 0.6929344
	m := Model{Spec: Spec{Lights: 2, Regions: 1, Priors: []Prior{
		{Of: Param{0, 0}, Sigma: 20}, {Of: Param{1, 0}, Sigma: 20}, {Of: Param{Ambient, 0}, Mean: -40, Sigma: 0.1}}}}
	for round := range 3 { // a few frames of each setting, as a shoot has
		for _, row := range c {
			s := set(0, math.Log2(row[0]), math.Log2(row[1]))
			s.Gain = exposure.Stops(float64(round) * 1e-3) // another setting, as good as the same
			m = m.With(Observation{Setting: s, Levels: seen(math.Log2(row[1]*x1) + float64(s.Gain))})
		}
	}
	f := m.Fit()
	second := math.Exp2(f.x[1])
	if math.Abs(second-x1) > 0.02 {
		t.Errorf("the second coefficient is %.4f, want %.4f", second, x1)
	}
	if first := math.Exp2(f.x[0]); first > 0.05*x1 {
		t.Errorf("the first coefficient is %.4f, want as good as nothing beside %.4f", first, x1)
	}
}
