package trial

import (
	"math"
	"slices"

	"thirdstop/advise/plan"
	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
)

// least is the smallest number of lights that must be turned from where they stand for every target to hold in truth; the
// hair light, which no target of the truth judges, is left alone. ok is false where no set of them does it.
//
// Every setting of every set of lights is tried on the studio's own light, added up from a picture by each light
// alone. A set counts only if the truth of all its lights together holds as well, so that least is never too low; a set that
// only just does it can be overlooked.
func (w wanted) least(st *studio.Studio) (number int, ok bool) {
	saved := slices.Clone(st.Lights)
	defer func() { st.Lights = saved }()
	st.Lights = slices.Clone(saved)
	if w.off(st) == 0 {
		return 0, true
	}
	sum, ok := w.alone(st)
	if !ok {
		return 0, false
	}
	var free []int
	for i, l := range saved {
		if l.On && l.Role != studio.Hair {
			free = append(free, i)
		}
	}
	for size := 1; size <= len(free); size++ {
		for mask := range 1 << len(free) {
			var set []int
			for i, l := range free {
				if mask>>i&1 == 1 {
					set = append(set, l)
				}
			}
			if len(set) != size {
				continue
			}
			at, near := w.nearest(saved, set, sum)
			if !near {
				continue
			}
			for _, l := range set {
				st.Lights[l].Power = at[l]
			}
			if w.off(st) == 0 {
				return size, true
			}
			copy(st.Lights, saved)
		}
	}
	return 0, false
}

// summed is what each light gives at the dial it stands at, and the room, in linear light: the white reference first, then
// what the backdrop is judged by.
type summed struct {
	lights [][]float64
	room   []float64
}

// alone draws the studio once by the room and once more by each light. ok is false where there is no white to judge.
func (w wanted) alone(st *studio.Studio) (s summed, ok bool) {
	draw := func() []float64 {
		t, white, err := st.ExpectedIn(studio.Box(w.box), studio.WhiteReference)
		if err != nil || white.Size == 0 {
			return nil
		}
		return linear(white.Peak, w.backdrops(t))
	}
	on := make([]bool, len(st.Lights))
	for i := range st.Lights {
		on[i], st.Lights[i].On = st.Lights[i].On, false
	}
	s.room = draw()
	for i := range st.Lights {
		var by []float64
		if on[i] {
			st.Lights[i].On = true
			by = draw()
			st.Lights[i].On = false
		} else {
			by = slices.Clone(s.room)
		}
		if by == nil || len(by) != len(s.room) {
			return s, false
		}
		for k := range by {
			by[k] = math.Max(0, by[k]-s.room[k])
		}
		s.lights = append(s.lights, by)
	}
	for i := range st.Lights {
		st.Lights[i].On = on[i]
	}
	return s, s.room != nil
}

// backdrops are the levels of which the lowest must meet the backdrop's target: of white the areas of the two upper rows, as a
// reading judges it.
func (w wanted) backdrops(t studio.Truth) []exposure.Stops {
	if w.plan.Backdrop.Colour != plan.White {
		b, _ := t.Region(studio.BackdropRegion)
		return []exposure.Stops{b.Level}
	}
	var out []exposure.Stops
	for _, row := range t.Areas[:2] {
		for _, a := range row {
			if a.Size >= studio.AreaLeast {
				out = append(out, a.Floor)
			}
		}
	}
	if len(out) == 0 {
		out = append(out, 99)
	}
	return out
}

func linear(first exposure.Stops, rest []exposure.Stops) []float64 {
	out := []float64{first.Factor()}
	for _, v := range rest {
		out = append(out, v.Factor())
	}
	return out
}

// nearest is the setting of some lights that brings the sums nearest to the middle of the targets, of those that miss
// none; near tells whether there is one.
func (w wanted) nearest(lights []studio.Light, set []int, sum summed) (best []exposure.Dial, near bool) {
	at := make([]exposure.Dial, len(lights))
	total := slices.Clone(sum.room)
	for i, l := range lights {
		at[i] = l.Power
		if slices.Contains(set, i) {
			continue
		}
		for k := range total {
			total[k] += sum.lights[i][k]
		}
	}
	least := math.Inf(1)
	var walk func(n int, total []float64)
	walk = func(n int, total []float64) {
		if n == len(set) {
			white, back := level(total[0]), exposure.Stops(99)
			for _, v := range total[1:] {
				back = min(back, level(v))
			}
			if w.miss(white, back) > 0 {
				return
			}
			b, p := w.band(), w.plan.Targets.WhitePeak
			cost := sq(float64(white-(p.Low+p.High)/2)) + sq(float64(back-(b.Low+b.High)/2))
			if cost < least {
				least, best = cost, slices.Clone(at)
			}
			return
		}
		i := set[n]
		l := lights[i]
		next := make([]float64, len(total))
		for d := l.Least; d <= l.Most; d += max(l.Click, 1) {
			if d == l.Power {
				continue // then it were not turned
			}
			f := (d - l.Power).Stops().Factor()
			for k := range next {
				next[k] = total[k] + sum.lights[i][k]*f
			}
			at[i] = d
			walk(n+1, next)
		}
		at[i] = l.Power
	}
	walk(0, total)
	return best, best != nil
}

func level(light float64) exposure.Stops {
	return exposure.Stops(math.Log2(math.Max(light, math.SmallestNonzeroFloat64)))
}

func sq(x float64) float64 { return x * x }
