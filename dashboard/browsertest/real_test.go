package browsertest

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thirdstop/testdata"
)

// The whole way in a second engine, with the program itself and files on disk: no plan, three answers, the advice
// followed until it holds, a white reference, a light, a second tablet, the daemon gone and back.
func TestAShootInFirefoxWithTheProgramItself(t *testing.T) {
	t.Parallel()
	testdata.Long(t)
	fox := startFox(t)
	axe, err := os.ReadFile(filepath.Join("testdata", "axe-core", "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	keep := t.TempDir()
	daemon := startReal(t, program(t), "demo", "--no-plan", "--no-browser", "--keep", keep, "--listen", freePort(t))
	p := fox.open(1180, 820, daemon.URL)
	p.says("Measuring")
	began := time.Now()

	// Three answers, as the dials of the virtual studio stand.
	var dials []struct {
		Group string `json:"group"`
		Role  string `json:"role"`
		Power string `json:"power_text"`
	}
	p.ask(`fetch('/demo/studio').then((r) => r.json()).then((s) => s.lights)`, &dials)
	p.pressText("Give three answers")
	p.press(`input[name=count][value="4"]`)
	p.until("four lights are asked for", `document.querySelectorAll('.dial').length === 4`)
	p.until("their roles are filled in", `document.querySelectorAll('.answer-lights select').length >= 8`)
	for i, d := range dials {
		sel := fmt.Sprintf(`[aria-label="Dial of %s (%s)"]`, d.Role, d.Group)
		p.until(sel+" is there", fmt.Sprintf(`document.querySelector(%q)`, sel))
		p.fill(sel, d.Power)
		_ = i
	}
	p.pressText("Begin advising")
	p.until("there is advice or a frame is asked for", `document.querySelector('.board.waiting, .board.adjust, .board.look')`)

	// Followed in the studio alone: nobody records anything.
	first := time.Duration(0)
	for turn := 0; ; turn++ {
		if turn == 12 {
			t.Fatal("after twelve frames the advice does not hold")
		}
		var n int
		p.ask(`Number((document.querySelector('.frame h2')?.innerText.match(/\d+/) || [0])[0])`, &n)
		p.until("the studio's bar knows what is advised", `document.querySelector('.board.hold, .board.look, .board.waiting') || ![...document.querySelectorAll('.demo-bar button')][0].disabled`)
		var status string
		p.ask(`document.getElementById('advice').className`, &status)
		if strings.Contains(status, "hold") {
			break
		}
		if strings.Contains(status, "adjust") {
			p.pressText("Turn as advised")
			p.until("the dials are turned", `[...document.querySelectorAll('.demo-bar button')][0].disabled`)
			if first == 0 {
				first = time.Since(began)
			}
		}
		p.pressText("Take a frame")
		p.until("the next frame is there", fmt.Sprintf(`Number((document.querySelector('.frame h2')?.innerText.match(/\d+/) || [0])[0]) > %d`, n))
		// The picture can be there before its advice: pressed in between, the advice of the frame before would be followed.
		for end, yes := time.Now().Add(20*time.Second), false; !yes; {
			p.ask(fmt.Sprintf(`fetch('/api/v1/state').then((r) => r.json()).then((s) => s.advice.frame > %d && document.getElementById('advice').classList.contains(s.advice.status))`, n), &yes)
			if time.Now().After(end) {
				t.Fatalf("no advice comes of the frame after %d", n)
			}
		}
	}
	t.Logf("from the open page to the first advice followed: %.1f s", first.Seconds())
	if first > time.Minute {
		t.Errorf("it took %.0f s to the first advice followed, want under a minute", first.Seconds())
	}
	p.picture("firefox-hold")

	// The white card is tapped on the frame.
	p.pressText("Show a part …")
	p.until("the picture can be marked", `document.querySelector('.marker-field')`)
	var field [4]float64
	p.ask(`(r => [r.left, r.top, r.width, r.height])(document.querySelector('.marker-field').getBoundingClientRect())`, &field)
	p.mouse([2]float64{field[0] + field[2]*0.5, field[1] + field[3]*0.72})
	p.pressText("Use this")
	p.until("the white reference stands", `!document.querySelector('.marking') && document.querySelector('.region-white')`)

	// A light is turned by hand, and the second tablet sees it.
	p.f.call("browsingContext.setViewport", map[string]any{"context": p.context, "viewport": map[string]int{"width": 1180, "height": 2400}}, nil)
	second := fox.open(390, 844, daemon.URL)
	second.until("the second tablet is there", `document.querySelector('.light output')`)
	var before, after string
	p.ask(`document.querySelectorAll('.light output')[1].innerText`, &before)
	p.click("the key's power down", `document.querySelectorAll('.light .stepper button')[2]`)
	second.until("the second tablet shows the key's new setting", fmt.Sprintf(`document.querySelectorAll('.light output')[1].innerText !== %q`, before))
	second.ask(`document.querySelectorAll('.light output')[1].innerText`, &after)
	p.until("both show the same", fmt.Sprintf(`document.querySelectorAll('.light output')[1].innerText === %q`, after))

	for _, f := range p.axe(string(axe)) {
		t.Errorf("#now: %s: %s (%s): %s", f.ID, f.Help, f.HelpURL, f.Nodes)
	}
	for _, s := range []string{"frames", "lights", "past", "log", "plan", "walk", "devices"} {
		p.press(fmt.Sprintf(`.foot nav a[href="#%s"]`, s))
		p.until("the screen "+s+" is drawn", fmt.Sprintf(`document.querySelector('.app.on-%s .screen')?.innerText.length > 20`, s))
		p.picture("firefox-" + s)
		for _, f := range p.axe(string(axe)) {
			t.Errorf("#%s: %s: %s (%s): %s", s, f.ID, f.Help, f.HelpURL, f.Nodes)
		}
	}
	p.press(`.foot nav a[href="#past"]`)
	p.until("the shoot over time is drawn", `document.querySelectorAll('.over-dot').length > 3`)

	// The daemon stops and begins again: the page says it is old, and catches up by itself.
	var marked bool
	p.ask(`(window.notReloaded = true)`, &marked)
	p.press(`.foot nav a[href="#now"]`)
	daemon.down()
	p.until("the page says it is old", `/Not connected since \d+ s. What you see is old/.test(document.body.innerText)`)
	p.picture("firefox-stale")
	daemon.up()
	p.until("it is fresh again", `!document.querySelector('.stale-bar') && document.querySelector('.light output')`)
	p.ask(`window.notReloaded === true`, &marked)
	if !marked {
		t.Error("the page was loaded anew; it must catch up by itself")
	}
}

// Somebody who tries the demo and reads nothing presses the one button that stands out, again and again, and has followed the first
// advice within a minute, three seconds of looking before every press included.
func TestANewUserFollowsTheFirstAdviceWithoutReading(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	command := program(t)
	began := time.Now()
	daemon := startReal(t, command, "demo", "--no-browser", "--listen", freePort(t))
	p := open(t, 1180, 820, daemon.URL)
	const looking, most = 3 * time.Second, 6
	followed := `fetch('/api/v1/events?after=0&limit=100').then((r) => r.json()).then((l) => l.events.some((e) => e.kind === 'followed'))`
	presses := 0
	for ; !eval[bool](p, followed); presses++ {
		if presses == most {
			t.Fatalf("after %d presses no advice is followed", most)
		}
		p.until("one button stands out, and what was pressed before is done", `document.querySelectorAll('.app button.strong:not(:disabled)').length === 1 && document.querySelector('.frame h2')`)
		frame := eval[string](p, `document.querySelector('.frame h2').innerText`)
		shoots := eval[bool](p, `document.querySelector('.app button.strong').innerText === 'Take a frame'`)
		p.press(".app button.strong:not(:disabled)")
		if shoots {
			p.until("the next frame is there", fmt.Sprintf(`document.querySelector('.frame h2').innerText !== %q && fetch('/api/v1/state').then((r) => r.json()).then((s) => s.advice.frame === s.frame.number && document.getElementById('advice').classList.contains(s.advice.status))`, frame))
		} else {
			p.until("the dials are turned", `document.querySelector('.app button.strong:not(:disabled)')?.innerText === 'Take a frame'`)
		}
	}
	took := time.Since(began)
	t.Logf("from the command to the first advice followed: %.1f s, and %d presses", took.Seconds(), presses)
	if total := took + time.Duration(presses)*looking; total > time.Minute {
		t.Errorf("with %v of looking before each of %d presses it takes %.0f s, want a minute at most", looking, presses, total.Seconds())
	}
}

// The program's own record is exported from the page, and an edit of the plan on the page is in its file, comments and all.
func TestTheProgramExportsItsRecordAndWritesItsPlan(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	keep := t.TempDir()
	daemon := startReal(t, program(t), "demo", "--no-browser", "--keep", keep, "--listen", freePort(t))
	p := open(t, 1180, 820, daemon.URL)
	p.until("the first frame is there", `document.querySelector('.frame h2')`)
	p.screen("log")
	p.until("the tables are offered", `document.querySelector('.log-export a')`)
	for _, table := range []string{"Frames", "Shoot log"} {
		got := eval[string](p, fmt.Sprintf(`fetch([...document.querySelectorAll('.log-export a')].find((a) => a.innerText === %q).href).then((r) => r.text())`, table))
		if rows := strings.Count(got, "\r\n"); rows < 2 || !strings.HasPrefix(got, `"shoot","head",`) && !strings.HasPrefix(got, "shoot,head,") {
			t.Errorf("the table %q has %d lines and begins with %.60s", table, rows, got)
		} else if table == "Shoot log" && !strings.Contains(got, "Frame 1") {
			t.Errorf("the exported log does not tell of frame 1:\n%.600s", got)
		}
	}
	p.screen("plan")
	p.until("the plan is shown", `document.querySelector('#plan-text')?.value.length > 50`)
	eval[chromedpVoid](p, `(() => { const a = document.querySelector('#plan-text'); a.value = '# told by the tablet\n' + a.value; a.dispatchEvent(new Event('input', {bubbles: true})); })()`)
	p.pressText("Use this plan")
	p.says("The plan is in use.")
	text, err := os.ReadFile(filepath.Join(keep, "boathouse.yaml"))
	if err != nil || !strings.HasPrefix(string(text), "# told by the tablet\n") {
		t.Fatalf("the plan's file holds %.80s, %v", text, err)
	}
	// After a restart the same plan stands, and is not handed over as a new one.
	before := eval[int](p, `fetch('/api/v1/events?after=0&limit=500').then((r) => r.json()).then((l) => l.events.filter((e) => e.kind === 'plan').length)`)
	daemon.down()
	daemon.up()
	p.until("it is back", `fetch('/api/v1/state').then((r) => r.json()).then((s) => s.plan.present, () => false)`)
	if after := eval[int](p, `fetch('/api/v1/events?after=0&limit=500').then((r) => r.json()).then((l) => l.events.filter((e) => e.kind === 'plan').length)`); after != before {
		t.Errorf("after a restart the log tells of %d plans, want %d as before", after, before)
	}
}

// A tablet of the network pairs over HTTPS with the program's own certificate, and then has what plain
// HTTP does not give: a secure context, with a wake lock where the browser knows it.
func TestATabletPairsOverHTTPSInFirefox(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("skipped: -short")
	}
	fox := startFox(t)
	capture, data := t.TempDir(), t.TempDir()
	_, port, err := net.SplitHostPort(freePort(t))
	if err != nil {
		t.Fatal(err)
	}
	daemon := startReal(t, program(t), "run", "--https", "--data", data, "--listen", "0.0.0.0:"+port, capture)
	if !strings.HasPrefix(daemon.URL, "https://") {
		t.Fatalf("the page is said to be at %s, want an address with https", daemon.URL)
	}
	p := fox.open(820, 1180, daemon.URL+"#pair="+daemon.Code)
	p.says("Pair this device")
	p.fill("#pair-name", "tablet")
	p.press(".pair button")
	p.says("Measuring")
	var secure bool
	if p.ask(`window.isSecureContext && location.hash === ''`, &secure); !secure {
		t.Error("the page is in no secure context, or the code still stands in its address")
	}
	p.press(`.foot nav a[href="#devices"]`)
	p.pressText("Make a code")
	p.until("the code is drawn for a camera", `document.querySelector('.squares-dark')?.getAttribute('d')?.length > 500`)
	if files, err := os.ReadDir(capture); err != nil || len(files) != 0 {
		t.Errorf("the capture folder holds %d files (%v); nothing may be written there", len(files), err)
	}
}

func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}
