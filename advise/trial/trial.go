// Package trial holds the advice against virtual studios whose truth is known: it
// follows the advice frame by frame, and counts how soon every target holds.
//
// It knows studios, readings and the state machine. It must never know how a shoot is
// recorded or shown, and nothing of thirdstop depends on it but a subcommand and
// tests. What the studio leaves out stands in assess/studio; no result here says more than that.
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
	"thirdstop/advise/plan"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
	"thirdstop/assess/tone"
)

// Options say which studios are tried. The zero value of a field has a meaning of its own.
type Options struct {
	Studios  int            // how many
	Seed     uint64         // the first studio's; the others count up from it
	Frames   int            // most frames per studio; 0 is 6
	Scatter  exposure.Stops // of every flash, one standard deviation; 0 leaves each studio its own (0.01 to 0.06)
	Off      exposure.Stops // lights start at most so far off; 0 is 2 stops
	Own      bool           // readings through the camera's own curve, as after learning it; else through the default
	Walk     bool           // the guided set-up is walked first
	Trace    io.Writer      // what happened frame by frame, where it is wanted; then one studio after another
	Least    bool           // the least number of lights that had to be turned is looked for
	AnyClips bool           // the plan allows any share of the sitter to clip
	Wrong    float64        // how wrong the plan's distances are, one standard deviation; 0.3 is 30 %. Negative: the plan has none

	Curves []studio.CurveKind // cameras have one of these; empty: one of the studio's seven
}

// Outcome is what became of one studio.
type Outcome struct {
	Seed      uint64
	Apart     bool   // every light has a region of its own: no fill
	Walked    int    // frames that the walk took
	First     bool   // and its first frame of all lights left nothing to turn
	FirstHeld bool   // every target held in truth in that frame
	Clipped   bool   // a judged region was clipped in the first frame
	OnTarget  int    // the frame from which every target held in truth and stayed so to the end; 0 never
	Rest      int    // the frame at which the advice came to "hold"; 0 never
	Worse     int    // corrections after which the judged regions lay further off than before, by more than scatter
	Clips     int    // corrections after which a white reference clips in truth that held before
	Turns     int    // dials turned, in all corrections together
	Turned    int    // lights of them until every target held, the hair light left out
	Least     int    // lights that had to be turned for that; -1 where it was not looked for
	Look      bool   // the advice said that power alone can't
	Reach     bool   // power alone could: some setting of the dials meets every target in truth
	Skipped   string // why there was nothing to try
	Curve     string
}

// Run tries all studios on all processors. The same options give the same outcomes. When ctx ends it returns its error.
func Run(ctx context.Context, o Options) ([]Outcome, error) {
	if o.Frames == 0 {
		o.Frames = 6
	}
	out := make([]Outcome, o.Studios)
	err := spread(ctx, o.Studios, workers(o.Trace), func(i int) { out[i] = one(o.Seed+uint64(i), o) })
	return out, err
}

// stage is a studio with the plan that somebody wrote for it, before the first frame.
type stage struct {
	st    *studio.Studio
	box   assess.Box // of the card, as declared
	want  wanted
	state advise.State
	shoot func() assess.Reading
}

// staged sets a studio up. What keeps it from being tried is told in skipped.
func staged(seed uint64, o Options) (g stage, skipped string) {
	st := studio.Random(seed, studio.RandomOptions{Off: o.Off, NoNarrow: true, Curves: o.Curves})
	if o.Scatter > 0 {
		st.Scatter = o.Scatter
	}
	g.st = st
	st.Sitter.Card = true // held for the white reference; a collar is a matter of measuring, not of advising
	quiet, err := st.Expected()
	if err != nil {
		return g, err.Error()
	}
	card, ok := quiet.Region(studio.WhiteReference)
	if !ok || card.Size < 0.004 {
		return g, "nothing white enough to declare"
	}
	g.box = middle(card.Box)
	p := planOf(st, quiet, o, rand.New(rand.NewPCG(seed, 0x7a1)))
	if o.AnyClips {
		p.Targets.MostClipped = 1
	}
	g.want = targetsOf(st, p, g.box)
	curve := tone.Default()
	if o.Own {
		curve = OwnCurve(st.Camera.Curve)
	}
	g.state, _ = advise.Apply(advise.State{}, advise.Input{Plan: &advise.PlanText{Name: "trial.yaml", Text: string(p.Marshal())}})
	if g.state.Plan == nil {
		return g, "the plan was refused"
	}
	g.state, _ = advise.Apply(g.state, advise.Input{Reference: &advise.Reference{Box: &g.box}})
	g.shoot = func() assess.Reading {
		survey, _ := st.RenderSurvey()
		return assess.MeasureSurvey(survey, facts(st), curve, assess.Hints{WhiteReference: &g.box})
	}
	return g, ""
}

