package browsertest

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"

	"thirdstop/dashboard/browsertest/fake"
)

var screensTo = flag.String("screens", "", "write a picture of every screen in every size into this folder")

// TestPicturesOfTheScreens writes the pictures that README.md shows, for `go test -run Pictures -screens ../web/screens`.
func TestPicturesOfTheScreens(t *testing.T) {
	if *screensTo == "" {
		t.Skip("skipped: no folder was given with -screens")
	}
	v := serve(t, crowded())
	plain := serve(t, rigged((*fake.Shoot).OnTarget, (*fake.Shoot).Shot))
	for _, size := range sizes {
		p := open(t, size[0], size[1], plain.url())
		p.says("power down 2/3 stop")
		p.picture(fmt.Sprintf("adjust-%dx%d", size[0], size[1]))
		p.do(chromedp.Navigate(v.url()))
		for _, s := range screens {
			p.screen(s)
			p.until("the pictures are drawn", `[...document.images].every((i) => i.complete)`)
			eval[chromedpVoid](p, `window.scrollTo(0, 0)`)
			p.picture(fmt.Sprintf("%s-%dx%d", s, size[0], size[1]))
		}
	}
}

func (p *tab) picture(name string) {
	p.t.Helper()
	png, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(*screensTo, name+".png"), png, 0o644); err != nil {
		p.t.Fatal(err)
	}
}
