package browsertest

import (
	"testing"
	"time"

	"thirdstop/dashboard/browsertest/fake"
)

// A level of which only the edge is known is neither on target nor off it, and says so in words of its own.
func TestALevelOfWhichOnlyTheEdgeIsKnownHasAStateOfItsOwn(t *testing.T) {
	t.Parallel()
	p := open(t, 390, 844, serve(t, fake.New(time.Now)).url())
	p.says("Measuring only")
	load := `import(document.querySelector('script[type=module]').src.replace('main.js', 'staff.js')).then((m) => `
	for _, c := range []struct{ js, want string }{
		{`m.where({in_target: false, unknown: true, now_stops: 0, high_stops: 0.5}).word)`, "over, how far is not seen"},
		{`m.where({in_target: false, unknown: true, now_stops: 0, high_stops: 0.5}).state)`, "unknown"},
		{`m.where({in_target: true, now_stops: 0.1, high_stops: 0.5}).word)`, "on target"},
		{`m.where({in_target: false, now_stops: 0.7, high_stops: 0.5}).word)`, "over"},
		{`m.standing({on_target: false, expected: [{in_target: true}, {in_target: false, unknown: true}]}))`, "over the edge, how far is not seen"},
		{`m.standing({on_target: false, expected: [{in_target: false}, {in_target: false, unknown: true}]}))`, "off target"},
		{`m.standing({on_target: true, expected: [{in_target: true}]}))`, "on target"},
		{`m.standing({on_target: false, expected: []}))`, ""},
	} {
		if got := eval[string](p, load+c.js); got != c.want {
			t.Errorf("%s is %q, want %q", c.js, got, c.want)
		}
	}
}
