// Package browsertest opens the pages in a real Chromium and does with them what people do.
//
// It knows the pages as a person sees them and the dashboard as its Config shows it. It must never
// reach into either's insides. Read jobs_test.go first, then harness_test.go.
package browsertest

import (
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
	"thirdstop/assess/exposure"
	"thirdstop/dashboard"
	"thirdstop/dashboard/browsertest/fake"
)

func rigged(shots ...func(*fake.Shoot)) *fake.Shoot {
	s := fake.New(time.Now)
	s.Rigged()
	for _, f := range shots {
		f(s)
	}
	return s
}

func TestThePageOpensAndShowsTheAdvice(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	v := serve(t, s)
	p := open(t, 1180, 820, v.url())
	p.says("Key (B): power down 2/3 stop, set 1/8 + 1/3")
	p.says("Background (A): power up 1/3 stop, set 1/4")
	p.says("first guess")
	p.says("at least")
	p.until("the picture is drawn", `document.querySelector('.frame-in img')?.naturalWidth > 0`)
	p.until("the backdrop is outlined", `document.querySelector('.region-line')?.getAttribute('d')?.length > 100`)

	// The new setting is the biggest thing on the page.
	biggest := eval[string](p, `[...document.querySelectorAll('*')].filter((e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim()))
		.sort((a, b) => parseFloat(getComputedStyle(b).fontSize) - parseFloat(getComputedStyle(a).fontSize))[0].innerText`)
	if biggest != "1/8 + 1/3" {
		t.Errorf("the biggest text is %q, want the new setting 1/8 + 1/3", biggest)
	}

	p.mu.Lock()
	defer p.mu.Unlock()
	for _, u := range p.requests {
		if !strings.HasPrefix(u, v.url()) && !strings.HasPrefix(u, "ws://"+v.addr+"/") {
			t.Errorf("the page asked another host: %s", u)
		}
	}
}

func TestTheFirstLoadIsLight(t *testing.T) {
	t.Parallel()
	s := rigged() // without a frame: its picture is not the page's
	p := open(t, 1180, 820, serve(t, s).url())
	p.says("Take a frame")
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.bytes == 0 || p.bytes > 150<<10 {
		t.Errorf("the first load took %d bytes in %d requests, want more than 0 and at most %d", p.bytes, len(p.requests), 150<<10)
	}
	t.Logf("first load: %d bytes in %d requests", p.bytes, len(p.requests))
}

func TestEachStatusIsSaidInWords(t *testing.T) {
	t.Parallel()
	s := fake.New(time.Now)
	p := open(t, 1180, 820, serve(t, s).url())
	p.says("Measuring only")
	s.Shot()
	p.says("Frame 1")
	s.Rigged()
	p.says("Take a frame")
	s.Shot()
	p.says("power down 2/3 stop")
	s.OnTarget()
	p.until("hold stands alone", `document.querySelector('.board.hold h1')?.innerText === 'Hold'`)
	s.Change(func(st *advise.State) []advise.Event {
		st.Advice = advise.Advice{Number: 99, Status: advise.Look, Headline: "Set the camera to manual",
			Warnings: []advise.Warning{{Code: "auto_iso", Text: "The camera chooses ISO itself; set it by hand.", Blocks: true}}}
		return nil
	})
	p.says("Set the camera to manual")
	p.says("First: The camera chooses ISO itself; set it by hand.")
	s.Change(func(st *advise.State) []advise.Event {
		st.Advice = advise.Advice{Number: 100, Status: advise.Look, Headline: "open to f/5.6", Ways: []advise.Way{
			{Text: "open to f/5.6", Price: "less depth of field"}, {Text: "ISO 200", Price: "a little more noise"}}}
		return nil
	})
	p.says("open to f/5.6 Or instead: ISO 200 price: a little more noise")
	s.Change(func(st *advise.State) []advise.Event {
		st.Advice = advise.Advice{Number: 101, Status: "aside", Headline: "Put aside", Reason: "Key (B): power down 2/3 stop, set 1/8 + 1/3."}
		return nil
	})
	p.says("Put aside It comes back as soon as the light or the plan changes. Key (B): power down 2/3 stop, set 1/8 + 1/3.")
	if eval[bool](p, `!!document.querySelector('.board.hold, .board.aside .water') || getComputedStyle(document.querySelector('.board')).borderStyle !== 'dashed'`) {
		t.Error("what was put aside looks like hold")
	}
	s.Change(func(st *advise.State) []advise.Event {
		st.Advice = advise.Advice{Number: 102, Status: "rest", Headline: "Let the flashes rest", Reason: "They are hot."}
		return nil
	})
	p.says("Let the flashes rest They are hot.")
}

