package advise

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"thirdstop/advise/drift"
	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

// unexplained holds the newest frame against the ones before it. A change that no record and no
// advice explains is asked about, with the likeliest explanation: at once where it is plain, in the second
// frame that shows it where one frame could be scatter. It reports false where the frame must not teach.
func (s State) unexplained(frame int, fit rig.Fit, set rig.Setting, seen [regionCount]rig.Measured) (State, []Output, bool) {
	gaps := s.against(fit, set, seen)
	worst, far := -1, 0.0
	doubt := s.doubt
	s.doubt = nil
	for k, g := range gaps {
		if k == sitterRegion || k == crownRegion || !g.OK {
			continue
		}
		by := math.Abs(float64(g.By))
		if by >= float64(askLeast) && by > maybe*float64(g.Sigma) && by > far {
			worst, far = k, by
		}
	}
	if worst < 0 && !s.moving() {
		if k, by := s.crept(set, seen); k >= 0 {
			worst, gaps[k] = k, by
			far = math.Abs(float64(by.By))
			doubt = &doubtful{region: k, up: by.By > 0}
		}
	}
	if worst < 0 {
		s.apart = nil
		return s.clippedUnseen(frame, fit, set, gaps, seen)
	}
	g := gaps[worst]
	if s.apart != nil && s.apart.denied && s.apart.like(gaps) {
		s.recheck = true // somebody said so, and nothing has changed since
		return s, nil, false
	}
	if far < float64(atOnce) && s.moving() {
		return s, nil, true // a slow drift is known, and its detectors follow it
	}
	this := doubtful{region: worst, up: g.By > 0}
	again := doubt != nil && *doubt == this
	lost := g.Least && g.By > 0 // what rises into clipping does not wait for a second frame
	if plain := far > plainly*float64(g.Sigma) && (far >= float64(atOnce) || lost); !plain && !again {
		s.doubt = &this
		return s, nil, false
	}
	all := s.explanations(fit, set, gaps)
	if len(all) == 0 {
		return s.askAboutAll(frame, worst, gaps)
	}
	s, q := s.askAbout(frame, all)
	return s, []Output{q}, false
}

// crept looks whether the last few frames together differ from those before them by what a single frame is too little for. The
// answer is the region, -1 for none. The frames that showed it no longer count as lit as before.
func (s *State) crept(set rig.Setting, seen [regionCount]rig.Measured) (int, gap) {
	run := underOne(s.run())
	for i := len(run) - 1; i >= 0; i-- {
		if p := run[i]; s.kept(p.Number).Off != "" || s.firm != nil && p.Number < s.firm.frame+sideBySide {
			run = run[i+1:] // a change that was looked into
			break
		}
	}
	if len(run) < 2*sideBySide-1 || s.watch.Drift.Open != nil || !run[len(run)-1].Set.Equal(s.shifted(set, 1)) {
		return -1, gap{}
	}
	s.watch.evened(&seen, areasOf(s.newest().Reading))
	at := len(run) - sideBySide + 1
	after := append(slices.Clone(run[at:]), past{Levels: seen, Set: run[0].Set})
	fit := s.model.Fit()
	for _, k := range []int{whiteRegion, backdropRegion} {
		g := s.between(fit, run[:at], after, k)
		if by := math.Abs(float64(g.By)); g.OK && !g.Least && by >= float64(askLeast) && by > plainly*float64(g.Sigma) {
			s.model = s.told(s.without(s.undoubted(run), run), run[:at])
			return k, g
		}
	}
	return -1, gap{}
}

// moving tells whether a drift is under way that has not stopped changing.
func (s State) moving() bool {
	return slices.ContainsFunc(s.watch.Stands, func(x drift.Finding) bool {
		return x.Witnessed && !x.Steady && slices.Contains([]drift.Kind{drift.Slope, drift.Heat, drift.Battery, drift.Ambient, drift.Unclear}, x.Kind)
	})
}

