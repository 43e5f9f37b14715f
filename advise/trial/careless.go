package trial

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"thirdstop/advise"
	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
)

// CarelessOptions say how much is tried of shoots at whose lights somebody turns things without a word.
type CarelessOptions struct {
	Studios int            // how many
	Seed    uint64         // the first studio's; the others count up from it
	Turns   int            // per studio; 0 is 6
	Scatter exposure.Stops // of every flash, one standard deviation; 0 is 0.03
	Own     bool           // readings through the camera's own curve, as after learning it; else through the default
	Trace   io.Writer      // what happened frame by frame, where it is wanted; then one studio after another
}

// Deed is something done at a light that nobody records.
type Deed string

// The deeds.
const (
	Click  Deed = "one light turned by a third of a stop"
	Clicks Deed = "one light turned by two thirds to a stop"
	Far    Deed = "one light turned by one to two stops"
	Off    Deed = "one light switched off"
	Pair   Deed = "two lights turned"
)

// deeds are tried in turn.
var deeds = []Deed{Click, Clicks, Far, Off, Pair}

// Careless counts what became of deeds of one kind.
type Careless struct {
	Deed    Deed
	Tried   int
	Asked   int // a question, or a word to look at the lights, came before the record agreed with the dials again
	Right   int // and the first named a light that something had been done to
	Known   int // the record agreed with every dial again within six frames
	Within  int // within two
	Holds   int // frames that were called a hold while they were off by more than a click
	Frames  int // frames until record and dials agreed, or six
	Astray  int // frames in which a setting was advised for a light that stands elsewhere than the record says
	Counted int // deeds that moved a judged region under clipping by more than a sixth of a stop; only these are looked into
}

// CarelessFigures are what came of it.
type CarelessFigures struct {
	Deeds     []Careless
	Quiet     int // frames on target, in truth, in which the record agreed with the dials
	Questions int // asked in those
	Turned    int // quiet frames after which the advice wanted more than one click of a light on target
	Skipped   int // studios in which no hold was reached
}

// PlayCareless tries it. The same options give the same figures.
func PlayCareless(ctx context.Context, o CarelessOptions) (CarelessFigures, error) {
	if o.Turns == 0 {
		o.Turns = 6
	}
	if o.Scatter == 0 {
		o.Scatter = 0.03
	}
	all := make([]CarelessFigures, o.Studios)
	err := spread(ctx, o.Studios, workers(o.Trace), func(i int) { all[i] = careless(o.Seed+uint64(i), o) })
	out := CarelessFigures{Deeds: make([]Careless, len(deeds))}
	for k, d := range deeds {
		out.Deeds[k].Deed = d
		for _, f := range all {
			if len(f.Deeds) > 0 {
				out.Deeds[k].add(f.Deeds[k])
			}
		}
	}
	for _, f := range all {
		out.Quiet, out.Questions, out.Turned, out.Skipped = out.Quiet+f.Quiet, out.Questions+f.Questions, out.Turned+f.Turned, out.Skipped+f.Skipped
	}
	return out, err
}

func (c *Careless) add(d Careless) {
	c.Tried, c.Asked, c.Right, c.Known, c.Within = c.Tried+d.Tried, c.Asked+d.Asked, c.Right+d.Right, c.Known+d.Known, c.Within+d.Within
	c.Holds, c.Frames, c.Astray, c.Counted = c.Holds+d.Holds, c.Frames+d.Frames, c.Astray+d.Astray, c.Counted+d.Counted
}

// hand plays one shoot: an assistant who does what is advised and answers truly, and somebody who does
// deeds between frames.
type hand struct {
	stage
	at    time.Time
	n     int
	s     advise.State
	trace io.Writer
	seed  uint64
}

// clickSlack is how far beyond its tolerance a region may lie before a hold counts as wrong.
const clickSlack = 1.0 / 6

// most frames are waited for a deed to be found out, and quiet ones come before the next.
const (
	mostFrames = 6
	quietTime  = 6
)

