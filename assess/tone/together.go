package tone

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"time"

	"thirdstop/assess/exposure"
)

// Bracket is what the frames of a bracket say of a curve: medians of their places, without the pictures. It is kept with
// the curve, so that a later bracket of the same camera is learned from together with it. The zero value says nothing.
type Bracket struct {
	Taken time.Time
	steps []Step // without their pairs
	lines []seen
}

// Frames is how many frames it holds.
func (b Bracket) Frames() int {
	frames := make(map[int]bool)
	for i := range b.steps {
		frames[b.steps[i].LightFrame], frames[b.steps[i].DarkFrame] = true, true
	}
	return len(frames)
}

// Gathered is what steps say of a curve. Errors are those of [Fit] of frames that can't be learned from, whatever they show.
func Gathered(steps []Step) (Bracket, error) { return gathered(steps, Default()) }

func gathered(steps []Step, begin *Curve) (Bracket, error) {
	if err := checkSteps(steps); err != nil {
		return Bracket{}, err
	}
	if err := moves(steps, begin); err != nil {
		return Bracket{}, err
	}
	var b Bracket
	for i := range steps {
		b.lines = append(b.lines, gather(i, &steps[i], begin)...)
		s := steps[i]
		s.Pairs = nil
		b.steps = append(b.steps, s)
	}
	return b, nil
}

func (b Bracket) fit(begin *Curve) (*Fitted, error) {
	f, err := fit(b.steps, b.lines, begin)
	if err != nil {
		return nil, err
	}
	return f, f.fixed(b.steps)
}

// apart keeps the numbers of frames of different brackets apart.
const apart = 1 << 20

// with is a bracket and what earlier ones of the same camera said. Its own frames keep their numbers.
func (b Bracket) with(earlier []Bracket) Bracket {
	out := Bracket{steps: append([]Step(nil), b.steps...), lines: append([]seen(nil), b.lines...)}
	for i, e := range earlier {
		first := len(out.steps)
		for _, s := range e.steps {
			s.LightFrame, s.DarkFrame = s.LightFrame+(i+1)*apart, s.DarkFrame+(i+1)*apart
			out.steps = append(out.steps, s)
		}
		for _, l := range e.lines {
			l.step += first
			out.lines = append(out.lines, l)
		}
	}
	return out
}

// FitTogether learns one curve from a bracket and earlier ones of the same camera, each with errors of exposure of its own, as [Fit] does
// from one, beginning with [Default]. Where the lamp was moved between them they show other tones near the edge of clipping, and so where
// it lies. An earlier one that the newest contradicts, as after another picture style was set, is left out, and so is the newest itself, stored when it was learned
// from before: used says which of them weren't.
func FitTogether(newest Bracket, earlier ...Bracket) (f *Fitted, used []Bracket, err error) {
	f, err = newest.fit(Default())
	if err != nil {
		return nil, nil, err
	}
	for _, e := range earlier {
		if f.agrees(e) && !newest.is(e) {
			used = append(used, e)
		}
	}
	if len(used) == 0 {
		return f, nil, nil
	}
	both, err := newest.with(used).fit(Default())
	if err != nil {
		return f, nil, nil // what they say together is no curve; the newest alone is one
	}
	return both, used, nil
}

// is says whether two brackets are one: frames that are learned from twice must not count twice.
func (b Bracket) is(other Bracket) bool {
	const stored = 0.02 // codes are stored to a hundredth
	return slices.EqualFunc(b.lines, other.lines, func(x, y seen) bool {
		return x.step == y.step && x.ch == y.ch && math.Abs(x.light-y.light) < stored && math.Abs(x.dark-y.dark) < stored
	})
}

// Two brackets are of one curve where one's reads the other's steps nearly as well as its own.
const (
	agreeLimit = 0.025 // of a step, what the curve is off by in the median: of one studio camera 98 % of brackets stay under 0.021
	agreeLeast = 20    // medians of places, to be judged by
)

