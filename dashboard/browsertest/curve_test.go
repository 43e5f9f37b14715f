package browsertest

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"thirdstop/advise"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/tone"
	"thirdstop/dashboard/browsertest/fake"
)

// bench takes frames of a set under a steady light, part of which clips over 1/8 s.
type bench struct {
	s *fake.Shoot
	n int
}

func (b *bench) take(t exposure.Shutter, change func(f *advise.Frame)) {
	program, white, n, iso := 1, 1, exposure.FNumber(8), exposure.ISO(100)
	r := &assess.Reading{Kind: assess.Full, Exif: assess.Exif{ExposureTime: &t, Program: &program, WhiteBalance: &white, FNumber: &n, ISO: &iso},
		Tone: assess.Tone{Source: "default", Curve: "default-1", Sigma: 0.37}}
	if t > 1.0/8.5 {
		r.ClippedShare.Any = min(float64(t), 1)
	}
	b.n++
	f := advise.Frame{Number: b.n, Revision: 1, Reading: r, Sight: &advise.Sight{}}
	if change != nil {
		change(&f)
	}
	b.s.Step(advise.Input{Frame: &f})
}

func studioCurve(t *testing.T) *tone.Curve {
	t.Helper()
	var knots []tone.Knot
	for code := 8.0; code < 255; code += 8 {
		knots = append(knots, tone.Knot{Code: code, Level: exposure.Stops(-8 * (255 - code) / 247), Sigma: 0.03})
	}
	c, err := tone.Learned("learned-1a2b3c4d", append(knots, tone.Knot{Code: 255}))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestTheToneCurveIsLearnedOnThePage(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	axe, err := os.ReadFile(filepath.Join("testdata", "axe-core", "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{s: fake.New(time.Now)}
	p := open(t, 1180, 820, serve(t, b.s).url())
	p.press(`nav a[href="#walk"]`)
	p.says("The camera’s tone curve")
	p.pressText("Learn the tone curve")
	p.says("Switch every flash off.")
	b.take(1.0/6, nil)
	p.says("Frame 1 serves: 1/6 s")
	b.take(1.0/8, func(f *advise.Frame) { v := exposure.ISO(400); f.Reading.Exif.ISO = &v })
	p.says("Only the shutter may change")
	for _, f := range p.axe(string(axe)) {
		t.Errorf("the guide: %s: %s (%s): %s", f.ID, f.Help, f.HelpURL, f.Nodes)
	}
	p.do(chromedp.EmulateViewport(390, 844))
	if wide := eval[float64](p, `document.documentElement.scrollWidth`); wide > 390 {
		t.Errorf("the guide is %.0f px wide on a telephone of 390", wide)
	}
	p.do(chromedp.EmulateViewport(1180, 820))
	for b.n < 20 && !b.s.Snapshot().State.Bracket.Ready {
		p.until("the next shutter is shown", fmt.Sprintf(`document.querySelector('.curve-next')?.innerText.includes(%q)`, b.s.Snapshot().State.Bracket.NextAs))
		next, err := exposure.ParseShutter(eval[string](p, `document.querySelector('.curve-next').innerText.replace('Next:', '')`))
		if err != nil {
			t.Fatal(err)
		}
		b.take(next, nil)
	}
	p.says("The curve is being learned")
	b.s.Step(advise.Input{Curve: &advise.Curve{How: advise.CurveByBracket, Camera: "Quayside One", Was: tone.Default(), Now: studioCurve(t), Frames: 8, Median: 0.02, Most: 0.06}})
	p.says("come through the tone curve learned-1a2b3c4d")
	p.pressText("Done")
	p.says("Levels come through this camera’s learned curve.")
	p.pressText("Learn the tone curve")
	p.pressText("Leave the bracket")
	p.says("Learn the tone curve")
}
