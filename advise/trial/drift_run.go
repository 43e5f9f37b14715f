package trial

import (
	"context"
	"slices"
	"sync"
	"time"

	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
)

// framesPerShoot, and per sitter, of the clean shoots.
const (
	framesPerShoot  = 1200
	framesPerSitter = 15
)

// Drift tries the detection of drift in virtual studios with scripted faults. The same options
// give the same figures, whatever the number of processors.
func Drift(ctx context.Context, o DriftOptions) (*DriftFigures, error) {
	if len(o.Scatters) == 0 {
		o.Scatters = []exposure.Stops{0.03, 0.05, 0.10}
	}
	out := &DriftFigures{}
	for _, scatter := range o.Scatters {
		if o.Frames > 0 {
			if err := out.clean(ctx, scatter, o); err != nil {
				return nil, err
			}
		}
	}
	for _, apart := range []bool{true, false} {
		for _, scatter := range o.Scatters {
			for _, c := range courses {
				if o.Runs == 0 {
					continue
				}
				if err := out.course(ctx, c, apart, scatter, o); err != nil {
					return nil, err
				}
			}
		}
	}
	for _, f := range faults {
		if o.Faults == 0 {
			continue
		}
		if err := out.fault(ctx, f, o); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// rig is the number of lights of a studio: background and key show apart, a fill shows where the key does.
func rig(apart bool) int {
	if apart {
		return 2
	}
	return 3
}

// clean shoots frames in which nothing is wrong, half of them with lights that can be told apart.
func (out *DriftFigures) clean(ctx context.Context, scatter exposure.Stops, o DriftOptions) error {
	shoots := (o.Frames + framesPerShoot - 1) / framesPerShoot
	var counts []CleanCount // of lights that can be told apart with and without a witness, then of others
	for k := range 4 {
		counts = append(counts, CleanCount{Scatter: scatter, Apart: k < 2, Witness: k%2 == 0, Kinds: map[string]int{}})
	}
	var mu sync.Mutex
	err := spread(ctx, shoots, workers(nil), func(i int) {
		var g *sitting
		for try := range 20 {
			if g = newSitting(o.Seed*1_000_003+uint64(i*20+try), rig(i%2 == 0), scatter, o, true); g != nil {
				break
			}
			mu.Lock()
			out.Skipped++
			mu.Unlock()
		}
		if g == nil {
			return
		}
		for _, v := range g.views {
			v.reset()
		}
		for k := range framesPerShoot {
			if k > 0 && k%framesPerSitter == 0 {
				g.next(k / framesPerSitter)
			}
			g.frame(g.pause())
			if k%framesPerSitter == 0 && k > 0 {
				g.declare()
			}
			if ctx.Err() != nil {
				return
			}
		}
		mu.Lock()
		defer mu.Unlock()
		for k, v := range g.views {
			c := &counts[i%2*2+k]
			c.Frames += framesPerShoot
			c.Alarms += v.alarms
			c.Questions += v.questions
			c.Prompts += v.prompts
			for kind, n := range v.kinds {
				c.Kinds[kind] += n
			}
		}
	})
	out.Clean = append(out.Clean, counts...)
	return err
}

// course is how a light leaves its level; at gives it k frames after it began.
type course struct {
	name string
	at   func(k int) exposure.Stops
}

var courses = []course{
	{"step of 0.2 stop", func(int) exposure.Stops { return 0.2 }},
	{"slope of 0.02 stop a frame", func(k int) exposure.Stops { return min(0.02*exposure.Stops(k+1), 0.5) }},
}

const (
	before = 30 // clean frames before a drift begins
	beyond = 20 // frames that are waited for it, from the one where it reached 0.2 stop
)

// course lets one light drift in many studios, before a state that has witnesses and one that has none.
func (out *DriftFigures) course(ctx context.Context, c course, apart bool, scatter exposure.Stops, o DriftOptions) error {
	counts := []CourseCount{{Course: c.name, Scatter: scatter, Apart: apart, Witness: true}, {Course: c.name, Scatter: scatter, Apart: apart}}
	var mu sync.Mutex
	err := spread(ctx, o.Runs, workers(nil), func(i int) {
		g := out.begun(o.Seed*1_000_003+500_000+uint64(i*20), rig(apart), scatter, o, true, &mu)
		if g == nil {
			return
		}
		for range before {
			g.frame(g.pause())
		}
		for _, v := range g.views {
			v.reset()
		}
		light := i % 2 // the fill shows nowhere by itself: 0.2 stop of it are 0.04 on the card
		way := exposure.Stops(1 - i/len(g.st.Lights)%2*2)
		reached, within := 0, 0
		for k := 0; reached == 0 || k < reached+beyond; k++ {
			size := c.at(k)
			g.off[light] = way * size
			if reached == 0 && size >= 0.2-1e-9 {
				reached, within = k+1, g.n+1
			}
			g.frame(g.pause())
			if ctx.Err() != nil {
				return
			}
		}
		mu.Lock()
		defer mu.Unlock()
		for k, v := range g.views {
			counts[k].add(v, within, g.st.Lights[light].Group, g.name(light))
		}
	})
	for k := range counts {
		slices.Sort(counts[k].Delays)
	}
	out.Courses = append(out.Courses, counts...)
	return err
}

// add counts what a view said of the drift of one light that reached 0.2 stop in frame within.
func (n *CourseCount) add(v *view, within int, group, name string) {
	delay := missed
	if v.first > 0 {
		delay = v.first - within + 1
	}
	n.Runs++
	n.Delays = append(n.Delays, delay)
	if delay <= 6 {
		n.Within++
	}
	if v.last == nil {
		return
	}
	if v.last.Group == group {
		n.Light++
	}
	if slices.Contains(v.last.Candidates, name) {
		n.Candidate++
	}
}

func (g *sitting) name(light int) string { return g.views[0].s.Lights[light].Name }

// begun is the first sitting from a seed on that has a baseline.
func (out *DriftFigures) begun(seed uint64, lights int, scatter exposure.Stops, o DriftOptions, blindToo bool, mu *sync.Mutex) *sitting {
	for try := range uint64(20) {
		if g := newSitting(seed+try, lights, scatter, o, blindToo); g != nil {
			return g
		}
		mu.Lock()
		out.Skipped++
		mu.Unlock()
	}
	return nil
}

// script is a fault as it really looks, and what it is called. play sets the studio for frame k after
// the fault's beginning and says how long it takes until that frame; 0 is the usual pause.
type script struct {
	name   string
	kinds  []string
	light  bool
	frames int
	play   func(g *sitting, light, k int) time.Duration
}

const rest = 4 * time.Minute

var faults = []script{
	{"asleep for five frames", []string{"light_absent"}, true, 5, func(g *sitting, light, k int) time.Duration {
		g.absent = light + 1
		return 0
	}},
	{"fired before it had recycled", []string{"fired_early"}, true, 2, func(g *sitting, light, k int) time.Duration {
		g.off[light] = 0
		if k == 0 {
			g.off[light] = -0.6
			return 2500 * time.Millisecond
		}
		return 0
	}},
	{"bumped or turned, 0.5 stop down", []string{"step"}, true, 12, func(g *sitting, light, k int) time.Duration {
		g.off[light] = -0.5
		return 0
	}},
	{"sagging stand, 0.015 stop a frame", []string{"slope"}, true, 40, func(g *sitting, light, k int) time.Duration {
		g.off[light] = -0.015 * exposure.Stops(min(k, 30))
		return 0
	}},
	{"heat: sags, and recovers after a rest", []string{"heat"}, true, 36, func(g *sitting, light, k int) time.Duration {
		g.off[light] = -0.015 * exposure.Stops(k)
		if k >= 30 {
			g.off[light] = 0
		}
		if k == 30 {
			return rest
		}
		return 0
	}},
	{"tired battery: sags, a rest does not help", []string{"battery"}, true, 38, func(g *sitting, light, k int) time.Duration {
		g.off[light] = -0.015 * exposure.Stops(k)
		if k == 30 {
			return rest
		}
		return 0
	}},
	{"aperture, 1/3 stop", []string{"all_lights"}, false, 12, func(g *sitting, _, k int) time.Duration {
		if k == 0 {
			g.st.Camera.White -= 1.0 / 3
			g.pool = map[int][]*studio.Pose{}
		}
		return 0
	}},
	{"a window: the room's light 16 times as much, or what lifts backdrop or card by 0.2 stop", []string{"ambient"}, false, 12, func(g *sitting, _, k int) time.Duration {
		if k == 0 {
			g.window()
		}
		return 0
	}},
	{"the same window, then one frame with every flash off", []string{"ambient"}, false, 14, func(g *sitting, _, k int) time.Duration {
		switch k {
		case 0:
			g.window()
		case 12:
			g.lit(-1)
		case 13:
			g.lit(len(g.st.Lights))
		}
		return 0
	}},
	{"shutter at 1/320 s, the curtain runs 1/200 s", []string{"dark_band"}, false, 3, func(g *sitting, _, k int) time.Duration {
		if k == 0 {
			tv := exposure.Shutter(1.0 / 320)
			g.st.Camera.Shutter, g.exif.ExposureTime = tv, &tv
			g.pool = map[int][]*studio.Pose{}
		}
		return 0
	}},
}

// window lets daylight in: the room has 16 times the light it had, and where that is lost beside the flashes, as much more as
// lifts backdrop or card by 0.2 stop. Less is worth no word.
func (g *sitting) window() {
	was, err := g.st.Expected()
	if err != nil {
		return
	}
	g.pool = map[int][]*studio.Pose{}
	g.st.Ambient.Value += 4
	for range 20 {
		now, err := g.st.Expected()
		if err != nil {
			return
		}
		for _, k := range []studio.Region{studio.BackdropRegion, studio.WhiteReference} {
			a, ok1 := was.Region(k)
			b, ok2 := now.Region(k)
			if ok1 && ok2 && b.Level-a.Level >= 0.2 {
				return
			}
		}
		g.st.Ambient.Value += 0.25
	}
}

// named is how a cause that is no light stands among the candidates.
var named = map[string]string{"ambient": "the room's light", "all_lights": "aperture, ISO or lens"}

// fault plays one script at 0.05 stop scatter, with lights that can be told apart.
func (out *DriftFigures) fault(ctx context.Context, f script, o DriftOptions) error {
	n := FaultCount{Fault: f.name, Said: map[string]int{}}
	var mu sync.Mutex
	err := spread(ctx, o.Faults, workers(nil), func(i int) {
		g := out.begun(o.Seed*1_000_003+900_000+uint64(i*20), rig(true), 0.05, o, false, &mu)
		if g == nil {
			return
		}
		v := g.views[0]
		for range before {
			g.frame(g.pause())
		}
		v.reset()
		light := i % len(g.st.Lights)
		for k := range f.frames {
			after := f.play(g, light, k)
			if after == 0 {
				after = g.pause()
			}
			g.frame(after)
		}
		mu.Lock()
		defer mu.Unlock()
		n.Runs++
		said := "nothing"
		if v.last != nil {
			said = v.last.Kind
		}
		n.Said[said]++
		right := slices.Contains(f.kinds, said)
		if right {
			n.Cause++
		}
		if right || v.last != nil && slices.Contains(v.last.Candidates, named[f.kinds[0]]) {
			n.Among++
		}
		if f.light {
			n.Of++
			if v.last != nil && v.last.Group == g.st.Lights[light].Group {
				n.Light++
			}
		}
	})
	out.Faults = append(out.Faults, n)
	return err
}