func TestThreeAnswersBeginTheAdvice(t *testing.T) {
	t.Parallel()
	s := fake.New(time.Now)
	p := open(t, 820, 1180, serve(t, s).url())
	p.pressText("Give three answers")
	p.press(`input[name=backdrop][value=grey]`)
	p.press(`input[name=count][value="2"]`)
	p.fill(`[aria-label="Dial of key (A)"]`, "1/8 + 1/3")
	p.fill(`[aria-label="Dial of fill (B)"]`, "1/16")
	p.pressText("Begin advising")
	p.says("Take a frame")
	st := s.Snapshot().State
	if st.Plan == nil || len(st.Lights) != 2 {
		t.Fatalf("no plan of two lights came of the answers: %q", st.PlanText)
	}
	if st.Plan.Backdrop.Colour != "grey" || st.Lights[0].Power != -3*exposure.Stop+exposure.Third || st.Lights[1].Power != -4*exposure.Stop {
		t.Errorf("the plan is not what was answered:\n%s", st.PlanText)
	}
}

func TestAnAnswerThatCannotBeIsExplained(t *testing.T) {
	t.Parallel()
	s := fake.New(time.Now)
	p := open(t, 1180, 820, serve(t, s).url()+"#plan")
	p.fill(`[aria-label="Dial of background (A)"]`, "1/3")
	p.fill(`[aria-label="Dial of key (B)"]`, "1/16")
	p.pressText("Begin advising")
	p.until("the fault is named", `document.querySelector('.answers .faults')?.innerText.includes('1/3')`)
	if n := len(s.Requests()); n != 0 {
		t.Errorf("%d requests took effect, want none", n)
	}
}

func TestAnAdjustmentIsRecordedByOnePress(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	p := open(t, 1180, 820, serve(t, s).url())
	p.press(`[aria-label="I set it: Key (B) to 1/8 + 1/3"]`)
	p.until("the adjustment left the board", `!document.querySelector('[aria-label="I set it: Key (B) to 1/8 + 1/3"]')`)
	p.says("Key (B) is set to 1/8 + 1/3.")
	r := s.Requests()
	if len(r) != 1 || r[0].Adjusted == nil || r[0].Adjusted.Group != "B" || r[0].Adjusted.To != -3*exposure.Stop+exposure.Third {
		t.Errorf("recorded was %+v, want one adjustment of B to 1/8 + 1/3", r)
	}
}

func TestPressesOfTheStepperBecomeOneAdjustment(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	p := open(t, 1180, 820, serve(t, s).url())
	const down = `document.querySelector('[aria-label="Fill (C): power down one click"]')`
	p.until("the stepper is there", down+` && !`+down+`.disabled`)
	// Within a moment, whatever else the machine does: frames are painted late on a busy one, and then the first presses are recorded without the last.
	eval[chromedpVoid](p, `(async () => { for (let i = 0; i < 3; i++) { `+down+`.click(); await new Promise((done) => setTimeout(done)); } })()`)
	p.says("Fill (C) is set to 1/64 + 1/3.")
	r := s.Requests()
	if len(r) != 1 || r[0].Adjusted.To != -6*exposure.Stop+exposure.Third {
		t.Errorf("recorded were %d requests, want one to 1/64 + 1/3", len(r))
	}
	p.screen("lights")
	p.press(`[aria-label="Fill (C) is on. Record that it was switched off"]`)
	p.until("it is recorded", `document.querySelector('[aria-label="Fill (C) is off. Record that it was switched on"]')`)
}

func TestAFrameInBetweenDoesNotLoseAPress(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	p := open(t, 1180, 820, serve(t, s).url())
	s.Overtake(func(*advise.State) []advise.Event {
		return []advise.Event{{Kind: "frame", Text: "A frame came in between."}}
	})
	p.press(`[aria-label="Fill (C): power up one click"]`)
	p.says("Fill (C) is set to 1/32 + 2/3.")
	if n := len(s.Requests()); n != 1 {
		t.Errorf("%d requests took effect, want 1", n)
	}
}

