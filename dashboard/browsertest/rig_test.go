package browsertest

import (
	"fmt"
	"math"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"thirdstop/advise"
	"thirdstop/dashboard/browsertest/fake"
)

func TestTheDistanceOfALightIsRecorded(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	p := open(t, 1180, 820, serve(t, s).url()+"#lights")
	p.fill("#d-B", "1.5")
	p.press("#m-B") // leaving the field records it
	p.until("the distance is recorded", `document.querySelector('.light-says')`)
	p.until("it stands under the light's name", `[...document.querySelectorAll('.rig-cards .light')][1].innerText.includes('1.5 m') || document.querySelector('#d-B').value === '1.5'`)
	r := s.Requests()
	if len(r) != 1 || r[0].Adjusted == nil || r[0].Adjusted.Group != "B" || r[0].Adjusted.Distance == nil || math.Abs(float64(*r[0].Adjusted.Distance)-1.5) > 1e-9 {
		t.Fatalf("recorded was %+v, want light B at 1.5 m", r)
	}
	p.fill("#m-B", "white umbrella")
	p.press("#rig-title")
	p.until("the modifier is recorded", `document.querySelector('#m-B').value === 'white umbrella' && !document.querySelector('#m-B').disabled && [...document.querySelectorAll('.rig-cards .light')][1].innerText.includes('recorded')`)
	if r = s.Requests(); len(r) != 2 || r[1].Adjusted.Modifier == nil || *r[1].Adjusted.Modifier != "white umbrella" {
		t.Errorf("recorded was %+v, want light B under a white umbrella", r)
	}
}

// A light that is dragged in the view from above is recorded where it was let go, to scale.
func TestALightIsDraggedToItsPlace(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	p := open(t, 1180, 1600, serve(t, s).url()+"#lights")
	p.until("the view from above is there", `document.querySelectorAll('.above-light').length === 3`)
	// The sitter, a metre in pixels, and light B, in the window.
	where := eval[[]float64](p, `(() => { const mid = (e) => { const r = e.getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2, r.width / 2]; };
		const s = mid(document.querySelector('.above-ring')), b = mid([...document.querySelectorAll('.above-light')].find((g) => g.textContent === 'B').querySelector('circle'));
		return [s[0], s[1], s[2], b[0], b[1]]; })()`)
	p.drag(where[3], where[4], where[0]+where[2]*1.0, where[1]+where[2]*1.0)
	p.until("it is recorded", `document.querySelector('#d-B').value === '1.4'`)
	a := s.Requests()[0].Adjusted
	if a == nil || a.Group != "B" || a.Distance == nil || math.Abs(float64(*a.Distance)-math.Sqrt2) > 0.06 || a.Bearing == nil || math.Abs(float64(*a.Bearing)-45) > 3 {
		t.Errorf("recorded was %+v; a light let go a metre right of the sitter and a metre nearer to the camera stands at 1.41 m, 45° to the right", a)
	}
}