// start is when the first frame of every trial is taken.
var start = time.Date(2026, 5, 9, 10, 0, 0, 0, time.UTC)

// truly answers a state's question as one who looks at the lights.
func truly(st *studio.Studio, s advise.State) bool {
	q := s.Question
	l := st.Light(q.Group)
	switch {
	case l == nil: // do they all stand as recorded?
		return asRecorded(st, s)
	case q.Off:
		return !l.On
	}
	return l.On && l.Power == q.To
}

// asRecorded tells whether every light stands as the record has it, or as is advised.
func asRecorded(st *studio.Studio, s advise.State) bool {
	return !slices.ContainsFunc(s.Lights, func(l advise.LightState) bool {
		x := st.Light(l.Group)
		advised := slices.ContainsFunc(s.Advice.Adjustments, func(a advise.Adjustment) bool { return a.Group == l.Group && a.To == x.Power })
		return x.On == l.Off || x.Power != l.Power && !advised
	})
}

// one follows the advice in one studio.
func one(seed uint64, o Options) (out Outcome) {
	g, skipped := staged(seed, o)
	st, want, s, shoot := g.st, g.want, g.state, g.shoot
	out = Outcome{Seed: seed, Curve: st.Camera.Curve.String(), Skipped: skipped, Least: -1}
	out.Apart = !slices.ContainsFunc(st.Lights, func(l studio.Light) bool { return l.Role == studio.Fill })
	if skipped != "" {
		return out
	}
	at := start
	defer func() { out.Reach = out.OnTarget > 0 || want.reachable(st) }() // dear, and mostly plain
	if o.Walk {
		var held []bool // per frame: every target holds in truth
		w, err := Walk(st, s, 0, at, 40, func() assess.Reading {
			held = append(held, want.off(st) == 0)
			return shoot()
		})
		if err != nil {
			out.Skipped = err.Error()
			return out
		}
		s, at, out.Walked, out.First = w.State, w.At, w.Frames, w.First
		out.FirstHeld = w.All > 0 && held[w.All-1]
	}
	from := slices.Clone(st.Lights)
	if o.Least {
		if n, ok := want.least(st); ok {
			out.Least = n
		}
	}
	before := want.off(st)
	for n := 1; n <= o.Frames; n++ {
		r := shoot()
		at = at.Add(12 * time.Second)
		next, outs := advise.Apply(s, advise.Input{At: at, Frame: &advise.Frame{Number: out.Walked + n, Revision: 1, Reading: &r}})
		s = next
		if n == 1 {
			if r.Regions.Backdrop == nil {
				out.Skipped = "no backdrop was found"
				return out
			}
			for _, e := range s.Advice.Expected {
				out.Clipped = out.Clipped || e.AtLeast
			}
		}
		if o.Trace != nil {
			t, white, _ := st.ExpectedIn(studio.Box(g.box), studio.WhiteReference)
			fmt.Fprintf(o.Trace, "studio %d, frame %d: backdrop %+.2f, white peak %+.2f in truth; ", seed, n, slices.Min(want.backdrops(t)), white.Peak)
			for _, e := range s.Advice.Expected {
				fmt.Fprintf(o.Trace, "%s %s, then %s ± %.2f; ", e.Name, e.NowText, e.ThenText, e.ThenSigma)
			}
			fmt.Fprintf(o.Trace, "%s: %s\n", s.Advice.Status, s.Advice.Headline)
			for _, x := range outs {
				if x.Question != nil {
					fmt.Fprintf(o.Trace, "  %s\n", x.Question.Text)
				}
				if x.Event != nil && x.Event.Kind != "frame" {
					fmt.Fprintf(o.Trace, "  %s\n", x.Event.Text)
				}
			}
			for _, a := range s.Advice.Adjustments {
				fmt.Fprintf(o.Trace, "  %s (%s)\n", a.Text, a.Reason)
			}
		}
		if holds := want.off(st) == 0; !holds {
			out.OnTarget = 0
		} else if out.OnTarget == 0 {
			out.OnTarget, out.Turned = n, turned(from, st.Lights)
		}
		out.Look = out.Look || s.Advice.Status == advise.Look && (len(s.Advice.Ways) > 0 || s.Advice.Headline == advise.OutOfReach)
		if s.Advice.Status == advise.Hold {
			out.Rest = n
			break
		}
		if q := s.Question; q != nil { // the assistant did what was advised, looks at the dial and answers
			s, _ = advise.Apply(s, advise.Input{At: at.Add(time.Second), Answer: &advise.Answer{Question: q.Number, Yes: truly(st, s)}})
		}
		held := want.whiteHolds(st)
		out.Turns += len(s.Advice.Adjustments)
		for _, a := range s.Advice.Adjustments {
			if err := st.Light(a.Group).Turn(a.To); err != nil {
				out.Skipped = err.Error()
				return out
			}
		}
		if held && !want.whiteHolds(st) {
			out.Clips++
		}
		after := want.off(st)
		// A clipped region is brought under the edge on purpose; that is no step for the worse.
		if after > before+0.15 && !s.Advice.AtLeast {
			out.Worse++
		}
		before = after
	}
	return out
}

