package browsertest

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"thirdstop/advise"
	"thirdstop/advise/plan"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
	"thirdstop/assess/tone"
	"thirdstop/dashboard/browsertest/fake"
)

// hall is a virtual studio behind the page: a person does there what the page's step asks for.
type hall struct {
	t    *testing.T
	s    *fake.Shoot
	room *studio.Studio
	box  assess.Box
	n    int
}

func newHall(t *testing.T) *hall {
	h := &hall{t: t, s: fake.New(time.Now), room: studio.BoatHouse(3)}
	h.room.Sitter.Card = true
	quiet, err := h.room.Expected()
	if err != nil {
		t.Fatal(err)
	}
	card, ok := quiet.Region(studio.WhiteReference)
	if !ok {
		t.Fatal("the boathouse holds no card")
	}
	w, x := (card.Box.X1-card.Box.X0)/4, (card.Box.Y1-card.Box.Y0)/4
	h.box = assess.Box{X0: card.Box.X0 + w, Y0: card.Box.Y0 + x, X1: card.Box.X1 - w, Y1: card.Box.Y1 - x}
	p := plan.Plan{Version: plan.FormatVersion, Backdrop: plan.Backdrop{Colour: plan.White, Distance: h.room.Backdrop.Distance}, Targets: plan.DefaultTargets(plan.White)}
	for _, l := range h.room.Lights {
		scale := exposure.ThirdFractions
		if l.Click == exposure.Tenth {
			scale = exposure.TenthFractions
		}
		p.Lights = append(p.Lights, plan.Light{Role: plan.Role(l.Role), Group: l.Group, Power: l.Power, Scale: scale, Least: l.Least, Most: l.Most, Distance: l.Distance})
	}
	h.s.Step(advise.Input{Plan: &advise.PlanText{Name: "boathouse.yaml", Text: string(p.Marshal())}})
	h.s.Step(advise.Input{Reference: &advise.Reference{Box: &h.box}})
	return h
}

// shoot takes a frame of the hall as it stands.
func (h *hall) shoot() {
	survey, _ := h.room.RenderSurvey()
	c, manual := h.room.Camera, 1
	r := assess.MeasureSurvey(survey, assess.Facts{Kind: assess.Full, Orientation: c.Orientation,
		Exif: assess.Exif{FNumber: &c.FNumber, ISO: &c.ISO, ExposureTime: &c.Shutter, Program: &manual, WhiteBalance: &manual}}, tone.Default(), assess.Hints{WhiteReference: &h.box})
	h.n++
	h.s.Step(advise.Input{Frame: &advise.Frame{Number: h.n, Revision: 1, Reading: &r}})
}

// obey reads off the page how the lights should stand, and sets them so.
func (h *hall) obey(p *tab) {
	for _, l := range h.room.Lights {
		row := fmt.Sprintf(`[...document.querySelectorAll('.walk-asks li')].find((e) => e.querySelector('.blade text').textContent === %q)`, l.Group)
		h.room.Light(l.Group).On = eval[string](p, row+`.querySelector('.walk-state').innerText`) == "on"
		if text := eval[string](p, row+`.querySelector('.walk-power').innerText`); text != "" {
			scale := exposure.ThirdFractions
			if l.Click == exposure.Tenth {
				scale = exposure.TenthFractions
			}
			d, err := scale.Parse(text)
			if err == nil {
				err = h.room.Light(l.Group).Turn(d)
			}
			if err != nil {
				h.t.Fatalf("the page asks for %q of group %s: %v", text, l.Group, err)
			}
		}
	}
}

func TestTheSetUpIsWalkedOnThePage(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	axe, err := os.ReadFile(filepath.Join("testdata", "axe-core", "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	h := newHall(t)
	p := open(t, 1180, 820, serve(t, h.s).url())
	p.press(`nav a[href="#walk"]`)
	p.says("let nobody look into a flash from near")
	p.pressText("Begin the set-up")
	p.says("Step 1 of")
	p.says("Switch every flash off.")
	seen := map[string]bool{}
	for range 30 {
		w := h.s.Snapshot().State.Walk
		if w.Done {
			break
		}
		step := w.Steps[w.At]
		p.until("the step is shown", fmt.Sprintf(`document.querySelector('.walk-step h3')?.innerText === %q && (document.querySelector('.walk-says')?.innerText || '').includes(%q)`, step.Name, step.Says))
		if step.Kind == advise.WalkKey && !seen[step.ID] {
			for _, f := range p.axe(string(axe)) {
				t.Errorf("a step: %s: %s (%s): %s", f.ID, f.Help, f.HelpURL, f.Nodes)
			}
			if !seen["narrow"] {
				p.do(chromedp.EmulateViewport(390, 844))
				if wide := eval[float64](p, `document.documentElement.scrollWidth`); wide > 390 {
					t.Errorf("a step of the set-up is %.0f px wide on a telephone of 390", wide)
				}
				p.do(chromedp.EmulateViewport(1180, 820))
			}
		}
		seen[step.ID] = true
		h.obey(p)
		h.shoot()
	}
	st := h.s.Snapshot().State
	if !st.Walk.Done || st.Baseline == 0 {
		t.Fatalf("after %d frames the set-up stands at step %d and the baseline is frame %d, want it done with a baseline", h.n, st.Walk.At, st.Baseline)
	}
	p.says(fmt.Sprintf("The set-up is done. Frame %d is the baseline.", st.Baseline))
	t.Logf("%d frames for %d steps", h.n, len(st.Walk.Steps))

	// Another lens: it shall come out as before. Then a card check between sitters, one frame.
	p.pressText("Another lens")
	p.says("Another lens is on the camera. Wanted as in frame")
	h.shoot()
	p.pressText("Card check, one frame")
	p.until("the check waits", `document.querySelector('.walk-step h3')?.innerText === 'A card check'`)
	h.shoot()
	if x := h.s.Snapshot().State.Walk.Steps[0]; x.Kind != advise.WalkCard || x.Verdict != advise.Good && x.Verdict != advise.Turn {
		t.Errorf("the card check says %q: %s", x.Verdict, x.Says)
	}
	if h.s.Snapshot().State.Walking() {
		p.pressText("Leave the set-up")
	}
	p.pressText("Set up again from the beginning")
	p.says("Switch every flash off.")
	for range 2 {
		h.obey(p)
		h.shoot()
		p.until("the step went on", fmt.Sprintf(`document.querySelector('.walk-step h3')?.innerText === %q`, func() string { w := h.s.Snapshot().State.Walk; return w.Steps[w.At].Name }()))
	}
	st = h.s.Snapshot().State

	// A step can be redone, skipped, and the rest left.
	p.press(fmt.Sprintf(`[aria-label="Redo: %s"]`, st.Walk.Steps[0].Name))
	p.until("the step waits again", fmt.Sprintf(`document.querySelector('.walk-step h3')?.innerText === %q`, st.Walk.Steps[0].Name))
	p.pressText("Skip this step")
	p.says("skipped")
	p.pressText("Leave the set-up")
	p.says("Begin the set-up")
}

func TestThePlanScreenTellsThePowersNeeded(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	s := fake.New(time.Now)
	s.Step(advise.Input{Plan: &advise.PlanText{Name: "boathouse.yaml", Text: string(plan.Annotated())}})
	p := open(t, 820, 1180, serve(t, s).url()+"#plan")
	p.pressText("What power will each light need?")
	p.says("Key (B): about 1/8")
	p.says("These are estimates")
}
