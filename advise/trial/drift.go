package trial

import (
	"context"
	"io"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/plan"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
	"thirdstop/assess/studio"
	"thirdstop/assess/tone"
)

// DriftOptions say how much is tried. Zero fields leave that part out.
type DriftOptions struct {
	Frames   int              // clean frames for every scatter
	Runs     int              // drifts of every course, scatter and rig
	Faults   int              // faults of every script
	Seed     uint64           // other studios
	Scatters []exposure.Stops // of every flash, one standard deviation; empty is 0.03, 0.05 and 0.10
	Default  bool             // readings through the default tone curve; else through the camera's own, as after learning it
}

// DriftFigures are what came of it.
type DriftFigures struct {
	Clean   []CleanCount
	Courses []CourseCount
	Faults  []FaultCount
	Skipped int // studios in which no baseline was reached
}

// CleanCount counts what was said of frames in which nothing was wrong.
type CleanCount struct {
	Scatter   exposure.Stops
	Witness   bool // with card and backdrop; else on face and clothes alone
	Apart     bool // the rig's lights can be told apart
	Frames    int
	Alarms    int // findings
	Questions int // "turned?", asked for nothing
	Prompts   int // for a card check
	Kinds     map[string]int
}

// CourseCount counts how one light's drift was found. Without a witness that is a prompt for a card check.
type CourseCount struct {
	Course    string
	Scatter   exposure.Stops
	Witness   bool
	Apart     bool // the rig's lights can be told apart
	Runs      int
	Within    int   // found within six frames from the one where it reached 0.2 stop
	Delays    []int // frames from there to the finding; negative: found earlier, missed: never within 20
	Light     int   // named as the likeliest
	Candidate int   // among the named
}

// missed stands for a delay beyond the last frame.
const missed = 1 << 20

// FaultCount counts how one script was understood.
type FaultCount struct {
	Fault string
	Runs  int
	Cause int // named rightly, first
	Among int // the right cause is among the named
	Light int // of scripts of one light
	Of    int // runs that have a light to name
	Said  map[string]int
}

// sitting is a shoot in a studio, with the states that watch it.
type sitting struct {
	st     *studio.Studio
	curve  *tone.Curve
	exif   assess.Exif
	rnd    *rand.Rand
	at     time.Time
	n      int
	box    *assess.Box
	survey func(assess.Hints) assess.Reading // of the newest frame
	views  []*view
	people []studio.Sitter
	off    []exposure.Stops // per light: the fault now
	absent int              // light that does not fire, from 1
	sitter int
	pool   map[int][]*studio.Pose // by sitter; nil: every frame is drawn anew
}

// view is one state that watches: with its witnesses, or without.
type view struct {
	s         advise.State
	blind     bool // no card is declared, and no backdrop found
	seen      map[int]bool
	alarms    int
	prompts   int
	questions int
	kinds     map[string]int
	last      *advise.Drift // the newest finding that is not over; without a witness, the newest prompt
	first     int           // frame of the first of these since watch was reset
}

// pause is the usual time between frames: 5 to 8 s.
func (g *sitting) pause() time.Duration {
	return time.Duration((5 + 3*g.rnd.Float64()) * float64(time.Second))
}

// hall is the boathouse before a grey roll, with every light, distance and the room somewhat different.
func hall(seed uint64, lights int) *studio.Studio {
	st := studio.BoatHouse(seed)
	r := rand.New(rand.NewPCG(seed, 0x4a11))
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	st.Lights = st.Lights[:lights]
	c := &st.Camera
	c.Width, c.PictureHeight, c.Curve = 400, 260, studio.Curves()[r.IntN(len(studio.Curves()))]
	c.ISO = exposure.ISOMarks[3+r.IntN(5)]
	st.Coarse = true
	st.Backdrop.Colour = studio.Grey(between(0.2, 0.4))
	st.Backdrop.Distance = exposure.Metres(between(1.5, 2.3))
	st.Ambient = studio.Ambient{Value: exposure.Stops(between(3, 7))}
	st.Sway = exposure.Metres(between(0.004, 0.015)) // beyond, the card leaves its box
	for i := range st.Lights {
		l := &st.Lights[i]
		l.Distance *= exposure.Metres(between(0.9, 1.2))
		l.Loss += exposure.Stops(between(1.5, 2.5)) // so that they work hard
		l.Warmth = 0                                // see studio.Pose
	}
	st.Lights[0].Distance = st.Backdrop.Distance * exposure.Metres(between(0.7, 0.8)) // well behind the sitter
	st.Lights[1].Azimuth, st.Lights[1].Elevation = studio.Degrees(between(25, 55)), studio.Degrees(between(20, 40))
	return st
}

