package shoot

import (
	"testing"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/trail"
)

// A clock that is set right in the middle of a shoot may go back by hours, and over a restart as well. The order
// is that of the records, not of their times.
func TestAClockThatGoesBackConfusesNothing(t *testing.T) {
	for _, c := range []struct {
		what string
		back time.Duration
	}{{"by a second", time.Second}, {"by two hours", 2 * time.Hour}, {"by eleven years", 11 * 365 * 24 * time.Hour}} {
		t.Run(c.what, func(t *testing.T) {
			b := newBench(t)
			back := func() {
				b.clock.mu.Lock()
				b.clock.t = b.clock.t.Add(-c.back)
				b.clock.mu.Unlock()
			}
			s := b.open()
			b.submit(s, withPlan(Request{Client: "plan"}))
			b.take(s, "Q_0001.JPG", dark)
			b.submit(s, Request{Client: "card", Reference: &advise.Reference{Frame: 1, Box: &card}})
			if s.Snapshot().State.Advice.Status != advise.Adjust {
				t.Fatalf("advice on a dark frame is %s", s.Snapshot().State.Advice.Status)
			}
			back()
			b.submit(s, Request{Client: "turn", Adjusted: &advise.Adjusted{Group: "B", To: -60}})
			b.take(s, "Q_0002.JPG", good)
			if got := s.Snapshot().State; got.FrameCount != 2 || got.Frames[1].Number != 2 {
				t.Errorf("after the clock went back: %d frames", got.FrameCount)
			}
			if s.Snapshot().Latency < 0 {
				t.Errorf("the way of a frame took %v", s.Snapshot().Latency)
			}
			events := must(s.Events(0, 100))
			back()
			b.close(s)
			back()
			id := s.ID()
			s, start := b.opened()
			if s.ID() != id || !start.Resumed || len(start.Differs) > 0 || len(start.Repairs) > 0 {
				t.Errorf("after a restart: shoot %s, %+v, want %s to go on", s.ID(), start, id)
			}
			b.take(s, "Q_0003.JPG", good)
			if got := frames(s); got != "1.2 2.1 3.1" {
				t.Errorf("frames = %s", got)
			}
			if again := must(s.Events(0, len(events))); len(again) != len(events) || again[0].Text != events[0].Text {
				t.Errorf("%d events, before the restart %d", len(again), len(events))
			}
			dir := b.trailOf(s)
			b.close(s)
			if r, err := Replay(dir); err != nil || len(r.Differs) > 0 {
				t.Errorf("replayed: %+v, %v", r.Differs, err)
			}
			if _, err := trail.Verify(dir, ""); err != nil {
				t.Errorf("the record: %v", err)
			}
		})
	}
}

// The shoot that was begun last goes on, though the clock says that it is the older one.
func TestTheShootBegunLastGoesOnWhateverItsTime(t *testing.T) {
	b := newBench(t)
	s := b.open()
	b.take(s, "Q_0001.JPG", dark)
	b.submit(s, Request{Client: "end", End: true})
	b.close(s)
	b.clock.mu.Lock()
	b.clock.t = b.clock.t.Add(-3 * time.Hour)
	b.clock.mu.Unlock()
	s = b.open()
	id := s.ID()
	b.take(s, "Q_0002.JPG", good)
	b.close(s)
	if s = b.open(); s.ID() != id || s.Snapshot().State.FrameCount != 1 {
		t.Errorf("after a restart shoot %s with %d frames, want %s to go on", s.ID(), s.Snapshot().State.FrameCount, id)
	}
}
