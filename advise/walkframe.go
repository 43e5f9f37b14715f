package advise

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// asWalked is the state with the lights as the step at hand asked for them: before a frame is judged.
// Once all lights burned together, adjustments are followed as in any other frame.
func (s State) asWalked() State {
	x := s.Walk.step()
	if x.Kind == WalkChart || x.together() {
		return s
	}
	s.Lights = slices.Clone(s.Lights)
	for i, a := range x.Asks {
		if i < len(s.Lights) {
			s.Lights[i].Off = a.Off
			s.Lights[i] = s.Lights[i].withPower(a.Power, s.Plan.Lights[i])
		}
	}
	return s.panels(s.besides(*x))
}

// together tells whether all lights burned together already: from then on the step is answered as any
// other advice is.
func (x WalkStep) together() bool {
	return x.Kind == WalkCard || x.Kind == WalkAll && x.Verdict != NoVerdict && x.Verdict != Doubt
}

// walkFrame takes a frame as the answer of the step at hand. lights are how the
// lights stood before it.
func (s State) walkFrame(at time.Time, f Frame, fresh bool, lights []LightState) (State, []Output) {
	if s.Walk.step().together() {
		s, out := s.learn(at, f, fresh)
		return s.walkTogether(f, out)
	}
	s = s.ownWalk()
	w := s.Walk
	x := w.step()
	if x.Kind == WalkChart {
		if f.Reading.Kind == assess.Provisional || w.judged == f.Number {
			return s, nil
		}
		w.judged, w.answers = f.Number, w.At
		x.Frame, x.Tries = f.Number, x.Tries+1
		x.Verdict, x.Says = judgeChart(f)
		if x.Verdict == Good {
			var more string
			s, more = s.charted(f)
			x.Says += more
		}
		out := []Output{event("walk", Event{Frame: f.Number, Text: "Set-up, the chart: " + lowerFirst(x.Says)})}
		if x.Verdict != Good {
			return s, out
		}
		s, more := s.nextStep()
		return s, append(out, more...)
	}
	gain := s.gain()
	if s.taught.Spec.Lights == 0 || len(s.taught.Seen) == 0 && w.judged != f.Number {
		s.model = newModel(s.Plan, w.before, gain, s.Shutter, s.guides...)
		s.taught = s.model
	}
	again := w.judged == f.Number
	if f.Reading.Kind == assess.Provisional {
		return s, nil // the full reading answers
	}
	if !fresh && !again && f.Number <= w.judged {
		return s, nil
	}
	if again && w.answers != w.At { // measured anew after the walk went on: only what it taught changes
		seen := s.seenIn(w.Steps[w.answers].Kind == WalkAmbient, f.Reading)
		s.taught = s.model.With(rig.Observation{Setting: s.lastSet, Levels: seen[:]})
		return s, nil
	}
	seen := s.seenIn(x.Kind == WalkAmbient, f.Reading)
	set := s.setting(gain, s.Shutter)
	if !again {
		s.model = s.taught
		x.Tries++
		w.Frames++
	}
	if x.Kind == WalkAmbient {
		s.model = withoutOff(s.model, set.Off) // the newest says how the room is now
	}
	w.judged, w.answers, x.Frame = f.Number, w.At, f.Number
	doubt := ""
	if !again && !w.doubted {
		doubt = s.walkDoubt(*x, set, lights, seen)
	}
	s.lastSet = set
	if doubt != "" {
		w.doubted = true
		s.taught, s.untaught = s.model, true
		x.Verdict, x.Says = Doubt, doubt
		return s, []Output{event("walk", Event{Frame: f.Number, Text: s.walkLine(*x)})}
	}
	s.untaught = false
	s.taught = s.model.With(rig.Observation{Setting: set, Levels: seen[:]})
	s = s.judge(f.Reading, seen)
	w, x = s.Walk, s.Walk.step()
	if x.Kind == WalkAll {
		return s.walkTogether(f, nil)
	}
	out := []Output{event("walk", Event{Frame: f.Number, Text: s.walkLine(*x)})}
	if x.Verdict != Good {
		return s, out
	}
	s, more := s.nextStep()
	return s, append(out, more...)
}

