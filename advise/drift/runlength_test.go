package drift

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"thirdstop/assess/exposure"
)

// printed is half a unit in the last place of a published value with three digits or more.
func printed(v float64) float64 {
	switch {
	case v >= 100:
		return 0.5
	case v >= 10:
		return 0.05
	}
	return 0.005
}

func TestCusumRunLengthsAreThoseOfLucasAndCrosier(t *testing.T) {
	checked := 0
	for _, r := range table(t, "cusum_arl.csv") {
		c, shift := Cusum{K: r["k"], H: r["h"]}, r["shift_sigma"]
		name := fmt.Sprintf("run length, h %v, shift %v", c.H, shift)
		got := c.RunLength(shift)
		near(t, name+", against another integral equation", got, r["arl_two_sided"], 1e-4*r["arl_two_sided"])
		near(t, name+", one side", c.oneSided(shift, 0), r["arl_one_sided"], 1e-4*r["arl_one_sided"])
		near(t, name+", head start", c.HeadStart(shift, c.H/2), r["arl_two_sided_fir_h_over_2"], 1e-4*r["arl_two_sided_fir_h_over_2"])
		if want, ok := r["lucas_crosier_1982_two_sided"]; ok {
			near(t, name+", Lucas & Crosier 1982 Table 1", got, want, printed(want))
			near(t, name+", the same with head start", c.HeadStart(shift, c.H/2), r["lucas_crosier_1982_fir"], printed(r["lucas_crosier_1982_fir"])+0.0005) // 1.3254 is printed as 1.32 at shift 3
			checked++
		}
	}
	if checked < 11 {
		t.Errorf("%d published values were compared, want 11", checked)
	}
	// Brook & Evans 1972, one side, h 3: 117.59 by a Markov chain; the R package spc's manual quotes it.
	near(t, "one-sided run length, k 0.5, h 3", Cusum{K: 0.5, H: 3}.oneSided(0, 0), 117.59, 0.02)
	// k 0.25, h 8, shift 2.5: 4.1500836225; k 0, h 10: 124.66 and at 0.5 20.37 (manual of the R package spc).
	near(t, "one-sided run length, k 0.25, h 8", Cusum{K: 0.25, H: 8}.oneSided(2.5, 0), 4.1500836225, 1e-4)
	near(t, "one-sided run length, k 0, h 10", Cusum{K: 0, H: 10}.oneSided(0, 0), 124.66, 0.005)
	near(t, "one-sided run length, k 0, h 10, shift 0.5", Cusum{K: 0, H: 10}.oneSided(0.5, 0), 20.37, 0.005)
}

func TestEwmaRunLengthsAreThoseOfLucasAndSaccucci(t *testing.T) {
	checked := 0
	for _, r := range table(t, "ewma_arl.csv") {
		e, shift := Ewma{Lambda: r["lambda"], L: r["L"]}, r["shift_sigma"]
		name := fmt.Sprintf("run length, lambda %v, shift %v", e.Lambda, shift)
		got := e.RunLength(shift)
		near(t, name+", against another integral equation", got, r["arl_two_sided_computed"], 1e-3*r["arl_two_sided_computed"])
		if want, ok := r["lucas_saccucci_1990"]; ok {
			near(t, name+", Lucas & Saccucci 1990 Table 3", got, want, printed(want)+0.005)
			checked++
		}
	}
	if checked < 24 {
		t.Errorf("%d published values were compared, want 24", checked)
	}
	// lambda 0.25, L 3, shift 1: 11.154267016 (manual of the R package spc).
	near(t, "run length, lambda 0.25, L 3, shift 1", Ewma{Lambda: 0.25, L: 3}.RunLength(1), 11.154267016, 1e-5)
}

// chain is the run length by a Markov chain over cells of the statistic (Brook & Evans
// 1972), Richardson-extrapolated from n and 2n cells: an independent way to the same numbers.
func chain(n int, run func(cells int) float64) float64 {
	a, b := run(n), run(2*n)
	return b + (b-a)/3
}

