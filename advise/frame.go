package advise

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"thirdstop/advise/drift"
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
	// One that was newest and unreadable until now is as new as one that wasn't there.
	fresh, stood := f.Number > s.FrameCount || i >= 0 && f.Number == s.FrameCount && s.Frames[i].Reading == nil, s.Lights
	if last := s.newest(); fresh && s.Plan != nil && last != nil {
		s.blownBefore = s.sitterBlown(last.Reading)
	}
	st := FrameState{Number: f.Number, Revision: f.Revision, File: f.File, Folder: f.Folder,
		At: in.At.UTC().Format(time.RFC3339Nano), Damaged: f.Damaged, Reading: f.Reading}
	var out []Output
	judged := false // against the targets
	var band *drift.Band
	say := func(kind, format string, a ...any) {
		out = append(out, event(kind, Event{Frame: f.Number, Ref: f.File, Text: fmt.Sprintf("Frame %d", f.Number) + fmt.Sprintf(format, a...)}))
	}
	switch {
	case f.Damaged != "" || f.Reading == nil:
		say("damaged", " could not be read: %s", f.Damaged)
		if i >= 0 && s.Frames[i].Reading != nil {
			return s, out // what was read before stands
		}
	case i >= 0 && s.Frames[i].Reading != nil && rank(f.Reading) < rank(s.Frames[i].Reading):
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
		if band = s.band(f.Number, r); s.Walking() && fresh && band == nil {
			s, st.Walk = s.asWalked(), s.Walk.step().ID
		}
		switch p := r.PartOfSet; {
		case s.bracketOf(f.Number, fresh):
			st.Aside, band = bracketAside, nil
			var told []Output
			s, told = s.bracketFrame(f)
			out = append(out, told...)
		case i >= 0 && s.Frames[i].Aside == bracketAside:
			st.Aside, band = bracketAside, nil
		case s.Plan != nil && band != nil:
			st.Aside, _ = band.Says()
			st.Aside = strings.TrimSuffix(lowerFirst(st.Aside), ".")
		case s.Plan != nil && st.Walk == "" && s.watch.Base > 0 && s.roomAlone():
			st.Aside = roomAside
		case s.Plan != nil && st.Walk == "" && p.Answer == assess.BelongsNo && p.Sure >= surelyNone && !s.roomAlone():
			st.Aside = p.Reason // the floor, a hand, the whole room: nothing about the lights follows from it
		case s.Plan != nil && (st.Walk == "" || st.Walk == string(WalkAll) || st.Walk == string(WalkCard)):
			judged = true
			st.Expected, st.OnTarget = s.hold(r, nil)
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
	if st.Aside != "" {
		say("frame", " is left out of advice: %s.", st.Aside)
		switch {
		case band != nil:
			s, out = s.bandWatched(in, *band, out)
		case st.Aside == roomAside:
			s, out = s.watched(in, out)
		}
		return s.decide(in.At, out)
	}
	s, more := s.counted().exposureSeen(f.Number, st.Reading.Exif)
	out = append(out, more...)
	before := s
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
	if fresh && s.Plan != nil {
		s = s.knownStep(before, f)
	}
	if judged && s.taught.Known() && s.lastSet.Power != nil {
		// What the frame taught says how far over the edge it lies.
		st.Expected, st.OnTarget = s.hold(st.Reading, s.taught.Fit().Predict(s.lastSet))
		if k := slices.IndexFunc(s.Frames, func(x FrameState) bool { return x.Number == f.Number }); k >= 0 {
			s.Frames[k].Expected, s.Frames[k].OnTarget = st.Expected, st.OnTarget // the list is a copy already
			s.noteMissed()
			s.Drift = s.drifting()
		}
	}
	say("frame", "%s.", s.summary(st))
	s, out = s.decide(in.At, out)
	s.heldHere = s.heldHere || s.Advice.Status == Hold && st.OnTarget
	s, more = s.firstHold(st)
	out = append(out, more...)
	s, more = s.matched(st.Number)
	return s, append(out, more...)
}

// roomAside is why a frame without any flash is left out, once there is a baseline.
const roomAside = "every flash is off, so it shows the room alone"

// unknownSigma stands for a level of which nothing is known.
const unknownSigma exposure.Stops = 10

// surelyNone is how sure it must be that a frame shows no part of the set, for it to be left out of advice.
const surelyNone = 0.8

// rank orders readings of one frame by how much they are worth. A reduced JPEG is a picture of its own, and a raw file's
// preview that arrives beside it isn't taken for a better one.
func rank(r *assess.Reading) int {
	n := 2 * slices.Index([]assess.Kind{assess.Provisional, assess.Approximate, assess.Full}, r.Kind)
	if !r.FromRaw() {
		n++
	}
	return n
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

// hold judges a reading against the targets, without any advice. now is what the model makes of it, nil where nothing is known.
func (s State) hold(r *assess.Reading, now []rig.Level) ([]Expected, bool) {
	seen := measuredRegions(s.Plan, r)
	var out []Expected
	on := true
	for k, j := range judgedRegions(s.Plan, s.Reference != nil) {
		if !j.target.Judged || !seen[k].OK || !s.lit(k) {
			continue
		}
		e := s.expected(j, seen[k])
		if now != nil {
			e = s.known(e, k, seen[k], now[k])
		} else {
			e = s.known(e, k, seen[k], rig.Level{Sigma: unknownSigma})
		}
		on = on && e.InTarget
		out = append(out, e)
	}
	return out, on && len(out) > 0 && !s.sitterBlown(r)
}

// exposureSeen notes what the camera recorded, and what changed in it.
func (s State) exposureSeen(frame int, x assess.Exif) (State, []Output) {
	var changes []string
	if x.FNumber != nil && !s.TStops && *x.FNumber != s.FNumber {
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
	seen := s.seenIn(s.roomAlone(), f.Reading)
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
	s.recheck = false // what was recorded since is held against this frame
	if s.Question != nil && f.Number > s.Question.Expires {
		s = s.unanswered()
	}
	s, late := s.toldLate(f.Number, s.setting(gain, shutter), f.Reading)
	s, woke := s.woken(f.Number, s.setting(gain, shutter), seen)
	late = append(late, woke...)
	stood := at.Sub(s.advisedAt)
	s, set, out, taught := s.settle(at, f.Number, gain, shutter, seen)
	if stood >= handTime {
		s.passOver(seen)
	}
	if !set.Equal(s.lastSet) {
		s.overSince = 0
	}
	if seen[whiteRegion].AtLeast {
		s.overSince = f.Number
	}
	if i, ok := s.light(s.presumed); ok && seen[ownRegion(s.Lights[i])].OK && !seen[ownRegion(s.Lights[i])].AtLeast {
		s.presumed = ""
	}
	s.lastSet = set
	out = append(late, out...)
	// Where clipping hides the turn of one light, more frames tell nothing, whatever was seen of the others.
	hidden := s.hiddenTurn(seen)
	switch waits := len(s.pending) > 0 && (hidden >= 0 && stood >= handTime || stood >= askTime && len(out) == 0); {
	case !waits:
		s.unseen = 0
	case hidden >= 0 && s.pending[hidden].Group == s.presumed: // nobody answers, and it counts as done
	case s.Question == nil:
		if s.unseen++; s.unseen == askAfter || hidden >= 0 && s.unseen == 1 {
			var q Output
			s, q = s.askWhetherTurned(f.Number, max(hidden, 0))
			out = append(out, q)
		}
	}
	s.untaught = !taught && s.doubt == nil
	if taught && f.Reading.Kind != assess.Provisional {
		s.taught = s.model.With(rig.Observation{Setting: set, Levels: seen[:]})
	} else {
		s.taught = s.model
	}
	return s, out
}

// unanswered takes the open question back: nobody said.
func (s State) unanswered() State {
	switch {
	case s.assumed():
		s = s.doubted(append(slices.Clone(s.tentative.denied), s.tentative.light)...) // what it was, so that light is learned anew
	case s.tentative != nil:
		s.presumed = s.Question.Group // that it was not turned
	default:
		s = s.doubted()
	}
	s.Question, s.tentative = nil, nil
	return s
}

// woken looks whether a light that was found asleep lit the newest frame: then it is on again, and nobody need say so.
func (s State) woken(frame int, now rig.Setting, seen [regionCount]rig.Measured) (State, []Output) {
	if len(s.slept) == 0 || !s.model.Known() {
		return s, nil
	}
	var out []Output
	fit := s.model.Fit()
	base := fit.Predict(now)
	for _, x := range s.slept {
		i, ok := s.light(x.group)
		if !ok || !s.Lights[i].Off {
			continue
		}
		on := now
		on.Off = slices.Clone(now.Off)
		on.Off[i] = false
		if s.surprise(fit, base, on, seen)+clearly/2 > s.surprise(fit, base, now, seen) {
			continue
		}
		now, base = on, fit.Predict(on)
		s.Lights = slices.Clone(s.Lights)
		s.Lights[i].Off = false
		s.slept = slices.DeleteFunc(slices.Clone(s.slept), func(y slept) bool { return y == x })
		out = append(out, event("woken", Event{Frame: frame, Group: x.group, Text: fmt.Sprintf("%s: on again, seen in frame %d.", s.Lights[i].Name, frame)}))
	}
	return s, out
}

// reteach drops the observation of the newest frame after the targets changed what is measured of it.
func (s State) reteach() State {
	if len(s.Frames) == 0 || s.Plan == nil || s.taught.Spec.Lights == 0 || s.lastSet.Power == nil {
		return s
	}
	if r := s.Frames[len(s.Frames)-1].Reading; r != nil {
		if n := len(s.watch.Past); n > 0 && s.watch.Past[n-1].Number == s.FrameCount {
			s.watch.Past = slices.Clone(s.watch.Past)
			s.watch.Past[n-1].Set = s.litFor()
		}
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
	past   bool   // advice that other advice took the place of was followed: less likely than what was shown last
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
	// What was recorded since the frame before this one.
	told := slices.DeleteFunc(slices.Clone(s.recent), func(c change) bool { return !c.at.After(s.lastAt) })
	s.lastAt = at
	offered := s.offered
	s.recent, s.bumped, s.offered = nil, "", nil
	fit := s.model.Fit()
	base := fit.Predict(now)
	silent := s.silences(fit, base, now, seen)
	s, silent = s.heard(silent)
	if !s.model.Known() && len(silent) == 0 {
		return s, now, nil, true
	}
	all := append(s.hypotheses(now, keep, offered), silent...)
	for i := range all {
		all[i].cost = s.surprise(fit, base, all[i].set, seen)
		if s.denied(fit, all[i], seen) {
			all[i].cost += denial
		}
		if all[i].past {
			all[i].cost += clearly / 4
		}
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
	best = s.preferred(all, best, at, told, seen)
	if i := all[best].absent; i > 0 {
		l := s.Lights[i-1]
		s.absent, s.recent = []string{l.Group}, keep
		out := []Output{event("absent", Event{Frame: frame, Group: l.Group, Text: fmt.Sprintf("%s did not light frame %d.", l.Name, frame)})}
		s, out = s.unlitAgain(i-1, frame, out)
		return s, all[best].set, out, true
	}
	if !s.model.Known() {
		return s, now, nil, true // how the lights stand for the first frame is taken from the record
	}
	for i, p := range s.pending {
		k, ok := s.light(p.Group)
		if ok && s.Question == nil && seen[ownRegion(s.Lights[k])].AtLeast && slices.ContainsFunc(told, func(c change) bool { return c.group == p.Group }) &&
			slices.ContainsFunc(all[best].moves, func(m move) bool { return m.light == k && !m.late }) {
			// What was recorded may have been done long ago, and what was advised thereupon not at all: under clipping both look alike.
			s, q := s.askWhetherTurned(frame, i)
			return s, now, []Output{q}, false
		}
	}
	var out []Output
	for _, m := range all[best].moves {
		l := s.Lights[m.light]
		if m.late {
			continue
		}
		seenIn := fmt.Sprintf("seen in frame %d", frame)
		if k := ownRegion(l); all[0].cost-all[best].cost < clearly/2 && (!seen[k].OK || seen[k].AtLeast) {
			seenIn = fmt.Sprintf("taken as done, frame %d can't show it", frame)
		}
		s = s.setPower(m.light, m.to)
		s.pending = slices.DeleteFunc(slices.Clone(s.pending), func(p Adjustment) bool { return p.Group == l.Group })
		if s.Question != nil && s.Question.Group == l.Group {
			s.Question, s.tentative = nil, nil
		}
		if s.presumed == l.Group && !seen[ownRegion(l)].AtLeast {
			s.presumed = "" // from here on frames tell
		}
		out = append(out, event("followed", Event{Frame: frame, Group: l.Group, Text: fmt.Sprintf("%s: %s, set %s; %s.",
			l.Name, powerWords(s.Plan.Lights[m.light].Scale, m.to-l.Power), s.Lights[m.light].PowerText, seenIn)}))
	}
	if all[best].undone {
		s.recent = keep
		return s, all[best].set, out, true
	}
	if (s.assumed() || s.Question != nil && s.Question.Group == "") && s.backAgain(fit, all[best].set, seen) {
		s.Question, s.tentative = nil, nil
		out = append(out, event("back", Event{Frame: frame, Text: fmt.Sprintf("In frame %d the light is back where it was; nothing is asked any more.", frame)}))
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

// denial is added to the chi-square of what a frame plainly denies.
const denial = 100.0

// denied tells whether a region stayed where it was, or went the other way, although a light that is set for it
// was turned in this account of the frame.
func (s State) denied(fit rig.Fit, h hypothesis, seen [regionCount]rig.Measured) bool {
	n := len(s.model.Seen)
	if n == 0 || len(h.moves) == 0 {
		return false
	}
	last := s.model.Seen[n-1]
	change := fit.Change(last.Setting, h.set)
	for _, m := range h.moves {
		k := ownRegion(s.Lights[m.light])
		if k != crownRegion && !m.late && !seen[k].OK && s.passedOver(m) {
			return true // a frame that can't show it is no sign that what was passed over was done
		}
		if m.late || k == crownRegion || s.Lights[m.light].Role == string(plan.Fill) || !seen[k].OK || seen[k].AtLeast || !last.Levels[k].OK || last.Levels[k].AtLeast {
			continue
		}
		want := float64(change[k].Value)
		by := float64(seen[k].Value - last.Levels[k].Value)
		if s.stayed(fit, h, m, k, exposure.Stops(by)) {
			return true
		}
		if want < 0 {
			want, by = -want, -by
		}
		if want -= 2 * float64(change[k].Sigma); want > deniedFrom && by < want*deniedPart {
			return true
		}
	}
	return false
}

// deniedFrom is the least change of a region, in stops, whose absence denies that a light was turned: under it scatter decides.
// deniedPart is the part of what was surely foretold that must show: a curve that is a third off leaves more (derived here).
const (
	deniedFrom = 0.15
	deniedPart = 0.4
)

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
		missed := slices.Contains(s.missed, l.Group)
		enough := max(absentDrop, min(drop*2/3, absentSure))
		if missed { // and how dark it is without it was seen
			enough = absentDrop
		}
		if !seen[k].OK || seen[k].AtLeast || drop < absentDrop || fell < enough {
			continue
		}
		before := missed || slices.ContainsFunc(s.model.Seen, func(o rig.Observation) bool { return !o.Off[i] })
		if !before && (base[k].Sigma > foretold || fell < 3*base[k].Sigma) {
			continue // what a light gives is known from frames that it lit, or from guide numbers
		}
		out = append(out, h)
	}
	return out
}

// unlit is a light that seems not to have lit the frames of late.
type unlit struct {
	group  string
	frames int
	fires  bool // it does, somebody said: what the frames show has another cause
}

// heard leaves out a light of which somebody said that it fires, until the frames no longer look as if it did not.
func (s State) heard(silent []hypothesis) (State, []hypothesis) {
	if s.unlit == nil {
		return s, silent
	}
	light, _ := s.light(s.unlit.group)
	is := func(h hypothesis) bool { return h.absent == light+1 }
	if !slices.ContainsFunc(silent, is) {
		s.unlit = nil
	} else if s.unlit.fires {
		silent = slices.DeleteFunc(silent, is)
	}
	return s, silent
}

// unlitAgain counts the frames that a light did not light, one after the other. To say it once more helps nobody who sees it
// fire, so in the third it is asked.
func (s State) unlitAgain(light, frame int, out []Output) (State, []Output) {
	n := 1
	if s.unlit != nil && s.unlit.group == s.Lights[light].Group {
		n += s.unlit.frames
	}
	s.unlit = &unlit{group: s.Lights[light].Group, frames: n}
	if n < askAfter || s.Question != nil {
		return s, out
	}
	s, q := s.askAbout(frame, []explanation{{light: light, to: s.Lights[light].Power, off: true}})
	return s, append(out, q)
}

// itFires goes on after somebody said that a light fires which seemed not to: the frames that were taken for dark say
// otherwise than was thought, and what it gives is learned anew.
func (s State) itFires(light int) State {
	s.unlit = &unlit{group: s.Lights[light].Group, frames: s.unlit.frames, fires: true}
	s.absent = nil
	s.watch.Stands = slices.DeleteFunc(slices.Clone(s.watch.Stands), func(x drift.Finding) bool { return x.Kind == drift.Absent && x.Group == s.unlit.group })
	s.Drift = s.drifting()
	s.model.Seen = slices.DeleteFunc(slices.Clone(s.model.Seen), func(o rig.Observation) bool { return o.Off[light] })
	if s.lastSet.Power != nil {
		s.lastSet.Off = slices.Clone(s.lastSet.Off)
		s.lastSet.Off[light] = false
	}
	return s
}

// preferred settles what the frame alone leaves open. Advice that was out long
// enough to be followed counts as followed, as much of it as can be seen, if the frame does not speak against it. What
// clipping hides is asked about instead. But whoever recorded how a light stands
// since the frame before has told how this one was lit: then the record holds unless the frame clearly says otherwise.
func (s State) preferred(all []hypothesis, best int, at time.Time, told []change, seen [regionCount]rig.Measured) int {
	whole := 0
	for _, past := range []bool{false, true} { // advice of before that asked for more is no better account of the frame
		for i := range all {
			if all[i].past != past || all[i].undone || s.hides(all[i], seen) {
				continue
			}
			if n, m := len(all[i].moves), len(all[whole].moves); n > m && !past || n == m && n > 0 && all[i].cost < all[whole].cost {
				whole = i
			}
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

// hides tells whether clipping hides one of the turns: it was to be turned down, and its region clips as before. Who was asked
// about it and did not say no in three frames has turned it.
func (s State) hides(h hypothesis, seen [regionCount]rig.Measured) bool {
	return slices.ContainsFunc(h.moves, func(m move) bool {
		l := s.Lights[m.light]
		k := ownRegion(l)
		return !m.late && m.to < l.Power && k != crownRegion && seen[k].AtLeast && l.Group != s.presumed
	})
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
func (s State) hypotheses(now rig.Setting, recent []change, offered []Adjustment) []hypothesis {
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
	// Advice that others took the place of before the frame was taken: one light of it at a time, with whatever else was done.
	for _, p := range offered {
		i, ok := s.light(p.Group)
		if !ok || p.To == s.Lights[i].Power || len(out) > mostHypotheses/2 || slices.ContainsFunc(recent, func(c change) bool { return c.group == p.Group }) {
			continue
		}
		for _, h := range out {
			if slices.ContainsFunc(h.moves, func(m move) bool { return m.light == i }) {
				continue
			}
			h.moves, h.past = append(slices.Clone(h.moves), move{light: i, to: p.To}), true
			h.set.Power = slices.Clone(h.set.Power)
			h.set.Power[i] = p.To.Stops() + s.base(s.Lights[i])
			out = append(out, h)
		}
	}
	return out
}

// mostHypotheses bounds what is tried for one frame.
const mostHypotheses = 64
