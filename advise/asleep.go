package advise

import (
	"fmt"
	"slices"

	"thirdstop/advise/drift"
	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

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