func careless(seed uint64, o CarelessOptions) CarelessFigures {
	// What of the sitter clips is another matter: it has no part in this.
	g, skipped := staged(seed, Options{Scatter: o.Scatter, Off: 1.5, Own: o.Own, Wrong: 0.3, AnyClips: true})
	out := CarelessFigures{Deeds: make([]Careless, len(deeds))}
	if skipped != "" || len(g.st.Lights) < 2 {
		return CarelessFigures{Skipped: 1}
	}
	g.st.Coarse = true
	h := hand{stage: g, at: start, s: g.state, trace: o.Trace, seed: seed}
	for h.s.Advice.Status != advise.Hold {
		if h.n == 8 {
			return CarelessFigures{Skipped: 1}
		}
		h.frame()
		h.obey()
	}
	r := rand.New(rand.NewPCG(seed, 0xca1e))
	for turn := range o.Turns {
		for range quietTime {
			asked := h.frame()
			if h.agrees() && h.want.off(h.st) == 0 {
				out.Quiet++
				if asked {
					out.Questions++
					if h.trace != nil {
						fmt.Fprintln(h.trace, "  asked for nothing")
					}
				}
				if h.s.Advice.Status == advise.Adjust && slices.ContainsFunc(h.s.Advice.Adjustments, func(a advise.Adjustment) bool {
					return max(a.To-a.From, a.From-a.To) > exposure.Third
				}) {
					out.Turned++
				}
			}
			h.obey()
		}
		h.settle()
		k := turn % len(deeds)
		before := h.levels()
		if !h.does(deeds[k], r) {
			continue
		}
		c := &out.Deeds[k]
		c.Tried++
		shows := false
		for i, v := range h.levels() {
			shows = shows || math.Abs(math.Min(v, 0)-math.Min(before[i], 0)) > clickSlack
		}
		if !shows { // behind clipping, or of a light that no judged region shows
			h.settle()
			continue
		}
		c.Counted++
		asked := false
		for n := 1; n <= mostFrames; n++ {
			spoke := h.frame()
			c.Frames++
			if h.s.Advice.Status == advise.Hold && h.want.off(h.st) > clickSlack {
				c.Holds++
				if h.trace != nil {
					fmt.Fprintln(h.trace, "  held while off")
				}
			}
			for _, a := range h.s.Advice.Adjustments {
				if h.st.Light(a.Group).Power != a.From || !h.st.Light(a.Group).On {
					c.Astray++
					break
				}
			}
			if spoke && !asked {
				asked = true
				c.Asked++
				if h.named() {
					c.Right++
				}
			}
			h.obey()
			if h.agrees() {
				c.Known++
				if n <= 2 {
					c.Within++
				}
				break
			}
		}
		h.settle()
	}
	return out
}

// levels are the judged regions in truth.
func (h *hand) levels() []float64 {
	t, white, err := h.st.ExpectedIn(studio.Box(h.box), studio.WhiteReference)
	if err != nil {
		return []float64{0, 0}
	}
	b, _ := t.Region(studio.BackdropRegion)
	return []float64{float64(b.Level), float64(white.Peak)}
}

// frame takes one, and tells whether a question was asked, or a look at the lights.
func (h *hand) frame() bool {
	r := h.shoot()
	h.n++
	h.at = h.at.Add(12 * time.Second)
	open := h.s.Question
	next, outs := advise.Apply(h.s, advise.Input{At: h.at, Frame: &advise.Frame{Number: h.n, Revision: 1, Reading: &r}})
	h.s = next
	if h.trace != nil {
		l := h.levels()
		fmt.Fprintf(h.trace, "studio %d, frame %d: backdrop %+.2f, white %+.2f in truth; ", h.seed, h.n, l[0], l[1])
		for _, e := range h.s.Advice.Expected {
			fmt.Fprintf(h.trace, "%s %s (%s); ", e.Name, e.NowText, e.TargetText)
		}
		fmt.Fprintf(h.trace, "%s: %s. %s\n", h.s.Advice.Status, h.s.Advice.Headline, h.s.Advice.Reason)
		for _, x := range outs {
			if x.Question != nil {
				fmt.Fprintf(h.trace, "  ? %s\n", x.Question.Text)
			}
			if x.Event != nil && x.Event.Kind != "frame" {
				fmt.Fprintf(h.trace, "  %s\n", x.Event.Text)
			}
		}
	}
	return h.s.Question != nil && (open == nil || open.Number != h.s.Question.Number) || h.looks()
}

// looks tells whether somebody is sent to the lights.
func (h *hand) looks() bool {
	a := h.s.Advice
	return a.Status == advise.Look && len(a.Ways) == 0 && a.Headline != advise.OutOfReach
}

// named tells whether what was asked first is about a light that something was done to.
func (h *hand) named() bool {
	q := h.s.Question
	if q == nil || q.Group == "" {
		return !h.agrees()
	}
	for _, l := range h.s.Lights {
		if x := h.st.Light(l.Group); l.Group == q.Group {
			return x.Power != l.Power || x.On == l.Off
		}
	}
	return false
}