// turned counts the lights that stand at another power than before, the hair light left out.
func turned(from, to []studio.Light) (n int) {
	for i := range from {
		if from[i].Power != to[i].Power && from[i].Role != studio.Hair {
			n++
		}
	}
	return n
}

func middle(b studio.Box) assess.Box {
	w, h := b.X1-b.X0, b.Y1-b.Y0
	return assess.Box{X0: b.X0 + 0.3*w, Y0: b.Y0 + 0.3*h, X1: b.X1 - 0.3*w, Y1: b.Y1 - 0.3*h}
}

// facts are what the studio's camera would have written into the file.
func facts(st *studio.Studio) assess.Facts {
	c := st.Camera
	manual, fixed := 1, 1
	return assess.Facts{Kind: assess.Full, Orientation: c.Orientation,
		Exif: assess.Exif{FNumber: &c.FNumber, ISO: &c.ISO, ExposureTime: &c.Shutter, Program: &manual, WhiteBalance: &fixed}}
}

// planOf is what a photographer would have written down: dials right, distances more or less.
func planOf(st *studio.Studio, quiet studio.Truth, o Options, r *rand.Rand) plan.Plan {
	p := plan.Plan{Version: plan.FormatVersion}
	b, _ := quiet.Region(studio.BackdropRegion)
	colour := st.Backdrop.Colour
	switch {
	case min(colour[0], colour[1], colour[2]) > 0.75:
		p.Backdrop.Colour = plan.White
	default:
		p.Backdrop.Colour = plan.Grey
	}
	p.Targets = plan.DefaultTargets(p.Backdrop.Colour)
	if p.Backdrop.Colour == plan.Grey { // wanted about where this cloth can be, half a stop off at most
		aim := exposure.Stops(math.Round((float64(b.Level)+r.Float64()-0.5)*10) / 10)
		aim = max(min(aim, -0.8), -6)
		p.Targets.BackdropLevel = plan.Band{Low: (aim - 0.3).Round(), High: (aim + 0.3).Round()}
	}
	wrong := func(d exposure.Metres) exposure.Metres {
		if o.Wrong < 0 {
			return 0
		}
		f := math.Exp(o.Wrong * max(-2, min(2, r.NormFloat64())))
		return exposure.Metres(math.Round(float64(d)*f*100) / 100)
	}
	p.Backdrop.Distance = wrong(st.Backdrop.Distance)
	for _, l := range st.Lights {
		scale := exposure.ThirdFractions
		if l.Click == exposure.Tenth {
			scale = exposure.TenthFractions
		}
		p.Lights = append(p.Lights, plan.Light{Role: plan.Role(l.Role), Group: l.Group, Power: l.Power, Scale: scale,
			Least: l.Least, Most: l.Most, Distance: wrong(l.Distance)})
	}
	return p
}

