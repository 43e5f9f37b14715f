package rig

import (
	"testing"

	"thirdstop/assess/exposure"
)

// Two lights make one region, and one frame has shown their sum: turned alike they bring it where it should be whichever
// of them makes it (a law of sums: a factor on every term is a factor on the sum), turned alone that is a bet. Once each was seen alone,
// one is enough.
func TestLightsThatAreNotToldApartAreTurnedAlike(t *testing.T) {
	spec := Spec{Lights: 2, Regions: 1, Priors: []Prior{
		{Of: Param{0, 0}, Mean: 0, Sigma: 2}, {Of: Param{1, 0}, Mean: 0, Sigma: 2}, {Of: Param{Ambient, 0}, Mean: -30, Sigma: 0.1}}}
	now := set(0, -4, -4)
	targets := []Target{{Judged: true, Low: -0.4, High: -0.05, Aim: -0.225, SlackLow: 0.2, Holds: true}}
	ranges := []Range{}
	for range 2 {
		ranges = append(ranges, Range{Now: -4 * exposure.Stop, Least: -7 * exposure.Stop, Click: exposure.Third})
	}
	m := Model{Spec: spec}.With(Observation{Setting: now, Levels: seen(-2.2)})
	f := m.Fit()
	sol := f.Solve(now, ranges, targets)
	if sol.Touched != 1 {
		t.Fatalf("the fewest lights are %d, want one: the test says nothing", sol.Touched)
	}
	both := f.Surer(now, ranges, targets, sol)
	if both.Touched != 2 || both.Dials[0] != both.Dials[1] || both.Dials[0] != -2*exposure.Stop {
		t.Errorf("lights that make -2.2 together are set to %v, want both up by two stops to the aim of -0.225", both.Dials)
	}
	if both.Levels[0].Sigma > 0.1 || sol.Levels[0].Sigma < 2*both.Levels[0].Sigma {
		t.Errorf("alike the level is known to %.2f, alone to %.2f; want alike to 0.1 and alone to much worse", float64(both.Levels[0].Sigma), float64(sol.Levels[0].Sigma))
	}
	m = m.With(Observation{Setting: set(0, -4, -99), Levels: seen(-2.4)}).With(Observation{Setting: set(0, -99, -4), Levels: seen(-5.2)})
	f = m.Fit()
	sol = f.Solve(now, ranges, targets)
	if told := f.Surer(now, ranges, targets, sol); told.Touched != 1 {
		t.Errorf("lights that were told apart are set to %v, want one turned alone", told.Dials)
	}
	ranges[1].Fixed = true
	loose := Model{Spec: spec}.With(Observation{Setting: now, Levels: seen(-2.2)}).Fit()
	if held := loose.Surer(now, ranges, targets, loose.Solve(now, ranges, targets)); held.Dials[1] != ranges[1].Now {
		t.Errorf("a light that must not be touched was set to %v", held.Dials[1])
	}
}
