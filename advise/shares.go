package advise

import (
	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

// RegionLight is what makes a region's light as camera and lights stand now, and
// what was foretold of the newest frame before it was seen.
type RegionLight struct {
	Region     string         `json:"region"` // "backdrop", "white", "hair", "sitter"
	Name       string         `json:"name"`   // for people
	Level      exposure.Stops `json:"level_stops"`
	Sigma      exposure.Stops `json:"sigma_stops"`
	Lights     []LightShare   `json:"lights"`               // in the order of the plan
	Reflectors []LightShare   `json:"reflectors,omitempty"` // likewise; what comes by a reflector is in no light's share
	Ambient    float64        `json:"ambient"`              // share of the room's own light, 0 to 1
	Assumed    bool           `json:"assumed"`              // no frame has shown this region yet: a belief about such lights, no measurement
	Before     *Foretold      `json:"before"`               // nil where nothing was foretold, or the newest frame does not show the region
	Next       Forecast       `json:"next"`                 // the next frame, once what is advised was turned
}

// LightShare is the part of a region's light, 0 to 1, that one light gives. A region's
// shares, with those of reflectors and of the ambient light, add up to 1.
type LightShare struct {
	Group string  `json:"group"`
	Share float64 `json:"share"`
}

// Foretold is a region of the newest frame as the light model expected it from
// the frames before, and as it was measured.
type Foretold struct {
	Frame    int            `json:"frame"`
	Level    exposure.Stops `json:"level_stops"`
	Sigma    exposure.Stops `json:"sigma_stops"`
	Measured exposure.Stops `json:"measured_stops"`
	AtLeast  bool           `json:"at_least"` // Measured is clipped: that much or more
}

// regionWords names the regions of the light model, by index.
var regionWords = [regionCount]struct{ region, name string }{
	backdropRegion: {"backdrop", "backdrop"},
	whiteRegion:    {"white", "white reference"},
	crownRegion:    {"hair", "hair"},
	sitterRegion:   {"sitter", "sitter"},
}

// RegionLights says what each light adds to each region, after everything seen so
// far. It is empty before the first frame under a plan. It costs two fits, so it
// is asked for by those who look, and no part of the state.
func (s State) RegionLights() []RegionLight {
	if s.Plan == nil || s.taught.Spec.Lights != s.sources() || s.taught.Spec.Lights == 0 {
		return nil
	}
	set := s.setting(s.gain(), s.Shutter)
	fit := s.taught.Fit()
	now := fit.Predict(set)
	before, measured, frame := s.foretold()
	next := s.forecast(fit)
	var out []RegionLight
	for r := range regionCount {
		if r == whiteRegion && s.Reference == nil || r == crownRegion && !s.hasHair() {
			continue
		}
		x := RegionLight{Region: regionWords[r].region, Name: regionWords[r].name, Level: now[r].Value.Round(), Sigma: now[r].Sigma.Round(), Assumed: true, Next: next[r]}
		for _, o := range s.taught.Seen {
			if o.Levels[r].OK {
				x.Assumed = false
			}
		}
		for i, share := range fit.Shares(set, r) {
			switch k := i - len(s.Lights); {
			case i == s.sources():
				x.Ambient = round3(share)
			case k >= 0:
				x.Reflectors = append(x.Reflectors, LightShare{s.Reflectors[k].Group, round3(share)})
			default:
				x.Lights = append(x.Lights, LightShare{s.Lights[i].Group, round3(share)})
			}
		}
		if before != nil && measured[r].OK {
			x.Before = &Foretold{Frame: frame, Level: before[r].Value.Round(), Sigma: before[r].Sigma.Round(),
				Measured: measured[r].Value, AtLeast: measured[r].AtLeast}
		}
		out = append(out, x)
	}
	return out
}

// foretold is the newest frame as the model expected it before it was seen, nil where
// there was nothing to expect it from.
func (s State) foretold() (before []rig.Level, measured [regionCount]rig.Measured, frame int) {
	f := s.newest()
	if f == nil || f.Reading == nil || len(s.model.Seen) == 0 || s.model.Spec.Lights != s.sources() || len(s.lastSet.Power) != s.sources() {
		return nil, measured, 0
	}
	return s.model.Fit().Predict(s.lastSet), measuredRegions(s.Plan, f.Reading), f.Number
}

func (s State) hasHair() bool {
	for _, l := range s.Lights {
		if ownRegion(l) == crownRegion {
			return true
		}
	}
	return false
}

func round3(v float64) float64 { return float64(exposure.Stops(v).Round()) }