// newSitting is a shoot with its baseline, or nil where none was reached.
func newSitting(seed uint64, lights int, scatter exposure.Stops, o DriftOptions, blindToo bool) *sitting {
	st := hall(seed, lights)
	st.Scatter = scatter
	g := &sitting{st: st, rnd: rand.New(rand.NewPCG(seed, 0xd21f7)), curve: tone.Default(), people: studio.Committee(), off: make([]exposure.Stops, lights)}
	if !o.Default {
		g.curve = OwnCurve(st.Camera.Curve)
	}
	for i := range g.people {
		g.people[i].Card = true
	}
	st.Sitter = g.people[0]
	st.Balance(-2.4, -0.25)
	quiet, err := st.Expected()
	if err != nil {
		return nil
	}
	card, ok := quiet.Region(studio.WhiteReference)
	if !ok || card.Size < 0.004 {
		return nil
	}
	g.exif = facts(st).Exif
	n, iso, tv := st.Camera.FNumber, st.Camera.ISO, st.Camera.Shutter
	g.exif.FNumber, g.exif.ISO, g.exif.ExposureTime = &n, &iso, &tv // what the camera believes
	st.Fault = func(_ int, l *studio.Light) (exposure.Stops, bool) {
		i := slices.IndexFunc(st.Lights, func(x studio.Light) bool { return x.Group == l.Group })
		return g.off[i], g.absent == i+1
	}
	p := planOf(st, quiet, Options{Wrong: 0.1}, g.rnd)
	main := &view{seen: map[int]bool{}, kinds: map[string]int{}}
	g.at, g.views = time.Date(2026, 5, 9, 10, 0, 0, 0, time.UTC), []*view{main}
	if !g.planned(main, p) || !g.setUp(card) {
		return nil
	}
	for i := range p.Lights { // read in the manuals by now. Hard worked: nine frames a minute are 60 % of the limit
		power := main.s.Lights[i].Power
		p.Lights[i].Limit = plan.FlashesPerMinute(math.Round(9/0.6*power.Fraction()*1000) / 1000)
	}
	if !g.planned(main, p) || main.s.Baseline == 0 {
		return nil
	}
	if blindToo {
		blind := &view{seen: map[int]bool{}, kinds: map[string]int{}, blind: true}
		for i := range p.Lights {
			p.Lights[i].Power = main.s.Lights[i].Power
		}
		if !g.planned(blind, p) {
			return nil
		}
		g.views = append(g.views, blind)
		g.frame(g.pause())
		blind.s, _ = advise.Apply(blind.s, advise.Input{At: g.at, Baseline: &advise.Baseline{Frame: g.n}})
	}
	g.pool = map[int][]*studio.Pose{}
	return g
}

// planned hands a view the light plan.
func (g *sitting) planned(v *view, p plan.Plan) bool {
	v.s, _ = advise.Apply(v.s, advise.Input{At: g.at, Plan: &advise.PlanText{Name: "trial.yaml", Text: string(p.Marshal())}})
	return v.s.Plan != nil
}

// setUp walks the guided set-up with the card in hand, and follows the advice until there is a baseline. It reports
// false where none is reached.
func (g *sitting) setUp(card studio.Exposed) bool {
	main := g.views[0]
	box := middle(card.Box)
	main.s, _ = advise.Apply(main.s, advise.Input{At: g.at, Reference: &advise.Reference{Box: &box}})
	w, err := Walk(g.st, main.s, g.n, g.at, 40, func() assess.Reading {
		return g.measure(g.shot(), assess.Hints{WhiteReference: &box})
	})
	if err != nil {
		return false
	}
	main.s, g.n, g.at = w.State, w.Frames, w.At
	for range 10 {
		if main.s.Advice.Status == advise.Hold && main.s.Baseline > 0 {
			break
		}
		for _, a := range main.s.Advice.Adjustments {
			if g.st.Light(a.Group).Turn(a.To) != nil {
				return false
			}
			main.s, _ = advise.Apply(main.s, advise.Input{At: g.at.Add(time.Second), Adjusted: &advise.Adjusted{Group: a.Group, From: a.From, To: a.To}})
		}
		g.at = g.at.Add(10 * time.Second)
		g.frame(g.pause())
	}
	return main.s.Baseline > 0
}

// poses is how many moments of a sitter are drawn; frames show them in any order.
const poses = 12

// shot is the survey of the next frame: of a pose that was drawn before, once the lights are not touched any more.
func (g *sitting) shot() *photo.Survey {
	if g.pool == nil {
		survey, _ := g.st.RenderSurvey()
		return survey
	}
	all := g.pool[g.sitter]
	if all == nil {
		for k := range uint64(poses) {
			all = append(all, g.st.Pose(uint64(g.sitter)*poses+k))
		}
		g.pool[g.sitter] = all
	}
	return g.st.Again(all[g.rnd.IntN(len(all))])
}

