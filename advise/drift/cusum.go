package drift

import (
	"math"

	"thirdstop/assess/exposure"
)

// Cusum is a two-sided cumulative sum on standardised values (Page 1954). K is
// the allowance, H the limit, both in standard deviations.
type Cusum struct{ K, H float64 }

// CusumState is where the two sums stand; the zero value is the start.
type CusumState struct {
	Up   float64 `json:"up"`
	Down float64 `json:"down"`
	// How many values, the newest included, since each sum last was zero: Page's estimate of where the change began.
	UpFor   int `json:"up_for"`
	DownFor int `json:"down_for"`
}

// Next adds a value, in standard deviations from the target:
// C+ = max(0, C+ + z - K), C- = max(0, C- - z - K) (NIST/SEMATECH e-Handbook 6.3.2.3).
func (c Cusum) Next(s CusumState, z float64) CusumState {
	s.Up, s.UpFor = arm(s.Up, s.UpFor, z-c.K)
	s.Down, s.DownFor = arm(s.Down, s.DownFor, -z-c.K)
	return s
}

func arm(sum float64, since int, by float64) (float64, int) {
	// The grid of a millionth keeps fused arithmetic from deciding anything.
	if sum = math.Round((sum+by)*1e6) / 1e6; sum <= 0 {
		return 0, 0
	}
	return sum, since + 1
}

// Signal tells whether a sum is over the limit, and on which side: +1, -1, or 0 for none.
func (c Cusum) Signal(s CusumState) int {
	switch {
	case s.Up > c.H && s.Up >= s.Down:
		return 1
	case s.Down > c.H:
		return -1
	}
	return 0
}

// Ewma is an exponentially weighted moving average on standardised values (Roberts
// 1959): Lambda is the newest value's weight, over 0 to 1, and L the width of
// the limits in standard deviations of the average.
type Ewma struct{ Lambda, L float64 }

// EwmaState is where the average stands; the zero value is the start.
type EwmaState struct {
	Mean float64 `json:"mean"`
	N    int     `json:"n"`
}

// Next adds a value: Z = lambda z + (1 - lambda) Z (e-Handbook 6.3.2.4).
func (e Ewma) Next(s EwmaState, z float64) EwmaState {
	s.Mean = math.Round((e.Lambda*z+(1-e.Lambda)*s.Mean)*1e6)/1e6 + 0
	s.N++
	return s
}

// Limit is how far the average may lie from the target after n values, in standard deviations of
// one value: L sqrt(lambda/(2-lambda) [1 - (1-lambda)^(2n)]).
func (e Ewma) Limit(n int) float64 {
	return e.L * math.Sqrt(e.Lambda/(2-e.Lambda)*(1-math.Pow(1-e.Lambda, float64(2*n))))
}

// Window is a generalised likelihood ratio over the newest values: the mean of the newest n, for every n from 2 to Most, is held
// against Limit standard deviations of such a mean (Willsky & Jones 1976; Lai 1995). For a step of any
// size it is nearly as quick as the CUSUM that is made for that size.
type Window struct {
	Most  int
	Limit float64
}

// Signal tells whether some newest values lie off zero by more than chance, and on which side: +1, -1, or 0 for none. sigma is
// one standard deviation of a value, doubt of what all share. A mean of less than half of [worth]'s trace in a region is left alone.
func (w Window) Signal(newest []exposure.Stops, sigma, doubt float64) int {
	var sum float64
	for n := 1; n <= len(newest); n++ {
		sum += float64(newest[len(newest)-n])
		if n < 2 {
			continue
		}
		by := float64(n)
		mean := math.Round(sum/by*1e6) / 1e6
		if math.Abs(mean) > max(w.Limit*math.Sqrt(sigma*sigma/by+doubt*doubt), float64(allowance)) {
			return sign(mean)
		}
	}
	return 0
}

// shortly is the window in use. Its run length is simulated in the tests.
var shortly = Window{Most: 10, Limit: 4.75}

// RunLength is how many frames, on average and at the least, a region without drift
// goes by before one of its detectors signals; each of them alone has this run length.
const RunLength = 80_000

// slowly is the EWMA in use. Its run length is computed in the tests with the
// asymptotic limits; the exact early limits cost under a hundredth of it.
var slowly = Ewma{Lambda: 0.1, L: 4.271}

// tuned are the CUSUMs in use: for every allowance the limit that gives [RunLength],
// two-sided, computed by the integral equation (see [Cusum.RunLength]); a test recomputes them.
var tuned = []Cusum{
	{0.5, 10.132},
	{0.6, 8.557},
	{0.75, 6.918},
	{0.9, 5.783},
	{1, 5.200},
	{1.25, 4.126},
	{1.5, 3.388},
	{1.75, 2.860},
	{2, 2.471},
	{2.5, 1.885},
	{3, 1.371},
}

// tunedFor picks the detector for an allowance in standard deviations: the
// largest one that does not exceed it, so that the stated run length holds.
func tunedFor(k float64) Cusum {
	c := tuned[0]
	for _, t := range tuned {
		if t.K <= k {
			c = t
		}
	}
	return c
}
