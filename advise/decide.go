package advise

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"time"

	"thirdstop/advise/drift"
	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

const (
	// unsure is a predicted region's sigma from which advice is a first guess.
	unsure exposure.Stops = 0.35
	// A clipped backdrop whose light is known no better than this is looked at under
	// the edge first; one that was seen there before must have become very unsure.
	blind      exposure.Stops = 0.45
	blindAgain exposure.Stops = 0.5
)

// decide draws the advice from the state, and gives it out where it changed.
func (s State) decide(at time.Time, out []Output) (State, []Output) {
	a := s.heed(s.advice())
	a.Warnings = s.walkWarnings(append(append(s.warnings(), s.driftWarnings(a)...), farUp(a.Adjustments, a.Guess)...))
	a.Number = s.Advice.Number
	if !reflect.DeepEqual(a, s.Advice) {
		a.Number++
		s.Advice = a
		out = append(out, Output{Advice: &a})
	}
	pending := []Adjustment(nil)
	if a.Status == Adjust {
		pending = a.Adjustments
	}
	for _, p := range s.pending { // what was shown may be turned although other advice took its place
		if at.Sub(s.advisedAt) >= handTime && !slices.ContainsFunc(pending, func(x Adjustment) bool { return x.Group == p.Group && x.To == p.To }) {
			s.offered = append(slices.Clone(s.offered), p)
		}
	}
	if !reflect.DeepEqual(pending, s.pending) {
		if !sameTurns(pending, s.pending) {
			s.advisedAt, s.unseen = at, 0
		}
		s.pending = pending
	}
	return s, out
}

// farUp warns of power that goes up so far that a flash which did not fire is the likelier cause.
func farUp(all []Adjustment, guess bool) []Warning {
	var out []Warning
	far := 3 * exposure.Stop
	if guess {
		far = 2 * exposure.Stop
	}
	for _, a := range all {
		if a.To-a.From >= far {
			out = append(out, Warning{Code: "did_it_fire", Text: a.Light + " would have to go up very far. See first that it fires: awake, trigger on, right channel."})
		}
	}
	return out
}

// sameTurns tells whether two pieces of advice ask for the same lights to be turned the same way, whatever the
// reasons, and though the newer one may have it a click nearer.
func sameTurns(a, b []Adjustment) bool {
	return slices.EqualFunc(a, b, func(x, y Adjustment) bool {
		return x.Group == y.Group && x.From == y.From && (x.To > x.From) == (y.To > y.From)
	})
}

// inside tells whether advice asks for nothing but what another advice did: the same lights, or fewer, turned the same way.
func inside(a, all []Adjustment) bool {
	return !slices.ContainsFunc(a, func(x Adjustment) bool {
		return !slices.ContainsFunc(all, func(y Adjustment) bool { return sameTurns([]Adjustment{x}, []Adjustment{y}) })
	})
}

// newest is the newest frame that could be read.
func (s State) newest() *FrameState {
	for i := len(s.Frames) - 1; i >= 0; i-- {
		if s.Frames[i].Reading != nil && s.Frames[i].Aside == "" && s.Frames[i].Walk != string(WalkChart) {
			return &s.Frames[i]
		}
	}
	return nil
}

func (s State) advice() Advice {
	a := Advice{Status: Waiting, Adjustments: []Adjustment{}, Expected: []Expected{}, Ways: []Way{}}
	last := s.newest()
	if last != nil {
		a.Frame, a.Revision = last.Number, last.Revision
	}
	banded, isBanded := s.bandAdvice(a)
	switch {
	case s.Phase == Ended:
		a.Headline, a.Reason = "The shoot has ended", "Start thirdstop again on this folder to begin another."
		return a
	case s.Bracketing():
		return s.bracketAdvice(a)
	case s.Plan == nil:
		a.Status, a.Headline, a.Reason = NoPlan, "Measuring", "Three answers (backdrop, lights, dials) are enough for advice to begin."
		return a
	case isBanded:
		return banded
	case s.Walking() && !s.Walk.step().together():
		return s.walkAdvice(a)
	case last == nil:
		a.Headline, a.Reason = "Take a frame", "Everything else follows from it."
		return a
	}
	return s.plainAdvice(a, last)
}

