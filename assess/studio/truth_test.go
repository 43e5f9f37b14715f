package studio

import (
	"math"
	"slices"
	"testing"
)

// The truth selects without sorting; the plain way sorts every sample of the grid.
func TestTruthIsTheSortedSamples(t *testing.T) {
	for seed := range uint64(6) {
		s := Random(seed, RandomOptions{Width: 600, PictureHeight: 400})
		flashes := make([]Flash, len(s.Lights))
		for i := range flashes {
			flashes[i].Fired = true
		}
		w, h := s.Camera.Upright()
		g := s.draw(w, h, flashes, Offset{}, 0)
		truth := s.truth(g, nil)
		cols, rows := (w-1)/g.step+1, (h-1)/g.step+1

		collect := func(r Region, x0, y0, x1, y1 int) (v [3][]float64) {
			for j := y0; j < y1; j++ {
				for i := x0; i < x1; i++ {
					if g.region[j*g.w+i] == r {
						for c := range 3 {
							v[c] = append(v[c], float64(g.pix[(j*g.w+i)*g.stride+c]))
						}
					}
				}
			}
			for c := range v {
				slices.Sort(v[c])
			}
			return v
		}
		brightest, weakest := func(v [3][]float64, p float64) float64 {
			at := func(c int) float64 { return math.Log2(v[c][int(p*float64(len(v[c])-1)+0.5)]) }
			return max(at(0), at(1), at(2))
		}, func(v [3][]float64, p float64) float64 {
			at := func(c int) float64 { return math.Log2(v[c][int(p*float64(len(v[c])-1)+0.5)]) }
			return min(at(0), at(1), at(2))
		}
		check := func(what string, got, want float64) {
			t.Helper()
			if math.Abs(got-want) > 1e-6 {
				t.Errorf("seed %d: %s is %.4f, over every sample %.4f", seed, what, got, want)
			}
		}
		for _, r := range []Region{BackdropRegion, WhiteReference} {
			e, ok := truth.Region(r)
			if !ok {
				continue
			}
			v := collect(r, 0, 0, cols, rows)
			check(r.String()+" level", float64(e.Level), brightest(v, 0.5))
			check(r.String()+" floor", float64(e.Floor), weakest(v, 0.5))
			check(r.String()+" peak", float64(e.Peak), brightest(v, 0.98))
			check(r.String()+" size", e.Size, float64(len(v[0]))/float64(cols*rows))
		}
		floor, low, high := math.Inf(1), math.Inf(1), math.Inf(-1)
		for row := range 3 {
			for col := range 3 {
				x0, y0, x1, y1 := col*cols/3, row*rows/3, (col+1)*cols/3, (row+1)*rows/3
				v := collect(BackdropRegion, x0, y0, x1, y1)
				if float64(len(v[0])) < AreaLeast*float64((x1-x0)*(y1-y0)) {
					continue
				}
				floor = min(floor, weakest(v, 0.5))
				low, high = min(low, brightest(v, 0.5)), max(high, brightest(v, 0.5))
			}
		}
		check("white floor", float64(truth.WhiteFloor), floor)
		check("evenness", float64(truth.Evenness), high-low)
	}
}

// Each light's share of a region is what the region loses when that light is
// switched off (derived here; shares are means, so means are compared).
func TestSharesAreWhatALightAdds(t *testing.T) {
	s := new(Studio)
	*s = *house()
	mean := func(without int) float64 {
		f := make([]Flash, len(s.Lights))
		for i := range f {
			f[i].Fired = i != without
		}
		g := s.draw(120, 180, f, Offset{}, 0)
		var sum, n float64
		for k, r := range g.region {
			if r == WhiteReference {
				sum, n = sum+float64(g.pix[k*g.stride+1]), n+1
			}
		}
		return sum / n
	}
	f := make([]Flash, len(s.Lights))
	for i := range f {
		f[i].Fired = true
	}
	truth := s.truth(s.draw(120, 180, f, Offset{}, 0), nil)
	e, _ := truth.Region(WhiteReference)
	all := mean(-1)
	for i := range s.Lights {
		if want := 1 - mean(i)/all; math.Abs(e.Shares[i].Part-want) > 0.002 {
			t.Errorf("light %s adds %.4f of the white reference, its share says %.4f", s.Lights[i].Group, want, e.Shares[i].Part)
		}
	}
}
