package rig

import (
	"math"
	"testing"
)

// Derived here: a change is the difference of two predictions, and between equal settings nothing is unsure.
func TestAChangeIsTheDifferenceOfTwoPredictions(t *testing.T) {
	f := alone(seen(-3, -4), seen(-5, -3))
	from, to := set(0, -4, -4), set(0, -3, -4)
	a, b := f.Predict(from), f.Predict(to)
	for r, c := range f.Change(from, to) {
		near(t, "the change by a stop of the first light", c.Value, float64(b[r].Value-a[r].Value), 1e-9)
		if c.Sigma > a[r].Sigma+b[r].Sigma {
			t.Errorf("region %d: the change is less sure (%.4f) than both its ends", r, float64(c.Sigma))
		}
	}
	for r, c := range f.Change(from, from) {
		if c.Value != 0 || c.Sigma != 0 {
			t.Errorf("region %d changes by %v give or take %v between equal settings", r, c.Value, c.Sigma)
		}
	}
}

// Derived here: of two lights' shares, which add up to nearly 1, each is as unsure as the other, and a
// share that hardly any frame told is less sure than one that both lights' own frames told.
func TestSharesSayHowSureTheyAre(t *testing.T) {
	known := alone(seen(-3, -4), seen(-5, -3))
	both := Model{Spec: two()}.With(Observation{Setting: set(0, 0, 0), Levels: seen(-3, -3)}).Fit()
	at := set(0, 0, 0)
	k, b := known.ShareSigmas(at, 0), both.ShareSigmas(at, 0)
	if math.Abs(k[0]-k[1]) > 1e-3 {
		t.Errorf("two shares that add up to 1 are unsure by %.4f and %.4f", k[0], k[1])
	}
	if k[0] > 0.05 || b[0] < 0.2 {
		t.Errorf("a share told by frames of each light alone is unsure by %.3f, one told by both together by %.3f", k[0], b[0])
	}
}

// A light whose strength is not known any more keeps what it does where, and the next frame says how much there is.
func TestAnUnsureLightKeepsSharesAndLearnsTheLevelAnew(t *testing.T) {
	m := aloneModel(seen(-3, -4), seen(-5, -3))
	f := m.Fit()
	at := set(0, 0, 0)
	before := f.Predict(at)
	m = m.Swapped(Shift{Of: All([]int{0}, []int{0, 1}), Sigma: 0.7}, Shift{Of: All([]int{1}, []int{0, 1}), Sigma: 0.7})
	m = m.With(Observation{Setting: at, Levels: seen(float64(before[0].Value)-1, float64(before[1].Value)-1)})
	g := m.Fit()
	near(t, "the level a stop down", g.Predict(at)[0].Value, float64(before[0].Value)-1, 0.05)
	if a, b := f.Shares(at, 0), g.Shares(at, 0); math.Abs(a[0]-b[0]) > 0.1 {
		t.Errorf("the first light's share was %.2f and is %.2f", a[0], b[0])
	}
}