// judgeChart says what the chart of a frame told.
func judgeChart(f Frame) (Verdict, string) {
	c, why := f.Reading.Chart, f.Reading.Missing["chart"]
	switch {
	case c == nil && why != "":
		return Missing, fmt.Sprintf("In frame %d: %s. Take the frame again, or skip this step.", f.Number, why)
	case c == nil: // not looked for: an older record
		return Good, fmt.Sprintf("Frame %d is kept as the chart's.", f.Number)
	}
	var told []string
	if c.Shift != nil && c.Tint != nil {
		told = append(told, "white balance "+castWords(*c.Shift, *c.Tint))
	}
	if c.White != nil && c.Error != nil {
		side := "over"
		if *c.Error < 0 {
			side = "under"
		}
		told = append(told, fmt.Sprintf("a perfect white would lie at %s (give or take %.2f), %s %s half a stop of room", c.White.Signed(), float64(c.Sigma), stopsWords(*c.Error), side))
	}
	if c.Mean != nil && c.Worst != nil {
		told = append(told, fmt.Sprintf("colours %.1f off in the mean, %.1f at the worst (%s; CIEDE2000, after both are put right)", *c.Mean, *c.Worst, c.Patch))
	}
	text := fmt.Sprintf("Good: the chart of frame %d is read", f.Number)
	if len(told) > 0 {
		text += ": " + joinAnd(told)
	}
	text += "."
	for _, w := range c.Warnings {
		text += " " + upperFirst(w) + "."
	}
	return Good, text
}

// castSmall are the mired and the Duv under which a cast is not seen: five mired are one step that the
// eye tells in daylight, and 0.002 of Duv as much (both common practice, no source).
const (
	castSmallMired = 5
	castSmallDuv   = 0.002
)

// castWords says a cast: "fits the light", "12 mired too warm and too green by Duv 0.004".
func castWords(mired, duv float64) string {
	var out []string
	if math.Abs(mired) >= castSmallMired {
		side := "too warm"
		if mired < 0 {
			side = "too cool"
		}
		out = append(out, fmt.Sprintf("%.0f mired %s", math.Abs(mired), side))
	}
	if math.Abs(duv) >= castSmallDuv {
		side := "green"
		if duv < 0 {
			side = "magenta"
		}
		out = append(out, fmt.Sprintf("too %s by Duv %.3f", side, math.Abs(duv)))
	}
	if len(out) == 0 {
		return "fits the light"
	}
	return joinAnd(out)
}

func (s State) walkLine(x WalkStep) string {
	return fmt.Sprintf("Set-up, %s: %s", lowerFirst(x.Name), lowerFirst(x.Says))
}

// darkness is what a frame teaches of regions that it is too dark to find: a code value of some 8 of
// 255 in the backdrop is the least that can be told apart (8.7 stops under the edge; derived here).
var darkness = rig.Measured{OK: true, Value: -9.5, Sigma: 1}

// seenIn is what a frame shows of the regions; of the room alone, where every flash was off. Without light a region says
// nothing of where it is, so nothing is lost by a backdrop that is too dark to be found.
func (s State) seenIn(room bool, r *assess.Reading) [regionCount]rig.Measured {
	seen := measuredRegions(s.Plan, r)
	if room && r.Regions.Backdrop == nil && r.ClippedShare.Any == 0 {
		for k := range seen {
			if !seen[k].OK && k != whiteRegion {
				seen[k] = darkness
			}
		}
	}
	return seen
}

// roomAlone tells whether every light is recorded as off: then a frame shows the room's light alone.
func (s State) roomAlone() bool {
	return len(s.Lights) > 0 && !slices.ContainsFunc(s.Lights, func(l LightState) bool { return !l.Off })
}

// walkDoubt says what a frame looks like instead, where it does not look as the step asked:
// a light that did not fire, one still lit, a dial not turned.
func (s State) walkDoubt(x WalkStep, set rig.Setting, before []LightState, seen [regionCount]rig.Measured) string {
	if len(s.model.Seen) == 0 {
		return ""
	}
	fit := s.model.Fit()
	base := fit.Predict(set)
	cost := func(h rig.Setting) float64 { return s.surprise(fit, base, h, seen) }
	asked := cost(set)
	best, text := asked-1.5*clearly, ""
	try := func(h rig.Setting, format string, a ...any) {
		if c := cost(h); c < best {
			best, text = c, fmt.Sprintf(format, a...)
		}
	}
	for i, l := range s.Lights {
		h := set
		h.Off = slices.Clone(set.Off)
		h.Off[i] = !h.Off[i]
		switch {
		case !set.Off[i]:
			try(h, "It looks as if %s had not fired. See that it is awake and on the right channel, and take the frame again; nothing is learned from this one.", l.Name)
		case s.takesPart(i) && s.taughtAlone(i) && !s.tooDarkFor(fit, set, i, seen):
			try(h, "It looks as if %s were still on. Switch it off and take the frame again; nothing is learned from this one.", l.Name)
		}
		if i < len(before) && !set.Off[i] && !before[i].Off && before[i].Power != l.Power {
			h := set
			h.Power = slices.Clone(set.Power)
			h.Power[i] = before[i].Power.Stops() + s.base(l)
			try(h, "It looks as if %s still stood at %s. Set it to %s and take the frame again; nothing is learned from this one.", l.Name, before[i].PowerText, l.PowerText)
		}
	}
	return text
}