// clippedUnseen looks at a rise into clipping, by how much is hidden. Where another region tells, it is asked about;
// else the dial has to be looked at.
func (s State) clippedUnseen(frame int, fit rig.Fit, set rig.Setting, gaps [regionCount]gap, seen [regionCount]rig.Measured) (State, []Output, bool) {
	y, p := seen[whiteRegion], fit.Predict(set)[whiteRegion]
	if !y.OK || !y.AtLeast || y.Value-p.Value <= bumpLeast || p.Sigma >= bumpSure {
		return s, nil, true
	}
	if all := s.explanations(fit, set, gaps); len(all) > 0 && all[0].to > s.Lights[all[0].light].Power {
		s, q := s.askAbout(frame, all)
		return s, []Output{q}, false
	}
	s.bumped = s.ownLight(whiteRegion)
	return s, nil, true
}

// doubtful is a change that one frame showed, too small to be told from scatter by that alone.
type doubtful struct {
	region int
	up     bool
}

const (
	// plainly is from how many standard deviations one frame tells that a region changed, and maybe from how many two frames in a row do.
	plainly = 4
	maybe   = 3.3
	// askLeast is the least change that is asked about: half a click of most flashes and more than scatter (common practice, no source).
	askLeast exposure.Stops = 0.2
	// atOnce is the change that one frame is enough for: more than a click.
	atOnce exposure.Stops = 0.45
)

// gap is what a region shows beside what the frames before it and everything recorded since lead to expect.
type gap struct {
	OK    bool
	By    exposure.Stops // of a clipped region: at least so much, in that direction
	Sigma exposure.Stops // of By, where nothing changed but what is recorded
	Least bool           // By is a bound
}

// against compares every region of the newest frame with the newest setting before it that shows the region. Between
// frames of nearly one level the tone curve's error falls out, so that far less than the level's own uncertainty shows. A
// region that was never seen before is not compared: what the model makes of it is no evidence.
func (s State) against(fit rig.Fit, set rig.Setting, seen [regionCount]rig.Measured) (out [regionCount]gap) {
	for k, y := range seen {
		n := len(s.model.Seen) - 1
		for n >= 0 && !s.model.Seen[n].Levels[k].OK {
			n--
		}
		if !y.OK || n < 0 {
			continue
		}
		last := s.model.Seen[n]
		p, step := last.Levels[k], fit.Change(last.Setting, set)[k]
		by := y.Value - p.Value - step.Value
		if p.AtLeast && (y.AtLeast || by > 0) || y.AtLeast && by < 0 {
			continue // over the edge, nobody knows how far
		}
		v := s.frameVar(k)*(1+1/float64(max(last.Count, 1))) + math.Pow(float64(step.Sigma), 2) + math.Pow(stepError*float64(step.Value), 2)
		if p.AtLeast || y.AtLeast {
			v += math.Pow(float64(edgeSigma), 2)
		}
		if p.AtLeast { // which light made it clip is hardly known: one that was turned since may do all of it
			v += math.Pow(math.Max(0, mostTurned(last.Setting, set)-math.Abs(float64(step.Value)))/2, 2)
		}
		out[k] = gap{OK: true, By: by.Round(), Sigma: exposure.Stops(math.Sqrt(v)).Round(), Least: p.AtLeast || y.AtLeast}
	}
	return out
}

// mostTurned is the largest turn of one light between two settings, in stops.
func mostTurned(a, b rig.Setting) (most float64) {
	for i := range a.Power {
		if !a.Off[i] && !b.Off[i] {
			most = math.Max(most, math.Abs(float64(a.Power[i]-b.Power[i])))
		}
	}
	return most
}