// plainAdvice is the advice outside the set-up walk, drawn from the newest frame.
func (s State) plainAdvice(a Advice, last *FrameState) Advice {
	if len(s.absent) > 0 {
		if i, ok := s.light(s.absent[0]); ok {
			a.Status, a.Headline = Look, s.Lights[i].Name+" did not fire"
			a.Reason = "Wake it, check its trigger and channel, and take the frame again. Leave its power as it is; its manual tells what its lights and tones mean."
			return a
		}
	}
	for _, x := range s.slept {
		if i, ok := s.light(x.group); ok && s.Lights[i].Off && last.Number < x.frame+wakeFrames {
			a.Status, a.Headline = Look, "Wake "+s.Lights[i].Name
			a.Reason = "It was found off or asleep. Switch it on, leave its power as it is, and take a frame. If it shall stay off, go on: after a few frames the others are set without it."
			return a
		}
	}
	switch {
	case s.recheck && s.lastSet.Equal(s.setting(s.gain(), s.Shutter)) && s.untaught:
		a.Status, a.Headline = Look, "See how the lights stand"
		a.Reason = "The light changed, and not all lights stand as recorded. Record how each one stands, or set it as recorded; the next frame tells the rest."
		return a
	case s.Question != nil && s.Question.Group == "":
		a.Status, a.Headline, a.Reason = Look, "See how the lights stand", "The light changed, nobody recorded it, and no one light explains it."
		return a
	case s.Question != nil:
		a.Reason = "One question first: " + s.Question.Text
	}
	regions := judgedRegions(s.Plan, s.Reference != nil)
	seen := measuredRegions(s.Plan, last.Reading)
	set := s.setting(s.gain(), s.Shutter)
	moved := s.lastSet.Power != nil && !set.Equal(s.lastSet) || s.Match != nil && s.Match.Frames == 0
	if s.taught.Spec.Lights == 0 || !s.taught.Known() {
		a.Headline, a.Reason = "Take a frame", "The lights changed; the next frame tells how they stand."
		return a
	}
	set = s.asAsked(set)
	if s.assumed() && s.tentative.off {
		l := s.Lights[s.tentative.light]
		a.Status, a.Headline = Look, "Look at "+l.Name
		a.Reason = "The light fell as if it had not fired. Leave its power as it is."
		return a
	}
	fit := s.taught.Fit()
	now := fit.Predict(set)
	targets, any := s.targets(regions, seen, now)
	if !any {
		a.Status, a.Headline, a.Reason = Look, "Nothing to judge yet", s.whyNothing(seen)
		return a
	}
	// The frames under this very setting show where each region lies; the model tells only how it moves from there.
	off := s.shownOff(set, seen, now)
	inModel := slices.Clone(targets)
	for k := range inModel {
		inModel[k].Low, inModel[k].High, inModel[k].Aim = inModel[k].Low-off[k], inModel[k].High-off[k], inModel[k].Aim-off[k]
	}
	sol := s.solve(fit, set, inModel, func(light int) bool {
		k := ownRegion(s.Lights[light])
		return s.peeks(k, regions[k], seen[k], now[k])
	})
	switch back, ok := s.takenBack(fit, set, inModel, sol); {
	case s.lastSet.Equal(set) && s.well(targets, seen, now):
		sol = s.asItStands(fit, set)
	case ok:
		sol = back
	}
	asModelled := sol
	sol.Levels, now = slices.Clone(sol.Levels), slices.Clone(now)
	for k := range off {
		sol.Levels[k].Value += off[k]
		now[k].Value += off[k]
	}
	for k, j := range regions {
		if !j.target.Judged || !seen[k].OK || !s.lit(k) {
			continue
		}
		e := s.known(s.expected(j, seen[k]), k, seen[k], now[k])
		e.Then, e.ThenSigma = sol.Levels[k].Value.Round(), sol.Levels[k].Sigma.Round()
		e.ThenText = e.Then.Signed()
		a.AtLeast = a.AtLeast || e.AtLeast && (!e.InTarget || s.peeks(k, j, seen[k], now[k]))
		a.Guess = a.Guess || e.ThenSigma > unsure && sol.Touched > 0
		a.Expected = append(a.Expected, e)
	}
	s.tell(&a, sol, regions, targets, seen, now, moved)
	// While what must hold clips, less light comes first; what else would help is seen then.
	if s.unreached(sol, regions, targets, seen, now) && !(seen[whiteRegion].AtLeast && targets[whiteRegion].Judged && s.lessLight(a.Adjustments)) {
		a.Ways = s.ways(fit, set, inModel, asModelled)
		s.tellWays(&a)
	}
	return a
}

