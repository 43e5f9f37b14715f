package advise

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"thirdstop/advise/drift"
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