// misfit is the chi-square of a gap, 0 and up, if a change that nobody recorded explains it; and vague the part of its variance, in stops
// squared, that is not known of that change.
func (g gap) misfit(change rig.Level) (chi, vague float64) {
	d := float64(g.By - change.Value)
	if g.Least && d*float64(g.By) < 0 {
		d = 0 // it went at least so far
	}
	vague = math.Pow(float64(change.Sigma), 2) + math.Pow(stepError*float64(change.Value), 2)
	return d * d / (float64(g.Sigma*g.Sigma) + vague), vague
}

// backAgain tells whether a frame looks as if the lights stood as recorded, after one that did not: nearer to that than to
// what is asked about, or, where no one light is, within scatter.
func (s State) backAgain(fit rig.Fit, set rig.Setting, seen [regionCount]rig.Measured) bool {
	asked := fit.Change(set, s.asAsked(set))
	held := false
	for k, g := range s.against(fit, set, seen) {
		if k == crownRegion || k == sitterRegion || !g.OK {
			continue
		}
		as, _ := g.misfit(rig.Level{})
		if with, _ := g.misfit(asked[k]); s.assumed() && as > with || as > strange*strange {
			return false
		}
		held = true
	}
	return held
}

// asAsked is a setting with what the open question supposes.
func (s State) asAsked(set rig.Setting) rig.Setting {
	if !s.assumed() {
		return set
	}
	t := s.tentative
	set.Power, set.Off = slices.Clone(set.Power), slices.Clone(set.Off)
	set.Power[t.light] = t.to.Stops() + s.base(s.Lights[t.light])
	set.Off[t.light] = t.off
	return set
}

// coveredSigma is what a backdrop's level moves by as a sitter covers one part of it and then another, one standard deviation (common practice, no source).
const coveredSigma exposure.Stops = 0.05

// scatterOf is what flashes scatter in a region, as far as the frames since the baseline have shown it. It is
// bounded: what was learned after few frames is loose, and the very change that is looked for widens it.
func (s State) scatterOf(region int) exposure.Stops {
	return min(max(scatter, s.watch.Drift.Scatter(regionNames[region])), mostScatter)
}

// frameVar is the variance of one frame's level of a region while nothing changes, in stops squared.
func (s State) frameVar(region int) float64 {
	v := math.Pow(float64(s.scatterOf(region)), 2) + math.Pow(float64(measuring[region]), 2)
	if region == backdropRegion {
		v += math.Pow(float64(coveredSigma), 2)
	}
	return v
}

// mostScatter is what is counted with at the most (0.03 to 0.1 stop is usual; common practice, no source).
const mostScatter exposure.Stops = 0.065

// bumpLeast is the rise into clipping from which a dial may have been turned: less is scatter; and bumpSure
// how well the level must have been foretold, or the light model was merely wrong.
const (
	bumpLeast = 3 * scatter
	bumpSure  = 0.15
)

// ownLight is the group of the light that is set for a region, "" where none is on.
func (s State) ownLight(region int) string {
	for _, l := range s.Lights {
		if !l.Off && ownRegion(l) == region && l.Role != string(plan.Fill) {
			return l.Group
		}
	}
	return ""
}

// askAfter is how many frames in a row must leave an adjustment unseen before it is asked about.
const askAfter = 3

// hiddenTurn is the advised turn, -1 for none, of a light that was to be turned down and whose region clips: a frame that
// still clips shows neither that it was nor that it was not.
func (s State) hiddenTurn(seen [regionCount]rig.Measured) int {
	return slices.IndexFunc(s.pending, func(p Adjustment) bool {
		i, ok := s.light(p.Group)
		return ok && ownRegion(s.Lights[i]) != crownRegion && seen[ownRegion(s.Lights[i])].AtLeast && p.To < p.From
	})
}

// askTime is how long an adjustment must have stood there before that counts.
const askTime = 20 * time.Second

