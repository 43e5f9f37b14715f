package advise

import (
	"fmt"
	"math"
	"slices"
	"time"

	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

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
