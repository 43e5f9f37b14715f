package drift

import (
	"math"
	"slices"
)

// Verdict says what a frame of the room alone told of a standing drift.
type Verdict string

// The verdicts.
const (
	Unasked Verdict = ""         // there was no such frame, or it told nothing
	ItWas   Verdict = "room"     // the room's light has changed, by about what would explain the drift
	ItIsNot Verdict = "not_room" // it has not
)

// left are the causes that a verdict leaves, in their order.
func (v Verdict) left(all []Cause) []Cause {
	if v == Unasked {
		return all
	}
	return slices.DeleteFunc(slices.Clone(all), func(c Cause) bool { return (c.What == Room) != (v == ItWas) })
}

// roomTells is how much better one answer must explain the frame, as chi-square: a likelihood ratio of e^2.
const roomTells = 4.0

// roomAlone takes a frame in for which every light was off. It says nothing of the lights, and the detectors do without
// it; but where the room's light is one of the causes that can't be told apart, it tells: an aperture that slipped changes a frame of the
// room by as little as any other, a window by many times.
func (s State) roomAlone(f Frame) (State, []Finding) {
	if s.Open == nil || len(s.Open.Said.Candidates) < 2 {
		return s, nil
	}
	open := *s.Open
	x := open.Said
	i := slices.IndexFunc(x.Candidates, func(c Cause) bool { return c.What == Room })
	if i < 0 {
		return s, nil
	}
	var was, not float64
	for _, r := range f.Residuals {
		if r.AtLeast || !(math.Abs(float64(r.Value)) <= 20) {
			continue
		}
		own := math.Pow(float64(r.Sigma), 2) + math.Pow(float64(r.Doubt), 2)
		size := x.Candidates[i]
		// What is added falls otherwise, so that a region may gain twice or half as much.
		was += math.Pow(float64(r.Value-size.Size), 2) / (own + math.Pow(float64(size.Sigma), 2) + 1)
		not += math.Pow(float64(r.Value), 2) / (own + 0.1)
	}
	if math.Abs(was-not) < roomTells {
		return s, nil
	}
	open.Room = ItWas
	if not < was {
		open.Room = ItIsNot
	}
	x.Candidates = open.Room.left(x.Candidates)
	best := x.Candidates[0]
	x.Size, x.Sigma, x.Group = best.Size, best.Sigma, best.Group
	switch {
	case best.What == Room:
		x.Kind = Ambient
	case best.What == Everything:
		x.Kind = AllLights
	case x.Kind == Ambient || x.Kind == AllLights:
		if x.Kind = Step; x.PerFrame != 0 {
			x.Kind = Slope
		}
	}
	x.Frame, x.Revision, x.Retake = f.Number, x.Revision+1, false
	x.Sure = open.Decided && len(x.Candidates) == 1
	x.May = x.may()
	x = x.worded(s, wording{kept: open.Kept, rest: s.RestFor})
	s.relabel(open.Said, x)
	open.Said = x
	s.Open = &open
	return s, []Finding{x}
}
