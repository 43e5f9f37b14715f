package advise

import (
	"math"
	"strings"
	"testing"
	"time"

	"thirdstop/assess/exposure"
)

// Of what is foretold of the next frame's regions 19 in 20 come out inside the interval, in rooms that obey the
// light model, from the second frame on; in fact more, for readings claim more doubt (the curve) than these rooms have. Regions that clip must not have been foretold wholly under the edge.
func TestTheNextFrameComesAsForetold(t *testing.T) {
	inside, all, width := 0, 0, 0.0
	for seed := range uint64(40) {
		r := newRoom(seed, 0.03, exposure.ThirdFractions)
		s := r.begin(t)
		var next []Forecast
		for n := 1; n <= 6; n++ {
			s = r.frame(s, n)
			seen := measuredRegions(s.Plan, s.newest().Reading)
			if n > 2 { // one frame and its correction taught by then
				for k, y := range seen {
					f := next[k]
					switch {
					case k == crownRegion || !y.OK || y.AtLeast && f.High >= y.Value:
						continue
					case !y.AtLeast && y.Value >= f.Low && y.Value <= f.High:
						inside++
					}
					all++
					width += float64(f.High - f.Low)
				}
			}
			next = s.forecast(s.taught.Fit())
			r.follow(s.Advice)
		}
	}
	low, _ := share95(inside, all)
	t.Logf("%d of %d regions as foretold (%.1f %%), %.2f stop wide on average", inside, all, 100*float64(inside)/float64(all), width/float64(all))
	if all < 200 || low < 0.9 {
		t.Errorf("%d of %d regions came inside the interval, want 95 %% and surely over 90 %%", inside, all)
	}
}

// share95 is the score interval of a share (Wilson 1927; from memory).
func share95(hits, of int) (low, high float64) {
	const z = 1.96
	n, p := float64(of), float64(hits)/float64(of)
	mid, half := p+z*z/(2*n), z*math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return (mid - half) / (1 + z*z/n), (mid + half) / (1 + z*z/n)
}

// Key and fill reach the white reference alike, so a first frame can't tell them apart: the frame with one of
// them off is proposed, and after it nothing more is. Advice goes on all the while.
func TestLightsThatCannotBeToldApartGetATestFrame(t *testing.T) {
	r := newRoom(3, 0.01, exposure.ThirdFractions)
	s := r.begin(t)
	if s.Apart() != nil {
		t.Error("a test frame is proposed before the first frame")
	}
	s = r.frame(s, 1)
	status := s.Advice.Status
	first := s.Apart()
	if first == nil || len(first.Lights) < 2 || !strings.Contains(first.Text, "switched off would tell") {
		t.Fatalf("after one frame of three lights the proposal is %+v, want a light to switch off", first)
	}
	if s.Advice.Status != status || status == Look {
		t.Errorf("the advice is %s, want it to go on", s.Advice.Status)
	}
	for try := 0; try < 3; try++ {
		p := s.Apart()
		if p == nil {
			return
		}
		i, ok := s.light(p.Off)
		if !ok {
			t.Fatalf("no light %q", p.Off)
		}
		off, on := true, false
		at := time.Date(2026, 5, 9, 10, 5, 20*try, 0, time.UTC)
		s, _ = Apply(s, Input{At: at, Adjusted: &Adjusted{Group: p.Off, From: s.Lights[i].Power, To: s.Lights[i].Power, Off: &off}})
		saved := r.c[i]
		r.c[i] = [regionCount]float64{-30, -30, -30, -30}
		s, _ = Apply(s, Input{At: at.Add(10 * time.Second), Frame: &Frame{Number: 2 + try, Revision: 1, Reading: r.reading()}})
		r.c[i] = saved
		s, _ = Apply(s, Input{At: at.Add(15 * time.Second), Adjusted: &Adjusted{Group: p.Off, From: s.Lights[i].Power, To: s.Lights[i].Power, Off: &on}})
	}
	if p := s.Apart(); p != nil && p.Region == first.Region && p.Off == first.Off {
		t.Errorf("after three test frames the same one is proposed again: %q", p.Text)
	}
}