// obey does what is advised, and answers.
func (h *hand) obey() {
	if q := h.s.Question; q != nil {
		yes := truly(h.st, h.s)
		if i := slices.IndexFunc(h.s.Lights, func(x advise.LightState) bool { return x.Group == q.Group }); !yes && i >= 0 {
			if l, x := h.st.Light(q.Group), h.s.Lights[i]; l.Power != x.Power || l.On == x.Off {
				h.record() // something was done to it, but not what was guessed
				return
			}
		}
		if h.trace != nil {
			fmt.Fprintf(h.trace, "  answer: %v\n", yes)
		}
		h.at = h.at.Add(5 * time.Second)
		h.s, _ = advise.Apply(h.s, advise.Input{At: h.at, Answer: &advise.Answer{Question: q.Number, Yes: yes}})
		if q.Group == "" && !yes {
			h.record()
		}
		return
	}
	if h.looks() {
		h.record()
		return
	}
	for _, a := range h.s.Advice.Adjustments {
		l := h.st.Light(a.Group)
		if h.trace != nil {
			fmt.Fprintf(h.trace, "  does: %s (%s)\n", a.Text, a.Reason)
		}
		if l.Turn(a.To) != nil {
			return
		}
	}
}

// record looks at every light and records how it stands.
func (h *hand) record() {
	for _, l := range h.s.Lights {
		x := h.st.Light(l.Group)
		if x.Power == l.Power && x.On == !l.Off {
			continue
		}
		off := !x.On
		h.at = h.at.Add(2 * time.Second)
		h.s, _ = advise.Apply(h.s, advise.Input{At: h.at, Adjusted: &advise.Adjusted{Group: l.Group, From: l.Power, To: x.Power, Off: &off}})
		if h.trace != nil {
			fmt.Fprintf(h.trace, "  records: %s at %v, on %v\n", l.Name, x.Power, x.On)
		}
	}
}

// agrees tells whether the record has every light as it stands.
func (h *hand) agrees() bool { return asRecorded(h.st, h.s) }

// settle ends a deed: everything is switched on and recorded, and the advice followed to a hold.
func (h *hand) settle() {
	for i := range h.st.Lights {
		h.st.Lights[i].On = true
	}
	h.at = h.at.Add(10 * time.Second)
	h.record()
	for range 6 {
		h.frame()
		if h.s.Advice.Status == advise.Hold && h.s.Question == nil && h.agrees() {
			return
		}
		h.obey()
	}
}

// does a deed, and reports false where no light has room for it.
func (h *hand) does(d Deed, r *rand.Rand) bool {
	turn := func(i int, by exposure.Dial) bool {
		l := &h.st.Lights[i]
		by = by / max(l.Click, 1) * max(l.Click, 1)
		if l.Power+by > l.Most || l.Power+by < l.Least {
			by = -by
		}
		return l.Turn(l.Power+by) == nil
	}
	sign := exposure.Dial(1 - 2*r.IntN(2))
	i := r.IntN(len(h.st.Lights))
	if h.trace != nil {
		defer func() {
			fmt.Fprintf(h.trace, "%s: %s", d, h.st.Lights[i].Group)
			for _, l := range h.st.Lights {
				fmt.Fprintf(h.trace, "; %s at %v, on %v", l.Group, l.Power, l.On)
			}
			fmt.Fprintln(h.trace)
		}()
	}
	switch d {
	case Click:
		return turn(i, sign*exposure.Third)
	case Clicks:
		return turn(i, sign*exposure.Third*exposure.Dial(2+r.IntN(2)))
	case Far:
		return turn(i, sign*exposure.Third*exposure.Dial(4+r.IntN(3)))
	case Off:
		h.st.Lights[i].On = false
		return true
	}
	k := (i + 1) % len(h.st.Lights)
	return turn(i, sign*exposure.Third*exposure.Dial(2+r.IntN(3))) && turn(k, exposure.Dial(1-2*r.IntN(2))*exposure.Third*exposure.Dial(2+r.IntN(3)))
}

// WriteCareless prints Markdown.
func WriteCareless(w io.Writer, f CarelessFigures) error {
	fmt.Fprintln(w, "| done without a word | done | shows in a judged region | asked about or sent to look | the right light at first | known within two frames | within six | frames called hold while off | frames with a setting that rests on a wrong record |")
	fmt.Fprintln(w, "| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
	for _, d := range f.Deeds {
		fmt.Fprintf(w, "| %s | %d | %d | %s | %s | %s | %s | %d of %d | %d of %d |\n", d.Deed, d.Tried, d.Counted, share(d.Asked, d.Counted), share(d.Right, d.Asked),
			share(d.Within, d.Counted), share(d.Known, d.Counted), d.Holds, d.Frames, d.Astray, d.Frames)
	}
	_, err := fmt.Fprintf(w, "\nOf %d frames in which nothing had been done, %d brought a question or a word to look, and %d advice to turn a light by more than a third of a stop that was on target. %d studios were left out.\n", f.Quiet, f.Questions, f.Turned, f.Skipped)
	return err
}