func TestAPressOnALightThatSomebodyElseTurnedIsNotRecorded(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	p := open(t, 1180, 820, serve(t, s).url())
	s.Overtake(func(st *advise.State) []advise.Event {
		st.Lights[2].Power, st.Lights[2].PowerText = -3*exposure.Stop, "1/8"
		return []advise.Event{{Kind: "adjusted", Text: "Somebody else was faster."}}
	})
	p.press(`[aria-label="Fill (C): power up one click"]`)
	p.says("Something changed meanwhile, so this was not recorded.")
	p.until("the stepper shows what the other set", `[...document.querySelectorAll('.light output')].some((o) => o.innerText === '1/8')`)
	if n := len(s.Requests()); n != 0 {
		t.Errorf("%d requests took effect, want none", n)
	}
}

func TestAWhiteReferenceIsTappedAndTakenBack(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	p := open(t, 1180, 820, serve(t, s).url())
	p.pressText("Show a part …")
	p.until("the picture can be marked", `document.querySelector('.marker-field')`)
	r := eval[[]float64](p, `(() => { const r = document.querySelector('.marker-field').getBoundingClientRect(); return [r.left, r.top, r.width, r.height]; })()`)
	p.tap(r[0]+r[2]*0.5, r[1]+r[3]*0.7)
	p.pressText("Use this")
	p.says("The white reference was declared.")
	got := s.Requests()[0].Reference
	if got == nil || got.Box == nil || got.Frame != 1 {
		t.Fatalf("declared was %+v, want a box on frame 1", got)
	}
	if x, y := (got.Box.X0+got.Box.X1)/2, (got.Box.Y0+got.Box.Y1)/2; x < 0.48 || x > 0.52 || y < 0.68 || y > 0.72 {
		t.Errorf("the box's middle is at %.3f, %.3f, want 0.5, 0.7 where the tap was", x, y)
	}
	if w := got.Box.X1 - got.Box.X0; w < 0.03 || w > 0.2 {
		t.Errorf("the box is %.3f of the frame wide, want a usual size", w)
	}

	p.pressText("Show a part …")
	p.until("the picture can be marked", `document.querySelector('.marker-field')`)
	p.drag(r[0]+r[2]*0.3, r[1]+r[3]*0.4, r[0]+r[2]*0.5, r[1]+r[3]*0.6)
	p.pressText("Use this")
	p.until("the second box is recorded", `document.querySelectorAll('.is-reference').length === 2`)
	b := s.Requests()[1].Reference.Box
	for i, d := range []float64{b.X0 - 0.3, b.Y0 - 0.4, b.X1 - 0.5, b.Y1 - 0.6} {
		if d < -0.01 || d > 0.01 {
			t.Errorf("side %d of the drawn box is off by %.3f: %+v", i, d, b)
		}
	}

	p.pressText("Show a part …")
	p.pressText("Take the mark back")
	p.says("The white reference was taken back.")
	if s.Snapshot().State.Reference != nil {
		t.Error("the white reference still stands")
	}
}

func TestALostConnectionLooksOldAndCatchesUp(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	v := serve(t, s)
	p := open(t, 1180, 820, v.url())
	p.says("power down 2/3 stop")
	eval[chromedpVoid](p, `window.notReloaded = true`)

	v.down()
	p.until("the page says it is old", `/Not connected since \d+ s. What you see is old/.test(document.body.innerText)`)
	p.until("it looks old", `getComputedStyle(document.querySelector('.board')).opacity < 0.6`)
	p.until("nothing can be pressed that would be lost", `[...document.querySelectorAll('.turn-side button, .stepper button')].every((b) => b.disabled)`)

	s.OnTarget()
	s.Change(func(*advise.State) []advise.Event {
		return []advise.Event{{Kind: "note", Text: "Said while nobody listened."}}
	})
	v.up()
	p.until("it is fresh again", `!document.querySelector('.stale-bar') && document.querySelector('.board.hold')`)
	p.says("Said while nobody listened.")
	if !eval[bool](p, `window.notReloaded === true`) {
		t.Error("the page was loaded anew; it must catch up by itself")
	}
	numbers := eval[[]int](p, `[...document.querySelectorAll('.line')].map((l) => Number(l.dataset.number))`)
	for i := 1; i < len(numbers); i++ {
		if numbers[i] != numbers[i-1]-1 {
			t.Errorf("the events are not gapless, newest first: %v", numbers)
		}
	}
}

