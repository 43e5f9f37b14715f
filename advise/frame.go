package advise

import (
	"fmt"
	"math"
	"slices"
	"time"

	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// frame takes a revision of a frame in: the newest one teaches and advises, a
// late one is only kept.
func (s State) frame(in Input) (State, []Output) {
	f := *in.Frame
	i := slices.IndexFunc(s.Frames, func(x FrameState) bool { return x.Number == f.Number })
	fresh, stood := f.Number > s.FrameCount, s.Lights
	st := FrameState{Number: f.Number, Revision: f.Revision, File: f.File, Folder: f.Folder,
		At: in.At.UTC().Format(time.RFC3339Nano), Damaged: f.Damaged, Reading: f.Reading}
	var out []Output
	say := func(kind, format string, a ...any) {
		out = append(out, event(kind, Event{Frame: f.Number, Ref: f.File, Text: fmt.Sprintf("Frame %d", f.Number) + fmt.Sprintf(format, a...)}))
	}
	switch {
	case f.Damaged != "" || f.Reading == nil:
		say("damaged", " could not be read: %s", f.Damaged)
		if i >= 0 && s.Frames[i].Reading != nil {
			return s, out // what was read before stands
		}
	case i >= 0 && s.Frames[i].Reading != nil && rank(f.Reading.Kind) < rank(s.Frames[i].Reading.Kind):
		say("frame", ": another file of it arrived; the reading stands, it was taken from the better one.")
		return s, out
	}
	if r := st.Reading; r != nil {
		if r.Exif.TakenAt != nil {
			st.Taken = *r.Exif.TakenAt
		}
		if i >= 0 {
			st.Walk = s.Frames[i].Walk
		}
		if s.Walking() && fresh {
			s, st.Walk = s.asWalked(), s.Walk.step().ID
		}
		if s.Plan != nil && (st.Walk == "" || st.Walk == string(WalkAll) || st.Walk == string(WalkCard)) {
			st.Expected, st.OnTarget = s.hold(r)
		}
	}
	s.Frames = slices.Clone(s.Frames)
	switch {
	case i >= 0:
		s.Frames[i] = st
	default:
		s.Frames = append(s.Frames, st)
		slices.SortStableFunc(s.Frames, func(a, b FrameState) int { return a.Number - b.Number })
		if n := len(s.Frames); n > KeepFrames {
			s.Frames = slices.Clone(s.Frames[n-KeepFrames:])
		}
	}
	if fresh {
		s.FrameCount = f.Number
	}
	if f.Number < s.FrameCount {
		say("frame", " arrived late or again; it changes no advice.")
		return s, out
	}
	if st.Reading == nil {
		return s, out // the advice stays that of the frame before, and says so
	}
	s, more := s.exposureSeen(f.Number, st.Reading.Exif)
	out = append(out, more...)
	switch {
	case s.Walking():
		s, more = s.walkFrame(in.At, f, fresh, stood)
		s, more = s.walkWatched(in, st.Walk, more)
		out = append(out, more...)
	case s.Plan != nil && st.Walk != string(WalkChart):
		s, more = s.learn(in.At, f, fresh)
		s, more = s.watched(in, more)
		out = append(out, more...)
	}
	say("frame", "%s.", s.summary(st))
	s, out = s.decide(in.At, out)
	s.heldHere = s.heldHere || s.Advice.Status == Hold && st.OnTarget
	s, more = s.firstHold(st)
	out = append(out, more...)
	s, more = s.matched(st.Number)
	return s, append(out, more...)
}

// rank orders kinds of reading by how much they are worth.
func rank(k assess.Kind) int {
	return slices.Index([]assess.Kind{assess.Provisional, assess.Approximate, assess.Full}, k)
}

// summary is a frame in a few words for the log.
func (s State) summary(st FrameState) string {
	if s.Plan == nil || len(st.Expected) == 0 {
		if b := st.Reading.Regions.Backdrop; b != nil {
			return fmt.Sprintf(": backdrop %s to clipping", levelText(b.Value, b.AtLeast))
		}
		return " measured"
	}
	t := ""
	for k, e := range st.Expected {
		if k > 0 {
			t += ","
		}
		t += " " + e.Name + " " + e.NowText
	}
	if st.OnTarget {
		return ":" + t + "; on target"
	}
	return ":" + t
}

// hold judges a reading against the targets, without any advice.
func (s State) hold(r *assess.Reading) ([]Expected, bool) {
	seen := measuredRegions(s.Plan, r)
	var out []Expected
	on := true
	for k, j := range judgedRegions(s.Plan, s.Reference != nil) {
		if !j.target.Judged || !seen[k].OK || !s.lit(k) {
			continue
		}
		e := s.expected(j, seen[k])
		on = on && e.InTarget
		out = append(out, e)
	}
	return out, on && len(out) > 0 && !s.sitterBlown(r)
}

// exposureSeen notes what the camera recorded, and what changed in it.
func (s State) exposureSeen(frame int, x assess.Exif) (State, []Output) {
	var changes []string
	if x.FNumber != nil && *x.FNumber != s.FNumber {
		if s.FNumber > 0 {
			changes = append(changes, fmt.Sprintf("%s to %s", s.FNumber, *x.FNumber))
		}
		s.FNumber = *x.FNumber
	}
	if x.ISO != nil && *x.ISO != s.ISO {
		if s.ISO > 0 {
			changes = append(changes, fmt.Sprintf("%s to %s", s.ISO, *x.ISO))
		}
		s.ISO = *x.ISO
	}
	if x.ExposureTime != nil && *x.ExposureTime != s.Shutter {
		if s.Shutter > 0 {
			changes = append(changes, fmt.Sprintf("%s to %s", s.Shutter, *x.ExposureTime))
		}
		s.Shutter = *x.ExposureTime
	}
	var out []Output
	for _, c := range changes {
		out = append(out, event("exposure", Event{Frame: frame, Text: fmt.Sprintf("Camera: %s, seen in frame %d.", c, frame)}))
	}
	return s, out
}

// underWay is how long before its arrival a frame may have been taken: an
// adjustment recorded in that time may not be in it (camera clocks are not synced).
const underWay = 5 * time.Second

// learn finds the settings that lit the newest frame, takes a followed
// adjustment over, and teaches the light model.
func (s State) learn(at time.Time, f Frame, fresh bool) (State, []Output) {
	gain, shutter := s.gain(), s.Shutter
	seen := measuredRegions(s.Plan, f.Reading)
	if s.taught.Spec.Lights == 0 {
		s.model = s.withEarlier(newModel(s.Plan, s.Lights, gain, shutter, s.guides...))
		s.taught = s.model
	}
	if !fresh && s.lastSet.Power != nil {
		// Measured again: the same light, so the frame's observation is replaced.
		s.taught = s.model.With(rig.Observation{Setting: s.lastSet, Levels: seen[:]})
		return s, nil
	}
	s.model, s.missed, s.absent = s.taught, s.absent, nil
	if s.Question != nil && f.Number > s.Question.Expires {
		if s.assumed() {
			s.model = s.loose() // nobody said what it was: learn the light anew
		}
		s.Question, s.tentative = nil, nil
	}
	stood := at.Sub(s.advisedAt)
	hidden := s.hiddenTurn(seen)
	waits := len(s.pending) > 0 && (stood >= askTime || hidden && stood >= hiddenTime)
	s, set, out, taught := s.settle(at, f.Number, gain, shutter, seen)
	s.lastSet = set
	if followed := len(out) > 0; waits && !followed && s.Question == nil {
		// More frames tell nothing where clipping hides the turn.
		if s.unseen++; s.unseen == askAfter || hidden && s.unseen == 1 {
			var q Output
			s, q = s.askWhetherTurned(f.Number)
			out = append(out, q)
		}
	} else {
		s.unseen = 0
	}
	s.untaught = !taught
	if taught && f.Reading.Kind != assess.Provisional {
		s.taught = s.model.With(rig.Observation{Setting: set, Levels: seen[:]})
	} else {
		s.taught = s.model
	}
	return s, out
}

// reteach drops the observation of the newest frame after the targets changed what is measured of it.
func (s State) reteach() State {
	if len(s.Frames) == 0 || s.Plan == nil || s.taught.Spec.Lights == 0 || s.lastSet.Power == nil {
		return s
	}
	if r := s.Frames[len(s.Frames)-1].Reading; r != nil {
		seen := measuredRegions(s.Plan, r)
		s.taught = s.model.With(rig.Observation{Setting: s.lastSet, Levels: seen[:]})
	}
	return s
}

// A hypothesis is one way the lights may have stood for a frame.
type hypothesis struct {
	set    rig.Setting
	moves  []move // against the recorded state
	undone bool   // the frame was taken before a recorded adjustment
	absent int    // index of the light that did not fire, plus one
	cost   float64
}

type move struct {
	light int
	to    exposure.Dial
	late  bool // takes a recorded adjustment back
}

// Costs are chi-squares. One hypothesis must beat another by this much to count as
// the better one (a likelihood ratio of e^2).
const clearly = 4.0

// settle decides which settings lit the frame: those recorded, those advised, or those before
// an adjustment that was recorded while the frame was under way.
func (s State) settle(at time.Time, frame int, gain exposure.Stops, shutter exposure.Shutter, seen [regionCount]rig.Measured) (State, rig.Setting, []Output, bool) {
	now := s.setting(gain, shutter)
	keep := slices.DeleteFunc(slices.Clone(s.recent), func(c change) bool { return at.Sub(c.at) > underWay })
	told := s.recent
	s.recent, s.bumped = nil, ""
	fit := s.model.Fit()
	base := fit.Predict(now)
	silent := s.silences(fit, base, now, seen)
	if !s.model.Known() && len(silent) == 0 {
		return s, now, nil, true
	}
	all := append(s.hypotheses(now, keep), silent...)
	for i := range all {
		all[i].cost = s.surprise(fit, base, all[i].set, seen)
	}
	best := 0
	for i := range all {
		if all[i].cost < all[best].cost {
			best = i
		}
	}
	for i := range all {
		if i != best && all[i].cost < all[best].cost+clearly && all[i].undone != all[best].undone {
			// It could lie on either side of an adjustment: it teaches nothing.
			s.recent = keep
			return s, now, nil, false
		}
	}
	best = s.preferred(all, best, at, told)
	if i := all[best].absent; i > 0 {
		l := s.Lights[i-1]
		s.absent, s.recent = []string{l.Group}, keep
		return s, all[best].set, []Output{event("absent", Event{Frame: frame, Group: l.Group,
			Text: fmt.Sprintf("%s did not light frame %d.", l.Name, frame)})}, true
	}
	if !s.model.Known() {
		return s, now, nil, true // how the lights stand for the first frame is taken from the record
	}
	var out []Output
	for _, m := range all[best].moves {
		l := s.Lights[m.light]
		if m.late {
			continue
		}
		s = s.setPower(m.light, m.to)
		s.pending = slices.DeleteFunc(slices.Clone(s.pending), func(p Adjustment) bool { return p.Group == l.Group })
		out = append(out, event("followed", Event{Frame: frame, Group: l.Group, Text: fmt.Sprintf("%s: %s, set %s; seen in frame %d.",
			l.Name, powerWords(s.Plan.Lights[m.light].Scale, m.to-l.Power), s.Lights[m.light].PowerText, frame)}))
	}
	if all[best].undone {
		s.recent = keep
		return s, all[best].set, out, true
	}
	if s.assumed() {
		return s, all[best].set, out, false
	}
	if !s.comparable() {
		return s, all[best].set, out, true
	}
	if s.Question != nil { // one at a time
		return s, all[best].set, out, true
	}
	s, more, explained := s.unexplained(frame, fit, all[best].set, seen)
	return s, all[best].set, append(out, more...), explained
}

// absentDrop is the least fall of its own region by which a light that did not fire is told from a
// dial turned down, and absentSure the fall that is enough however dark the region is thought to be without it.
const (
	absentDrop exposure.Stops = 1.5
	absentSure exposure.Stops = 2
)

// foretold is how well the plan's guide numbers must foretell a region, one standard
// deviation, for a light that is missing from the very first frame to be told from one that is set low.
const foretold exposure.Stops = 1.4

// silences lists the ways in which one light may not have fired at all: asleep, or a trigger
// missed. Without them its absence would pass for a dial turned down, and its return for advice followed.
func (s State) silences(fit rig.Fit, base []rig.Level, now rig.Setting, seen [regionCount]rig.Measured) []hypothesis {
	var out []hypothesis
	for i, l := range s.Lights {
		if l.Off {
			continue
		}
		h := hypothesis{set: now, absent: i + 1}
		h.set.Off = slices.Clone(now.Off)
		h.set.Off[i] = true
		k := ownRegion(l)
		if k == crownRegion {
			continue // hair moves too much to tell
		}
		drop, fell := base[k].Value-fit.Predict(h.set)[k].Value, base[k].Value-seen[k].Value
		if !seen[k].OK || seen[k].AtLeast || drop < absentDrop || fell < max(absentDrop, min(drop*2/3, absentSure)) {
			continue
		}
		before := slices.Contains(s.missed, l.Group) || slices.ContainsFunc(s.model.Seen, func(o rig.Observation) bool { return !o.Off[i] })
		if !before && (base[k].Sigma > foretold || fell < 3*base[k].Sigma) {
			continue // what a light gives is known from frames that it lit, or from guide numbers
		}
		out = append(out, h)
	}
	return out
}

// preferred settles what the frame alone leaves open. Advice that was out long
// enough to be followed counts as followed whole, if the frame does not speak against it: taken
// the other way, a followed adjustment that clipping hides would be advised for ever. But whoever recorded how a light stands
// since the frame before has told how this one was lit: then the record holds unless the frame clearly says otherwise.
func (s State) preferred(all []hypothesis, best int, at time.Time, told []change) int {
	whole := 0
	for i := range all {
		if !all[i].undone && len(all[i].moves) > len(all[whole].moves) {
			whole = i
		}
	}
	choice := 0
	if at.Sub(s.advisedAt) >= handTime && !s.overrules(all[whole], told) {
		choice = whole
	}
	if all[choice].cost < all[best].cost+clearly && !all[best].undone {
		return choice
	}
	return best
}

// overrules tells whether a way the lights may have stood goes against a record that was just made of one of them.
func (s State) overrules(h hypothesis, told []change) bool {
	return slices.ContainsFunc(h.moves, func(m move) bool {
		return slices.ContainsFunc(told, func(c change) bool { return c.group == s.Lights[m.light].Group })
	})
}

// handTime is what it takes to read an adjustment and turn a dial, at the least (common practice, no source).
const handTime = 4 * time.Second

// surprise is how badly a setting explains what was seen. What a step of the
// dial is predicted to do is allowed an error of its own, for the curve.
func (s State) surprise(fit rig.Fit, base []rig.Level, set rig.Setting, seen [regionCount]rig.Measured) float64 {
	o := rig.Observation{Setting: set, Levels: slices.Clone(seen[:]), Count: 1}
	for k, p := range fit.Predict(set) {
		step := 0.15 * float64(p.Value-base[k].Value)
		o.Levels[k].Sigma = exposure.Stops(math.Hypot(min(float64(o.Levels[k].Sigma), 0.2), step))
	}
	return s.model.Surprise(o)
}

// comparable tells whether a change between frames must have a cause: not where
// the camera or its flash set something by themselves.
func (s State) comparable() bool {
	for _, w := range s.warnings() {
		switch w.Code {
		case "not_manual", "auto_flash", "auto_iso", "no_exposure":
			return false
		}
	}
	return true
}

// hypotheses lists the ways the lights may have stood, the recorded one first.
func (s State) hypotheses(now rig.Setting, recent []change) []hypothesis {
	var moves []move
	for _, p := range s.pending {
		if i, ok := s.light(p.Group); ok && p.To != s.Lights[i].Power {
			moves = append(moves, move{light: i, to: p.To})
		}
	}
	for _, c := range recent {
		if i, ok := s.light(c.group); ok && !slices.ContainsFunc(moves, func(m move) bool { return m.light == i }) {
			moves = append(moves, move{light: i, to: c.from, late: true})
		}
	}
	moves = moves[:min(len(moves), 6)]
	out := make([]hypothesis, 1<<len(moves))
	for k := range out {
		h := hypothesis{set: now}
		h.set.Power = slices.Clone(now.Power)
		for b, m := range moves {
			if k>>b&1 == 0 {
				continue
			}
			h.moves = append(h.moves, m)
			h.set.Power[m.light] = m.to.Stops() + s.base(s.Lights[m.light])
			h.undone = h.undone || m.late
		}
		out[k] = h
	}
	return out
}

// unexplained looks at what even the best setting leaves over. A change that no
// record and no advice explains is asked about, with the likeliest explanation.
func (s State) unexplained(frame int, fit rig.Fit, set rig.Setting, seen [regionCount]rig.Measured) (State, []Output, bool) {
	predicted := fit.Predict(set)
	before := predicted
	if s.lastSet.Power != nil {
		before = fit.Predict(s.lastSet)
	}
	worst, by := -1, exposure.Stops(0)
	clips := -1
	for k, y := range seen {
		d := y.Value - predicted[k].Value
		if k == whiteRegion && y.OK && y.AtLeast && d > bumpLeast && predicted[k].Sigma < bumpSure {
			clips = k
		}
		if k == sitterRegion || k == crownRegion || !y.OK || y.AtLeast && d < 0 || math.Abs(float64(d)) < 0.3 {
			continue
		}
		v := math.Sqrt(math.Pow(min(float64(y.Sigma), 0.15), 2) + 2*float64(scatter*scatter) + float64(predicted[k].Sigma*predicted[k].Sigma) +
			math.Pow(stepError*float64(predicted[k].Value-before[k].Value), 2)) // what a recorded step does is not known better
		if math.Abs(float64(d)) > 4*v && math.Abs(float64(d)) > math.Abs(float64(by)) {
			worst, by = k, d
		}
	}
	if worst < 0 && clips < 0 {
		return s, nil, true
	}
	light, to, ok := s.explain(fit, set, predicted, seen)
	if worst < 0 && !(ok && to > s.Lights[light].Power) {
		// By how much it rose is hidden by the clipping, and nothing else tells: the dial has to be looked at.
		s.bumped = s.ownLight(clips)
		return s, nil, true
	}
	if !ok {
		words := judgedRegions(s.Plan, s.Reference != nil)[worst].words
		// No light explains it: other clothes, another crop, a stand that moved. Learn it anew.
		s.model = s.loose()
		return s, []Output{event("unexplained", Event{Frame: frame, Text: fmt.Sprintf(
			"The %s changed by %s in frame %d, and no setting of one light explains it. If something was changed, say so.", words, by.Round(), frame)})}, true
	}
	l := s.Lights[light]
	s.asked++
	verb := "rose"
	if to < l.Power {
		verb = "fell"
	}
	q := Question{Number: s.asked, Frame: frame, Group: l.Group, To: to, Expires: frame + questionFrames,
		Text: fmt.Sprintf("%s %s by about %s in frame %d, and nobody recorded it. Turned to %s?",
			l.Name, verb, s.Plan.Lights[light].Scale.FormatChange(to-l.Power), frame, s.Plan.Lights[light].Scale.Format(to))}
	s.Question, s.tentative = &q, &tentative{light: light, to: to}
	return s, []Output{{Question: &q}}, false
}

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

// hiddenTurn tells whether a light was to be turned down whose region clips: a frame that still clips shows neither
// that it was nor that it was not.
func (s State) hiddenTurn(seen [regionCount]rig.Measured) bool {
	return slices.ContainsFunc(s.pending, func(p Adjustment) bool {
		i, ok := s.light(p.Group)
		return ok && ownRegion(s.Lights[i]) == whiteRegion && seen[whiteRegion].AtLeast && p.To < p.From
	})
}

// hiddenTime is how long such advice must have stood before one frame is enough to ask.
const hiddenTime = 10 * time.Second

// askTime is how long an adjustment must have stood there before that counts.
const askTime = 20 * time.Second

// askWhetherTurned asks about the first adjustment that was advised and that no frame
// shows. Either nobody turned it, and the advice stands, or the light does less than was
// thought, and then an answer is the only way to learn it.
func (s State) askWhetherTurned(frame int) (State, Output) {
	p := s.pending[0]
	i, _ := s.light(p.Group)
	s.asked++
	q := Question{Number: s.asked, Frame: frame, Group: p.Group, To: p.To, Expires: frame + questionFrames,
		Text: fmt.Sprintf("%s: is it set to %s by now? The frames don't show it.", p.Light, p.ToText)}
	s.Question, s.tentative = &q, &tentative{light: i, to: p.To, asked: true}
	return s, Output{Question: &q}
}

// questionFrames is for how many frames a question waits before it is dropped.
const questionFrames = 3

// explain finds the one light and setting that explain what was seen.
func (s State) explain(fit rig.Fit, set rig.Setting, base []rig.Level, seen [regionCount]rig.Measured) (int, exposure.Dial, bool) {
	light, to, best := -1, exposure.Dial(0), math.Inf(1)
	for i, l := range s.Lights {
		if l.Off {
			continue
		}
		for d := l.Least; d <= l.Most; d += max(l.Click, 1) {
			trial := set
			trial.Power = slices.Clone(set.Power)
			trial.Power[i] = d.Stops() + s.base(l)
			if c := leftOver(fit, base, trial, seen); c < best && d != l.Power {
				light, to, best = i, d, c
			}
		}
	}
	return light, to, light >= 0 && best < clearly && leftOver(fit, base, set, seen) > best+2*clearly
}

// leftOver is the chi-square of what was seen against what a setting predicts.
func leftOver(fit rig.Fit, base []rig.Level, set rig.Setting, seen [regionCount]rig.Measured) float64 {
	var sum float64
	for k, p := range fit.Predict(set) {
		y := seen[k]
		d := float64(y.Value - p.Value)
		if !y.OK || y.AtLeast && d < 0 {
			continue
		}
		v := math.Pow(min(float64(y.Sigma), 0.2), 2) + 2*float64(scatter*scatter) + math.Pow(0.15*float64(p.Value-base[k].Value), 2) + math.Pow(float64(base[k].Sigma), 2)
		sum += d * d / v
	}
	return math.Round(sum*1000) / 1000
}

func (s State) answered(in Answer) (State, []Output) {
	q := s.Question
	if q == nil || q.Number != in.Question {
		return s, nil
	}
	s.Question, s.untaught = nil, false // the answer tells which side the frame lies on
	t := s.tentative
	s.tentative = nil
	if !in.Yes && t != nil && t.asked {
		return s, []Output{event("not_turned", Event{Frame: q.Frame, Group: q.Group, Text: "Not turned yet; the advice stands."})}
	}
	if !in.Yes || t == nil || t.light >= len(s.Lights) {
		s.model = s.loose() // drift: how much light there is must be learned anew
		s = s.reteach()
		return s, []Output{event("drift", Event{Frame: q.Frame, Group: q.Group, Text: fmt.Sprintf("Not turned: what changed in frame %d counts as drift.", q.Frame)})}
	}
	l := s.Lights[t.light]
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
