package browsertest

import (
	"testing"

	"github.com/chromedp/chromedp"

	"thirdstop/advise"
	"thirdstop/dashboard/browsertest/fake"
)

// What was found wrongly is shown by hand on a telephone: with a finger, with keys, and taken back.
func TestAPartThatWasFoundWronglyIsShownByHand(t *testing.T) {
	s := rigged((*fake.Shoot).Shot)
	p := open(t, 390, 844, serve(t, s).url())
	show := func(part string) []float64 {
		p.pressText("Show a part …")
		p.press(`input[name=part][value=` + part + `]`)
		if part == "empty" {
			return nil
		}
		p.until("the picture is there to be drawn on", `document.querySelector('.marking img')?.naturalWidth > 0 && document.querySelector('.marker-field')`)
		return eval[[]float64](p, `(() => { const r = document.querySelector('.marker-field').getBoundingClientRect(); return [r.left, r.top, r.width, r.height]; })()`)
	}
	last := func() *advise.Marked {
		r := s.Requests()
		return r[len(r)-1].Marked
	}
	r := show("face")
	if r[2] < 250 || r[3] < 300 {
		t.Errorf("the frame is shown %.0f x %.0f px large, want it as large as the telephone allows", r[2], r[3])
	}
	p.drag(r[0]+r[2]*0.35, r[1]+r[3]*0.2, r[0]+r[2]*0.65, r[1]+r[3]*0.45)
	p.pressText("Use this")
	p.until("the sheet is gone", `!document.querySelector('.marking')`)
	m := last()
	if m == nil || m.Part != advise.FacePart || m.Frame != 1 {
		t.Fatalf("recorded was %+v, want a face on frame 1", m)
	}
	for i, d := range []float64{m.Box.X0 - 0.35, m.Box.Y0 - 0.2, m.Box.X1 - 0.65, m.Box.Y1 - 0.45} {
		if d < -0.015 || d > 0.015 {
			t.Errorf("side %d of the drawn box is off by %.3f: %+v", i, d, m.Box)
		}
	}
	p.until("the box is drawn on the frame", `document.querySelector('.region-shown')`)

	// By keys: the strip is made lower and narrower, and taken with Enter.
	show("witness")
	eval[chromedpVoid](p, `document.querySelector('.marker-field').focus()`)
	p.do(chromedp.KeyEvent("\r"))
	p.until("the sheet is gone", `!document.querySelector('.marking')`)
	if m = last(); m == nil || m.Part != advise.WitnessPart || m.Box.X1 < 0.99 {
		t.Errorf("recorded was %+v, want a witness strip at the frame's edge", m)
	}

	show("empty")
	p.pressText("Frame 1 is empty")
	p.until("the sheet is gone", `!document.querySelector('.marking')`)
	if m = last(); m == nil || m.Part != advise.EmptyPart || m.Box != nil {
		t.Errorf("recorded was %+v, want frame 1 as the empty backdrop", m)
	}

	show("face")
	p.pressText("Take the mark back")
	p.until("the sheet is gone", `!document.querySelector('.marking')`)
	if m = last(); m == nil || !m.Back || s.Snapshot().State.Marks.Face != nil {
		t.Errorf("recorded was %+v, want the face taken back", m)
	}
	// Escape leaves everything as it is, and the focus where it was.
	n := len(s.Requests())
	p.pressText("Show a part …")
	p.until("the sheet is there", `document.activeElement?.classList.contains('marker-field')`)
	p.do(chromedp.KeyEvent("\x1b"))
	p.until("the sheet is gone", `!document.querySelector('.marking')`)
	if len(s.Requests()) != n {
		t.Error("Escape recorded something")
	}
}
