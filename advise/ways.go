package advise

import (
	"fmt"
	"math"
	"slices"

	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

// mostWays is how many ways out are offered.
const mostWays = 3

// ways looks for what else brings the targets within reach where power alone
// can't: the least change of aperture, of ISO, or of one light's distance, each
// with the adjustments that then become needed and with its price.
func (s State) ways(fit rig.Fit, set rig.Setting, targets []rig.Target, nearest rig.Solution) []Way {
	targets = slices.Clone(targets)
	targets[crownRegion].Judged = false
	ranges := s.ranges(targets, true)
	out := []Way{}
	add := func(thirds int, way Way, ok bool) bool {
		if !ok {
			return false
		}
		trial := set
		trial.Gain = (set.Gain + exposure.Stops(thirds)/3).Round()
		sol := fit.Solve(trial, ranges, targets)
		if !sol.Met {
			return false
		}
		for i, to := range sol.Dials {
			if to != ranges[i].Now {
				way = way.then(s.turn(i, ranges[i].Now, to))
			}
		}
		out = append(out, way)
		return true
	}
	signs := []int{1, -1}
	for _, kind := range []string{"aperture", "iso"} {
	search:
		for k := 1; k <= 12; k++ {
			for _, sign := range signs {
				way, ok := s.cameraWay(kind, sign*k)
				if add(sign*k, way, ok) {
					break search
				}
			}
		}
	}
	out = append(out, s.reflectorWays(fit, set, ranges, targets)...)
	for i := range s.Lights {
		if way, ok := s.distanceWay(fit, set, ranges, targets, nearest, i); ok {
			out = append(out, way)
		}
	}
	return out[:min(len(out), mostWays)]
}

// cameraWay changes the camera's gain by thirds of a stop, up or down.
func (s State) cameraWay(kind string, thirds int) (Way, bool) {
	w := Way{Adjustments: []Adjustment{}}
	if kind == "aperture" {
		n, ok := s.FNumber.Step(-thirds)
		w.FNumber = &n
		w.Text, w.Price = fmt.Sprintf("Camera: open from %s to %s", s.marked(s.FNumber), s.marked(n)), "less depth of field; ambient light counts for more"
		if thirds < 0 {
			w.Text, w.Price = fmt.Sprintf("Camera: close from %s to %s", s.marked(s.FNumber), s.marked(n)), "more depth of field; softer from about f/16 on; ambient light counts for less"
		}
		return w, ok
	}
	v, ok := s.ISO.Step(thirds)
	w.ISO = &v
	w.Text, w.Price = fmt.Sprintf("Camera: %s instead of %s", v, s.ISO), "more noise; ambient light counts for more"
	if thirds < 0 {
		w.Price = "less noise, if the camera reaches so low without stretching"
	}
	return w, ok
}

// The nearest and farthest that a portrait light is put (common practice, no
// source; nearer is too hot and too close to eyes, farther leaves the room).
const (
	nearestStand  exposure.Metres = 0.5
	farthestStand exposure.Metres = 6
)

// distanceWay moves one light that stands at an end of its dial, by the inverse square.
func (s State) distanceWay(fit rig.Fit, set rig.Setting, ranges []rig.Range, targets []rig.Target, nearest rig.Solution, light int) (Way, bool) {
	l := s.Lights[light]
	if !(l.Distance > 0) || ranges[light].Fixed || nearest.Dials[light] != l.Least && nearest.Dials[light] != l.Most {
		return Way{}, false
	}
	for cm := 5; cm <= 400; cm += 5 {
		for _, sign := range []exposure.Metres{-1, 1} {
			to := l.Distance + sign*exposure.Metres(cm)/100
			to = exposure.Metres(math.Round(float64(to)*100) / 100)
			if to < nearestStand || to > farthestStand {
				continue
			}
			f, _ := exposure.Falloff(l.Distance, to)
			moved := slices.Clone(ranges)
			moved[light].Base += f.Round()
			trial := set
			trial.Power = slices.Clone(set.Power)
			trial.Power[light] += f.Round()
			sol := fit.Solve(trial, moved, targets)
			if !sol.Met {
				continue
			}
			w := Way{Group: l.Group, Distance: &to, Adjustments: []Adjustment{}, Text: fmt.Sprintf("%s: move from %s to %s", l.Name, l.Distance, to),
				Price: "light falls off faster across the sitter, shadows get softer; mind the stand"}
			if to > l.Distance {
				w.Price = "light gets more even and harder; more of it reaches the backdrop; mind the stand"
			}
			for i, d := range sol.Dials {
				if d != ranges[i].Now {
					w = w.then(s.turn(i, ranges[i].Now, d))
				}
			}
			return w, true
		}
	}
	return Way{}, false
}

// then is the way with one more turn of a dial.
func (w Way) then(a Adjustment) Way {
	w.Adjustments = append(slices.Clone(w.Adjustments), a)
	w.Text += "; then " + a.Text
	return w
}

// OutOfReach is the headline where nothing that is known of helps.
const OutOfReach = "Out of reach"

// tellWays says that power alone can't, and what else can.
func (s State) tellWays(a *Advice) {
	if len(a.Ways) == 0 {
		if len(a.Adjustments) > 0 {
			a.Reason += "; this comes as near as the lights can"
		} else {
			a.Status, a.Headline = Look, OutOfReach
			a.Reason = "The lights that may be turned can't bring every region on target. Move a light, change its modifier, or change the targets in the plan."
		}
		return
	}
	a.Status = Look
	a.Headline = a.Ways[0].Text
	a.Reason = "Power alone can't reach the targets. This can; its price: " + a.Ways[0].Price + "."
	a.Adjustments = []Adjustment{}
}
