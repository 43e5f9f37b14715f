package browsertest

import (
	"fmt"
	"testing"

	"github.com/chromedp/chromedp"

	"thirdstop/advise"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/dashboard/browsertest/fake"
)

// What is known of a face is drawn on the frame and listed beside it, folded, without pushing anything out of view, and in
// the page's language.
func TestAFaceIsMarkedAndItsLightListed(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).OnTarget, (*fake.Shoot).Shot)
	source, over := 2.1, exposure.Stops(1.07)
	s.Change(func(st *advise.State) []advise.Event {
		f := &st.Frames[len(st.Frames)-1]
		r := *f.Reading
		r.Regions.Faces = []assess.Face{{Box: assess.Box{X0: 0.35, Y0: 0.2, X1: 0.65, Y1: 0.42}, Size: 0.22, EyeLine: 0.29, Headroom: 0.8, Confidence: 1,
			KeyFill: &assess.KeyFill{Lit: "left", Difference: 1.63, Sigma: 0.2, Additive: 3.1, Source: &source, KeyOver: &over},
			Glare:   &assess.Glare{Sides: "both", Area: 0.02}}}
		f.Reading = &r
		return nil
	})
	v := serve(t, s, withDemo)
	p := open(t, 1180, 820, v.url())
	p.until("the face is marked on the frame", `document.querySelectorAll('.regions .region-face').length === 1`)
	for _, size := range sizes {
		p.do(chromedp.EmulateViewport(size[0], size[1]))
		p.until(fmt.Sprintf("lights and frame are in view at %dx%d", size[0], size[1]), `(() => { window.scrollTo(0, 0);
			const foot = document.querySelector('.foot').getBoundingClientRect().top;
			return ['.turn-set', '.frame-in', '.light output'].every((q) => { const r = document.querySelector(q)?.getBoundingClientRect(); return r && r.height > 15 && r.bottom <= foot; }); })()`)
	}
	p.do(chromedp.EmulateViewport(820, 1180))
	p.press(".face-notes summary")
	p.says("Lighting ratio 3.1:1 (key and fill to fill), 2.1:1 (key to fill): the left side is lighter by 1.6 ± 0.2 stop.")
	p.says("Spectacles mirror a lamp over the eyes")
	p.screen("devices")
	p.press(`input[name=language][lang=de]`)
	p.until("the language is on", `document.documentElement.lang === 'de'`)
	p.screen("now")
	p.press(".face-notes summary")
	p.says("Lichtverhältnis 3.1:1 (Hauptlicht und Aufhellung zu Aufhellung)")
	p.says("Eine Brille spiegelt eine Lampe über den Augen")
}
