package drift

import (
	"slices"
	"testing"

	"thirdstop/testdata"
)

// scripted is a fault and what would be the right name for it.
type scripted struct {
	name  string
	want  []Kind
	light bool // of one light
	play  func(light, i int) (fault, float64)
}

var scripts = []scripted{
	{"asleep", []Kind{Absent}, true, func(l, i int) (fault, float64) {
		if i > 40 && i <= 45 {
			return fault{gone: l + 1}, 6
		}
		return fault{}, 6
	}},
	{"fired early", []Kind{FiredEarly}, true, func(l, i int) (fault, float64) {
		f := fault{}
		if i == 45 {
			f.light[l] = -0.6
			return f, 2.5
		}
		return f, 6
	}},
	{"turned", []Kind{Step}, true, func(l, i int) (fault, float64) {
		f := fault{}
		if i > 40 {
			f.light[l] = -1.0 / 3
		}
		return f, 6
	}},
	{"sagging stand", []Kind{Slope}, true, func(l, i int) (fault, float64) {
		f := fault{}
		if i > 40 {
			f.light[l] = -0.015 * float64(min(i-40, 30))
		}
		return f, 6
	}},
	{"heat", []Kind{Heat}, true, func(l, i int) (fault, float64) {
		f := fault{}
		if i > 40 && i < 70 {
			f.light[l] = -0.015 * float64(i-40)
		}
		if i == 70 {
			return f, 180
		}
		return f, 6
	}},
	{"battery", []Kind{Battery}, true, func(l, i int) (fault, float64) {
		f := fault{}
		if i > 40 {
			f.light[l] = -0.015 * float64(i-40)
		}
		if i == 70 {
			return f, 180
		}
		return f, 6
	}},
	{"aperture", []Kind{AllLights}, false, func(_, i int) (fault, float64) {
		f := fault{}
		if i > 40 {
			f.all = 1.0 / 3
		}
		return f, 6
	}},
}

// Right cause and right light, over many rigs' worth of scatter. The residuals' shares
// are wrong by 10 % here (one standard deviation), as a light model's are. The names are taken from the last thing said of each
// fault, not counting that it is over; battery is told from a sagging stand only by a rest, so after one.
func TestHowOftenTheCauseIsRight(t *testing.T) {
	runs := 150
	if !testdata.Thorough() {
		runs = 30
	}
	all, right, lights, named := 0, 0, 0, 0
	for _, c := range scripts {
		ok, first := 0, 0
		for run := range runs {
			h := newHall(uint64(5000+run), 0.05).told()
			wrong := make([][]float64, len(h.shares))
			for k := range h.shares {
				for _, w := range h.shares[k] {
					wrong[k] = append(wrong[k], min(0.99, w*(1+0.1*h.rnd.NormFloat64())))
				}
			}
			for i := range h.lights {
				h.lights[i].Limit = 20
			}
			s := New(Setup{Lights: h.lights})
			light := run % 3
			var last Finding
			for i := 1; i <= 85; i++ {
				f, pause := c.play(light, i)
				fr := h.frame(f, pause)
				for k := range fr.Residuals {
					fr.Residuals[k].Shares = wrong[k]
				}
				var out []Finding
				s, out = s.Next(fr)
				for _, x := range out {
					if x.Kind != Back && x.May != CardCheck && i > 40 {
						last = x
					}
				}
			}
			all++
			if slices.Contains(c.want, last.Kind) {
				ok++
			}
			if c.light {
				lights++
				if last.Group == h.lights[light].Group {
					first++
				}
			}
		}
		right += ok
		named += first
		low, high := wilson(ok, runs)
		t.Logf("%-14s right cause %d of %d (%.0f to %.0f %%), right light %d", c.name, ok, runs, 100*low, 100*high, first)
	}
	low, high := wilson(right, all)
	ll, lh := wilson(named, lights)
	t.Logf("all: right cause %.1f %% (%.0f to %.0f), right light %.1f %% (%.1f to %.1f)", 100*float64(right)/float64(all), 100*low, 100*high, 100*float64(named)/float64(lights), 100*ll, 100*lh)
	if float64(right) < 0.9*float64(all) || float64(named) < 0.98*float64(lights) {
		t.Errorf("right cause %d of %d, want 90 %%; right light %d of %d, want 98 %%", right, all, named, lights)
	}
}