// askWhetherTurned asks about an adjustment that was advised and that no frame
// shows. Either nobody turned it, and the advice stands, or the light does less than was
// thought, and then an answer is the only way to learn it.
func (s State) askWhetherTurned(frame, pending int) (State, Output) {
	p := s.pending[pending]
	i, _ := s.light(p.Group)
	s.asked++
	q := Question{Number: s.asked, Frame: frame, Group: p.Group, To: p.To, Expires: frame + questionFrames, Advised: true, No: "Not yet",
		Text: fmt.Sprintf("%s: is it set to %s by now? The frames don't show it.", p.Light, p.ToText)}
	s.Question, s.tentative = &q, &tentative{light: i, to: p.To, asked: true}
	return s, Output{Question: &q}
}

// questionFrames is for how many frames a question waits before it is dropped.
const questionFrames = 3

// explanation is one light standing otherwise than recorded: at another setting, switched off or not firing, or
// on although it is recorded as off.
type explanation struct {
	light  int
	to     exposure.Dial
	off    bool    // with to as recorded
	on     bool    // likewise
	cost   float64 // misfit, and how vaguely it was foretold: chi-squares, only differences mean anything
	misfit float64 // chi-square of what was seen, 0 and up
}

// absentLeast is the least fall of its own region that a key or background light leaves which did not fire (common practice, no source).
const absentLeast exposure.Stops = 1

// mostMisfit is the chi-square up to which an explanation counts as one: three standard deviations of the
// two regions that are judged, about (derived here).
const mostMisfit = 9.0

// explanations are the lights and settings that explain what was seen, the likeliest first, one for each
// light and kind.
func (s State) explanations(fit rig.Fit, set rig.Setting, gaps [regionCount]gap) []explanation {
	var all []explanation
	weigh := func(e explanation, trial rig.Setting) {
		change := fit.Change(set, trial)
		for k, g := range gaps {
			if !g.OK {
				continue
			}
			chi, vague := g.misfit(change[k])
			e.misfit += chi
			if !g.Least {
				e.cost += math.Log1p(vague / float64(g.Sigma*g.Sigma)) // of two that fit, the one that foretold it
			}
		}
		e.cost = math.Round((e.cost+e.misfit)*1000) / 1000
		all = append(all, e)
	}
	best := func(from int) { // keeps the best of those weighed since
		if len(all) > from {
			one := slices.MinFunc(all[from:], func(a, b explanation) int { return cmp.Compare(a.cost, b.cost) })
			all = append(all[:from], one)
		}
	}
	for i, l := range s.Lights {
		trial := set
		if l.Off {
			trial.Off = slices.Clone(set.Off)
			trial.Off[i] = false
			weigh(explanation{light: i, to: l.Power, on: true}, trial)
			continue
		}
		from := len(all)
		for d := l.Least; d <= l.Most; d += max(l.Click, 1) {
			if d != l.Power {
				trial.Power = slices.Clone(set.Power)
				trial.Power[i] += (d - l.Power).Stops()
				weigh(explanation{light: i, to: d}, trial)
			}
		}
		best(from)
		if k := ownRegion(l); l.Role != string(plan.Fill) && !(gaps[k].OK && gaps[k].By <= -absentLeast) {
			continue // what it lights most would have fallen further
		}
		trial = set
		trial.Off = slices.Clone(set.Off)
		trial.Off[i] = true
		weigh(explanation{light: i, to: l.Power, off: true}, trial)
	}
	none := 0.0
	for _, g := range gaps {
		if g.OK {
			none += float64(g.By*g.By) / float64(g.Sigma*g.Sigma)
		}
	}
	slices.SortStableFunc(all, func(a, b explanation) int { return cmp.Compare(a.cost, b.cost) })
	all = slices.DeleteFunc(all, func(e explanation) bool { return e.misfit > mostMisfit || e.misfit+2*clearly > none })
	return all[:min(len(all), mostExplanations)]
}

// mostExplanations are asked about one after the other: more would be a quiz.
const mostExplanations = 3

