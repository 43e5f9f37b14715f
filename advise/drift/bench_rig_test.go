package drift

import (
	"math"
	"math/rand/v2"
	"time"

	"thirdstop/assess/exposure"
)

// hall is an invented rig in linear light, simpler than the virtual studio and much
// faster: three flashes and the room, three regions. Shares are for undisturbed light.
type hall struct {
	rnd     *rand.Rand
	lights  []Light
	regions []string
	witness []bool
	shares  [][]float64 // region, light; the rest is the room's
	scatter float64     // of every flash, one standard deviation in stops
	noise   float64     // of measuring
	lean    float64     // of the sitter's region: a slow wander, as people sit
	leaning float64
	clothes float64 // of the sitter, against the baseline
	at      time.Time
	number  int
}

func newHall(seed uint64, scatter float64) *hall {
	return &hall{
		rnd:     rand.New(rand.NewPCG(seed, 1)),
		lights:  []Light{{Group: "A", Name: "Background (A)"}, {Group: "B", Name: "Key (B)"}, {Group: "C", Name: "Fill (C)"}},
		regions: []string{"backdrop", "white_reference", "sitter"},
		witness: []bool{true, true, false},
		shares:  [][]float64{{0.85, 0.10, 0.045}, {0.02, 0.77, 0.20}, {0.05, 0.60, 0.33}},
		scatter: scatter, noise: 0.02, lean: 0.1,
		at: time.Date(2026, 5, 2, 10, 0, 0, 0, time.UTC),
	}
}

// told is a hall whose lights can all be told apart: a witness strip on the shadow
// side shows the fill.
func (h *hall) told() *hall {
	h.regions, h.witness = append(h.regions, "witness"), append(h.witness, true)
	h.shares = append(h.shares, []float64{0.03, 0.15, 0.81})
	return h
}

// bare is a hall without any witness.
func (h *hall) bare() *hall {
	h.witness = make([]bool, len(h.regions))
	return h
}

// fault is what is wrong with a frame, in stops; the zero value is nothing.
type fault struct {
	light [3]float64 // per light
	gone  int        // light that doesn't fire, from 1
	all   float64
	room  float64
}

func (h *hall) frame(f fault, pause float64) Frame {
	h.number++
	h.at = h.at.Add(time.Duration(pause * float64(time.Second)))
	out := Frame{Number: h.number, At: h.at, Power: make([]exposure.Dial, len(h.lights)), Off: make([]bool, len(h.lights))}
	factor := make([]float64, len(h.lights))
	for i := range factor {
		factor[i] = math.Exp2(h.rnd.NormFloat64()*h.scatter + f.light[i])
		if f.gone == i+1 {
			factor[i] = 0
		}
	}
	h.leaning = 0.9*h.leaning + math.Sqrt(1-0.81)*h.lean*h.rnd.NormFloat64()
	for k, name := range h.regions {
		room, sum := 1.0, 0.0
		for i, w := range h.shares[k] {
			room -= w
			sum += w * factor[i]
		}
		sum += room * math.Exp2(f.room)
		v, sigma := math.Log2(sum)+f.all+h.rnd.NormFloat64()*h.noise, 0.02
		if !h.witness[k] {
			v, sigma = v+h.leaning+h.clothes, 0.2
		}
		out.Residuals = append(out.Residuals, Residual{Region: name, Value: exposure.Stops(v), Sigma: exposure.Stops(sigma),
			Witnessed: h.witness[k], Shares: h.shares[k]})
	}
	return out
}
