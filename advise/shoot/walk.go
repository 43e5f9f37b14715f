package shoot

import (
	"thirdstop/advise"
	"thirdstop/assess/exposure"
)

// checkWalk says why something that is asked of the set-up walk makes no sense now.
func (s *Shoot) checkWalk(in advise.WalkInput) error {
	w := s.state.Walk
	switch in.Do {
	case advise.WalkBegin, advise.WalkCheck:
		if s.state.Plan == nil {
			return refuse("the set-up walk goes through the lights of a plan, and there is none yet; give one first")
		}
		if s.state.Bracketing() {
			return refuse("the bracket for the tone curve waits for frames; finish or leave it first")
		}
		return nil
	case advise.WalkSkip, advise.WalkRedo, advise.WalkLeave:
	default:
		return refuse("the set-up walk knows no %q; it can begin, skip, redo and leave", in.Do)
	}
	if w == nil || in.Do != advise.WalkRedo && !s.state.Walking() {
		return refuse("no set-up walk is under way; begin one")
	}
	if in.Do == advise.WalkLeave {
		return nil
	}
	i, ok := w.StepAt(in.Step)
	switch {
	case !ok:
		return refuse("the set-up walk has no step %q", in.Step)
	case in.Do == advise.WalkSkip && i != w.At:
		return refuse("the step %q is not the one that waits; that is %q", in.Step, w.Steps[w.At].ID)
	case in.Do == advise.WalkRedo && i > w.At:
		return refuse("the step %q has not been reached yet; that is for skip", in.Step)
	}
	return nil
}

// checkSwap says why a swap that is told makes no sense.
func (s *Shoot) checkSwap(in advise.Swap) error {
	if s.state.Plan == nil {
		return refuse("there is no plan yet, so there is nothing to match")
	}
	if n := in.FNumber; n != nil && !(*n >= 0.7 && *n <= 90) {
		return refuse("f/%g is no aperture; give one from 0.7 to 90", float64(*n))
	}
	if v := in.ISO; v != nil && !(*v >= 1 && *v <= exposure.ISO(1<<22)) {
		return refuse("ISO %g is no camera speed", float64(*v))
	}
	switch in.What {
	case advise.SwapLens, advise.SwapBackdrop:
		return nil
	case advise.SwapAperture:
		if in.FNumber == nil {
			return refuse("another aperture needs its f-number")
		}
		if *in.FNumber == s.state.FNumber {
			return refuse("the aperture is %s already", s.state.FNumber)
		}
		return nil
	case advise.SwapISO:
		if in.ISO == nil {
			return refuse("another ISO needs its number")
		}
		if *in.ISO == s.state.ISO {
			return refuse("the camera is at %s already", s.state.ISO)
		}
		return nil
	}
	return refuse("what was swapped is lens, aperture, iso or backdrop, not %q", in.What)
}