// shownOff is how far the last few frames under a setting, the newest of them among them, show each region off what the model makes of
// that setting, in stops. The model weighs a level by how well it is known, and a tone curve's error is common to all of
// them; between frames of nearly one level it falls out. Zero where a region clips, or the newest frame is in doubt.
func (s State) shownOff(set rig.Setting, seen [regionCount]rig.Measured, now []rig.Level) (off [regionCount]exposure.Stops) {
	if !s.lastSet.Equal(set) || s.assumed() || s.untaught || s.doubt != nil || s.Match != nil {
		return off
	}
	run := underOne(s.run())
	if n := len(run); n == 0 || run[n-1].Number != s.newest().Number || !s.shifted(run[n-1].Set, -1).Equal(set) {
		run = nil
	}
	run = run[max(0, len(run)-sideBySide):]
	slices.Reverse(run)
	for k, y := range seen {
		if !y.OK || y.AtLeast || k == crownRegion {
			continue
		}
		sum, n := y.Value, 1
		for i := 1; i < len(run); i++ {
			m := measuredRegions(s.Plan, s.kept(run[i].Number).Reading)[k]
			if !m.OK || m.AtLeast || math.Abs(float64(m.Value-y.Value)) > nearly {
				break // another light, or another white
			}
			sum, n = sum+m.Value, n+1
		}
		off[k] = (sum/exposure.Stops(n) - now[k].Value).Round()
	}
	return off
}

// well tells whether the newest frame shows every judged region on target: then nothing is turned, whatever the frames
// before it make the light model believe. A region that clips is judged by the model.
func (s State) well(targets []rig.Target, seen [regionCount]rig.Measured, now []rig.Level) bool {
	if s.assumed() || s.Match != nil || s.sitterBlown(s.newest().Reading) || s.atEdge(seen[whiteRegion]) {
		return false
	}
	for k, t := range targets {
		v := seen[k].Value
		switch {
		case !t.Judged:
		case seen[k].AtLeast && (k != backdropRegion || t.Miss(now[k].Value) != 0):
			return false
		case !seen[k].AtLeast && (v > t.High || v < t.Low && !t.UpperOnly):
			return false
		}
	}
	return true
}

// asItStands is the solution that turns nothing.
func (s State) asItStands(fit rig.Fit, set rig.Setting) rig.Solution {
	out := rig.Solution{Met: true, Levels: fit.Predict(set)}
	for _, l := range s.Lights {
		out.Dials = append(out.Dials, l.Power)
	}
	return out
}

// takenBack is the solution that takes back a turn which nobody had meant, if that alone brings every region on target: other lights
// that make up for it would leave the set lit from another side.
func (s State) takenBack(fit rig.Fit, set rig.Setting, targets []rig.Target, sol rig.Solution) (rig.Solution, bool) {
	if s.restore == nil || sol.Touched == 0 || s.assumed() {
		return sol, false
	}
	i, ok := s.light(s.restore.group)
	if !ok || s.Lights[i].Off || s.Lights[i].Power != s.restore.to {
		return sol, false
	}
	set.Power = slices.Clone(set.Power)
	set.Power[i] += (s.restore.from - s.restore.to).Stops()
	out := s.asItStands(fit, set)
	out.Dials[i], out.Touched = s.restore.from, 1
	for k, t := range targets {
		if y := out.Levels[k]; t.Judged && k != crownRegion && math.Abs(float64(t.Miss(y.Value))) > float64(y.Sigma) {
			return sol, false
		}
	}
	return out, true
}

// wakeFrames is for how many frames a light that was found off is waited for: then the others are set without it.
const wakeFrames = 4

// lessLight tells whether a light that makes the white reference is among those to be turned down.
func (s State) lessLight(all []Adjustment) bool {
	return slices.ContainsFunc(all, func(a Adjustment) bool {
		i, ok := s.light(a.Group)
		return ok && ownRegion(s.Lights[i]) == whiteRegion && a.To < a.From
	})
}

// plainlyOff is how far beyond half a click and scatter a single frame must lie: less is scatter (common practice, no source).
const plainlyOff = 0.15

