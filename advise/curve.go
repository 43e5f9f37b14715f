package advise

import (
	"fmt"
	"math"
	"slices"

	"thirdstop/advise/rig"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/tone"
)

// Curve says that from here on a camera's levels come through another tone curve, or why none was learned. What was
// recorded before stays as it is; what is still used of it is expressed anew.
type Curve struct {
	How    CurveHow       `json:"how"`
	Camera string         `json:"camera"`           // for people
	Was    *tone.Curve    `json:"was,omitempty"`    // that levels came through before; nil: nothing was learned
	Now    *tone.Curve    `json:"now,omitempty"`    // nil: nothing was learned
	Frames int            `json:"frames,omitempty"` // that it was learned from
	Median exposure.Stops `json:"off_median_stops,omitempty"`
	Most   exposure.Stops `json:"off_95_percent_stops,omitempty"` // errors of a step, read with curves that never saw its frame
	Edge   exposure.Stops `json:"edge_sigma_stops,omitempty"`     // how well the place of the edge of clipping is known
	Why    string         `json:"why,omitempty"`                  // nothing was learned: a sentence
}

// CurveHow is how a curve came to be.
type CurveHow string

// The ways.
const (
	CurveByBracket CurveHow = "bracket"   // by the guide
	CurveByItself  CurveHow = "itself"    // from changes of light of known size during the shoot
	CurveElsewhere CurveHow = "elsewhere" // by command, or in another shoot, while this one rested
)

func (s State) curved(c Curve) (State, []Output) {
	guided := c.How == CurveByBracket && s.Bracketing()
	if c.Now == nil || c.Was == nil {
		if c.How == CurveByItself {
			s.Unfixed = true
			return s, []Output{event("curve", Event{Text: "No tone curve is learned from this shoot's adjustments: " + c.Why})}
		}
		if !guided {
			return s, nil
		}
		b := *s.Bracket
		b.Ready, b.Fault, b.Enough = false, true, false
		b.Says = "Nothing was learned: " + c.Why
		b.Next, b.NextAs, b.Left, b.Do = 0, "", 0, []string{"Put right what is said, and begin the bracket again; or leave it, and go on with the curve there was."}
		s.Bracket = &b
		return s, []Output{event("curve", Event{Text: "Tone curve: " + lowerFirst(b.Says)})}
	}
	was, now := c.Was.SigmaOneStopUnder().Round(), c.Now.SigmaOneStopUnder().Round()
	text := fmt.Sprintf("Levels of %s come through the tone curve %s from the next frame on. One stop under clipping they were known to ±%.2f stop, now to ±%.2f.",
		c.Camera, c.Now.Name(), float64(was), float64(now))
	if c.How == CurveByItself {
		text += fmt.Sprintf(" It was learned from %s of known size; a bracket would tell it better.", count(c.Frames, "change"))
	}
	if c.Most > 0 {
		text += fmt.Sprintf(" Steps of the bracket, read with curves that never saw them, are off by %.2f stop in the middle, 95 %% by under %.2f.", float64(c.Median), float64(c.Most))
	}
	if c.Edge > tone.EdgeKnown {
		text += " Too few places lay at the edge of clipping, so all levels together may be off: take it again with the lamp a little nearer or further."
	}
	if guided {
		b := *s.Bracket
		b.Ready, b.Done, b.Fault, b.Next, b.NextAs, b.Left, b.Do = false, true, false, 0, "", 0, []string{}
		b.Curve, b.Was, b.Now = c.Now.Name(), was, now
		b.Says = text
		s.Bracket = &b
		text += " Set camera and flashes as they were before the next frame."
	}
	s = s.reexpressed(c.Was, c.Now)
	return s, []Output{event("curve", Event{Text: text})}
}

// reexpressed takes what is still used of earlier frames over to another curve.
func (s State) reexpressed(was, now *tone.Curve) State {
	if was.Name() == now.Name() {
		return s
	}
	any := false
	s.Frames = slices.Clone(s.Frames)
	for i := range s.Frames {
		if r := s.Frames[i].Reading; r != nil && r.Tone.Curve == was.Name() {
			x := assess.Reexpressed(*r, was, now)
			s.Frames[i].Reading, any = &x, true
		}
	}
	if !any {
		return s
	}
	s.model, s.taught = reexpressedModel(s.model, was, now), reexpressedModel(s.taught, was, now)
	s.firm = nil
	if m := s.Match; m != nil {
		c := *m
		c.Regions = slices.Clone(m.Regions)
		for i := range c.Regions {
			c.Regions[i].Was = assess.Relevelled(c.Regions[i].Was, was, now)
		}
		c.Text = s.matchText(c)
		s.Match = &c
	}
	s.watch = s.watch.reexpressed(was, now)
	return s
}

// reexpressed moves the levels that frames are held against, so that a curve that changes is no drift.
func (w watching) reexpressed(was, now *tone.Curve) watching {
	v := func(l exposure.Stops) exposure.Stops { return assess.Relevelled(l, was, now) }
	colours := func(c assess.Channels) assess.Channels {
		return assess.Channels{Red: v(c.Red), Green: v(c.Green), Blue: v(c.Blue)} // 0, not seen yet, stays 0
	}
	w.Model, w.First = reexpressedModel(w.Model, was, now), v(w.First)
	for i := range w.Areas {
		w.Areas[i].Level = v(w.Areas[i].Level)
	}
	for i := range w.Neutral {
		w.Neutral[i], w.Chart[i] = colours(w.Neutral[i]), colours(w.Chart[i])
	}
	w.Places = slices.Clone(w.Places)
	for i := range w.Places {
		p := &w.Places[i]
		p.Strip.Level = v(p.Strip.Level)
		for k := range p.Anchors {
			p.Anchors[k].Level = v(p.Anchors[k].Level)
		}
	}
	w.Past = slices.Clone(w.Past)
	for i := range w.Past {
		p := &w.Past[i]
		p.Strip.Value = v(p.Strip.Value)
		for k := range p.Levels {
			p.Levels[k].Value = v(p.Levels[k].Value)
		}
		for k := range p.Areas {
			p.Areas[k].Level = v(p.Areas[k].Level)
		}
		for k := range p.Neutral {
			p.Neutral[k] = colours(p.Neutral[k])
		}
	}
	return w
}

// reexpressedModel moves the levels that a light model was taught. What was believed beforehand of the lights
// stays: it does not come from pictures.
func reexpressedModel(m rig.Model, was, now *tone.Curve) rig.Model {
	m.Seen = slices.Clone(m.Seen)
	for i := range m.Seen {
		m.Seen[i].Levels = slices.Clone(m.Seen[i].Levels)
		for k, l := range m.Seen[i].Levels {
			if !l.OK {
				continue
			}
			code := was.Code(1, math.Exp2(float64(l.Value)))
			a, b := was.Sigma(1, code), now.Sigma(1, code)
			m.Seen[i].Levels[k].Value = assess.Relevelled(l.Value, was, now)
			m.Seen[i].Levels[k].Sigma = exposure.Stops(math.Sqrt(max(float64(l.Sigma*l.Sigma-a*a), 1e-4) + float64(b*b))).Round()
		}
	}
	return m
}
