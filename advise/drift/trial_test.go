package drift

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"thirdstop/assess/exposure"
	"thirdstop/testdata"
)

// wilson is the 95 % confidence interval of a share (Wilson 1927; from memory).
func wilson(hits, of int) (float64, float64) {
	n, p := float64(of), float64(hits)/float64(of)
	const z = 1.96
	mid, half := p+z*z/(2*n), z*math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return max(0, (mid-half)/(1+z*z/n)), (mid + half) / (1 + z*z/n)
}

// Shoots of 300 frames, another sitter every 15: findings that a witness would have to answer
// for, and prompts for a card check, are counted apart.
func TestFalseAlarmsOverCleanFrames(t *testing.T) {
	frames := 30_000
	if !testdata.Thorough() {
		frames = 3_000
	}
	for _, scatter := range []float64{0.03, 0.05, 0.10} {
		for _, witnessed := range []bool{true, false} {
			alarms, checks := 0, 0
			kinds := map[Kind]int{}
			for shoot := range frames / 300 {
				h := newHall(uint64(1000+shoot), scatter).told()
				if !witnessed {
					h.bare()
				}
				s := New(Setup{Lights: h.lights})
				for i := range 300 {
					f := h.frame(fault{}, 5+3*h.rnd.Float64())
					f.NewSitter = i%15 == 0
					if f.NewSitter {
						h.clothes = 0.3 * h.rnd.NormFloat64()
					}
					var out []Finding
					s, out = s.Next(f)
					for _, x := range out {
						if x.Revision > 1 {
							continue
						}
						if x.May == CardCheck {
							checks++
						} else {
							alarms++
							kinds[x.Kind]++
						}
					}
				}
			}
			low, high := wilson(alarms, frames)
			t.Logf("scatter %.2f, witness %v: %d false alarms in %d clean frames (95 %%: %.2f to %.2f in 10,000) %v; %d card checks (%.1f in 1,000)",
				scatter, witnessed, alarms, frames, low*1e4, high*1e4, kinds, checks, 1000*float64(checks)/float64(frames))
			// At most 1 in 10,000; the bound allows for chance at the 2 % level (Poisson).
			if most := map[int]int{30_000: 7, 3_000: 2}[frames]; alarms > most {
				t.Errorf("scatter %.2f, witness %v: %d false alarms in %d frames", scatter, witnessed, alarms, frames)
			}
			if !witnessed && float64(checks) > 0.02*float64(frames) {
				t.Errorf("scatter %.2f: %d card checks in %d frames", scatter, checks, frames)
			}
		}
	}
}

// A prediction that is wrong by as much as it says causes no more false alarms than stated:
// every region of every shoot is off by 0.05 stop (one standard deviation), and says so.
func TestAWrongPredictionIsNoDrift(t *testing.T) {
	frames := 30_000
	if !testdata.Thorough() {
		frames = 3_000
	}
	alarms := 0
	for shoot := range frames / 300 {
		h := newHall(uint64(2000+shoot), 0.05).told()
		s := New(Setup{Lights: h.lights})
		off := make([]float64, len(h.regions))
		for k := range off {
			off[k] = 0.05 * h.rnd.NormFloat64()
		}
		for range 300 {
			f := h.frame(fault{}, 6)
			for k := range f.Residuals {
				f.Residuals[k].Value += exposure.Stops(off[k])
				f.Residuals[k].Doubt = 0.05
			}
			var out []Finding
			s, out = s.Next(f)
			for _, x := range out {
				if x.Revision == 1 {
					alarms++
				}
			}
		}
	}
	low, high := wilson(alarms, frames)
	t.Logf("%d false alarms in %d frames (95 %%: %.2f to %.2f in 10,000)", alarms, frames, low*1e4, high*1e4)
	if alarms > 7 {
		t.Errorf("%d false alarms in %d frames", alarms, frames)
	}
}

type course struct {
	name string
	kind Kind
	per  float64 // stops per frame; 0 is a step of 0.2
}

func (c course) at(i int) float64 {
	switch {
	case i <= 0:
		return 0
	case c.per == 0:
		return 0.2
	}
	return min(c.per*float64(i), 0.5)
}

// counts is what came of many runs of one course.
type counts struct{ runs, found, within, named, first, kind int }

func TestHowSoonAndHowRightlyDriftIsNamed(t *testing.T) {
	runs := 200
	if !testdata.Thorough() {
		runs = 30
	}
	for _, told := range []bool{true, false} {
		for _, scatter := range []float64{0.03, 0.05, 0.10} {
			for _, c := range []course{{"step of 0.2", Step, 0}, {"slope of 0.02 a frame", Slope, 0.02}, {"slope of 0.01 a frame", Slope, 0.01}} {
				n, delays := counts{}, []float64{}
				for run := range runs {
					h := newHall(uint64(run), scatter)
					lights := 2 // background and key: the fill shows nowhere by itself
					if told {
						h.told()
						lights = 3
					}
					s := New(Setup{Lights: h.lights})
					light, way := run%lights, float64(1-run/lights%2*2)
					reached, first := 0, 0
					var last Finding
					for i := range 160 {
						f := fault{}
						d := c.at(i - 79)
						f.light[light] = way * d
						if reached == 0 && d >= 0.2-1e-9 {
							reached = i
						}
						fr := h.frame(f, 6)
						fr.NewSitter = i%15 == 0
						var out []Finding
						s, out = s.Next(fr)
						for _, x := range out {
							if i >= 80 && x.May != CardCheck {
								if first == 0 {
									first = i
								}
								last = x
							}
						}
						if reached > 0 && i == reached+20 {
							break
						}
					}
					n.runs++
					if first == 0 {
						delays = append(delays, math.Inf(1))
						continue
					}
					n.found++
					delay := float64(first - reached + 1)
					delays = append(delays, delay)
					if delay <= 6 {
						n.within++
					}
					if slices.ContainsFunc(last.Candidates, func(x Cause) bool { return x.Group == h.lights[light].Group }) {
						n.named++
					}
					if last.Group == h.lights[light].Group {
						n.first++
					}
					if last.Kind == c.kind {
						n.kind++
					}
				}
				share := func(k int) string {
					low, high := wilson(k, n.runs)
					return fmt.Sprintf("%.1f %% (%.0f to %.0f)", 100*float64(k)/float64(n.runs), 100*low, 100*high)
				}
				slices.Sort(delays)
				t.Logf("told apart %v, scatter %.2f, %s: frames after 0.2 stop median %.0f, 95th percentile %.0f; within 6 %s; light among the named %s, first %s; right shape %s",
					told, scatter, c.name, median(delays), delays[len(delays)*95/100], share(n.within), share(n.named), share(n.first), share(n.kind))
				if scatter <= 0.05 && (float64(n.within) < 0.9*float64(n.runs) || float64(n.named) < 0.95*float64(n.runs)) {
					t.Errorf("scatter %.2f, %s: %+v", scatter, c.name, n)
				}
			}
		}
	}
}