// astray is the region that the newest frame shows off its target by more than half a click and scatter, whatever the frames before it make
// the light model believe; -1 for none. That is never a hold.
func (s State) astray(regions [regionCount]judged, targets []rig.Target, seen [regionCount]rig.Measured) int {
	last := s.newest().Number
	if slices.ContainsFunc(s.watch.Stands, func(x drift.Finding) bool { return x.Witnessed && x.Retake && x.Frame == last }) {
		return -1 // why this frame is off is known, and said
	}
	for k, j := range regions {
		if targets[k].Judged && k != crownRegion && seen[k].OK && !seen[k].AtLeast && math.Abs(float64(j.target.Miss(seen[k].Value))) > plainlyOff {
			return k
		}
	}
	return -1
}

// surely is how many sigmas beyond a target a prediction must lie for "out of reach" to be said.
const surely = 1.3

// nearly is what a region may be left off its target, in stops: no aperture is changed for less (half a click of
// most flashes; common practice, no source).
const nearly = 0.15

// unreached tells whether the lights can't bring a region on target, as far as it is known: how far over a clipped
// one lies is hardly known, and the end of a dial says nothing of it before the turn was tried.
func (s State) unreached(sol rig.Solution, regions [regionCount]judged, targets []rig.Target, seen [regionCount]rig.Measured, now []rig.Level) bool {
	if sol.Met {
		return false
	}
	for k, t := range targets {
		y := sol.Levels[k]
		miss := math.Abs(float64(t.Miss(y.Value)))
		if k == crownRegion || !t.Judged || miss <= surely*float64(y.Sigma) && (sol.Touched > 0 || t.Miss(seen[k].Value) == 0) {
			continue
		}
		if miss <= nearly && !(t.Holds && y.Value > t.High) {
			continue
		}
		if s.peeks(k, regions[k], seen[k], now[k]) && (sol.Touched > 0 || regions[k].target.Miss(seen[k].Value) == 0) {
			continue
		}
		return true
	}
	return false
}

// targets are what the solver goes for. A clipped backdrop of which nothing is
// known but that it clips is first brought under the edge, where it measures.
func (s State) targets(regions [regionCount]judged, seen [regionCount]rig.Measured, now []rig.Level) ([]rig.Target, bool) {
	out, any := make([]rig.Target, regionCount), false
	for k, j := range regions {
		t := j.target
		t.Judged, t.Clips = t.Judged && seen[k].OK && s.lit(k), seen[k].AtLeast
		if t.Judged && s.peeks(k, j, seen[k], now[k]) && k == backdropRegion && t.Miss(seen[k].Value) == 0 && s.atLeast(k) {
			any, out[k] = true, rig.Target{} // how far over it lies is a guess, and its light can't go lower: no reason to turn others
			continue
		}
		if t.Judged && s.peeks(k, j, seen[k], now[k]) {
			// So far under it that the next frame measures, even if it is further over than thought: a frame too dark costs as
			// little as one that is right, a second blown one costs another.
			t.High = -0.15 - 0.8*now[k].Sigma
			t.Aim = t.High - 0.5*now[k].Sigma
			t.Low, t.SlackLow, t.SlackHigh = t.Aim-1, 0.5, 0
		} else if t.Judged && k == whiteRegion && seen[k].AtLeast && now[k].Value < seen[k].Value {
			// The newest frame clips what must hold, whatever the mean of the last few says.
			over := seen[k].Value - now[k].Value
			t.Low, t.High, t.Aim, t.SlackHigh = t.Low-over, t.High-over, t.Aim-over, 0
		} else if t.Judged && k == whiteRegion && s.atEdge(seen[k]) {
			// It clipped a frame or two ago: scatter takes it over the edge and back, and what is over is lost.
			t.High = min(t.High, -2*scatter)
			t.SlackHigh = 0
		} else if t.Judged && k == whiteRegion && s.sitterBlown(s.newest().Reading) && now[k].Value > t.Aim {
			// Something on the sitter is brighter than the white reference: there is room to go down inside its target.
			t.Aim, t.High, t.SlackHigh = t.Low, t.Aim, 0
		}
		t = s.aimed(k, t)
		any = any || t.Judged
		out[k] = t
	}
	return out, any
}