// askAbout asks about the first of several explanations. The others are asked about if it is not that.
func (s State) askAbout(frame int, all []explanation) (State, Output) {
	e := all[0]
	l := s.Lights[e.light]
	scale := s.Plan.Lights[e.light].Scale
	s.asked++
	q := Question{Number: s.asked, Frame: frame, Group: l.Group, To: e.to, Off: e.off, Expires: frame + questionFrames}
	switch {
	case e.off:
		q.No = "No, it fires"
		q.Text = fmt.Sprintf("The light fell in frame %d as if %s had not fired. Is it off or asleep?", frame, l.Name)
	case e.on:
		q.No = "No, it is off"
		q.Text = fmt.Sprintf("The light rose in frame %d as if %s, recorded as off, were on. Is it on, at %s?", frame, l.Name, l.PowerText)
	default:
		q.No = "No, as recorded"
		verb := "rose"
		if e.to < l.Power {
			verb = "fell"
		}
		q.Text = fmt.Sprintf("%s %s by about %s in frame %d, and nobody recorded it. Turned to %s? If otherwise, record how.",
			l.Name, verb, scale.FormatChange(e.to-l.Power), frame, scale.Format(e.to))
	}
	s.Question, s.tentative = &q, &tentative{light: e.light, to: e.to, off: e.off, on: e.on, others: all[1:]}
	return s, Output{Question: &q}
}

// askAboutAll asks whether every dial stands as recorded, where no one light explains a change: several were
// turned, or it is no light at all.
func (s State) askAboutAll(frame, region int, gaps [regionCount]gap) (State, []Output, bool) {
	var dials []string
	for i, l := range s.Lights {
		at := s.Plan.Lights[i].Scale.Format(l.Power)
		if l.Off {
			at = "off"
		}
		dials = append(dials, l.Name+" "+at)
	}
	s.asked++
	q := Question{Number: s.asked, Frame: frame, Expires: frame + questionFrames, No: "No",
		Text: fmt.Sprintf("The %s changed by %s in frame %d, and no one light explains it. Do all stand as recorded: %s?",
			judgedRegions(s.Plan, s.Reference != nil)[region].words, gaps[region].By.Round(), frame, joinAnd(dials))}
	s.Question, s.tentative, s.apart = &q, nil, &apart{gaps: gaps}
	return s, []Output{{Question: &q}}, false
}

// apart is what the frames showed when it was asked whether all lights stand as recorded.
type apart struct {
	gaps   [regionCount]gap
	denied bool // they don't, somebody said; it is not asked again while frames show the same
}

// like tells whether another frame shows the same change, or too little else to ask about.
func (a apart) like(gaps [regionCount]gap) bool {
	for k, g := range gaps {
		if was := a.gaps[k]; k != sitterRegion && k != crownRegion && g.OK && was.OK && math.Abs(float64(g.By-was.By)) >= float64(askLeast) {
			return false
		}
	}
	return true
}

