package trial

import (
	"fmt"
	"time"

	"thirdstop/advise"
	"thirdstop/assess"
	"thirdstop/assess/studio"
)

// Walked is what became of a set-up walk.
type Walked struct {
	State  advise.State
	Frames int       // number of the newest frame
	At     time.Time // when it was taken
	Done   bool      // every step was answered, or skipped because it could not be
	First  bool      // the first frame of all lights together left nothing to turn
	All    int       // its number
	Steps  []string  // what each frame was said to be, for looking into a walk that goes wrong
}

// Walk plays the guided set-up of a shoot in a virtual studio: it begins it, stands every light as the
// step asks, and takes frames until the walk is done or so many were taken. frames and at are the newest
// frame's before. measure takes a frame of the studio as it stands. A step that finds no
// answer in four frames (hair that can't be seen, a target out of reach) is skipped, as a person would.
func Walk(st *studio.Studio, s advise.State, frames int, at time.Time, most int, measure func() assess.Reading) (Walked, error) {
	s, _ = advise.Apply(s, advise.Input{At: at, Walk: &advise.WalkInput{Do: advise.WalkBegin}})
	w := Walked{State: s, Frames: frames, At: at}
	if !s.Walking() {
		return w, fmt.Errorf("the set-up walk does not begin: there is no plan")
	}
	for w.State.Walking() && w.Frames < frames+most {
		step := w.State.Walk.Steps[w.State.Walk.At]
		if step.Tries >= 4 || step.Verdict == advise.Stuck {
			w.State, _ = advise.Apply(w.State, advise.Input{At: w.At, Walk: &advise.WalkInput{Do: advise.WalkSkip, Step: step.ID}})
			continue
		}
		for _, a := range step.Asks {
			l := st.Light(a.Group)
			if l == nil {
				return w, fmt.Errorf("the studio has no light %q", a.Group)
			}
			l.On = !a.Off
			if err := l.Turn(a.Power); err != nil {
				return w, err
			}
		}
		r := measure()
		w.Frames++
		w.At = w.At.Add(20 * time.Second)
		w.State, _ = advise.Apply(w.State, advise.Input{At: w.At, Frame: &advise.Frame{Number: w.Frames, Revision: 1, Reading: &r}})
		if q := w.State.Question; q != nil { // what was asked for was done
			w.State, _ = advise.Apply(w.State, advise.Input{At: w.At.Add(time.Second), Answer: &advise.Answer{Question: q.Number, Yes: true}})
		}
		if i, ok := w.State.Walk.StepAt(step.ID); ok {
			now := w.State.Walk.Steps[i]
			w.Steps = append(w.Steps, fmt.Sprintf("%s %s: %s", now.ID, now.Verdict, now.Says))
			if now.Kind == advise.WalkAll && w.All == 0 {
				w.All = w.Frames
			}
			w.First = w.First || now.Kind == advise.WalkAll && now.Tries == 1 && now.Verdict == advise.Good
		}
	}
	w.Done = w.State.Walk != nil && w.State.Walk.Done
	for _, l := range w.State.Lights { // as the walk left them
		if x := st.Light(l.Group); x != nil {
			x.On = !l.Off
		}
	}
	return w, nil
}
