package main

import (
	"context"
	"fmt"
	"io"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
	"thirdstop/assess/studio"
)

// walk plays the guided set-up without a page: it declares the white card, then stands every light as
// each step asks and takes the frame that answers it.
func (b *boathouse) walk(ctx context.Context, s *shoot.Shoot, frames int, out io.Writer) error {
	truth, err := b.shoot() // a frame to tap the card on
	if err != nil {
		return err
	}
	if err := await(ctx, s, func(x *shoot.Snapshot) bool { return x.State.FrameCount >= 1 }); err != nil {
		return err
	}
	if card, ok := truth.Region(studio.WhiteReference); ok {
		box := inner(card.Box)
		if _, err := s.Submit(ctx, shoot.Request{Reference: &advise.Reference{Frame: 1, Box: &box}}); err != nil {
			return err
		}
	}
	if _, err := s.Submit(ctx, shoot.Request{Walk: &advise.WalkInput{Do: advise.WalkBegin}}); err != nil {
		return err
	}
	for n := 2; n <= frames; n++ {
		w := s.Snapshot().State.Walk
		step := w.Steps[w.At]
		fmt.Fprintf(out, "%s\n", step.Name)
		if step.Kind == advise.WalkChart {
			fmt.Fprintln(out, "  skipped: the boathouse has no chart")
			if _, err := s.Submit(ctx, shoot.Request{Walk: &advise.WalkInput{Do: advise.WalkSkip, Step: step.ID}}); err != nil {
				return err
			}
			if st := s.Snapshot().State; st.Walk.Done {
				return b.walked(st, n-1, frames, out)
			}
			n-- // no frame was taken
			continue
		}
		for _, t := range step.Do {
			fmt.Fprintf(out, "  %s\n", t)
		}
		if err := b.stand(step.Asks); err != nil {
			return err
		}
		if err := b.hands(ctx, handTime); err != nil {
			return err
		}
		if _, err := b.shoot(); err != nil {
			return err
		}
		if err := await(ctx, s, func(x *shoot.Snapshot) bool { return x.State.FrameCount >= n }); err != nil {
			return err
		}
		st := s.Snapshot().State
		i, _ := st.Walk.StepAt(step.ID)
		fmt.Fprintf(out, "  frame %d: %s\n", n, st.Walk.Steps[i].Says)
		if st.Walk.Done {
			return b.walked(st, n, frames, out)
		}
	}
	return b.walked(s.Snapshot().State, frames, frames, out)
}

// walked says how the set-up ended.
func (b *boathouse) walked(st advise.State, taken, most int, out io.Writer) error {
	if !st.Walk.Done || st.Baseline == 0 {
		return fmt.Errorf("the set-up did not come to a baseline within %s", count(most))
	}
	fmt.Fprintf(out, "The set-up is done after %s; frame %d is the baseline.\n", count(taken), st.Baseline)
	return nil
}

// stand switches and turns the lights as a step of the set-up asks.
func (b *boathouse) stand(asks []advise.WalkAsk) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, a := range asks {
		l := b.room.Light(a.Group)
		if l == nil {
			return fmt.Errorf("the boathouse has no light %q", a.Group)
		}
		l.On = !a.Off
		if err := l.Turn(a.Power); err != nil {
			return err
		}
	}
	return nil
}
