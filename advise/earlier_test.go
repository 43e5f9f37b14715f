package advise

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"thirdstop/advise/plan"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// accepted lights a room until it holds, and gives what a later shoot needs to build its light again.
func accepted(t *testing.T, r *room) (State, Earlier, plan.Plan) {
	t.Helper()
	s := r.begin(t)
	for n := 1; n <= 12; n++ {
		s = r.frame(s, n)
		r.follow(s.Advice)
	}
	last := s.Frames[len(s.Frames)-1]
	if !last.OnTarget {
		t.Fatalf("the room is not on target after 12 frames: %s", s.Advice.Headline)
	}
	s, _ = Apply(s, Input{Baseline: &Baseline{Frame: last.Number}})
	e := s.EarlierOf("20261120-100000-EARLY", "40:abcd", last)
	return s, e, e.RebuildPlan(*s.Plan)
}

// again begins a shoot in a room that stands as then, and takes frames without following any advice.
func again(t *testing.T, r *room, e Earlier, p plan.Plan, frames int) State {
	t.Helper()
	for i, l := range p.Lights {
		r.lights[i].Power = l.Power
	}
	s, _ := Apply(State{}, Input{Plan: &PlanText{Text: string(p.Marshal()), Name: "again.yaml"}})
	s, out := Apply(s, Input{Earlier: &e})
	if len(out) == 0 || out[0].Event == nil || out[0].Event.Kind != "rebuild" {
		t.Fatalf("outputs %+v", out)
	}
	s, _ = Apply(s, Input{Reference: &Reference{Box: &assess.Box{X1: 1, Y1: 1}}})
	for n := 1; n <= frames; n++ {
		s = r.frame(s, n)
	}
	return s
}

// pair is a room of two lights, whose regions are their own.
func pair(seed uint64) *room {
	r := newRoom(seed, 0.02, exposure.ThirdFractions)
	r.lights, r.c = r.lights[:2], r.c[:2]
	return r
}

func TestALightThatIsBuiltAgainIsTheSameLight(t *testing.T) {
	for seed := range uint64(8) {
		r := pair(seed)
		_, e, p := accepted(t, r)
		if s := again(t, r, e, p, 0); len(s.Since()) != 2 || !strings.Contains(s.Since()[1].Text, "stands as then") {
			t.Errorf("seed %d: before the first frame: %+v", seed, s.Since())
		}
		s := again(t, r, e, p, 4)
		// A backdrop that was never seen under the edge then has to be seen now.
		if e.Lights[0].Alone != nil && s.Advice.Status != Hold {
			t.Errorf("seed %d: the same light, and the advice is %s", seed, s.Advice.Headline)
		}
		for _, a := range s.Since() {
			if !a.Same || a.Power != 0 {
				t.Errorf("seed %d: nothing changed, and it says %s", seed, a.Text)
			}
		}
	}
}

// The key gives less than then at the same dial, as from further away or through another umbrella.
func TestALightThatGivesLessThanThenIsNamed(t *testing.T) {
	told := 0
	for seed := range uint64(8) {
		r := pair(seed)
		_, e, p := accepted(t, r)
		for k := range r.c[1] {
			r.c[1][k] -= 0.9
		}
		s := again(t, r, e, p, 6)
		key := s.Since()[1]
		if key.Measured == nil {
			t.Errorf("seed %d: six frames, and it does not tell what the key does: %s", seed, key.Text)
			continue
		}
		if d := float64(*key.Measured); math.Abs(d+0.9) > 0.15+2*float64(key.Sigma) || key.Same || !strings.Contains(key.Text, "under then") {
			t.Errorf("seed %d: the key gives 0.9 stop less; it says %.2f (give or take %.2f): %s", seed, d, float64(key.Sigma), key.Text)
		}
		if e.Lights[0].Alone == nil {
			continue
		}
		told++
		if s.Advice.Status != Adjust || s.Advice.Adjustments[0].Group != "B" || s.Advice.Adjustments[0].To <= s.Advice.Adjustments[0].From {
			t.Errorf("seed %d: the advice is %s", seed, s.Advice.Headline)
		}
	}
	if told < 6 {
		t.Errorf("only %d of 8 rooms had both lights told apart", told)
	}
}

