package trial

import (
	"reflect"
	"testing"
	"thirdstop/testdata"
)

// A small closed loop on pictures, for every change: readings through the camera's own
// curve, plans whose distances are 30 % wrong. The bounds are what was found over some hundred
// studios, with room for chance (derived here: one in twenty takes longer, so one of six may); `thirdstop evaluate advice` tries as many as wanted.
func TestAdviceLeadsOnTargetInVirtualStudios(t *testing.T) {
	n := 24
	if !testdata.Thorough() {
		n = 6
	}
	all, err := Run(t.Context(), Options{Studios: n, Seed: 500, Scatter: 0.03, Own: true, Wrong: 0.3, Off: 2})
	if err != nil {
		t.Fatal(err)
	}
	tried, never, late := 0, 0, 0
	for _, o := range all {
		if o.Skipped != "" || !o.Reach {
			continue
		}
		tried++
		switch {
		case o.OnTarget == 0:
			never++
			t.Logf("never on target: %+v", o)
		case o.OnTarget > 4 || !o.Clipped && o.OnTarget > 3:
			late++
		}
	}
	for _, s := range Sum(all) {
		t.Logf("%+v", s)
	}
	if tried < n/2 {
		t.Fatalf("only %d of %d studios could be tried", tried, n)
	}
	if never > tried/20 || late > max(tried/10, 1) {
		t.Errorf("of %d studios %d never came on target and %d only after more than two corrections (three from a clipped start), want at most %d and %d", tried, never, late, tried/20, max(tried/10, 1))
	}
}

func TestSameOptionsSameOutcomes(t *testing.T) {
	o := Options{Studios: 2, Seed: 900, Own: true, Wrong: 0.3, Off: 2}
	a, _ := Run(t.Context(), o)
	if b, _ := Run(t.Context(), o); !reflect.DeepEqual(a, b) {
		t.Errorf("two runs gave %+v and %+v", a, b)
	}
}

// Source: the worked values of the score interval for 0, 5 and 10 of 10 at 95 %, from
// memory: 0 to 0.278, 0.237 to 0.763, 0.722 to 1.
func TestWilson(t *testing.T) {
	for _, tc := range []struct {
		hits      int
		low, high float64
	}{{0, 0, 0.278}, {5, 0.237, 0.763}, {10, 0.722, 1}} {
		low, high := Wilson(tc.hits, 10)
		if low < tc.low-0.001 || low > tc.low+0.001 || high < tc.high-0.001 || high > tc.high+0.001 {
			t.Errorf("Wilson(%d, 10) = %.3f to %.3f, want %.3f to %.3f", tc.hits, low, high, tc.low, tc.high)
		}
	}
}
