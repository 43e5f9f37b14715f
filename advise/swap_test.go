package advise

import (
	"math"
	"slices"
	"testing"
	"time"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// A key that gets a softbox in a hall that obeys the light model comes out as before after one
// correction: the first settings are reckoned from what softboxes take, the frame tells the rest. The shares are those found,
// rounded down (derived here).
func TestAfterASwapOneFrameGivesTheCorrection(t *testing.T) {
	const halls = 40
	matched, tried, far := 0, 0, 0.0
	for seed := range uint64(halls) {
		h := newHall(seed, 3, 0.03)
		s, n := h.walkThrough(t, 30)
		if s.Baseline == 0 {
			continue
		}
		at := time.Date(2026, 5, 9, 11, 0, 0, 0, time.UTC)
		take := func() {
			n++
			at = at.Add(20 * time.Second)
			s, _ = Apply(s, Input{At: at, Frame: &Frame{Number: n, Revision: 1, Reading: h.reading(true)}})
		}
		follow := func() {
			for _, a := range s.Advice.Adjustments {
				for i := range h.lights {
					if h.lights[i].Group == a.Group {
						h.lights[i].Power = a.To
					}
				}
			}
		}
		take()
		before := truth(h)
		loss := 1 + 2*h.rng.Float64() // what softboxes take
		if h.lights[1].Power.Stops() > -exposure.Stops(loss)-1 {
			continue // out of the dial's reach
		}
		tried++
		for k := range h.c[1] {
			h.c[1][k] -= loss
		}
		box := "softbox"
		s, _ = Apply(s, Input{At: at, Adjusted: &Adjusted{Group: "B", From: s.Lights[1].Power, To: s.Lights[1].Power, Modifier: &box}})
		if s.Match == nil || s.Advice.Status != Adjust && s.Advice.Status != Waiting {
			t.Fatalf("hall %d: after the swap the advice is %s %q, want settings before a frame is taken", seed, s.Advice.Status, s.Advice.Headline)
		}
		follow()
		take()
		far += math.Abs(truth(h)[whiteRegion] - before[whiteRegion])
		follow()
		take()
		if math.Abs(truth(h)[whiteRegion]-before[whiteRegion]) < 0.3 {
			matched++
		} else {
			t.Logf("hall %d: %.2f stop off after the correction", seed, truth(h)[whiteRegion]-before[whiteRegion])
		}
	}
	t.Logf("%d of %d match after one frame and its correction; the first settings were off by %.2f stop on average", matched, tried, far/float64(tried))
	if tried < 15 || matched < tried*9/10 {
		t.Errorf("%d of %d swaps match after one correction, want 90 %% of at least 15", matched, tried)
	}
}

// truth is how the hall's regions lie without scatter.
func truth(h *hall) [regionCount]float64 {
	sigma := h.sigma
	defer func() { h.sigma = sigma }()
	var v [regionCount]float64
	for k := range v {
		sum := math.Exp2(h.ambient[k])
		for i, l := range h.lights {
			if !h.off[i] {
				sum += math.Exp2(h.c[i][k] + float64(l.Power.Stops()))
			}
		}
		v[k] = math.Log2(sum)
	}
	return v
}

// A backdrop of another colour keeps what was learned of the lights, and the sitter's white is matched.
func TestAnotherBackdropKeepsTheLights(t *testing.T) {
	h := newHall(4, 2, 0.02)
	s, _ := h.walkThrough(t, 30)
	text := s.PlanText
	before := s.taught.Fit().Predict(s.setting(s.gain(), s.Shutter))
	p := *s.Plan
	p.Backdrop.Colour = "grey"
	p.Targets.WhiteFloor, p.Targets.BackdropLevel = s.Plan.Targets.BackdropLevel, s.Plan.Targets.WhiteFloor
	p.Targets.BackdropLevel.Low, p.Targets.BackdropLevel.High = -2.8, -2.2
	next, _ := Apply(s, Input{Plan: &PlanText{Name: "grey.yaml", Text: string(p.Marshal())}})
	if next.Plan == nil || next.PlanText == text {
		t.Fatal("the grey plan was refused")
	}
	after := next.taught.Fit().Predict(next.setting(next.gain(), next.Shutter))
	if d := after[backdropRegion].Value - before[backdropRegion].Value; math.Abs(float64(d)+1.58) > 0.05 {
		t.Errorf("a grey backdrop is expected %v from the white one, want -1.58 (log2 of 0.3/0.9; derived here)", d)
	}
	if math.Abs(float64(after[whiteRegion].Value-before[whiteRegion].Value)) > 0.01 {
		t.Errorf("the white reference is expected at %v, want %v as before", after[whiteRegion].Value, before[whiteRegion].Value)
	}
	if next.Match == nil || slices.ContainsFunc(next.Match.Regions, func(r MatchRegion) bool { return r.Region == BackdropFloor }) {
		t.Errorf("matched are %+v, want the white reference alone", next.Match)
	}
}

// What was never learned can't be carried over, and odd requests change nothing.
func TestSwapsBeforeTheFirstFrame(t *testing.T) {
	s, _ := Apply(State{}, Input{Plan: &PlanText{Text: twoLights, Name: "p"}})
	for _, k := range []SwapKind{SwapLens, SwapBackdrop, "sensor"} {
		next, _ := Apply(s, Input{Swap: &Swap{What: k}})
		if next.Match != nil {
			t.Errorf("a swap of the %s before the first frame wants a match: %+v", k, next.Match)
		}
		next, _ = Apply(next, Input{Frame: &Frame{Number: 1, Revision: 1, Reading: &assess.Reading{Version: assess.FormatVersion, Kind: assess.Full}}})
		if next.FrameCount != 1 {
			t.Errorf("after a swap of the %s the first frame is not taken", k)
		}
	}
}