func TestTwoClientsStayInStep(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	v := serve(t, s)
	a, b := open(t, 1180, 820, v.url()), open(t, 390, 844, v.url())
	b.says("power down 2/3 stop")
	a.press(`[aria-label="I set it: Key (B) to 1/8 + 1/3"]`)
	b.until("the other tablet shows it", `!document.querySelector('[aria-label="I set it: Key (B) to 1/8 + 1/3"]')`)
	b.press(`[aria-label="I set it: Background (A) to 1/4"]`)
	a.says("Take a frame")
	b.says("Take a frame")
	if n := len(s.Requests()); n != 2 {
		t.Errorf("%d requests took effect, want 2", n)
	}
}

func TestTheQuestionIsAnswered(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	s.Change(func(st *advise.State) []advise.Event {
		st.Question = &advise.Question{Number: 7, Text: "Key (B) fell by 0.65 stop between frames 41 and 42. Turned to 1/8 + 1/3?", Group: "B", Expires: 45}
		return nil
	})
	p := open(t, 390, 844, serve(t, s).url())
	p.says("Turned to 1/8 + 1/3?")
	p.pressText("Yes")
	p.until("the question is gone", `!document.querySelector('.question')`)
	if a := s.Requests()[0].Answer; a == nil || a.Question != 7 || !a.Yes {
		t.Errorf("answered was %+v, want yes to question 7", a)
	}
}

func TestANoteIsTextWhateverItHolds(t *testing.T) {
	t.Parallel()
	s := rigged()
	p := open(t, 1180, 820, serve(t, s).url()+"#log")
	note := `umbrella <img src=x onerror="document.title='broken'"> sagged`
	p.fill("#note", note)
	p.pressText("Write it down")
	p.says(note)
	if title := eval[string](p, `document.title`); title != "thirdstop" {
		t.Errorf("the note was run as markup: the title is %q", title)
	}
	if got := eval[string](p, `document.querySelector('#note').value`); got != "" {
		t.Errorf("the field still holds %q after it was recorded", got)
	}
}

func TestAPlanIsCheckedByLineAndUsed(t *testing.T) {
	t.Parallel()
	s := rigged()
	p := open(t, 1180, 820, serve(t, s).url()+"#plan")
	p.until("the plan is shown", `document.querySelector('#plan-text')?.value.includes('Alder Quay')`)
	p.fill("#plan-text", "version: 1\nbackdrop:\n  colour: white\nlights:\n  - role: key\n    group: B\n    power: 1/3\n")
	p.pressText("Check")
	p.until("the fault is listed with its line", `document.querySelector('.faults li')?.innerText.startsWith('line 7')`)
	p.pressText("Use this plan")
	p.until("it is still refused", `document.querySelector('.faults')?.innerText.includes('1 fault')`)
	if n := len(s.Requests()); n != 0 {
		t.Fatalf("a faulty plan was taken: %d requests", n)
	}
	eval[chromedpVoid](p, `(() => { const a = document.querySelector('#plan-text'); a.value = a.value.replace('1/3', '1/4'); a.dispatchEvent(new Event('input', {bubbles: true})); })()`)
	p.pressText("Use this plan")
	p.says("The plan is in use.")
	if st := s.Snapshot().State; len(st.Lights) != 1 || st.Lights[0].Power != -2*exposure.Stop {
		t.Errorf("in use is:\n%s", st.PlanText)
	}
}

