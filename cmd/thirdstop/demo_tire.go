package main

import (
	"context"
	"fmt"
	"io"

	"thirdstop/advise/shoot"
)

// warmFrames are shot on target before the key begins to tire.
const warmFrames = 12

// untilTired plays the assistant up to the target, and then lets the key tire until drift is told.
func (b *boathouse) untilTired(ctx context.Context, s *shoot.Shoot, frames int, out io.Writer) error {
	if err := b.follow(ctx, s, frames, out); err != nil {
		return err
	}
	from := s.Snapshot().State.FrameCount
	for n := from + 1; n <= from+frames; n++ {
		if n == from+warmFrames+1 {
			b.setTired(true)
			fmt.Fprintf(out, "From frame %d on the key tires by %.3f stop a frame; nobody says so.\n", n, float64(sagPerFrame))
		}
		if _, err := b.shoot(); err != nil {
			return err
		}
		if err := await(ctx, s, func(x *shoot.Snapshot) bool { return x.State.FrameCount >= n }); err != nil {
			return err
		}
		if err := b.hands(ctx, frameTime); err != nil {
			return err
		}
		for _, d := range s.Snapshot().State.Drift.Stands {
			if d.Group != "" && d.Witnessed && n > from+warmFrames {
				fmt.Fprintf(out, "Frame %d: %s\n  %s\n  %s\n", n, d.Text, d.Remedy, d.Caution)
				b.mu.Lock()
				fmt.Fprintf(out, "  (truth: the key is down %.2f stop)\n", float64(b.sag))
				b.mu.Unlock()
				return nil
			}
		}
	}
	return fmt.Errorf("no drift was told within %s", count(frames))
}