// atEdge tells whether the white reference lies so near to clipping that frames of late went over under this very setting.
func (s State) atEdge(seen rig.Measured) bool {
	return s.overSince > 0 && s.FrameCount-s.overSince < edgeFrames && seen.Value > -3*scatter
}

// edgeFrames is how long a frame that clipped is remembered.
const edgeFrames = 6

// atLeast tells whether every light that is set for a region stands at the low end of its dial.
func (s State) atLeast(region int) bool {
	for _, l := range s.Lights {
		if !l.Off && ownRegion(l) == region && l.Power > l.Least {
			return false
		}
	}
	return true
}

// assumed tells whether the open question's explanation is taken for true meanwhile.
func (s State) assumed() bool { return s.tentative != nil && !s.tentative.asked }

// lit tells whether a light that is set for a region is on: while lights are
// built up one at a time, a backdrop without its light is no fault.
func (s State) lit(region int) bool {
	own, on := false, false
	for _, l := range s.Lights {
		if ownRegion(l) == region {
			own, on = true, on || !l.Off
		}
	}
	return on || !own
}

// ownRegion is the region that a light is set for.
func ownRegion(l LightState) int {
	switch plan.Role(l.Role) {
	case plan.Background:
		return backdropRegion
	case plan.Hair:
		return crownRegion
	}
	return whiteRegion
}

// peeks tells whether a region is first to be seen under the edge: it clips, and how
// far over is hardly known.
func (s State) peeks(region int, j judged, seen rig.Measured, now rig.Level) bool {
	return (j.name == BackdropFloor || j.name == WhitePeak) && seen.AtLeast && now.Sigma > s.blindness(region)
}

// blindness is the sigma from which a clipped region counts as not known.
func (s State) blindness(region int) exposure.Stops {
	for _, o := range s.taught.Seen {
		if m := o.Levels[region]; m.OK && !m.AtLeast {
			return blindAgain
		}
	}
	return blind
}

// solve looks for the settings of the lights that make the judged regions, and then for that of the
// hair light: it has a limit of its own, for which no other light is to be turned.
func (s State) solve(fit rig.Fit, set rig.Setting, targets []rig.Target, peeked func(light int) bool) rig.Solution {
	main := slices.Clone(targets)
	main[crownRegion].Judged = false
	sol := fit.Solve(set, s.ranges(main, false), main)
	if !sol.Met { // the fill is left alone as long as the others can do it: it makes the shadows
		if more := fit.Solve(set, s.ranges(main, true), main); more.Met {
			sol = more
		}
	}
	sol = fit.Cautious(set, s.ranges(main, true), main, sol, peeked)
	sol = fit.Surer(set, s.ranges(main, true), main, sol)
	if !targets[crownRegion].Judged {
		return sol
	}
	hair, ranges := make([]rig.Target, regionCount), s.ranges(targets, false)
	hair[crownRegion] = targets[crownRegion]
	set.Power = slices.Clone(set.Power)
	for i, l := range s.Lights {
		ranges[i].Fixed = ranges[i].Fixed || ownRegion(l) != crownRegion
		ranges[i].Least = max(ranges[i].Least, ranges[i].Now-hairStep)
		if ranges[i].Fixed {
			ranges[i].Now = sol.Dials[i]
			set.Power[i] = ranges[i].Base + sol.Dials[i].Stops()
		}
	}
	if with := fit.Solve(set, ranges, hair); with.Touched > 0 {
		with.Met, with.Touched = sol.Met, sol.Touched+with.Touched
		return with
	}
	return sol // another light makes the hair so bright; the warning about the sitter says so
}

// hairStep is the most that a hair light is turned down at once: how much of the crown's light is
// its own is hardly known, and hair that is too dark costs a frame as well.
const hairStep = exposure.Stop + exposure.Third

// ranges says which lights may be turned: those whose own region is judged. A
// backdrop must not be lit by turning up the key's spill.
func (s State) ranges(targets []rig.Target, fillToo bool) []rig.Range {
	out := make([]rig.Range, len(s.Lights))
	hasBackground := slices.ContainsFunc(s.Lights, func(l LightState) bool { return l.Role == string(plan.Background) && !l.Off })
	for i, l := range s.Lights {
		own := ownRegion(l)
		fixed := l.Off || !targets[own].Judged
		switch plan.Role(l.Role) {
		case plan.Fill:
			fixed = fixed || !fillToo
		case plan.Key:
			if !hasBackground && targets[backdropRegion].Judged && !targets[whiteRegion].Judged {
				fixed = l.Off // the key alone lights the backdrop too
			}
		}
		now := l.Power
		if s.assumed() && s.tentative.light == i {
			now = s.tentative.to
		}
		out[i] = rig.Range{Now: now, Least: l.Least, Most: l.Most, Click: l.Click, Base: s.base(l), Fixed: fixed}
	}
	return out
}