func TestPairingByAddressAndByCodeAndRevoking(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	devices, err := dashboard.OpenDevices("")
	if err != nil {
		t.Fatal(err)
	}
	v := serve(t, s, func(c *dashboard.Config) { c.Open, c.Devices = false, devices })

	code, _, _ := v.dash.NewCode(dashboard.Shoots)
	a := open(t, 1180, 820, v.url()+"#pair="+strings.ReplaceAll(code, "-", ""))
	a.says("Pair this device")
	a.fill("#pair-name", "the photographer's laptop")
	a.press(".pair button")
	a.says("power down 2/3 stop")
	if h := eval[string](a, `location.href`); h != v.url() {
		t.Errorf("the address still is %s; the code must leave it", h)
	}

	a.screen("devices")
	a.pressText("Make a code")
	a.until("a code is shown", `document.querySelector('.made output')?.innerText.length > 6`)
	second := eval[string](a, `document.querySelector('.made output').innerText`)

	b := open(t, 390, 844, v.url())
	b.says("Pair this device")
	b.fill("#pair-code", "AAAA-AAAA")
	b.fill("#pair-name", "tablet at the key")
	b.press(".pair button")
	b.says("that code is wrong")
	b.fill("#pair-code", second)
	b.press(".pair button")
	b.says("power down 2/3 stop")
	if eval[bool](b, `document.body.innerText.includes('Make it the baseline')`) {
		t.Error("a device at the lights is offered what only who shoots may do")
	}

	a.says("tablet at the key")
	a.press(`[aria-label="Revoke tablet at the key"]`)
	a.press(`.device-list button.strong`)
	b.says("Pair this device")
	if text := eval[string](b, `document.body.innerText`); strings.Contains(text, "power down") {
		t.Errorf("a device that was shut out still shows %q", text)
	}

	code, _, _ = v.dash.NewCode(dashboard.Lights)
	b.fill("#pair-code", code)
	b.press(".pair button")
	b.says("power down 2/3 stop")
	s.OnTarget()
	b.until("it hears of the next frame by itself", `document.querySelector('.board.hold')`)
}

// Of two tablets each sees in the shoot log what the other did, by its name, and what it did itself, as its own; of one
// that was shut out the log says on pages that are opened later that it is not paired any more.
func TestTheLogNamesWhoDidWhat(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	devices, err := dashboard.OpenDevices("")
	if err != nil {
		t.Fatal(err)
	}
	v := serve(t, s, func(c *dashboard.Config) { c.Open, c.Devices = false, devices })
	pair := func(role dashboard.Role, name string) *tab {
		code, _, _ := v.dash.NewCode(role)
		p := open(t, 1180, 820, v.url()+"#pair="+strings.ReplaceAll(code, "-", ""))
		p.fill("#pair-name", name)
		p.press(".pair button")
		p.says("power down 2/3 stop")
		return p
	}
	key, window := pair(dashboard.Lights, "tablet at the key"), pair(dashboard.Lights, "tablet by the window")
	key.press(`[aria-label="Fill (C): power down one click"]`)
	key.says("Fill (C) is set to 1/32.") // each in its turn, so that both are recorded
	window.says("Fill (C) is set to 1/32.")
	window.press(`[aria-label="Background (A): power up one click"]`)
	line := func(p *tab, of, by string) {
		t.Helper()
		p.until(fmt.Sprintf("the line about %s is by %s", of, by), fmt.Sprintf(`[...document.querySelectorAll('.latest .line')].some((l) => l.innerText.includes(%q) && l.querySelector('.by')?.innerText === %q)`, of, "by "+by))
	}
	line(key, "Fill (C) is set", "you")
	line(key, "Background (A) is set", "tablet by the window")
	line(window, "Fill (C) is set", "tablet at the key")
	line(window, "Background (A) is set", "you")

	list, err := devices.List()
	if err != nil || len(list) != 2 {
		t.Fatalf("paired are %v, %v; want two tablets", list, err)
	}
	boss := pair(dashboard.Shoots, "the photographer's laptop")
	line(boss, "Fill (C) is set", "tablet at the key")
	boss.screen("devices")
	boss.press(`[aria-label="Revoke tablet at the key"]`)
	boss.press(`.device-list button.strong`)
	key.says("Pair this device")
	late := pair(dashboard.Lights, "tablet at the door")
	line(late, "Fill (C) is set", "a device that is no longer paired")
	line(late, "Background (A) is set", "tablet by the window")
}

func TestWhoLooksOnWaitsUntilTheFramesAreOpened(t *testing.T) {
	t.Parallel()
	devices, err := dashboard.OpenDevices("")
	if err != nil {
		t.Fatal(err)
	}
	v := serve(t, rigged((*fake.Shoot).Shot), func(c *dashboard.Config) { c.Open, c.Devices = false, devices })
	code, _, _ := v.dash.NewCode(dashboard.Looks)
	p := open(t, 390, 844, v.url()+"#pair="+strings.ReplaceAll(code, "-", ""))
	p.press(".pair button")
	p.says("the photographer has not opened the frames")
}

func TestACodeForAMachineThatNeedsNoneLetsItIn(t *testing.T) {
	t.Parallel()
	p := open(t, 390, 844, serve(t, rigged()).url()+"#pair=AAAA3333")
	p.press(".pair button")
	p.says("Take a frame")
}

