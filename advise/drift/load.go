package drift

import (
	"math"
	"slices"
	"time"

	"thirdstop/assess/exposure"
)

// Load is the flashes of one light over the time that its limit is counted in.
// It counts frames only: test flashes, and frames that never arrived, are not in it.
type Load struct {
	Pulses []Pulse `json:"pulses"` // oldest first, none older than the span
	Said   int     `json:"said"`   // 0 nothing, 1 near, 2 over
	// The highest load of late: a rest does not make it forgotten at once.
	Hard FlashesPerMinute `json:"hard"`
}

// Pulse is energy that a light gave in one slice of time.
type Pulse struct {
	At   time.Time `json:"at"`
	Full float64   `json:"full"` // in flashes at full power
}

// The limit is counted over a span that holds five full flashes, and over a minute at
// least, so that the first flash of a slow light is no alarm (derived here). Slices keep the
// state small however fast someone shoots.
const (
	spanFlashes = 5
	slices60    = 60
	nearShare   = 0.8 // of the limit: warn
	calmShare   = 0.6 // of the limit: under it, warn again next time
)

// Span is the time over which flashes are counted against a limit. It is 0
// where the limit is not known.
func (l FlashesPerMinute) Span() time.Duration {
	if !(l > 0) {
		return 0
	}
	return time.Duration(math.Max(1, spanFlashes/float64(l)) * float64(time.Minute))
}

// Per is the load at a time, in full flashes per minute over the span of the limit.
func (l Load) Per(limit FlashesPerMinute, at time.Time) FlashesPerMinute {
	span := limit.Span()
	if span == 0 {
		return 0
	}
	var sum float64
	for _, p := range l.Pulses {
		if at.Sub(p.At) < span {
			sum += p.Full
		}
	}
	return FlashesPerMinute(math.Round(sum/span.Minutes()*1000) / 1000)
}

// Left is how many flashes at a power fit under the limit at a time: until
// then the load is at most the limit. It reports false where the limit is not known.
func (l Load) Left(limit FlashesPerMinute, power exposure.Dial, at time.Time) (int, bool) {
	span := limit.Span()
	if span == 0 {
		return 0, false
	}
	room := (float64(limit) - float64(l.Per(limit, at))) * span.Minutes()
	return max(0, int(math.Floor(room/power.Fraction()+1e-6))), true
}

// with adds one flash. A flash that is dated before the newest one counts with that one.
func (l Load) with(limit FlashesPerMinute, power exposure.Dial, at time.Time) Load {
	span := limit.Span()
	keep := make([]Pulse, 0, len(l.Pulses)+1)
	for _, p := range l.Pulses {
		if at.Sub(p.At) < span {
			keep = append(keep, p)
		}
	}
	full := math.Round(power.Fraction()*1e6) / 1e6
	if n := len(keep); n > 0 && at.Sub(keep[n-1].At) < span/slices60 {
		keep[n-1].Full += full // dated by the first of the slice: forgotten a sixtieth of the span early at most
	} else {
		keep = append(keep, Pulse{At: at, Full: full})
	}
	l.Pulses = keep
	return l
}

// count books the frame's flashes, and warns before a limit is reached.
func (s State) count(f Frame) (State, []Finding) {
	if f.At.IsZero() {
		return s, nil
	}
	var out []Finding
	s.Loads = slices.Clone(s.Loads)
	for i, l := range s.Setup.Lights {
		if l.Limit.Span() == 0 || i >= len(f.Power) || i < len(f.Off) && f.Off[i] || i < len(f.Unfired) && f.Unfired[i] {
			continue
		}
		load := s.Loads[i].with(l.Limit, f.Power[i], f.At)
		per := load.Per(l.Limit, f.At)
		level := 0
		switch {
		case per > l.Limit:
			level = 2
		case per >= nearShare*l.Limit:
			level = 1
		case per >= calmShare*l.Limit:
			level = min(load.Said, 1)
		}
		if level > load.Said {
			s.NextID++
			x := Finding{ID: s.NextID, Revision: 1, Kind: LoadNear, Frame: f.Number, Since: f.Number, Group: l.Group, Load: per, Sure: true, May: OnlyTell}
			if level == 2 {
				x.Kind = LoadOver
			}
			left, _ := load.Left(l.Limit, f.Power[i], f.At)
			out = append(out, x.worded(s, wording{light: l, left: left}))
		}
		load.Said = level
		load.Hard = FlashesPerMinute(math.Round(math.Max(float64(per), 0.98*float64(load.Hard))*1000) / 1000)
		s.Loads[i] = load
	}
	return s, out
}