func (s State) answered(in Answer) (State, []Output) {
	q := s.Question
	if q == nil || q.Number != in.Question {
		return s, nil
	}
	s.Question, s.untaught = nil, false // the answer tells which side the frame lies on
	t := s.tentative
	if s.assumed() && !in.Yes {
		s.pending, s.offered = nil, nil // what was advised on that ground was for nobody to turn
	}
	s.tentative = nil
	switch {
	case t == nil && !in.Yes:
		s.recheck, s.untaught = true, true
		if s.apart != nil {
			s.apart = &apart{gaps: s.apart.gaps, denied: true}
		}
		return s, []Output{event("recheck", Event{Frame: q.Frame, Text: "Not as recorded: the lights are to be looked at and recorded."})}
	case !in.Yes && t != nil && t.asked:
		return s, []Output{event("not_turned", Event{Frame: q.Frame, Group: q.Group, Text: "Not turned yet; the advice stands."})}
	case !in.Yes && t != nil && len(t.others) > 0:
		s, next := s.askAbout(q.Frame, t.others)
		s.tentative.denied = append(slices.Clone(t.denied), t.light)
		s.untaught = true
		return s, []Output{next}
	case !in.Yes || t == nil || t.light >= len(s.Lights):
		var which []int
		if t != nil {
			which = append(slices.Clone(t.denied), t.light)
			if t.off && s.unlit != nil && s.unlit.group == q.Group {
				s = s.itFires(t.light)
			}
		}
		s = s.doubted(which...) // drift: how much light it gives must be learned anew
		s = s.reteach()
		return s, []Output{event("drift", Event{Frame: q.Frame, Group: q.Group, Text: fmt.Sprintf("Not turned: what changed in frame %d counts as drift.", q.Frame)})}
	case t.off || t.on:
		return s.toldSwitched(*q, *t)
	}
	l := s.Lights[t.light]
	if !t.asked && s.watch.Base > 0 {
		s.restore = &change{group: l.Group, from: l.Power, to: t.to}
	}
	s = s.setPower(t.light, t.to)
	if s.lastSet.Power != nil {
		s.lastSet.Power = slices.Clone(s.lastSet.Power)
		s.lastSet.Power[t.light] = t.to.Stops() + s.base(l)
	}
	if t.asked && t.to-l.Power >= exposure.Stop && ownRegion(l) != crownRegion {
		s = s.neverFired(t.light)
	}
	s = s.reteach()
	s.watch.explained()
	s.Drift, s.untaught = s.drifting(), false
	return s, []Output{event("adjusted", Event{Frame: q.Frame, Group: q.Group, Text: fmt.Sprintf("%s: %s, set %s; told afterwards.",
		l.Name, powerWords(s.Plan.Lights[t.light].Scale, t.to-l.Power), s.Lights[t.light].PowerText)})}
}

// toldSwitched records a light as off, or as on again, after somebody looked.
func (s State) toldSwitched(q Question, t tentative) (State, []Output) {
	s.Lights = slices.Clone(s.Lights)
	s.Lights[t.light].Off = t.off
	s.slept = slices.DeleteFunc(slices.Clone(s.slept), func(x slept) bool { return x.group == q.Group })
	if t.off {
		s.slept = append(s.slept, slept{q.Group, q.Frame})
	}
	if s.lastSet.Power != nil {
		s.lastSet.Off = slices.Clone(s.lastSet.Off)
		s.lastSet.Off[t.light] = t.off
	}
	s = s.reteach()
	s.watch.explained()
	s.Drift = s.drifting()
	word := "on"
	if t.off {
		word = "off"
	}
	return s, []Output{event("adjusted", Event{Frame: q.Frame, Group: q.Group, Text: fmt.Sprintf("%s: %s in frame %d; told afterwards.", s.Lights[t.light].Name, word, q.Frame)})}
}

// neverFired takes a light that was turned up, and shows nowhere, for one that does not fire: the frames that
// were as dark as the newest say nothing of what it gives.
func (s State) neverFired(light int) State {
	l, last := s.Lights[light], s.newest()
	if last == nil || s.lastSet.Power == nil {
		return s
	}
	k, seen := ownRegion(l), measuredRegions(s.Plan, last.Reading)
	if !seen[k].OK || seen[k].AtLeast {
		return s
	}
	off := func(set rig.Setting) rig.Setting {
		set.Off = slices.Clone(set.Off)
		set.Off[light] = true
		return set
	}
	s.lastSet, s.absent = off(s.lastSet), []string{l.Group}
	s.model.Seen = slices.Clone(s.model.Seen)
	for i, o := range s.model.Seen {
		if m := o.Levels[k]; m.OK && m.Value-seen[k].Value < exposure.Stops(0.5) {
			s.model.Seen[i].Setting = off(o.Setting)
		}
	}
	return s
}
