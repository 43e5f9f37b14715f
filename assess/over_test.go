package assess

import (
	"math"
	"sort"
	"testing"

	"thirdstop/assess/photo"
	"thirdstop/assess/studio"
	"thirdstop/testdata"
)

// trueMedian is the studio's median of what a reading took for backdrop, in stops, over the edge or not.
func trueMedian(t testing.TB, s *photo.Survey, truth *studio.Truth, m Mask) float64 {
	t.Helper()
	bits, ok := m.Cells()
	if !ok {
		t.Fatal("a reading's mask can't be unpacked")
	}
	var v []float64
	for i, l := range truth.Cells.Light {
		x0, y0, x1, y1 := s.CellBox(i%s.Cols, i/s.Cols)
		c, r := min(int((x0+x1)/2*float64(m.Cols)), m.Cols-1), min(int((y0+y1)/2*float64(m.Rows)), m.Rows-1)
		if bits[r*m.Cols+c] {
			v = append(v, math.Log2(float64(max(l[0], l[1], l[2]))))
		}
	}
	sort.Float64s(v)
	return v[(len(v)-1)/2]
}

// How far over the edge a clipped backdrop lies: the stated 90 % interval holds the studio's truth about nine times in
// ten, under the camera's own curve as under the default, on scenes that the estimate was not fitted on.
func TestClippedEstimatesAreHonest(t *testing.T) {
	n := uint64(testdata.Scenes(110, 24))
	var held, all, nothing [2]int
	var off [2][]float64
	for seed := uint64(52_000); seed < 52_000+n; seed++ {
		st := studio.Random(seed, studio.RandomOptions{Off: 1.5, Width: 480, PictureHeight: 320, WhiteBackdrop: true})
		s, truth := st.RenderSurvey()
		for k := range held {
			c := curveOf(t, st.Camera.Curve)
			if k == 1 {
				c = nil
			}
			b := MeasureSurvey(s, Facts{}, c, Hints{}).Regions.Backdrop
			switch {
			case b == nil:
				continue
			case !b.AtLeast:
				if b.Over != nil {
					t.Errorf("seed %d: a backdrop that doesn't clip is over by %+v", seed, b.Over)
				}
				continue
			case b.Over == nil:
				nothing[k]++
				continue
			}
			all[k]++
			want := trueMedian(t, s, &truth, b.Mask)
			// A median cell right on the edge clips by noise alone: 0.03 stop.
			if want >= float64(b.Over.Low)-0.03 && want <= float64(b.Over.High) {
				held[k]++
			}
			off[k] = append(off[k], math.Abs(float64(b.Over.Likely)-want))
			if b.Over.Low > b.Over.Likely || b.Over.Likely > b.Over.High {
				t.Errorf("seed %d: the estimate %+v is not in order", seed, b.Over)
			}
		}
	}
	for k, name := range [2]string{"the camera's own curve", "the default curve"} {
		sort.Float64s(off[k])
		t.Logf("%s: %d clipped backdrops, too little left on %d more; the 90 %% interval holds %.0f %%; error median %.2f, 95 %% %.2f stop",
			name, all[k], nothing[k], 100*float64(held[k])/float64(all[k]), off[k][len(off[k])/2], off[k][len(off[k])*95/100])
		// Of 35 at 90 %, 80 % or fewer happen twice in a hundred times (binomial).
		if share := float64(held[k]) / float64(all[k]); all[k] < int(n)/6 || share < 0.77 {
			t.Errorf("%s: the 90 %% interval holds the truth in %d of %d", name, held[k], all[k])
		}
	}
}