// lit switches one light on and the others off, and records that: -1 is none, the number of lights all.
func (g *sitting) lit(on int) {
	for i := range g.st.Lights {
		off := i != on && on != len(g.st.Lights)
		g.st.Lights[i].On = !off
		for _, v := range g.views {
			l := v.s.Lights[i]
			v.s, _ = advise.Apply(v.s, advise.Input{At: g.at.Add(-time.Minute), Adjusted: &advise.Adjusted{Group: l.Group, From: l.Power, To: l.Power, Off: &off}})
		}
	}
}

// frame shoots one and has everybody look at it.
func (g *sitting) frame(after time.Duration) {
	g.n++
	g.at = g.at.Add(after)
	survey := g.shot()
	g.survey = func(h assess.Hints) assess.Reading { return g.measure(survey, h) }
	for _, v := range g.views {
		h := assess.Hints{}
		if v.s.Reference != nil {
			h.WhiteReference = v.s.Reference
		}
		v.look(g, 1, g.survey(h))
	}
}

// measure is the reading of a survey, with what the camera believes in its Exif.
func (g *sitting) measure(survey *photo.Survey, h assess.Hints) assess.Reading {
	f := facts(g.st)
	f.Exif = g.exif
	return assess.MeasureSurvey(survey, f, g.curve, h)
}

// declare shows the card: the newest frame is measured again with it.
func (g *sitting) declare() {
	quiet, err := g.st.Expected()
	if err != nil {
		return
	}
	card, ok := quiet.Region(studio.WhiteReference)
	if !ok {
		return
	}
	box := middle(card.Box)
	for _, v := range g.views {
		if v.blind {
			continue
		}
		v.s, _ = advise.Apply(v.s, advise.Input{At: g.at, Reference: &advise.Reference{Frame: g.n, Box: &box}})
		v.look(g, 2, g.survey(assess.Hints{WhiteReference: &box}))
	}
}

// next seats somebody else, in other clothes.
func (g *sitting) next(k int) {
	g.sitter = k % len(g.people)
	g.st.Sitter = g.people[g.sitter]
	for _, v := range g.views {
		v.s, _ = advise.Apply(v.s, advise.Input{At: g.at, Sitter: &advise.Sitter{Ref: "x"}})
	}
}

func (v *view) look(g *sitting, revision int, r assess.Reading) {
	if v.blind {
		if slices.ContainsFunc(g.st.Lights, func(l studio.Light) bool { return !l.On }) {
			return
		}
		r.Regions.Backdrop = nil
	}
	var out []advise.Output
	v.s, out = advise.Apply(v.s, advise.Input{At: g.at, Frame: &advise.Frame{Number: g.n, Revision: revision, Reading: &r}})
	for _, o := range out {
		if o.Question != nil && strings.Contains(o.Question.Text, "nobody recorded it") {
			v.questions++
		}
		if o.Event != nil && o.Event.Kind == "absent" {
			v.found(g, advise.Drift{ID: -g.n, Kind: "light_absent", Group: o.Event.Group, Candidates: []string{}, May: "tell"})
		}
	}
	for _, d := range v.s.Drift.Stands {
		if d.Frame == g.n && d.Kind != "load_near" && d.Kind != "load_over" {
			v.found(g, d)
		}
	}
}

func (v *view) found(g *sitting, d advise.Drift) {
	fresh := !v.seen[d.ID]
	v.seen[d.ID] = true
	switch {
	case d.May == "card_check":
		if fresh {
			v.prompts++
		}
		if !v.blind {
			return
		}
	case fresh:
		v.alarms++
		v.kinds[d.Kind]++
	}
	if v.first == 0 {
		v.first = g.n
	}
	v.last = &d
}

// reset forgets what was counted.
func (v *view) reset() {
	v.alarms, v.prompts, v.questions, v.first, v.last = 0, 0, 0, 0, nil
	v.kinds = map[string]int{}
}

// spread runs jobs with so many workers; each gets its number. An end of ctx ends it early.
func spread(ctx context.Context, jobs, workers int, run func(i int)) error {
	next := make(chan int)
	var wait sync.WaitGroup
	for range workers {
		wait.Go(func() {
			for i := range next {
				run(i)
			}
		})
	}
	defer wait.Wait()
	defer close(next)
	for i := range jobs {
		select {
		case next <- i:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}

// workers is how many trials run at once: all processors, and one where they are traced.
func workers(trace io.Writer) int {
	if trace != nil {
		return 1
	}
	return runtime.GOMAXPROCS(0)
}