func absorbed(n, start int, p func(i, j int) float64) float64 {
	a, b := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
	for i := range n {
		b.SetVec(i, 1)
		for j := range n {
			v := -p(i, j)
			if i == j {
				v++
			}
			a.Set(i, j, v)
		}
	}
	var l mat.VecDense
	if err := l.SolveVec(a, b); err != nil {
		return math.NaN()
	}
	return l.AtVec(start)
}

func cusumChain(c Cusum, shift float64, cells int) float64 {
	w := 2 * c.H / float64(2*cells-1)
	return absorbed(cells, 0, func(i, j int) float64 {
		at := func(x float64) float64 { return cumulative(x + c.K - shift - float64(i)*w) }
		if j == 0 {
			return at(w / 2)
		}
		return at(float64(j)*w+w/2) - at(float64(j)*w-w/2)
	})
}

func ewmaChain(e Ewma, shift float64, cells int) float64 {
	cells |= 1 // a cell in the middle
	h := e.L * math.Sqrt(e.Lambda/(2-e.Lambda))
	w := 2 * h / float64(cells)
	mid := func(i int) float64 { return -h + (float64(i)+0.5)*w }
	return absorbed(cells, cells/2, func(i, j int) float64 {
		at := func(x float64) float64 { return cumulative((x-(1-e.Lambda)*mid(i))/e.Lambda - shift) }
		return at(mid(j)+w/2) - at(mid(j)-w/2)
	})
}

func TestRunLengthsByAMarkovChainAreTheSame(t *testing.T) {
	for _, r := range table(t, "cusum_arl.csv") {
		c, shift := Cusum{K: r["k"], H: r["h"]}, r["shift_sigma"]
		up := chain(60, func(n int) float64 { return cusumChain(c, shift, n) })
		near(t, fmt.Sprintf("one-sided run length by chain, h %v, shift %v", c.H, shift), up, r["arl_one_sided"], 2e-3*r["arl_one_sided"])
	}
	for _, r := range table(t, "ewma_arl.csv") {
		e, shift := Ewma{Lambda: r["lambda"], L: r["L"]}, r["shift_sigma"]
		got := chain(61, func(n int) float64 { return ewmaChain(e, shift, n) })
		near(t, fmt.Sprintf("run length by chain, lambda %v, shift %v", e.Lambda, shift), got, r["arl_two_sided_computed"], 5e-3*r["arl_two_sided_computed"])
	}
}

// simulated is a mean run length with its standard error.
func simulated(seed uint64, runs int, shift float64, next func(z float64, fresh bool) bool) (float64, float64) {
	rnd := rand.New(rand.NewPCG(seed, 2))
	var sum, squares float64
	for range runs {
		n, fresh := 0.0, true
		for {
			n++
			if next(rnd.NormFloat64()+shift, fresh) {
				break
			}
			fresh = false
		}
		sum += n
		squares += n * n
	}
	m := sum / float64(runs)
	return m, math.Sqrt((squares/float64(runs) - m*m) / float64(runs))
}

func TestRunLengthsBySimulationAreThePublishedOnes(t *testing.T) {
	const runs = 4000
	for _, r := range table(t, "cusum_arl.csv") {
		want, ok := r["lucas_crosier_1982_two_sided"]
		if !ok {
			continue
		}
		c, s := Cusum{K: r["k"], H: r["h"]}, CusumState{}
		got, se := simulated(11, runs, r["shift_sigma"], func(z float64, fresh bool) bool {
			if fresh {
				s = CusumState{}
			}
			s = c.Next(s, z)
			return c.Signal(s) != 0
		})
		near(t, fmt.Sprintf("simulated CUSUM run length, shift %v (Lucas & Crosier 1982)", r["shift_sigma"]), got, want, 4*se+printed(want))
	}
	for _, r := range table(t, "ewma_arl.csv") {
		want, ok := r["lucas_saccucci_1990"]
		if !ok {
			continue
		}
		e, s := Ewma{Lambda: r["lambda"], L: r["L"]}, EwmaState{}
		limit := e.Limit(1e6)
		got, se := simulated(12, runs, r["shift_sigma"], func(z float64, fresh bool) bool {
			if fresh {
				s = EwmaState{}
			}
			s = e.Next(s, z)
			return math.Abs(s.Mean) > limit
		})
		near(t, fmt.Sprintf("simulated EWMA run length, lambda %v, shift %v (Lucas & Saccucci 1990)", e.Lambda, r["shift_sigma"]), got, want, 4*se+printed(want))
	}
}

