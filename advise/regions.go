package advise

import (
	"slices"
	"strings"

	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// The regions of the rig model, by index.
const (
	backdropRegion = iota
	whiteRegion
	crownRegion
	sitterRegion // never judged: people and clothes differ; but it shows when a light was turned
	regionCount
)

// scatter is what flashes differ by from frame to frame, one standard
// deviation (0.03 to 0.1 stop; common practice, no source).
const scatter exposure.Stops = 0.05

// judged is one region of the rig under the targets of a plan.
type judged struct {
	name      RegionName
	words     string // for people
	target    rig.Target
	band      plan.Band
	upperOnly bool
}

// wanted writes the target for people: "0 to +1/2 stop", "at most -1/3 stop".
func (j judged) wanted() string {
	if j.upperOnly {
		_, high, _ := strings.Cut(j.band.String(), " to ")
		return "at most " + high
	}
	return j.band.String()
}

// judgedRegions says what each region is held against, in the order of the rig's regions.
func judgedRegions(p *plan.Plan, declared bool) [regionCount]judged {
	var out [regionCount]judged
	t := p.Targets
	backdrop := judged{name: BackdropLevel, words: "backdrop", band: t.BackdropLevel}
	if p.Backdrop.Colour == plan.White {
		backdrop = judged{name: BackdropFloor, words: "backdrop", band: t.WhiteFloor}
	}
	backdrop.upperOnly = p.Backdrop.Colour == plan.Black
	white := judged{name: WhitePeak, words: "white reference", band: t.WhitePeak}

	slack := func(roles ...plan.Role) exposure.Stops {
		click := exposure.Third
		for _, l := range p.Lights {
			for _, r := range roles {
				if l.Role == r {
					click = l.Scale.Click
				}
			}
		}
		return click.Stops()/2 + scatter
	}
	aim := func(b plan.Band) exposure.Stops { return b.Middle() }

	s := slack(plan.Background)
	backdrop.target = rig.Target{Judged: !backdrop.band.IsZero(), Low: backdrop.band.Low, High: backdrop.band.High,
		Aim: aim(backdrop.band), UpperOnly: backdrop.upperOnly, SlackLow: s, SlackHigh: s}
	if backdrop.upperOnly {
		backdrop.target.Aim = backdrop.band.High - s
	}
	s = slack(plan.Key)
	white.target = rig.Target{Judged: declared && !white.band.IsZero(), Low: white.band.Low, High: white.band.High,
		Aim: aim(white.band), SlackLow: s, Holds: true}
	// What must hold its detail has no slack towards clipping beyond the edge itself.
	white.target.SlackHigh = max(0, min(s, clipEdge-white.band.High))
	// So its aim is where a miss is as far to either side, a click's own included: a little under the middle of the band.
	white.target.Aim = max(white.band.Low, aim(white.band)+(white.target.SlackHigh-s)/2)
	out[backdropRegion], out[whiteRegion] = backdrop, white

	// A hair light has an upper limit only: hair and headwear differ too much for an aim.
	crown := judged{name: Crown, words: "hair", band: plan.Band{Low: t.HairMost, High: t.HairMost}, upperOnly: true}
	hasHair := slices.ContainsFunc(p.Lights, func(l plan.Light) bool { return l.Role == plan.Hair })
	s = slack(plan.Hair)
	crown.target = rig.Target{Judged: hasHair, Low: t.HairMost, High: t.HairMost, Aim: t.HairMost - s, UpperOnly: true,
		SlackHigh: max(0, min(s, clipEdge-t.HairMost))}
	out[crownRegion] = crown
	return out
}

// sitterSigma is how far a sitter's median level moves with pose and crop alone (common practice, no source).
const sitterSigma exposure.Stops = 0.2

// crownSigma is how far the brightest part of the hair moves as a head turns (common practice, no source).
const crownSigma exposure.Stops = 0.3

// clipEdge is code 254 as a level: a region that reads more is clipped, not
// bright (20 log of 254/255 in linear light, sRGB; derived here).
const clipEdge exposure.Stops = -0.013

// A white floor that reads partlyClipped or less is lit that much, give or take partlySigma, even where some of its
// samples clip: a cell lit to the edge or over reads nearer to it, unless noise is several per cent (derived here; seen in the virtual studio).
const (
	partlyClipped exposure.Stops = -0.03
	partlySigma   exposure.Stops = 0.08
)

// measuredRegions takes the judged quantities out of a reading.
func measuredRegions(p *plan.Plan, r *assess.Reading) [regionCount]rig.Measured {
	var out [regionCount]rig.Measured
	if b := r.Regions.Backdrop; b != nil {
		if p.Backdrop.Colour == plan.White {
			out[backdropRegion] = rig.Measured{OK: true, Value: b.WhiteFloor, Sigma: b.FloorSigma, AtLeast: b.FloorAtLeast}
			if b.FloorAtLeast && b.WhiteFloor <= partlyClipped {
				// Noise alone lifts single samples over the edge: the mean of the cell still tells.
				out[backdropRegion].AtLeast = false
				out[backdropRegion].Sigma = max(b.FloorSigma, partlySigma)
			}
		} else {
			out[backdropRegion] = rig.Measured{OK: true, Value: b.Value, Sigma: b.Sigma, AtLeast: b.AtLeast}
		}
	}
	// A reference that nobody declared never causes an adjustment.
	if w := r.Regions.WhiteReference; w != nil && w.Declared {
		out[whiteRegion] = rig.Measured{OK: true, Value: w.Peak, Sigma: w.Sigma, AtLeast: w.PeakAtLeast && w.Peak > partlyClipped || w.Peak >= clipEdge}
	}
	if p := r.Regions.Sitter; p != nil {
		if c := p.Crown; c != nil {
			out[crownRegion] = rig.Measured{OK: true, Value: c.Peak, Sigma: max(p.Sigma, crownSigma), AtLeast: c.AtLeast}
		}
		out[sitterRegion] = rig.Measured{OK: true, Value: p.Value, Sigma: max(p.Sigma, sitterSigma), AtLeast: p.AtLeast}
	}
	for i := range out {
		out[i].Value = out[i].Value.Round()
		out[i].Sigma = max(out[i].Sigma.Round(), 0.02) // nothing is measured better than that
	}
	return out
}