// tell puts the solution into words.
func (s State) tell(a *Advice, sol rig.Solution, regions [regionCount]judged, targets []rig.Target, seen [regionCount]rig.Measured, now []rig.Level, moved bool) {
	biggest := exposure.Dial(0)
	for i, to := range sol.Dials {
		l := s.Lights[i]
		from := l.Power
		if s.assumed() && s.tentative.light == i {
			from = s.tentative.to
		}
		if to == from {
			continue
		}
		adj := s.turn(i, from, to)
		adj.Reason = s.why(l, regions, targets, seen, now, sol)
		if s.assumed() && s.tentative.light == i {
			adj.Reason += fmt.Sprintf("; only if it stands at %s now, so answer first", s.Plan.Lights[i].Scale.Format(from))
		}
		if a.AtLeast && to < from && s.restsOnClipped(l, seen) {
			adj.ChangeText = "power down at least " + s.Plan.Lights[i].Scale.FormatChange(to-from)
			adj.Text = fmt.Sprintf("%s: %s, set %s", l.Name, adj.ChangeText, adj.ToText)
		}
		a.Adjustments = append(a.Adjustments, adj)
		biggest = max(biggest, max(to-from, from-to))
	}
	switch {
	case len(a.Adjustments) == 0 && moved:
		a.Status, a.Headline = Waiting, "Take a frame"
		a.Reason = "The lights or the camera were changed since the newest frame; the next one should be on target."
	case len(a.Adjustments) == 0 && s.sitterBlown(s.newest().Reading):
		a.Status, a.Headline, a.Reason = Look, s.sitterClipsWords(s.newest().Reading), sitterClipsWhy
	case len(a.Adjustments) == 0 && slices.ContainsFunc(a.Expected, func(e Expected) bool { return e.Unknown }):
		a.Status, a.Headline = Look, "The backdrop clips, how far over can't be seen"
		a.Reason = "Its light can go no lower, so no test frame under the edge can tell. It is white; whether it is too strong shows on the sitter's outline."
	case len(a.Adjustments) == 0 && s.Question == nil && (s.untaught || s.doubt != nil) && slices.ContainsFunc(a.Expected, func(e Expected) bool { return !e.InTarget && e.Region != Crown }):
		// What the newest frame shows is not believed yet, so nothing is advised from it; but all is not well either.
		k := slices.IndexFunc(a.Expected, func(e Expected) bool { return !e.InTarget && e.Region != Crown })
		a.Status, a.Headline = Waiting, "Take another frame"
		a.Reason = fmt.Sprintf("The %s reads %s now (target %s), and the frames before it said otherwise; one more tells which holds.", a.Expected[k].Name, a.Expected[k].NowText, a.Expected[k].TargetText)
	case len(a.Adjustments) == 0 && s.astray(regions, targets, seen) >= 0:
		k := s.astray(regions, targets, seen)
		a.Status, a.Headline = Look, "The "+regions[k].words+" is off its target"
		a.Reason = fmt.Sprintf("It reads %s (target %s), and the frames before it said otherwise. If something was turned or moved, record it; else take another frame.",
			seen[k].Value.Signed(), regions[k].wanted())
	case len(a.Adjustments) == 0:
		a.Status, a.Headline, a.Reason = Hold, "Hold", "Every judged region is on target, or nearer than a click could bring it."
		if k := slices.IndexFunc(a.Expected, func(e Expected) bool { return !e.InTarget }); k >= 0 {
			a.Reason = fmt.Sprintf("The %s reads %s now (target %s); over the last frames it is nearer than a click could bring it.", a.Expected[k].Name, a.Expected[k].NowText, a.Expected[k].TargetText)
		}
	case len(s.putAside) > 0 && inside(a.Adjustments, s.putAside):
		a.Status, a.Headline, a.Reason = Aside, "Put aside", textsOf(a.Adjustments)+"."
		a.Adjustments = []Adjustment{}
	case s.heldHere && biggest < exposure.Third && !slices.ContainsFunc(a.Expected, func(e Expected) bool { return e.AtLeast && e.Region == WhitePeak }):
		a.Status, a.Headline = Hold, "Hold"
		a.Reason = "Waits for the break between sitters, so that this set stays even: " + a.Adjustments[0].Text + "."
		a.Adjustments = []Adjustment{}
	default:
		a.Status, a.Headline, a.Reason = Adjust, a.Adjustments[0].Text, a.Adjustments[0].Reason
	}
}

