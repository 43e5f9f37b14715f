package trial

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"thirdstop/advise"
	"thirdstop/assess"
	"thirdstop/assess/evaluate"
	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
	"thirdstop/assess/tone"
)

// ToneOptions say how learning a tone curve is tried.
type ToneOptions struct {
	Studios int
	Seed    uint64 // of the first studio
	Scatter exposure.Stops
	Curves  []studio.CurveKind // one of these; empty: one of the studio's seven
}

// ToneStage is how far a camera's curve is known.
type ToneStage int

// The stages.
const (
	ByDefault ToneStage = iota
	After3              // known changes of light
	After6
	After10
	ByBracket // the guided bracket
	toneStages
)

var toneStageWords = [toneStages]string{"default curve", "after 3 known changes", "after 6", "after 10", "after the guided bracket"}
var toneStageNeeds = [toneStages]int{After3: 3, After6: 6, After10: 10}

// ToneOutcome is one studio.
type ToneOutcome struct {
	Curve   studio.CurveKind
	Known   int                    // changes of known size that were seen
	Frames  int                    // that it took
	Adopted int                    // times a curve took the place of the one before
	Refused string                 // why steps were not learned from
	Off     [toneStages][]ToneMiss // of the curve in force
	Sigma   [toneStages]exposure.Stops
	OK      [toneStages]bool
}

// ToneMiss is a curve's error at one code value.
type ToneMiss struct{ Truth, Off, Sigma exposure.Stops }

// Tones tries it: in random studios with one to three lights, moving sitters and scattering flashes the advice is followed until
// it rests; then lights are turned by one to four clicks of a third, and now and then the ISO, all recorded. The curve that comes
// of it is held against the studio's formula at code values 20 to 250.
func Tones(ctx context.Context, o ToneOptions) ([]ToneOutcome, error) {
	out := make([]ToneOutcome, o.Studios)
	err := spread(ctx, o.Studios, workers(nil), func(i int) { out[i] = toneIn(o.Seed+uint64(i), o) })
	return out, err
}

// mostToneFrames of a studio.
const mostToneFrames = 60

func toneIn(seed uint64, o ToneOptions) (out ToneOutcome) {
	g, skipped := staged(seed, Options{Scatter: o.Scatter, Off: 2, Wrong: 0.3, AnyClips: true, Curves: o.Curves})
	if skipped != "" {
		return out
	}
	st, s := g.st, g.state
	out.Curve = st.Camera.Curve
	curve := tone.Default()
	out.judge(ByDefault, st.Camera.Curve, curve)
	if c, err := evaluate.Bracketed(st); err == nil {
		out.judge(ByBracket, st.Camera.Curve, c)
	}
	st.Coarse = true
	key := tone.Key{Model: "studio"}
	var entry tone.Entry
	have := false
	r := rand.New(rand.NewPCG(seed, 0x70ae))
	at := start
	for n := 1; n <= mostToneFrames && s.KnownCount < 10; n++ {
		survey, _ := st.RenderSurvey()
		reading := assess.MeasureSurvey(survey, facts(st), curve, assess.Hints{WhiteReference: &g.box})
		at = at.Add(12 * time.Second)
		before := s.KnownCount
		s, _ = advise.Apply(s, advise.Input{At: at, Frame: &advise.Frame{Number: n, Revision: 1, Reading: &reading}})
		out.Frames, out.Known = n, s.KnownCount
		for stage, need := range toneStageNeeds {
			if need == 0 || before >= need || s.KnownCount < need {
				continue
			}
			e, better, err := tone.Improved(entry, have, key, "trial", s.Known)
			if err != nil {
				out.Refused = err.Error()
			}
			if better {
				s, _ = advise.Apply(s, advise.Input{At: at, Curve: &advise.Curve{How: advise.CurveByItself, Camera: "studio", Was: curve, Now: e.Curve, Frames: len(e.Known)}})
				entry, have, curve = e, true, e.Curve
				out.Adopted++
			}
			out.judge(ToneStage(stage), st.Camera.Curve, curve)
		}
		if q := s.Question; q != nil {
			s, _ = advise.Apply(s, advise.Input{At: at.Add(time.Second), Answer: &advise.Answer{Question: q.Number, Yes: truly(st, s)}})
		}
		if len(s.Advice.Adjustments) > 0 {
			for _, a := range s.Advice.Adjustments {
				if err := st.Light(a.Group).Turn(a.To); err != nil {
					return out // the studio's dial has no such setting; what was seen so far counts
				}
			}
			continue
		}
		if s.Advice.Status != advise.Hold && n < 8 {
			continue
		}
		s = g.known(s, at.Add(2*time.Second), r)
	}
	return out
}