// wanted is what must hold in truth, with the slack that the advice has as well.
type wanted struct {
	plan  plan.Plan
	box   assess.Box
	slack exposure.Stops
}

func targetsOf(st *studio.Studio, p plan.Plan, box assess.Box) wanted {
	return wanted{p, box, st.Lights[0].Click.Stops()/2 + 0.05 + 0.1} // half a click, scatter, and what areas and truth differ by
}

// off is how far outside its target the worst judged region lies, in stops, without scatter and sway.
func (w wanted) off(st *studio.Studio) float64 {
	t, white, err := st.ExpectedIn(studio.Box(w.box), studio.WhiteReference)
	if err != nil || white.Size == 0 {
		return math.Inf(1)
	}
	return w.miss(white.Peak, slices.Min(w.backdrops(t)))
}

// miss is how far outside its target the worse of the white reference and the backdrop lies, in stops.
func (w wanted) miss(white, back exposure.Stops) float64 {
	out := func(v exposure.Stops, b plan.Band, high exposure.Stops) float64 {
		return math.Max(0, math.Max(float64(b.Low-w.slack-v), float64(v-b.High-high)))
	}
	return math.Max(out(back, w.band(), w.slack), out(white, w.plan.Targets.WhitePeak, 0.15)) // as far as a sitter's swaying moves it
}

// band is the backdrop's target.
func (w wanted) band() plan.Band {
	if w.plan.Backdrop.Colour == plan.White {
		return w.plan.Targets.WhiteFloor
	}
	return w.plan.Targets.BackdropLevel
}

// whiteHolds tells whether the white reference is short of clipping in truth.
func (w wanted) whiteHolds(st *studio.Studio) bool {
	_, white, err := st.ExpectedIn(studio.Box(w.box), studio.WhiteReference)
	return err == nil && white.Size > 0 && white.Peak < 0
}

// reachable tries background and key over their dials, by halving, since either region
// grows with both. It leaves the studio as it was.
func (w wanted) reachable(st *studio.Studio) bool {
	saved := slices.Clone(st.Lights)
	defer func() { st.Lights = saved }()
	st.Lights = slices.Clone(saved)
	for range 6 {
		for _, role := range []studio.Role{studio.Key, studio.Background} {
			for i := range st.Lights {
				if st.Lights[i].Role == role {
					w.best(st, &st.Lights[i])
				}
			}
		}
		if w.off(st) == 0 {
			return true
		}
	}
	return false
}

// best turns a light to where the worst region lies least far off.
func (w wanted) best(st *studio.Studio, l *studio.Light) {
	least, at := math.Inf(1), l.Power
	for _, step := range []exposure.Dial{30, max(l.Click, 1)} {
		from, to := l.Least, l.Most
		if step != 30 {
			from, to = max(l.Least, at-30), min(l.Most, at+30)
		}
		for d := from; d <= to; d += step {
			l.Power = d
			if v := w.off(st); v < least {
				least, at = v, d
			}
		}
	}
	l.Power = at
}

// OwnCurve is a studio camera's curve as learning would give it at its best: knots on
// the true curve.
func OwnCurve(k studio.CurveKind) *tone.Curve {
	var knots []tone.Knot
	for code := 1.0; code < 255; code += 2 {
		light := k.Light(code)
		level, ok := exposure.FromFactor(light)
		if ok && level > -12 {
			knots = append(knots, tone.Knot{Code: code, Level: level, Sigma: 0.03})
		}
	}
	knots = append(knots, tone.Knot{Code: 255, Level: 0, Sigma: 0.03})
	c, err := tone.Learned("studio "+k.String(), knots)
	if err != nil {
		panic(fmt.Sprintf("trial: the studio's curve %s is refused: %v", k, err))
	}
	return c
}