// agrees says whether a bracket shows the same curve, as far as both were seen.
func (f *Fitted) agrees(b Bracket) bool {
	m, n := f.misread(b)
	return n >= agreeLeast && m <= agreeLimit
}

// misread is by which part of a step of exposure a curve is off in the median of n lines.
func (f *Fitted) misread(b Bracket) (m float64, n int) {
	var v []float64
	for _, l := range b.lines {
		if l.atLeast || l.dark < max(judgeFrom, f.From) || l.light > min(judgeTo, f.To) {
			continue
		}
		ratio := float64(b.steps[l.step].Ratio)
		v = append(v, math.Abs(f.Curve.level(l.ch, l.light)-f.Curve.level(l.ch, l.dark)-ratio)/ratio)
	}
	m, _ = middle(v)
	return m, len(v)
}

// bracketWire is a bracket's JSON form.
type bracketWire struct {
	Taken time.Time  `json:"taken_at"`
	Steps []stepWire `json:"steps"`
}

type stepWire struct {
	Light int            `json:"light_frame"`
	Dark  int            `json:"dark_frame"`
	Ratio exposure.Stops `json:"ratio_stops"`
	Sigma exposure.Stops `json:"sigma_stops"`
	Lines []string       `json:"seen"` // channel, code in the lighter and the darker frame, sigma in stops, places, whether the lighter clips
}

// MarshalJSON writes what [Bracket.UnmarshalJSON] reads: codes to a hundredth, sigmas to a ten-thousandth of a stop.
func (b Bracket) MarshalJSON() ([]byte, error) {
	w := bracketWire{Taken: b.Taken, Steps: []stepWire{}}
	for _, s := range b.steps {
		w.Steps = append(w.Steps, stepWire{Light: s.LightFrame, Dark: s.DarkFrame, Ratio: s.Ratio, Sigma: s.Sigma, Lines: []string{}})
	}
	for _, l := range b.lines {
		s := &w.Steps[l.step]
		s.Lines = append(s.Lines, fmt.Sprintf("%d %.2f %.2f %.4f %d %t", l.ch, l.light, l.dark, l.sigma, l.pairs, l.atLeast))
	}
	return json.Marshal(w)
}

// UnmarshalJSON refuses, by [ErrEntry], what no bracket can hold.
func (b *Bracket) UnmarshalJSON(data []byte) error {
	var w bracketWire
	if err := json.Unmarshal(data, &w); err != nil {
		return fmt.Errorf("%w: %w", ErrEntry, err)
	}
	out := Bracket{Taken: w.Taken}
	for n, s := range w.Steps {
		out.steps = append(out.steps, Step{LightFrame: s.Light, DarkFrame: s.Dark, Ratio: s.Ratio, Sigma: s.Sigma})
		for _, text := range s.Lines {
			l := seen{step: n}
			if _, err := fmt.Sscanf(text, "%d %g %g %g %d %t", &l.ch, &l.light, &l.dark, &l.sigma, &l.pairs, &l.atLeast); err != nil {
				return fmt.Errorf("%w: %q is no place of a bracket: %w", ErrEntry, text, err)
			}
			inRange := l.ch >= 0 && l.ch <= 2 && l.dark >= 0 && l.dark <= White && l.light >= 0 && l.light <= White && l.sigma > 0 && l.sigma <= maxSigma
			if !inRange || !(s.Light >= 0 && s.Light < apart && s.Dark >= 0 && s.Dark < apart) {
				return fmt.Errorf("%w: %q, between frames %d and %d, is no place of a bracket", ErrEntry, text, s.Light, s.Dark)
			}
			out.lines = append(out.lines, l)
		}
	}
	if len(out.steps) > 0 {
		if err := checkSteps(out.steps); err != nil {
			return fmt.Errorf("%w: %w", ErrEntry, err)
		}
	}
	*b = out
	return nil
}