// known does something to the light that is recorded: one light turned, or now and then the ISO.
func (g stage) known(s advise.State, at time.Time, r *rand.Rand) advise.State {
	thirds := []int{-4, -3, -2, -1, 1, 2, 3, 4}[r.IntN(8)]
	if r.IntN(5) == 0 {
		if v, ok := g.st.Camera.ISO.Step(thirds); ok {
			g.st.Camera.ISO = v
		}
		return s
	}
	l := s.Lights[r.IntN(len(s.Lights))]
	to := l.Power + exposure.Clicks(exposure.Stops(thirds)/3, max(l.Click, 1))
	if to == l.Power || to < l.Least || to > l.Most || l.Off || (to-l.Least)%max(l.Click, 1) != 0 {
		return s
	}
	if err := g.st.Light(l.Group).Turn(to); err != nil {
		return s // as with a dial that ends there
	}
	s, _ = advise.Apply(s, advise.Input{At: at, Adjusted: &advise.Adjusted{Group: l.Group, From: l.Power, To: to}})
	return s
}

// judge holds a curve against the truth.
func (o *ToneOutcome) judge(stage ToneStage, k studio.CurveKind, c *tone.Curve) {
	o.OK[stage], o.Sigma[stage] = true, c.SigmaOneStopUnder()
	for code := 20.0; code <= 250; code += 5 {
		truth, ok := exposure.FromFactor(k.Light(code))
		read, sigma := c.Stops(1, code, 0)
		if ok {
			o.Off[stage] = append(o.Off[stage], ToneMiss{truth, read - truth, sigma})
		}
	}
}

// WriteTones prints Markdown. A stage that a studio did not reach counts with what it had reached.
func WriteTones(w io.Writer, all []ToneOutcome, seed uint64) error {
	var used []ToneOutcome
	reached := [toneStages]int{}
	refused, frames, worse := 0, []int{}, 0
	for _, o := range all {
		if !o.OK[ByDefault] {
			continue
		}
		for stage := After3; stage <= After10; stage++ {
			if o.OK[stage] {
				reached[stage]++
				continue
			}
			o.Off[stage], o.Sigma[stage] = o.Off[stage-1], o.Sigma[stage-1]
		}
		if o.OK[ByBracket] {
			reached[ByBracket]++
		} else {
			o.Off[ByBracket] = o.Off[ByDefault]
		}
		if o.Refused != "" {
			refused++
		}
		if o.OK[After10] {
			frames = append(frames, o.Frames)
		}
		if worstOf(o.Off[After10]) > worstOf(o.Off[ByDefault])+0.05 {
			worse++
		}
		used = append(used, o)
	}
	if len(used) < 5 {
		_, err := fmt.Fprintf(w, "%d studios could be used, which is too few to say anything.\n", len(used))
		return err
	}
	slices.Sort(frames)
	fmt.Fprintf(w, "%d random studios: moving sitters, a card in hand, lights that share a region. Error of the curve, in stops, over code values 20 to 250; 95 %% confidence intervals in brackets (bootstrap over studios).\n", len(used))
	fmt.Fprintf(w, "%d, %d and %d saw 3, 6 and 10 known changes", reached[After3], reached[After6], reached[After10])
	if len(frames) > 0 {
		fmt.Fprintf(w, " (10 of them by frame %d in the middle)", frames[len(frames)/2])
	}
	fmt.Fprintf(w, "; in %d the changes contradicted each other and were not learned from; a bracket was learned from in %d. The largest error grew by over 0.05 stop in %d.\n\n", refused, reached[ByBracket], worse)
	fmt.Fprintln(w, "| true level | curve | median error | 95 % of errors under | error in sigmas, r.m.s. |")
	fmt.Fprintln(w, "| --- | --- | --- | --- | --- |")
	for _, in := range []struct {
		words    string
		from, to exposure.Stops
	}{{"below -1 stop", -30, -1}, {"-1 stop to white", -1, 0}} {
		for stage := range toneStages {
			var groups [][]float64
			sum, n := 0.0, 0
			for _, o := range used {
				var v []float64
				for _, m := range o.Off[stage] {
					if m.Truth >= in.from && m.Truth < in.to {
						v = append(v, math.Abs(float64(m.Off)))
						sum += math.Pow(float64(m.Off/max(m.Sigma, 1e-3)), 2)
						n++
					}
				}
				if len(v) > 0 {
					groups = append(groups, v)
				}
			}
			median, most := evaluate.Bootstrap(groups, rand.New(rand.NewPCG(seed, 0xb007)))
			fmt.Fprintf(w, "| %s | %s | %s | %s | %.1f |\n", in.words, toneStageWords[stage], median, most, math.Sqrt(sum/float64(max(n, 1))))
		}
	}
	_, err := fmt.Fprintln(w)
	return err
}

func worstOf(all []ToneMiss) float64 {
	worst := 0.0
	for _, m := range all {
		worst = max(worst, math.Abs(float64(m.Off)))
	}
	return worst
}
