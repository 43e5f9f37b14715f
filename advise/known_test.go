package advise

import (
	"math"
	"testing"
	"time"

	"thirdstop/advise/plan"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/tone"
)

// bare is a rig of one key on a white card, read through a camera's curve.
type bare struct {
	s  State
	n  int
	at time.Time
	// The card lies this far under the edge at full power and ISO 100, in true light.
	card exposure.Stops
	iso  exposure.ISO
	t    *testing.T
}

func newBare(t *testing.T) *bare {
	b := &bare{at: time.Date(2026, 5, 9, 10, 0, 0, 0, time.UTC), card: 1.2, iso: 100, t: t}
	p := plan.Plan{Version: plan.FormatVersion, Backdrop: plan.Backdrop{Colour: plan.White}, Targets: plan.DefaultTargets(plan.White)}
	p.Lights = []plan.Light{{Role: plan.Key, Group: "B", Power: -2 * exposure.Stop, Scale: exposure.ThirdFractions, Least: -7 * exposure.Stop}}
	b.do(Input{Plan: &PlanText{Name: "bare.yaml", Text: string(p.Marshal())}})
	b.do(Input{Reference: &Reference{Box: &assess.Box{X0: 0.4, Y0: 0.4, X1: 0.5, Y1: 0.5}}})
	return b
}

func (b *bare) do(in Input) {
	b.at = b.at.Add(10 * time.Second)
	in.At = b.at
	b.s, _ = Apply(b.s, in)
}

// frame shows the card's light, through the default curve, in code values; off is what somebody did besides.
func (b *bare) frame(off exposure.Stops, change func(r *assess.Reading)) {
	level := b.card + b.s.Lights[0].Power.Stops() + exposure.Stops(math.Log2(float64(b.iso)/100)) + off
	code := tone.Default().Code(1, math.Exp2(float64(level)))
	counts := make([]int32, 256)
	counts[int(code)], counts[int(code)+1] = int32(100*(1-code+math.Floor(code)))+1, int32(100*(code-math.Floor(code)))+1
	f, v, m := exposure.FNumber(8), b.iso, 1
	r := &assess.Reading{Kind: assess.Full, Width: 600, Height: 400, Exif: assess.Exif{FNumber: &f, ISO: &v, Program: &m}, Tone: assess.Tone{Curve: "default-1"}}
	read, sigma := tone.Default().Stops(1, code, 0)
	r.Regions.WhiteReference = &assess.WhiteReference{Level: assess.Level{Value: read, Sigma: sigma}, Peak: read, Declared: true,
		Codes: assess.Codes{R: counts, G: counts, B: counts}}
	if change != nil {
		change(r)
	}
	b.n++
	b.do(Input{Frame: &Frame{Number: b.n, Revision: 1, Reading: r}})
}

func (b *bare) turn(by exposure.Dial) {
	b.do(Input{Adjusted: &Adjusted{Group: "B", From: b.s.Lights[0].Power, To: b.s.Lights[0].Power + by}})
}

// A recorded step of a light that is alone in its region, or of the ISO, becomes a known change: of the region's median
// codes, by the step.
func TestAStepOfKnownSizeIsKept(t *testing.T) {
	b := newBare(t)
	b.frame(0, nil)
	b.turn(-exposure.Stop)
	b.frame(0, nil)
	if len(b.s.Known) != 1 {
		t.Fatalf("%d known changes after a step of one stop, want 1: %+v", len(b.s.Known), b.s.Known)
	}
	k := b.s.Known[0]
	// The source is the step that was recorded, and the curve that the codes were made with.
	read := math.Log2(tone.Default().Linear(1, k.Light[1]) / tone.Default().Linear(1, k.Dark[1]))
	if math.Abs(float64(k.Ratio)-1) > 0.05 || math.Abs(read-1) > 0.03 || !(k.Sigma > 0.05 && k.Sigma < 0.3) {
		t.Errorf("the change is %+v, and its codes read as %.3f stop; want 1 and 1", k, read)
	}
	b.iso = 200
	b.frame(0, nil)
	if len(b.s.Known) != 2 || b.s.Known[1].Ratio != 1 {
		t.Errorf("after another ISO there are %d known changes, want 2, the last of 1 stop", len(b.s.Known))
	}
}

// What is no such step is left alone.
func TestWhatIsNoStepOfKnownSizeTeachesNoCurve(t *testing.T) {
	for name, then := range map[string]func(b *bare){
		"nothing was turned": func(b *bare) { b.frame(0, nil) },
		"an export": func(b *bare) {
			b.turn(-exposure.Stop)
			b.frame(0, func(r *assess.Reading) { r.Labels = []assess.Label{{Code: "export"}} })
		},
		"another camera": func(b *bare) {
			b.turn(-exposure.Stop)
			b.frame(0, func(r *assess.Reading) { m := "other"; r.Exif.Model = &m })
		},
		"another curve": func(b *bare) {
			b.turn(-exposure.Stop)
			b.frame(0, func(r *assess.Reading) { r.Tone.Curve = "learned-1" })
		},
		"the card went elsewhere": func(b *bare) { b.turn(-exposure.Third); b.frame(-1.2, nil) },
		"it clips": func(b *bare) {
			b.turn(exposure.Stop)
			b.frame(0, func(r *assess.Reading) { r.Regions.WhiteReference.Peak, r.Regions.WhiteReference.PeakAtLeast = 0, true })
		},
	} {
		b := newBare(t)
		b.frame(0, nil)
		then(b)
		if n := len(b.s.Known); n != 0 {
			t.Errorf("%s: %d known changes, want none: %+v", name, n, b.s.Known)
		}
	}
}

// A new curve is no drift and no change of light: what frames are held against moves with it.
func TestANewCurveIsNoDrift(t *testing.T) {
	b := newBare(t)
	for range 6 {
		b.frame(0, nil)
	}
	var knots []tone.Knot
	for code := 8.0; code < 255; code += 6 {
		l, _ := tone.Default().Stops(1, code, 0)
		knots = append(knots, tone.Knot{Code: code, Level: l * 0.8, Sigma: 0.1})
	}
	now, err := tone.Learned("learned-9", append(knots, tone.Knot{Code: 255}))
	if err != nil {
		t.Fatal(err)
	}
	was := b.s.Frames[5].Reading.Regions.WhiteReference.Peak
	b.do(Input{Curve: &Curve{How: CurveByItself, Camera: "Quayside One", Was: tone.Default(), Now: now, Frames: 6}})
	is := b.s.Frames[5].Reading.Regions.WhiteReference.Peak
	if want := assess.Relevelled(was, tone.Default(), now); is != want || is == was {
		t.Errorf("the card of frame 6 lay at %v and lies at %v anew, want %v", was, is, want)
	}
	for range 6 {
		b.frame(0, func(r *assess.Reading) { *r = assess.Reexpressed(*r, tone.Default(), now) })
	}
	if len(b.s.Drift.Stands) > 0 || b.s.Question != nil {
		t.Errorf("after the new curve: drift %+v, question %+v", b.s.Drift.Stands, b.s.Question)
	}
}