// A reflector has a card beside the lights and a place in the view from above; what is done to it is recorded as of a light.
func TestAReflectorIsShownAndMoved(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	s.Change(func(st *advise.State) []advise.Event {
		side := advise.Degrees(60)
		st.Reflectors = []advise.ReflectorState{{Group: "R", Role: "reflector", Name: "Reflector (R)", Of: "B", Distance: 1, Bearing: &side}}
		return nil
	})
	p := open(t, 1180, 1700, serve(t, s).url()+"#lights")
	p.says("reflects Key (B)")
	last := func() *advise.Adjusted {
		r := s.Requests()
		return r[len(r)-1].Adjusted
	}
	p.fill("#t-R", "30")
	p.press("#d-R") // leaving the field records it
	p.until("the angle is recorded", `document.querySelector('#t-R').value === '30' && !document.querySelector('#t-R').disabled`)
	if a := last(); a == nil || a.Group != "R" || a.Turned == nil || *a.Turned != 30 {
		t.Errorf("recorded was %+v, want reflector R turned away by 30°", a)
	}
	p.fill("#d-R", "0.8")
	p.press("#rig-title")
	p.until("the distance is recorded", `document.querySelector('#d-R').value === '0.8' && !document.querySelector('#d-R').disabled`)
	if a := last(); a.Distance == nil || math.Abs(float64(*a.Distance)-0.8) > 1e-9 {
		t.Errorf("recorded was %+v, want reflector R at 0.8 m", a)
	}
	where := eval[[]float64](p, `(() => { const mid = (e) => { const r = e.getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2, r.width / 2]; };
		const s = mid(document.querySelector('.above-ring')), b = mid([...document.querySelectorAll('.above-light')].find((g) => g.textContent === 'R').querySelector('circle'));
		return [s[0], s[1], s[2], b[0], b[1]]; })()`)
	p.drag(where[3], where[4], where[0]-where[2]*1.0, where[1])
	p.until("it is recorded", `document.querySelector('#d-R').value === '1'`)
	if a := last(); a.Bearing == nil || math.Abs(float64(*a.Bearing)+90) > 3 || a.Distance == nil || math.Abs(float64(*a.Distance)-1) > 0.06 {
		t.Errorf("recorded was %+v; a reflector let go a metre left of the sitter stands at 1 m, 90° to the left", a)
	}
	p.press(`[aria-label="Reflector (R) is in place. Record that it was taken away"]`)
	p.says("taken away")
	if a := last(); a.Off == nil || !*a.Off {
		t.Errorf("recorded was %+v, want reflector R taken away", a)
	}
}

func TestTwoFramesAreComparedAndOneIsTheBaseline(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).OnTarget, (*fake.Shoot).Shot, (*fake.Shoot).Shot)
	p := open(t, 1180, 820, serve(t, s).url()+"#frames")
	p.press(`[aria-label^="Frame 1,"]`)
	p.pressText("Make frame 1 the baseline")
	p.until("the strip says so", `document.querySelector('.reel').innerText.includes('1 (baseline)')`)
	p.press(`[aria-label^="Frame 3,"]`)
	p.pressText("Compare two")
	p.until("two frames are beside each other", `document.querySelectorAll('.frames-two .frame-in').length === 2`)
	p.says("against frame 1")
	if b := s.Requests()[0].Baseline; b == nil || b.Frame != 1 {
		t.Errorf("recorded was %+v, want frame 1 as baseline", s.Requests()[0])
	}
}

func TestTheShootOverTimeIsZoomedAndRead(t *testing.T) {
	t.Parallel()
	s := rigged()
	for range 10 {
		s.OnTarget()
		s.Shot()
	}
	p := open(t, 1180, 820, serve(t, s).url()+"#past")
	dots := `document.querySelectorAll('.over-line .over-dot').length`
	p.until("all twenty frames are drawn, three regions each, and three signs in the key", dots+` === 20 * 3 + 3`)
	p.says("Frame 20,")
	p.press(`[aria-label="Show fewer frames"]`)
	p.until("fewer are drawn", dots+` < 60 && `+dots+` > 3`)

	// Two fingers that part show fewer still, and what lay under them stays there.
	before := eval[int](p, dots)
	eval[chromedpVoid](p, `(() => { const e = document.querySelector('.over-plot'), r = e.getBoundingClientRect(), y = r.top + 90;
		const say = (type, id, x) => e.dispatchEvent(new PointerEvent(type, {pointerId: id, pointerType: 'touch', isPrimary: id === 11, clientX: r.left + x, clientY: y, bubbles: true}));
		e.setPointerCapture = () => {};
		say('pointerdown', 11, 400); say('pointerdown', 12, 600);
		say('pointermove', 11, 250); say('pointermove', 12, 760);
		say('pointerup', 11, 250); say('pointerup', 12, 760); })()`)
	p.until("the pinch shows fewer", fmt.Sprintf(`%s < %d`, dots, before))
	p.pressText("Whole shoot")
	p.until("all are back", dots+` === 20 * 3 + 3`)
	eval[chromedpVoid](p, `document.querySelector('.over-plot').focus()`)
	was := eval[string](p, `document.querySelector('.over-said b').innerText`)
	p.do(chromedp.KeyEvent(kb.ArrowLeft))
	p.until("the frame before is read out", fmt.Sprintf(`document.querySelector('.over-said b').innerText !== %q`, was))
}
