package rig

import (
	"math"
	"slices"

	"thirdstop/assess/exposure"
)

// Ambient stands for the light of the room where a light's index is asked for.
const Ambient = -1

// Param names one coefficient: what a light (or [Ambient]) adds to a region.
type Param struct {
	Light  int
	Region int
}

// Prior is what is known of a coefficient before any frame: its log2 is Mean,
// give or take Sigma; or, where Than is set, so far above the other's.
type Prior struct {
	Of    Param
	Than  *Param
	Mean  exposure.Stops
	Sigma exposure.Stops // one standard deviation, over 0
}

// Spec is the shape of a rig: how many lights and regions, and what is known beforehand.
type Spec struct {
	Lights  int // sources of light that are told apart: flashes first, then what only sends their light on
	Regions int
	Passive []int   // per source behind the flashes: the flash whose light it sends on; its power is that one's and its own together
	Joint   *Joint  // what is known of all together, in place of priors; nil: nothing
	Priors  []Prior // without Joint every coefficient must be reachable from some prior, or the fit is not determined
}

// of is the flash whose light a source sends on, -1 for a flash itself.
func (s Spec) of(light int) int {
	if i := light - (s.Lights - len(s.Passive)); i >= 0 {
		return s.Passive[i]
	}
	return -1
}

func (s Spec) params() int { return (s.Lights + 1) * s.Regions }

func (s Spec) index(p Param) int {
	l := p.Light
	if l == Ambient {
		l = s.Lights
	}
	return l*s.Regions + p.Region
}

// Setting is how the camera and the lights stand for one frame.
type Setting struct {
	Gain    exposure.Stops // from [exposure.Gain]
	Shutter exposure.Shutter
	Power   []exposure.Stops // per light: dial, and distance against where it stood first; of a passive one the distance alone
	Off     []bool           // per light; a passive one is off with its flash as well, whatever stands here
}

// Equal tells whether two settings are the same to the thousandth of a stop.
func (s Setting) Equal(o Setting) bool {
	if s.Gain.Round() != o.Gain.Round() || s.Shutter != o.Shutter || !slices.Equal(s.Off, o.Off) || len(s.Power) != len(o.Power) {
		return false
	}
	for i := range s.Power {
		if !s.Off[i] && s.Power[i].Round() != o.Power[i].Round() {
			return false
		}
	}
	return true
}

// Measured is one region of a frame, relative to the edge of clipping. The zero
// value is a region that was not measured.
type Measured struct {
	OK      bool
	Value   exposure.Stops
	Sigma   exposure.Stops
	AtLeast bool // clipped: the light is Value or more
}

// Observation is what frames under one setting showed.
type Observation struct {
	Setting
	Levels []Measured // per region
	Count  int        // frames behind it
}

// Model is a rig with what its frames have shown so far. It is a value: With
// leaves the one it is called on as it was.
type Model struct {
	Spec Spec
	Seen []Observation // oldest first, at most keepSettings
}

const (
	keepSettings = 24                   // settings remembered; older ones are forgotten
	keepFrames   = 5                    // frames of one setting that count; newer ones replace older ones gradually
	scatterSigma = exposure.Stops(0.05) // flash to flash, one standard deviation (0.03 to 0.1 is usual; common practice, no source)
	nearEdge     = 3 * scatterSigma     // of clipping: scatter can take a region over it and back
	ageing       = exposure.Stops(0.03) // doubt that each later setting adds to an older one
)

// With is the model after one more frame. Frames under the same setting as the newest are
// merged: a mean over the last few, so that scatter averages out and a slow
// change still shows.
func (m Model) With(o Observation) Model {
	next := Model{Spec: m.Spec, Seen: slices.Clone(m.Seen)}
	o.Count = 1
	if n := len(next.Seen); n > 0 && next.Seen[n-1].Setting.Equal(o.Setting) {
		next.Seen[n-1] = merge(next.Seen[n-1], o)
		return next
	}
	next.Seen = append(next.Seen, o)
	if n := len(next.Seen); n > keepSettings {
		next.Seen = slices.Clone(next.Seen[n-keepSettings:])
	}
	return next
}

func merge(a, b Observation) Observation {
	count := min(a.Count+1, keepFrames)
	levels := slices.Clone(a.Levels)
	for r := range levels {
		switch old, now := levels[r], b.Levels[r]; {
		case !now.OK:
		case old.OK && old.AtLeast != now.AtLeast && math.Max(math.Abs(float64(old.Value)), math.Abs(float64(now.Value))) < float64(nearEdge):
			// Scatter alone takes it over the edge and back: it lies there, and a clipped frame counts as just over.
			a, b := old.Value, now.Value
			if old.AtLeast {
				a += scatterSigma / 2
			} else {
				b += scatterSigma / 2
			}
			levels[r] = Measured{OK: true, Value: a + (b-a)/exposure.Stops(count), Sigma: max(old.Sigma, now.Sigma, scatterSigma)}
		case !old.OK || old.AtLeast != now.AtLeast:
			levels[r] = now // clipping came or went: the two can't be averaged
		case now.AtLeast:
			levels[r].Value = max(old.Value, now.Value)
			levels[r].Sigma = now.Sigma
		default:
			levels[r].Value = old.Value + (now.Value-old.Value)/exposure.Stops(count)
			levels[r].Sigma = now.Sigma
		}
	}
	a.Levels, a.Count = levels, count
	return a
}