// tooDarkFor tells whether some region is darker than a light would make it by itself: then that light is not on.
func (s State) tooDarkFor(fit rig.Fit, set rig.Setting, light int, seen [regionCount]rig.Measured) bool {
	set.Off = s.offAlone(light)
	for k, p := range fit.Predict(set) {
		if y := seen[k]; k != crownRegion && y.OK && !y.AtLeast && p.Value-y.Value > deniedFrom+2*p.Sigma {
			return true
		}
	}
	return false
}

// taughtAlone tells whether a frame has shown a light by itself.
func (s State) taughtAlone(light int) bool {
	return slices.ContainsFunc(s.model.Seen, func(o rig.Observation) bool {
		return slices.Equal(o.Off, s.offAlone(light))
	})
}

// judge says of the newest frame whether it answers the step, and what to turn if not.
func (s State) judge(r *assess.Reading, seen [regionCount]rig.Measured) State {
	x := s.Walk.step()
	switch x.Kind {
	case WalkAmbient:
		x.Verdict, x.Says = s.judgeRoom(seen)
		return s
	case WalkAll:
		return s // together with the advice
	case WalkReflector:
		if k, ok := s.reflector(x.Group); ok {
			x.Verdict, x.Says = s.judgeReflector(k, seen)
			return s
		}
	}
	i, ok := s.light(x.Group)
	if !ok {
		x.Verdict, x.Says = Good, "The light is no longer in the plan."
		return s
	}
	l, scale := s.Lights[i], s.Plan.Lights[i].Scale
	k, aim := s.aimAlone(i)
	words := judgedRegions(s.Plan, true)[k].words
	y := seen[k]
	set := func(d exposure.Dial) State {
		powers := make([]exposure.Dial, len(s.Lights))
		for n, o := range s.Lights {
			powers[n] = o.Power
		}
		powers[i] = d
		return s.asking(powers, s.offAlone(i))
	}
	switch {
	case !y.OK && k == whiteRegion && s.Reference == nil:
		x.Verdict, x.Says = Missing, "Tap the white card on the picture, so that it is the white reference. If it is too dark to see, power up first."
		return s
	case !y.OK && k == crownRegion && (r.Regions.Backdrop != nil || x.Tries > 2):
		x.Verdict, x.Says = Missing, "No hair was found in this frame. Somebody has to sit there. Or skip this step: the light is then judged together with the others."
		return s
	case !y.OK && l.Power < l.Most:
		to := s.clicked(i, l.Power+2*exposure.Stop)
		x.Verdict, x.Says = Turn, fmt.Sprintf("The %s was not found; it may be too dark. %s, set %s.", words, upperFirst(powerWords(scale, to-l.Power)), scale.Format(to))
		return set(to)
	case !y.OK:
		x.Verdict, x.Says = Missing, fmt.Sprintf("The %s was not found, at the most power there is. See that it is in the frame, or skip this step.", words)
		return s
	case y.AtLeast:
		to := min(s.clicked(i, l.Power-exposure.Clicks(startUnder, max(l.Click, 1))), s.dialFor(s.taught.Fit(), i, k, aim-measuresWell))
		to = s.clicked(i, to)
		if to >= l.Power {
			x.Verdict, x.Says = Stuck, fmt.Sprintf("The %s clips at the least power there is. Move %s back, close the aperture or lower ISO; then take the frame again.", words, l.Name)
			return s
		}
		x.Verdict, x.Says = Turn, fmt.Sprintf("The %s clips, and how far over cannot be seen. Less light first: %s, set %s.", words, powerWords(scale, to-l.Power), scale.Format(to))
		return set(to)
	}
	if y.Value < aim-measuresWell && l.Power < l.Most {
		fit := s.taught.Fit()
		to := s.dialFor(fit, i, k, aim-min(y.Sigma, 1))
		if to > l.Power {
			x.Verdict, x.Says = Turn, fmt.Sprintf("The %s lies at %s. %s, set %s: there it measures best.", words, y.Value.Signed(), upperFirst(powerWords(scale, to-l.Power)), scale.Format(to))
			return set(to)
		}
	}
	x.Verdict, x.Says = Good, s.goodAlone(i, k, aim, y, r)
	return s
}

