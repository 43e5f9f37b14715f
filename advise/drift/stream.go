package drift

import (
	"math"

	"thirdstop/assess/exposure"
)

// Stream is what the detectors know of one region.
type Stream struct {
	Region    string     `json:"region"`
	Witnessed bool       `json:"witnessed"`
	Cusum     CusumState `json:"cusum"`
	Ewma      EwmaState  `json:"ewma"`
	// The newest residuals against Centre, oldest first, for [Window].
	Newest []exposure.Stops `json:"newest"`

	Centre exposure.Stops `json:"centre_stops"` // what the region is held against: 0, or where it stands since the last finding
	Doubt  exposure.Stops `json:"doubt_stops"`  // of Centre, one standard deviation
	Base   exposure.Stops `json:"base_stops"`   // of a region without witness: its level with this sitter; else 0

	Warm  []exposure.Stops `json:"warm"`  // of a region without witness: the sitter's first frames, until they make a centre
	Muted bool             `json:"muted"` // asked for a card check with this sitter already

	Variance float64        `json:"variance"` // of the flashes' scatter, in stops squared, as far as it is learned
	Weight   float64        `json:"weight"`   // frames behind Variance
	Last     exposure.Stops `json:"last_stops"`
	LastVar  float64        `json:"last_variance"` // of Last's measuring; 0: there is no Last
}

const (
	// A change of a light by this much is worth a finding.
	worth exposure.Stops = 0.2
	// A light makes 60 to 85 % of the light of the region it shows in best, so that its worth shows there as
	// about 0.14 stop (derived here). Half of that is the detectors' allowance: it may go unseen for ever.
	allowance exposure.Stops = 0.07
	// The least scatter that is believed of any flash (0.03 to 0.1 stop is usual; common practice, no source).
	leastScatter = 0.03
	// What is believed before frames tell, with the weight of so many frames.
	firstScatter, firstWeight = 0.065, 6
	// Frames over which the scatter is remembered.
	memory = 200
	// A frame this far off, in standard deviations, is odd: held back until the next one
	// says whether it was one frame or a shift. Once in 500,000 frames by chance.
	oddAt = 4.75
	// Frames of a new sitter that make the centre of a region without witness.
	warmFrames = 5
	// A stated doubt is guarded against to so many standard deviations.
	guard = 1.75
	// One wild pose says nothing: regions without witness vary by this much beyond what averages out (common practice, no source).
	poseSigma = 0.15
	// No pose changes a sitter's level by this much from one frame to the next (common practice, no source).
	poseMost = 1.0
)

// scatter is the flashes' scatter to count with, in stops: what was learned, and a margin
// for how little was (successive differences of n frames give a standard deviation to 0.87/sqrt n of
// itself; derived here), so that too small an estimate doesn't cause false alarms.
func (s *Stream) scatter(known exposure.Stops) float64 {
	if known > 0 {
		return float64(known)
	}
	return max(math.Sqrt(s.Variance)*(1+1/math.Sqrt(s.Weight)), leastScatter)
}

// sigma is one standard deviation of a frame's residual without drift.
func (s *Stream) sigma(known, measuring exposure.Stops) float64 {
	return math.Hypot(s.scatter(known), float64(measuring))
}

// learn takes the difference of successive frames as a sample of the scatter: drift
// hardly shows in it, and a step only once (mean square successive difference, von Neumann 1941).
func (s *Stream) learn(known exposure.Stops, r Residual) {
	own := float64(r.Sigma * r.Sigma)
	if s.LastVar > 0 && known == 0 {
		most := 3 * math.Sqrt2 * s.sigma(known, r.Sigma)
		d := max(-most, min(most, float64(r.Value-s.Last)))
		v := (s.Variance*s.Weight + d*d/2 - (own+s.LastVar)/2) / (s.Weight + 1)
		s.Variance = math.Round(max(v, leastScatter*leastScatter/4)*1e9) / 1e9
		s.Weight = min(s.Weight+1, memory)
	}
	s.Last, s.LastVar = r.Value, max(own, 1e-9)
}

// off is how far a residual lies from the centre in standard deviations, to a thousandth.
func (s *Stream) off(known exposure.Stops, r Residual) float64 {
	return math.Round(float64(r.Value-s.Centre)/s.sigma(known, r.Sigma)*1000) / 1000
}

// slack is what a wrong prediction or centre may pretend, in standard deviations.
func (s *Stream) slack(known exposure.Stops, r Residual) float64 {
	return math.Round(guard*math.Hypot(float64(s.Doubt), float64(r.Doubt))/s.sigma(known, r.Sigma)*1000) / 1000
}

// feed gives the detectors one residual and tells on which side they signal, if
// they do. While the prediction is wrong by no more than slack, they signal no more
// often than stated: it is added to the allowance and to the limits.
func (s *Stream) feed(known exposure.Stops, r Residual) int {
	z := max(-oddAt, min(oddAt, s.off(known, r)))
	slack := s.slack(known, r)
	half := float64(allowance) / s.sigma(known, r.Sigma)
	c := tunedFor(half)
	c.K += slack
	s.Cusum = c.Next(s.Cusum, z)
	s.Ewma = slowly.Next(s.Ewma, z)
	sigma := s.sigma(known, r.Sigma)
	s.Newest = appendKeep(s.Newest, exposure.Stops(z*sigma).Round(), shortly.Most)
	if side := c.Signal(s.Cusum); side != 0 {
		return side
	}
	if side := shortly.Signal(s.Newest, sigma, math.Hypot(float64(s.Doubt), float64(r.Doubt))); side != 0 {
		return side
	}
	// A change of less than the allowance is left alone, however sure it is.
	switch limit := max(slowly.Limit(s.Ewma.N), half) + slack; {
	case s.Ewma.Mean > limit:
		return 1
	case s.Ewma.Mean < -limit:
		return -1
	}
	return 0
}

// restart holds the region against another centre.
func (s *Stream) restart(centre, doubt exposure.Stops) {
	s.Cusum, s.Ewma, s.Newest = CusumState{}, EwmaState{}, nil
	s.Centre, s.Doubt = centre.Round(), doubt.Round()
}

// forget is for a new sitter: without a witness, nothing carries over.
func (s *Stream) forget() {
	s.restart(0, 0)
	s.Base, s.Warm, s.Muted, s.LastVar = 0, nil, false, 0
}

// warm collects a sitter's first frames, and tells whether the centre stands.
func (s *Stream) warm(known exposure.Stops, r Residual) bool {
	if s.Witnessed || len(s.Warm) == warmFrames {
		return true
	}
	s.Warm = append(s.Warm[:len(s.Warm):len(s.Warm)], r.Value)
	if len(s.Warm) == warmFrames {
		v := make([]float64, warmFrames)
		for i, x := range s.Warm {
			v[i] = float64(x)
		}
		s.Base = exposure.Stops(median(v)).Round()
		// A median's standard deviation is 1.25 times that of a mean.
		s.restart(s.Base, exposure.Stops(1.25*s.sigma(known, r.Sigma)/math.Sqrt(warmFrames)))
	}
	return false
}

// Scatter is the flashes' scatter to count with in a region, in stops, as far as it was learned.
func (s State) Scatter(region string) exposure.Stops {
	if s.Setup.Scatter > 0 {
		return s.Setup.Scatter
	}
	if i := s.stream(region); i >= 0 {
		return exposure.Stops(s.Streams[i].scatter(0))
	}
	return firstScatter
}