// The radio of a tablet goes off without a word on the connection.
func TestALostRadioLooksOldAtOnce(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	p := open(t, 1180, 820, serve(t, s).url())
	p.says("power down 2/3 stop")
	p.offline(true)
	p.says("What you see is old")
	s.OnTarget()
	p.offline(false)
	p.until("it is fresh again", `!document.querySelector('.stale-bar') && document.querySelector('.board.hold')`)
}

func TestWhoLooksOnSeesTheFrameAlone(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	devices, err := dashboard.OpenDevices("")
	if err != nil {
		t.Fatal(err)
	}
	v := serve(t, s, func(c *dashboard.Config) { c.Open, c.Devices, c.LooksOn = false, devices, true })
	code, _, _ := v.dash.NewCode(dashboard.Looks)
	p := open(t, 390, 844, v.url()+"#pair="+strings.ReplaceAll(code, "-", ""))
	p.press(".pair button")
	p.until("the frame is shown", `document.querySelector('.looks img')?.naturalWidth > 0`)
	if text := eval[string](p, `document.body.innerText`); strings.Contains(text, "power down") || strings.Contains(text, "Shoot log") {
		t.Errorf("who looks on reads %q", text)
	}
}

// Advice that no newer frame can follow is shown nowhere as if it still held.
func TestOldAdviceIsNotShownAsCurrent(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	p := open(t, 1180, 820, serve(t, s).url())
	p.until("the adjustment is on the board", `document.getElementById('advice').innerText.includes('1/8 + 1/3')`)
	s.Trouble("", shoot.Trouble{Code: "folder-gone", Text: "The capture folder is gone."})
	p.until("the board has no advice", `document.getElementById('advice').innerText.includes('No current advice')`)
	p.until("nothing else on the page advises either", `!document.querySelector('main').innerText.includes('set 1/8 + 1/3') && !document.querySelector('.turn-set')`)
	s.Trouble("")
	p.until("the advice is back", `document.querySelector('.turn-set')?.innerText.includes('1/8 + 1/3')`)
}

// paper is a plan file that is held in memory.
type paper struct {
	mu   sync.Mutex
	text string
}

func (p *paper) Read() (string, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.text, nil
}

func (p *paper) Write(text string) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.text = text
	return nil
}

// An edit goes into the plan's file. One that meets a file which somebody edited shows both, and writes over it once it is sent again.
func TestAPlanIsEditedAndItsFileWritten(t *testing.T) {
	t.Parallel()
	s := rigged()
	file := &paper{text: s.Snapshot().State.PlanText}
	p := open(t, 820, 1180, serve(t, s, func(c *dashboard.Config) { c.Plan = file }).url()+"#plan")
	p.until("the plan is shown", `document.querySelector('#plan-text')?.value.includes('Alder Quay')`)
	edit := func(was, is string) {
		t.Helper()
		eval[chromedpVoid](p, fmt.Sprintf(`(() => { const a = document.querySelector('#plan-text'); a.value = a.value.replace(%q, %q); a.dispatchEvent(new Event('input', {bubbles: true})); })()`, was, is))
	}
	edit("power: 1/4", "power: 1/4 # by the tablet")
	p.pressText("Use this plan")
	p.says("The plan is in use.")
	if text, _ := file.Read(); !strings.Contains(text, "# by the tablet") || text != s.Snapshot().State.PlanText {
		t.Errorf("after an edit the file holds\n%s", text)
	}
	_ = file.Write("# by hand\n" + s.Snapshot().State.PlanText)
	edit("# by the tablet", "# by the tablet again")
	p.pressText("Use this plan")
	p.says("the plan file holds another plan than the one in force")
	p.until("both are shown", `document.querySelector('.written-file pre').innerText.startsWith('# by hand') && document.querySelector('#plan-text').value.includes('tablet again')`)
	if strings.Contains(s.Snapshot().State.PlanText, "again") {
		t.Fatal("the edit took effect over a file that was edited")
	}
	p.pressText("Use this plan")
	p.until("what was shown is written over", `!document.querySelector('.written-file') && document.body.innerText.includes('The plan is in use.')`)
	if text, _ := file.Read(); text != s.Snapshot().State.PlanText || !strings.Contains(text, "tablet again") {
		t.Errorf("after the second press the file holds\n%s", text)
	}
}