func TestADialThatStandsElsewhereIsNamed(t *testing.T) {
	r := pair(3)
	_, e, p := accepted(t, r)
	s := again(t, r, e, p, 0)
	to, off, far := s.Lights[1].Power-10, true, exposure.Metres(2)
	s, _ = Apply(s, Input{At: time.Unix(9, 0), Adjusted: &Adjusted{Group: "B", From: s.Lights[1].Power, To: to}})
	if a := s.Since()[1]; a.Same || a.Power != -10 || !strings.Contains(a.Text, "set "+e.Lights[1].PowerText+" as then") {
		t.Errorf("the key was turned: %+v", a)
	}
	s, _ = Apply(s, Input{Adjusted: &Adjusted{Group: "A", From: s.Lights[0].Power, To: s.Lights[0].Power, Off: &off}})
	if a := s.Since()[0]; a.Same || !strings.Contains(a.Text, "off now") {
		t.Errorf("the background light was switched off: %+v", a)
	}
	s.Earlier.Lights[1].Distance = 1.2
	s, _ = Apply(s, Input{Adjusted: &Adjusted{Group: "B", From: to, To: to, Distance: &far}})
	if a := s.Since()[1]; math.Abs(float64(a.Moved)-0.8) > 1e-9 || !strings.Contains(a.Text, "1.2 m then") {
		t.Errorf("the key was moved: %+v", a)
	}
	s.Earlier.Lights[0].Group = "Z"
	if a := s.Since()[0]; !strings.Contains(a.Text, "no light of that group") {
		t.Errorf("a light that is missing: %+v", a)
	}
}

func TestTheRebuildPlanAimsAtTheBaseline(t *testing.T) {
	r := pair(5)
	s, e, p := accepted(t, r)
	back, faults := plan.Parse("again.yaml", p.Marshal())
	if faults != nil || !reflect.DeepEqual(back, p) {
		t.Fatalf("the plan does not read back: %v", faults)
	}
	var white exposure.Stops
	for _, l := range e.Levels {
		if l.Region == WhitePeak {
			white = l.Value
		}
	}
	if b := p.Targets.WhitePeak; !b.Holds(white) || b.Width() < 1.0/3 || b.High > -0.02 {
		t.Errorf("the white lay at %v, and the target is %v", white, b)
	}
	for i, l := range p.Lights {
		if l.Power != s.Lights[i].Power {
			t.Errorf("%s is planned at %v and stood at %v", l.Name(), l.Power, s.Lights[i].Power)
		}
	}
	text, err := json.Marshal(e)
	if err != nil {
		t.Fatal(err)
	}
	var e2 Earlier
	if err := json.Unmarshal(text, &e2); err != nil || !reflect.DeepEqual(e2, e) {
		t.Errorf("the earlier light does not read back from the record: %v", err)
	}
}

// The guide number's own rule, turned round: a bare flash of guide number 40 m at 2 m and 1/4 power, ISO 100, f/8, and a white that
// lies where the rule puts it (derived here from ISO 1230's product).
func TestAGuideNumberIsLearnedFromWhatTheKeyDoes(t *testing.T) {
	r := pair(1)
	for i := range r.lights {
		r.lights[i].Scale = exposure.ThirdFractions
	}
	r.lights[1].Distance, r.lights[1].Power = 2, -2*exposure.Stop
	level, ok := exposure.GuideNumber(40).Level(2, exposure.FullPower, 100, 1)
	if !ok {
		t.Fatal("no level")
	}
	full := float64(level) + whiteUnderClip
	r.c[1] = [regionCount]float64{full - 4, full, full - 3, full - 1.8}
	r.c[0][whiteRegion], r.c[0][backdropRegion] = r.c[1][whiteRegion]-9, r.c[1][whiteRegion]-0.4
	g, ok := exposure.Gain(100, 8)
	if !ok {
		t.Fatal("no gain")
	}
	r.gain = float64(g)
	s := r.begin(t)
	for n := 1; n <= 10; n++ {
		s = r.frame(s, n)
		r.follow(s.Advice)
	}
	got, ok := s.LearnedGuide("B")
	if !ok {
		t.Fatalf("nothing was learned of the key after 10 frames: %s", s.Advice.Headline)
	}
	if off := 2 * math.Log2(float64(got.Number)/40); math.Abs(off) > 2*float64(got.Sigma) || got.Sigma > 0.4 {
		t.Errorf("the guide number is %.1f (give or take %.2f stop), and 40 in truth", float64(got.Number), float64(got.Sigma))
	}
	if _, ok := s.LearnedGuide("A"); ok {
		t.Error("a guide number was learned of a background light, which no white tells of")
	}
}