// turn is the adjustment that takes a light's dial from one setting to another.
func (s State) turn(light int, from, to exposure.Dial) Adjustment {
	l, scale := s.Lights[light], s.Plan.Lights[light].Scale
	a := Adjustment{Group: l.Group, Light: l.Name, From: from, To: to,
		FromText: scale.Format(from), ToText: scale.Format(to), ChangeText: powerWords(scale, to-from)}
	a.Text = fmt.Sprintf("%s: %s, set %s", a.Light, a.ChangeText, a.ToText)
	return a
}

func (s State) restsOnClipped(l LightState, seen [regionCount]rig.Measured) bool {
	k := ownRegion(l)
	return seen[k].AtLeast
}

// why says what the turn of one light is for.
func (s State) why(l LightState, regions [regionCount]judged, targets []rig.Target, seen [regionCount]rig.Measured, now []rig.Level, sol rig.Solution) string {
	k := ownRegion(l)
	if k == whiteRegion && !targets[whiteRegion].Judged {
		k = backdropRegion
	}
	j, t := regions[k], targets[k]
	if s.peeks(k, j, seen[k], now[k]) {
		return fmt.Sprintf("the %s is clipped, and how far over cannot be seen; one frame under the edge tells", j.words)
	}
	v, word := now[k].Value, ""
	if seen[k].AtLeast {
		word = "at least "
		v = seen[k].Value
	}
	if k == whiteRegion && s.sitterBlown(s.newest().Reading) && !seen[k].AtLeast && j.target.Miss(v) == 0 {
		return fmt.Sprintf("%s; the %s has room to go lower inside its target (%s)", s.sitterClipsWords(s.newest().Reading), j.words, j.wanted())
	}
	if text := s.offMatch(k, v, t); text != "" {
		return text
	}
	if shown := seen[k].Value; !seen[k].AtLeast && s.setting(s.gain(), s.Shutter).Equal(s.lastSet) {
		// What stands beside the region is the newest reading, and the reason must not contradict it.
		if t.Miss(shown) == t.Miss(v) || t.Miss(shown)*t.Miss(v) > 0 {
			v = shown
		} else if t.Miss(v) != 0 {
			return fmt.Sprintf("the %s reads %s now, and over the last frames %s (target %s)", j.words, shown.Signed(), v.Round().Signed(), j.wanted())
		}
	}
	switch {
	case t.Miss(v) > 0 || v > t.High || seen[k].AtLeast && t.High < 0:
		return fmt.Sprintf("the %s is %s%s over its target (%s)", j.words, word, stopsWords(max(v-t.High, 0)), j.wanted())
	case v < t.Low && !t.UpperOnly:
		return fmt.Sprintf("the %s is %s under its target (%s)", j.words, stopsWords(t.Low-v), j.wanted())
	case sol.Touched == 1:
		for other, t := range targets {
			if other != k && t.Judged && t.Miss(now[other].Value) != 0 {
				return fmt.Sprintf("its light reaches the %s as well, which is off its target (%s)", regions[other].words, regions[other].wanted())
			}
		}
	case math.Abs(float64(sol.Levels[k].Value-now[k].Value)) > 0.05:
		return fmt.Sprintf("keeps the %s on target while the other light is turned", j.words)
	}
	return fmt.Sprintf("brings the %s nearer to its aim", j.words)
}

// whyNothing says what is missing where no region can be judged.
func (s State) whyNothing(seen [regionCount]rig.Measured) string {
	if !seen[backdropRegion].OK {
		return "No backdrop was found in this frame, and no white reference is declared. Take a frame with the backdrop in it."
	}
	return "Declare a white reference: show a white card or shirt and tap it on the frame."
}