func upperFirst(t string) string {
	if t == "" {
		return t
	}
	return strings.ToUpper(t[:1]) + t[1:]
}

// judgeRoom holds the room's own light against the targets.
func (s State) judgeRoom(seen [regionCount]rig.Measured) (Verdict, string) {
	worst, words := exposure.Stops(-99), ""
	for k, j := range judgedRegions(s.Plan, true) {
		t := j.target
		if k == crownRegion || k == sitterRegion || !seen[k].OK || t.UpperOnly {
			continue
		}
		if seen[k].AtLeast {
			return Turn, fmt.Sprintf("The %s clips with every flash off. See that none fires, darken the room, or close the aperture; then take the frame again.", j.words)
		}
		if d := seen[k].Value - t.Aim; d > worst {
			worst, words = d, j.words
		}
	}
	if words == "" {
		return Good, "Good: the room is as good as black."
	}
	if worst > -roomUnder {
		return Turn, fmt.Sprintf("The room alone brings the %s to %s under its aim, so it would add %s. See that no flash fires; then switch lamps off, draw curtains, or use a shorter shutter within the sync limit, and take the frame again. Skip the step to live with it.",
			words, stopsWords(worst), stopsWords(exposure.Stops(math.Log2(1+float64(worst.Factor())))))
	}
	return Good, fmt.Sprintf("Good: the room alone lies %s under the aim of the %s.", stopsWords(worst), words)
}

// uneven is the spread between areas of a backdrop from which a person should look at it: the width of
// the usual target of a white one, half a stop.
const uneven exposure.Stops = 0.5

// goodAlone says what was found of a light that burns alone.
func (s State) goodAlone(light, region int, aim exposure.Stops, y rig.Measured, r *assess.Reading) string {
	l := s.Lights[light]
	words := judgedRegions(s.Plan, true)[region].words
	with := " alone"
	if s.hasCompany(light) {
		with = ""
	}
	text := fmt.Sprintf("Good: %s%s brings the %s to %s.", l.Name, with, words, y.Value.Signed())
	if y.Value < aim-measuresWell && l.Power >= l.Most {
		text += fmt.Sprintf(" That is its most, and %s under what it should reach; bring it nearer, take something off it, or open the aperture.", stopsWords(aim-y.Value))
	}
	switch plan.Role(l.Role) {
	case plan.Background:
		if b := r.Regions.Backdrop; b != nil && b.Evenness >= uneven && len(b.Areas) > 1 {
			text += fmt.Sprintf(" The backdrop is uneven by %s between its areas: turn the light or move it back, and redo this step.", stopsWords(b.Evenness))
		}
	case plan.Key, plan.Fill:
		fit := s.taught.Fit()
		if b := fit.Predict(s.alone(light, l.Power))[backdropRegion]; b.Sigma < unsure {
			text += fmt.Sprintf(" It spills onto the backdrop, %s under the %s.", stopsWords(y.Value-b.Value), words)
		}
		if t := s.ratio(fit); t != "" && plan.Role(l.Role) == plan.Fill {
			text += " " + t
		}
	}
	return text
}

// ratio is the lighting ratio of key and fill as they stand, in both conventions: both to the fill alone, and
// each alone (ASC, as quoted in "Lighting ratio", Wikipedia).
func (s State) ratio(fit rig.Fit) string {
	key, fill := -1, -1
	for i, l := range s.Lights {
		switch plan.Role(l.Role) {
		case plan.Key:
			key = i
		case plan.Fill:
			fill = i
		}
	}
	if key < 0 || fill < 0 || !s.taughtAlone(key) {
		return ""
	}
	k := fit.Predict(s.alone(key, s.Lights[key].Power))[whiteRegion].Value
	f := fit.Predict(s.alone(fill, s.Lights[fill].Power))[whiteRegion].Value
	r := (k - f).Factor()
	return fmt.Sprintf("Key to fill %.1f:1; both to the fill alone %.1f:1.", r, r+1)
}

