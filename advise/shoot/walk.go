package shoot

import (
	"thirdstop/advise"
)

// checkWalk says why something that is asked of the set-up walk makes no sense now.
func (s *Shoot) checkWalk(in advise.WalkInput) error {
	w := s.state.Walk
	switch in.Do {
	case advise.WalkBegin:
		if s.state.Plan == nil {
			return refuse("the set-up walk goes through the lights of a plan, and there is none yet; give one first")
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
