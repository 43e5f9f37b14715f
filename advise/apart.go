package advise

import (
	"fmt"
	"math"

	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

// Forecast is a region of the next frame before it is taken, with lights and camera as they will
// stand once what is advised was turned.
type Forecast struct {
	Level exposure.Stops `json:"level_stops"`
	Low   exposure.Stops `json:"low_stops"`  // the measured level lies between Low and High 19 times in 20
	High  exposure.Stops `json:"high_stops"` // from what is not known of the lights, their scatter, and measuring
}

// forecast foretells the next frame; nil where there is nothing to foretell it from.
func (s State) forecast(fit rig.Fit) []Forecast {
	set := s.setting(s.gain(), s.Shutter)
	for _, a := range s.pending {
		if i, ok := s.light(a.Group); ok {
			set.Power[i] = a.To.Stops() + s.base(s.Lights[i])
		}
	}
	out := make([]Forecast, regionCount)
	for r, p := range fit.Predict(set) {
		// Two frames of one setting differ by each flash's scatter and by what measuring them adds.
		v := float64(p.Sigma*p.Sigma) + math.Pow(float64(scatter), 2) + math.Pow(float64(measuring[r]), 2)
		half := exposure.Stops(1.96 * math.Sqrt(v))
		out[r] = Forecast{Level: p.Value.Round(), Low: (p.Value - half).Round(), High: (p.Value + half).Round()}
	}
	return out
}

// TestFrame proposes the one frame that would tell lights apart where the regions so far can't. It is
// a proposal: advice goes on without it.
type TestFrame struct {
	Region string   `json:"region"` // which region's light is in doubt
	Lights []string `json:"lights"` // groups of the lights that can't be told apart in it
	Off    string   `json:"off"`    // group of the light to switch off for one frame
	Text   string   `json:"text"`
}

const (
	// apartFrom is how unsure a light's share of a region must be to count as not told apart: with a fifth
	// of a region's light in doubt, a stop on the wrong light is a miss of a third of a stop (derived here).
	apartFrom = 0.2
	// worthIt is the part of that doubt which one frame must take away to be proposed.
	worthIt = 0.5
)

// Apart looks for a region that shows no difference between its lights, and for the one frame that
// would. It is nil where every share is known well enough. It takes a fit per light, so it is
// asked for by those who look.
func (s State) Apart() *TestFrame {
	if s.Plan == nil || s.Walking() || len(s.taught.Seen) == 0 || s.taught.Spec.Lights != s.sources() {
		return nil
	}
	set := s.setting(s.gain(), s.Shutter)
	fit := s.taught.Fit()
	shown := make([]bool, regionCount)
	for r := range shown {
		shown[r] = everSeen(s.taught, r)
	}
	worst, doubt := -1, apartFrom
	for r, j := range judgedRegions(s.Plan, s.Reference != nil) {
		if !j.target.Judged || !shown[r] {
			continue
		}
		for l, v := range fit.ShareSigmas(set, r)[:len(s.Lights)] {
			if !s.Lights[l].Off && v > doubt {
				worst, doubt = r, v
			}
		}
	}
	if worst < 0 {
		return nil
	}
	out := TestFrame{Region: regionWords[worst].region}
	names := []string{}
	for l, v := range fit.ShareSigmas(set, worst)[:len(s.Lights)] {
		if !s.Lights[l].Off && v > apartFrom/2 {
			out.Lights = append(out.Lights, s.Lights[l].Group)
			names = append(names, s.Lights[l].Name)
		}
	}
	best := doubt * (1 - worthIt)
	off := -1
	for i, l := range s.Lights {
		if l.Off {
			continue
		}
		with := set
		with.Off = append([]bool(nil), set.Off...)
		with.Off[i] = true
		after := s.taught.After(with, scatter, shown).ShareSigmas(set, worst)
		left := 0.0
		for k, v := range after[:len(s.Lights)] {
			if !s.Lights[k].Off {
				left = math.Max(left, v)
			}
		}
		if left < best-1e-6 {
			best, off = left, i
		}
	}
	if off < 0 {
		return nil
	}
	out.Off = s.Lights[off].Group
	which := "how much " + names[0] + " adds"
	if len(names) > 1 {
		which = "which of " + joinAnd(names) + " makes it"
	}
	out.Text = fmt.Sprintf("Of the %s's light it is not known %s. One frame with %s switched off would tell: record it as off, take the frame, and switch it on again.",
		regionWords[worst].name, which, s.Lights[off].Name)
	return &out
}