// walkTogether looks whether the frame of all lights is on target. If so it is the baseline.
func (s State) walkTogether(f Frame, out []Output) (State, []Output) {
	s = s.ownWalk()
	w := s.Walk
	x := w.step()
	if f.Reading.Kind == assess.Provisional {
		return s, out
	}
	if x.Frame != f.Number && (x.Tries > 0 || x.Kind == WalkCard) && w.judged != f.Number {
		x.Tries++
		w.Frames++
	}
	w.judged, w.answers, x.Frame = f.Number, w.At, f.Number
	last := s.newest()
	a := s.plainAdvice(Advice{Status: Waiting, Adjustments: []Adjustment{}, Expected: []Expected{}, Ways: []Way{}, Frame: last.Number, Revision: last.Revision}, last)
	powers, off := make([]exposure.Dial, len(s.Lights)), make([]bool, len(s.Lights))
	for i, l := range s.Lights {
		powers[i], off[i] = l.Power, l.Off
	}
	clips := s.onlyClips(a, last)
	if x.Kind == WalkCard {
		if y := measuredRegions(s.Plan, f.Reading)[whiteRegion]; !y.OK {
			x.Verdict, x.Says = Missing, "Tap the white card on the picture, so that it is the white reference."
			return s.asking(powers, off), append(out, event("walk", Event{Frame: f.Number, Text: s.walkLine(*x)}))
		} else if a.Status == Hold || clips {
			x.Verdict, x.Says = Good, s.cardSays(f.Number, y)
			out = append(out, event("walk", Event{Frame: f.Number, Text: s.walkLine(*x)}))
			s, more := s.nextStep()
			return s, append(out, more...)
		}
	}
	switch {
	case a.Status == Hold || clips:
		x.Verdict, x.Says = Good, fmt.Sprintf("Good: every region is on target in frame %d.", f.Number)
		if clips { // the lights are set; whether that matters is for a person to see
			x.Says += " " + a.Headline + ", though. " + a.Reason
		}
		s.Baseline = f.Number
		out = append(out, event("walk", Event{Frame: f.Number, Text: s.walkLine(*x)}), event("baseline", Event{Frame: f.Number, Text: fmt.Sprintf("Frame %d is the baseline.", f.Number)}))
		s, more := s.nextStep()
		return s, append(out, more...)
	case a.Status == Adjust:
		for _, adj := range a.Adjustments {
			if i, ok := s.light(adj.Group); ok {
				powers[i] = adj.To
			}
		}
		x.Verdict, x.Says = Turn, a.Headline+": "+a.Reason+"."
	default:
		x.Verdict, x.Says = Stuck, a.Headline+". "+a.Reason
	}
	return s.asking(powers, off), append(out, event("walk", Event{Frame: f.Number, Text: s.walkLine(*x)}))
}

// cardSays holds the card of a frame against the baseline's.
func (s State) cardSays(frame int, y rig.Measured) string {
	text := fmt.Sprintf("Good: the card lies at %s in frame %d", levelText(y.Value, y.AtLeast), frame)
	for _, f := range s.Frames {
		if f.Number == s.Baseline && f.Reading != nil {
			if b := measuredRegions(s.Plan, f.Reading)[whiteRegion]; b.OK {
				text += fmt.Sprintf("; in the baseline, frame %d, at %s", f.Number, levelText(b.Value, b.AtLeast))
			}
		}
	}
	return text + "."
}

// walkWarnings leaves out, while the walk goes on, what is so by its own wish: dark frames,
// and no reference yet.
func (s State) walkWarnings(all []Warning) []Warning {
	if !s.Walking() || s.Walk.step().together() {
		return all
	}
	return slices.DeleteFunc(all, func(w Warning) bool {
		return slices.Contains([]string{"no_backdrop", "no_reference", "reference_lost", "either_side", "sitter_clips"}, w.Code)
	})
}

// walkWatched lets the frame of all lights be the baseline that later ones are held against. Frames of
// single lights are no drift.
func (s State) walkWatched(in Input, step string, told []Output) (State, []Output) {
	if step != string(WalkAll) && step != string(WalkCard) || s.untaught || in.Frame.Reading.Kind == assess.Provisional {
		return s, told
	}
	s, told = s.watched(in, told)
	if s.Baseline == in.Frame.Number && step == string(WalkAll) {
		s.based(in.Frame.Number)
	}
	return s, told
}

// walkAdvice is the step at hand as advice: what the board shows meanwhile.
func (s State) walkAdvice(a Advice) Advice {
	x := s.Walk.Steps[s.Walk.At]
	a.Status, a.Headline = Waiting, "Set-up: "+lowerFirst(x.Name)
	for i, t := range x.Do {
		if i > 0 {
			a.Reason += " "
		}
		a.Reason += t
	}
	if x.Says != "" {
		a.Reason = x.Says + " " + a.Reason
	}
	return a
}
