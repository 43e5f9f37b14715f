package browsertest

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"thirdstop/assess/exposure"
	"thirdstop/dashboard/browsertest/fake"
)

var screensTo = flag.String("screens", "", "write a picture of every screen in every size into this folder")

// TestPicturesOfTheScreens writes the pictures that README.md shows, of the demo as it runs:
// `go test ./dashboard/browsertest -run Pictures -args -screens FOLDER`.
func TestPicturesOfTheScreens(t *testing.T) {
	if *screensTo == "" {
		t.Skip("skipped: no folder was given with -screens")
	}
	daemon := startReal(t, program(t), "demo", "--no-browser", "--listen", freePort(t))
	p := open(t, 1180, 820, daemon.URL)
	shoot := func() {
		n := eval[int](p, `Number((document.querySelector('.frame h2')?.innerText.match(/\d+/) || [0])[0])`)
		p.pressText("Take a frame")
		p.until("the next frame is there", fmt.Sprintf(`Number((document.querySelector('.frame h2')?.innerText.match(/\d+/) || [0])[0]) > %d`, n))
	}
	p.until("the first frame is there", `document.querySelector('.frame h2') && document.querySelector('.board:not(.opening)')`)
	{
		p.pressText("Show a part …")
		p.until("the picture can be marked", `document.querySelector('.marker-field')`)
		r := eval[[]float64](p, `(() => { const r = document.querySelector('.marker-field').getBoundingClientRect(); return [r.left, r.top, r.width, r.height]; })()`)
		p.tap(r[0]+r[2]*0.5, r[1]+r[3]*0.72)
		p.pressText("Use this")
		p.until("the white reference stands", `!document.querySelector('.marking') && document.querySelector('.region-white')`)
	}
	shoot()
	for _, size := range sizes {
		p.do(chromedp.EmulateViewport(size[0], size[1]))
		p.pressText("Show a part …")
		p.press("input[name=part][value=face]")
		p.until("the sheet is there", `document.querySelector('.marking img')?.naturalWidth > 0 && document.querySelector('.marker-field')`)
		p.picture(*screensTo, fmt.Sprintf("mark-%dx%d", size[0], size[1]))
		p.pressText("Cancel")
	}
	p.allSizes("adjust", "now")
	for turn := 0; turn < 12 && !eval[bool](p, `!!document.querySelector('.board.hold')`); turn++ {
		if eval[bool](p, `!!document.querySelector('.board.adjust')`) {
			p.pressText("Turn as advised")
			p.until("the dials are turned", `document.querySelector('.demo-bar button').disabled`)
		}
		shoot()
		p.until("it is advised upon", `document.querySelector('.board.adjust, .board.hold, .board.look')`)
	}
	shoot()
	shoot()
	for _, s := range screens {
		p.allSizes(s, s)
	}
	// The guide to the tone curve, some frames on: the virtual studio has no shutter steps, so its frames are made up.
	b := &bench{s: fake.New(time.Now)}
	guide := open(t, 1180, 820, serve(t, b.s).url()+"#walk")
	guide.pressText("Learn the tone curve")
	guide.says("Switch every flash off.")
	for _, shutter := range []exposure.Shutter{1.0 / 6, 1.0 / 8, 1.0 / 15, 1.0 / 30} {
		b.take(shutter, nil)
	}
	guide.until("the frames are listed", `document.querySelectorAll('.curve-next').length === 1 && document.body.innerText.includes('4 frames serve')`)
	guide.allSizes("curve", "walk")

	p.do(chromedp.EmulateViewport(1180, 820))
	p.screen("devices")
	p.pressText("bright room")
	p.screen("now")
	p.until("the frame is drawn", `document.querySelector('.frame-in img')?.naturalWidth > 0`)
	p.picture(*screensTo, "bright-1180x820")
}

// allSizes writes a screen's picture in each size.
func (p *tab) allSizes(name, screen string) {
	p.t.Helper()
	for _, size := range sizes {
		p.do(chromedp.EmulateViewport(size[0], size[1]))
		p.screen(screen)
		p.until("the screen is drawn", `document.querySelector('main > :nth-child(2)') && [...document.images].every((i) => i.complete)`)
		eval[chromedpVoid](p, `new Promise((done) => { window.scrollTo(0, 0); setTimeout(done, 400); })`)
		p.picture(*screensTo, fmt.Sprintf("%s-%dx%d", name, size[0], size[1]))
	}
	p.do(chromedp.EmulateViewport(sizes[0][0], sizes[0][1]))
	p.screen("now")
}

func (p *tab) picture(folder, name string) {
	p.t.Helper()
	png, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, name+".png"), png, 0o644); err != nil {
		p.t.Fatal(err)
	}
}
