package trial

import (
	"testing"
	"time"

	"thirdstop/advise"
	"thirdstop/assess"
	"thirdstop/assess/studio"

	"math/rand/v2"
	"thirdstop/testdata"
)

// walked plays a walk in one random studio whose plan is as wrong as people's are.
func walked(seed uint64, o Options) (Walked, *studio.Studio, wanted, string) {
	st := studio.Random(seed, studio.RandomOptions{Off: o.Off, NoNarrow: true})
	st.Scatter = o.Scatter
	st.Sitter.Card = true
	quiet, err := st.Expected()
	if err != nil {
		return Walked{}, st, wanted{}, err.Error()
	}
	card, ok := quiet.Region(studio.WhiteReference)
	if !ok || card.Size < 0.004 {
		return Walked{}, st, wanted{}, "nothing white enough to declare"
	}
	box := middle(card.Box)
	p := planOf(st, quiet, o, rand.New(rand.NewPCG(seed, 0x7a1)))
	want := targetsOf(st, p, box)
	curve := OwnCurve(st.Camera.Curve)
	s, _ := advise.Apply(advise.State{}, advise.Input{Plan: &advise.PlanText{Name: "trial.yaml", Text: string(p.Marshal())}})
	if s.Plan == nil {
		return Walked{}, st, want, "the plan was refused"
	}
	s, _ = advise.Apply(s, advise.Input{Reference: &advise.Reference{Box: &box}})
	w, err := Walk(st, s, 0, time.Date(2026, 5, 9, 10, 0, 0, 0, time.UTC), 30, func() assess.Reading {
		survey, _ := st.RenderSurvey()
		return assess.MeasureSurvey(survey, facts(st), curve, assess.Hints{WhiteReference: &box})
	})
	if err != nil {
		return w, st, want, err.Error()
	}
	return w, st, want, ""
}

// The set-up walk on pictures: every walk comes to its end, and what it calls a baseline holds
// every target in truth. The bounds are what was found over some hundred studios, with room for chance (derived here).
func TestTheWalkLeadsOnTargetInVirtualStudios(t *testing.T) {
	n := uint64(16)
	if !testdata.Thorough() {
		n = 5
	}
	tried, done, first, held, frames := 0, 0, 0, 0, 0
	for seed := range n {
		w, st, want, skipped := walked(700+seed, Options{Scatter: 0.03, Wrong: 0.3, Off: 4})
		if skipped != "" {
			continue
		}
		based := w.State.Baseline > 0
		holds := want.off(st) == 0
		if !based && !holds && !want.reachable(st) {
			continue // power can't: the walk said what else can
		}
		tried++
		if w.Done && based {
			done++
			frames += w.Frames
		}
		if w.First {
			first++
		}
		if based && holds {
			held++
		}
		if !based || !holds {
			t.Logf("studio %d: done %v, baseline %d, %.2f stop off in truth", 700+seed, w.Done, w.State.Baseline, want.off(st))
			for _, x := range w.Steps {
				t.Log("   ", x)
			}
		}
	}
	t.Logf("%d studios: %d walks end in a baseline, %d with the first frame of all lights, %d of them hold in truth; %.1f frames", tried, done, first, held, float64(frames)/float64(max(done, 1)))
	if tried < int(n)/2 {
		t.Fatalf("only %d of %d studios could be tried", tried, n)
	}
	if done < tried-tried/10 || held < done-done/10-1 {
		t.Errorf("of %d walks %d end in a baseline and %d of those hold in truth, want at most a tenth to fail", tried, done, held)
	}
}
