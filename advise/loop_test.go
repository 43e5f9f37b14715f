package advise

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// room is a linear rig whose truth is known: the light model's own physics
// (lights add, inverse square left out), with scatter. Its numbers are invented.
type room struct {
	key, fill, back exposure.Dial
	c               [3][2]float64 // per light: stops at full power on backdrop, white
	gain            float64
	scatter         float64
	rng             *rand.Rand
}

func (r *room) levels() (backdrop, white float64) {
	var sum [2]float64
	for i, d := range []exposure.Dial{r.key, r.fill, r.back} {
		s := r.scatter * r.rng.NormFloat64()
		for k := range sum {
			sum[k] += math.Exp2(r.c[i][k] + float64(d)/30 + s)
		}
	}
	return math.Log2(sum[0]) + r.gain, math.Log2(sum[1]) + r.gain
}

func (r *room) reading() *assess.Reading {
	b, w := r.levels()
	n, iso, t := exposure.FNumber(8), exposure.ISO(100), exposure.Shutter(1.0/125)
	prog := 1
	sig := func(v float64) exposure.Stops {
		if v > -1 {
			return 0.15
		}
		return 0.08
	}
	rd := &assess.Reading{Version: 1, Kind: assess.Full, Exif: assess.Exif{FNumber: &n, ISO: &iso, ExposureTime: &t, Program: &prog}}
	bd := &assess.Backdrop{WhiteFloor: exposure.Stops(min(b, 0)).Round(), FloorSigma: sig(b), FloorAtLeast: b >= 0}
	bd.Value, bd.Sigma, bd.AtLeast = bd.WhiteFloor, bd.FloorSigma, bd.FloorAtLeast
	wr := &assess.WhiteReference{Peak: exposure.Stops(min(w, 0)).Round(), Declared: true}
	wr.Value, wr.Sigma, wr.AtLeast = wr.Peak, sig(w), w >= 0
	rd.Regions.Backdrop, rd.Regions.WhiteReference = bd, wr
	return rd
}

const planText = `
version: 1
backdrop:
  colour: white
lights:
  - {role: background, group: A, power: 1/4}
  - {role: key, group: B, power: 1/8}
  - {role: fill, group: C, power: 1/16}
`

func TestClosedLoop(t *testing.T) {
	on, bad := 0, 0
	frames := map[int]int{}
	for seed := range 200 {
		rng := rand.New(rand.NewPCG(uint64(seed), 1))
		r := &room{key: -90, fill: -120, back: -60, gain: -6, scatter: 0.03, rng: rng}
		u := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
		r.c[0] = [2]float64{0, 9 - 0.3 + u(-2, 2)} // key: white
		r.c[0][0] = r.c[0][1] - u(1, 3)
		r.c[1] = [2]float64{0, r.c[0][1] - u(0.5, 2)}
		r.c[1][0] = r.c[1][1] - u(1, 3)
		r.c[2] = [2]float64{8.2 + u(-2, 2), 0}
		r.c[2][1] = r.c[2][0] - u(4, 7)
		s, _ := Apply(State{}, Input{Plan: &PlanText{Text: planText, Name: "p"}})
		if s.Plan == nil {
			t.Fatal("no plan")
		}
		s, _ = Apply(s, Input{Reference: &Reference{Box: &assess.Box{X1: 1, Y1: 1}}})
		at := time.Date(2026, 5, 1, 10, 0, 0, 0, time.UTC)
		n := 0
		var log string
		for n = 1; n <= 10; n++ {
			at = at.Add(10 * time.Second)
			b, w := r.levels()
			var out []Output
			s, out = Apply(s, Input{At: at, Frame: &Frame{Number: n, Revision: 1, Reading: r.reading()}})
			_ = out
			log += fmt.Sprintf("  %d true b %.2f w %.2f -> %s %s | %s\n", n, b, w, s.Advice.Status, s.Advice.Headline, s.Advice.Reason)
			if s.Advice.Status != Adjust {
				break
			}
			for _, a := range s.Advice.Adjustments {
				switch a.Group {
				case "A":
					r.back = a.To
				case "B":
					r.key = a.To
				case "C":
					r.fill = a.To
				}
			}
		}
		r.scatter = 0
		b, w := r.levels()
		good := b > -0.25 && b < 0.8 && w < 0.0 && w > -0.65
		if n >= 5 {
			t.Logf("LONG seed %d\n%s", seed, log)
		}
		if good && s.Advice.Status == Hold {
			on++
			frames[n]++
		} else {
			bad++
			if bad <= 6 {
				t.Logf("seed %d final b %.2f w %.2f\n%s", seed, b, w, log)
			}
		}
	}
	t.Logf("on target %d of 200; frames %v", on, frames)
}
