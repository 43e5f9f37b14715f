package advise

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
)

// shootWith is a shoot in which the key stands a third of a stop too low: frames that scatter, of which the last so many were
// lit as advised.
func shootWith(seed uint64, frames, turned int) string {
	r := rand.New(rand.NewPCG(seed, 77))
	var b strings.Builder
	b.WriteString("plan grey B:key:1/8\ncamera f/8 100 1/125\nreference on\n")
	for i := range frames + turned {
		by := 0.05 * r.NormFloat64() // a usual flash (0.03 to 0.1; common practice, no source)
		if i >= frames {
			by += 1.0 / 3
		}
		fmt.Fprintf(&b, "frame backdrop %.3f white %.3f sitter %.3f\n", -2.5+by, -0.65+by+0.02*r.NormFloat64(), -2+by)
	}
	return b.String()
}

// Every frame is a new chance for scatter to look like a turn: advice that nobody follows must not come to pass by that.
func TestScatterDoesNotFollowAdvice(t *testing.T) {
	advised := 0
	for seed := range uint64(6) {
		out := play(t, shootWith(seed, 150, 0))
		advised += strings.Count(out, "adjust: ")
		if n := strings.Count(out, "log followed"); n > 0 {
			t.Errorf("seed %d: in 150 frames advice that nobody followed was taken as done %d times", seed, n)
		}
	}
	if advised < 60 {
		t.Errorf("advice changed in %d frames alone: there was nothing to follow", advised)
	}
}

func TestAdviceFollowedLateIsSeen(t *testing.T) {
	seen := 0
	const runs = 20
	for seed := range uint64(runs) {
		if strings.Contains(play(t, shootWith(100+seed, 30, 3)), "log followed: Key (B): power up 1/3 stop, set 1/8 + 1/3; seen in frame 3") {
			seen++
		}
	}
	if seen < runs-2 {
		t.Errorf("of %d turns that were made 30 frames late, %d were seen within three frames", runs, seen)
	}
}
