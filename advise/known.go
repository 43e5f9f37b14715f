package advise

import (
	"math"
	"slices"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/tone"
)

const (
	// keepKnown is how many steps of known size are kept for learning a tone curve, the newest.
	keepKnown = 40
	// mainly is the part of a turned dial's step by which a region must follow: then it is mainly that
	// light's, and what the others give it counts for little.
	mainly = 0.75
	// plausible is how far from what was foretold a step may read before it is taken for something else: a real camera shows
	// a true stop as 0.75 to 1.6 through a curve that is not its own (tone's package comment).
	plausible exposure.Stops = 0.15
	// What a step of known size is off by, one standard deviation (common practice, no source; a flash's scatter is 0.03 to
	// 0.1 stop): a flash between two frames, a marked aperture, a marked ISO, and how a card is held.
	flashStep    exposure.Stops = 0.07
	apertureStep exposure.Stops = 0.1
	isoStep      exposure.Stops = 0.05
	cardHeld     exposure.Stops = 0.07
)

// knownStep keeps what the newest frame shows of the camera's tone curve: how far a region's code values moved
// under a change of light of known size. before is the state before that frame taught it. Only changes of one kind
// count: one dial turned, or aperture and ISO.
func (s State) knownStep(before State, f Frame) State {
	r := f.Reading
	if r.Kind != assess.Full || !r.AsWritten() || s.untaught || s.doubt != nil || s.Question != nil || len(s.absent) > 0 || len(before.absent) > 0 ||
		before.lastSet.Power == nil || s.lastSet.Power == nil || len(before.lastSet.Power) != len(s.lastSet.Power) || s.model.Spec.Lights != s.sources() {
		return s
	}
	last := s.before(f.Number)
	if last == nil || last.Reading.Kind != assess.Full || last.Reading.Tone.Curve != r.Tone.Curve || !sameBody(last.Reading, r) {
		return s
	}
	was, now := before.lastSet, s.lastSet
	turned, lit := -1, 0
	for i := range now.Power {
		if was.Off[i] != now.Off[i] {
			return s
		}
		if now.Off[i] {
			continue
		}
		lit++
		if now.Power[i].Round() != was.Power[i].Round() {
			if turned >= 0 {
				return s
			}
			turned = i
		}
	}
	gain := (now.Gain - was.Gain).Round()
	if was.Shutter != now.Shutter || turned >= 0 == (gain != 0) || lit == 0 {
		return s
	}
	old, seen := measuredRegions(s.Plan, last.Reading), measuredRegions(s.Plan, r)
	fit := s.model.Fit()
	change := fit.Change(was, now)
	for _, k := range []int{backdropRegion, whiteRegion} {
		if !old[k].OK || !seen[k].OK || old[k].AtLeast || seen[k].AtLeast {
			continue
		}
		by, sigma := gain, apertureStep
		if turned >= 0 {
			dial := now.Power[turned] - was.Power[turned]
			by = change[k].Value
			if part := float64(by / dial); !(part >= mainly && part <= 1.02) {
				continue
			}
			// What the other lights give is known through the curve that is to be learned: half of it counts as unknown.
			sigma = exposure.Stops(math.Hypot(math.Hypot(float64(flashStep), float64(change[k].Sigma)), 0.5*float64(dial-by)))
		} else if last.Reading.Exif.FNumber != nil && r.Exif.FNumber != nil && *last.Reading.Exif.FNumber == *r.Exif.FNumber {
			sigma = exposure.Stops(math.Hypot(float64(isoStep), float64(flashStep)))
		}
		read := seen[k].Value - old[k].Value
		if off := read - by; max(off, -off) > plausible+0.6*max(by, -by) {
			continue // somebody moved, or the dial is not where it is thought to be
		}
		a, b, name := codesOf(k, last.Reading), codesOf(k, r), "backdrop"
		if k == whiteRegion {
			sigma, name = exposure.Stops(math.Hypot(float64(sigma), float64(cardHeld))), "white reference"
		}
		if by < 0 {
			a, b, by = b, a, -by
		}
		if by < 0.2 || sigma > 0.3*by+0.1 {
			continue
		}
		s.Known = append(slices.Clone(s.Known), tone.Known{Light: b, Dark: a, Ratio: by.Round(), Sigma: sigma.Round(), Frame: f.Number, Of: name})
		if n := len(s.Known); n > keepKnown {
			s.Known = slices.Clone(s.Known[n-keepKnown:])
		}
		s.KnownCount++
	}
	return s
}

// before is the newest frame of the set before one, nil where there is none.
func (s State) before(number int) *FrameState {
	for i := len(s.Frames) - 1; i >= 0; i-- {
		if f := &s.Frames[i]; f.Number < number && f.Reading != nil && f.Walk != string(WalkChart) {
			if f.Aside != "" {
				return nil // who knows what was done meanwhile
			}
			return f
		}
	}
	return nil
}

func sameBody(a, b *assess.Reading) bool {
	same := func(x, y *string) bool { return x == y || x != nil && y != nil && *x == *y }
	return same(a.Exif.Make, b.Exif.Make) && same(a.Exif.Model, b.Exif.Model) && same(a.Exif.Serial, b.Exif.Serial) && a.Width == b.Width && a.Height == b.Height
}

// codesOf are a region's median code values, red, green and blue, to a hundredth.
func codesOf(region int, r *assess.Reading) [3]float64 {
	var c assess.Codes
	if b := r.Regions.Backdrop; region == backdropRegion && b != nil {
		c = b.Codes
	}
	if w := r.Regions.WhiteReference; region == whiteRegion && w != nil {
		c = w.Codes
	}
	return [3]float64{medianCode(c.R), medianCode(c.G), medianCode(c.B)}
}

// medianCode is the median of a histogram of whole code values, spread evenly over each; 0 where there are under ten samples.
func medianCode(counts []int32) float64 {
	total := 0.0
	for _, n := range counts {
		total += float64(max(n, 0))
	}
	if total < 10 {
		return 0
	}
	sum := 0.0
	for code, n := range counts {
		if v := float64(max(n, 0)); sum+v >= total/2 && v > 0 {
			return math.Round(100*(float64(code)-0.5+(total/2-sum)/v)) / 100
		} else {
			sum += v
		}
	}
	return 0
}