func TestTheDetectorsInUseHaveTheStatedRunLength(t *testing.T) {
	for _, c := range tuned {
		if got := c.RunLength(0); got < RunLength || got > 1.02*RunLength {
			t.Errorf("CUSUM k %v h %v runs %.0f frames without drift, want %d and little more", c.K, c.H, got, RunLength)
		}
	}
	if got := slowly.RunLength(0); got < RunLength || got > 1.02*RunLength {
		t.Errorf("the EWMA runs %.0f frames without drift, want %d and little more", got, RunLength)
	}
	// The exact early limits are narrower. Chance of a signal among the first 200
	// frames: bounded by the sum over single frames.
	var early float64
	for n := 1; n <= 200; n++ {
		early += 2 * cumulative(-slowly.L)
	}
	if early > 0.005 {
		t.Errorf("the early limits add up to %.4f signals, want a two-hundredth at most", early)
	}
}

// What the design asks for: a light that drifts by 0.2 stop at 0.05 scatter is found within 6
// frames, by computation. It makes a part of the region's light, and its scatter comes with the
// measuring's (0.02) and the margin for having learned it from 100 frames.
func TestAFifthOfAStopIsFoundWithinSixFramesByComputation(t *testing.T) {
	for _, share := range []float64{0.85, 0.75, 0.65, 1} {
		for _, scatter := range []float64{0.03, 0.05, 0.10} {
			sigma := math.Hypot(scatter*share, 0.02)
			with := sigma * 1.13
			c := tunedFor(float64(allowance) / with)
			shows := math.Log2(1+share*(math.Exp2(0.2)-1)) / sigma
			as := Cusum{K: c.K * with / sigma, H: c.H * with / sigma} // in true standard deviations
			delay := as.RunLength(shows)
			t.Logf("share %.2f, scatter %.2f: k %.2f, h %.3f; %.3g frames without drift, %.2f frames to find it", share, scatter, c.K, c.H, as.RunLength(0), delay)
			if scatter <= 0.05 && delay > 6 {
				t.Errorf("at scatter %.2f, share %.2f, a drift of %v takes %.2f frames", scatter, share, worth, delay)
			}
			if as.RunLength(0) < RunLength {
				t.Errorf("at scatter %.2f, share %.2f, false alarms every %.0f frames", scatter, share, as.RunLength(0))
			}
		}
	}
}

// The window's run length by simulation: 6 million values without a shift, and at least RunLength between two signals, as
// far as so many can tell (a third less would be 112 signals in place of 75; that comes by chance in under 1 of 1000 runs).
func TestTheWindowsRunLength(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 8))
	signals := 0
	const frames = 6_000_000
	var newest []exposure.Stops
	for range frames {
		if len(newest) == shortly.Most {
			newest = append(newest[:0], newest[1:]...)
		}
		// Ten stops of scatter: nothing is under the allowance.
		if newest = append(newest, exposure.Stops(10*r.NormFloat64())); shortly.Signal(newest, 10, 0) != 0 {
			signals++
			newest = newest[:0]
		}
	}
	t.Logf("%d signals in %d values: one in %d", signals, frames, frames/max(signals, 1))
	if signals == 0 || signals > 112*frames/(RunLength*75) {
		t.Errorf("%d signals in %d values, want one in %d or fewer", signals, frames, RunLength)
	}
}
