package browsertest

import (
	"bytes"
	"context"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"thirdstop/dashboard/sheet"
	"thirdstop/dashboard/sheet/sheettest"
)

// paper sizes in inches: ISO 216 A4 (210 x 297 mm), ANSI/ASME Y14.1 size A (8.5 x 11 in), called Letter.
var papers = []struct {
	name          string
	width, height float64
}{{"A4", 210 / 25.4, 297 / 25.4}, {"Letter", 8.5, 11}}

// The sheet is printed on both papers; with THIRDSTOP_PRINTS set to a folder the PDFs are left there to be looked at.
func TestTheSheetPrintsOnBothPapers(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	shoot, yes := sheettest.Shoot(48), true
	site := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/" { // the browser asks for an icon
			w.WriteHeader(http.StatusNoContent)
			return
		}
		w.Header().Set("Content-Security-Policy", sheet.Policy())
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		if err := sheet.Write(w, shoot, sheet.Options{}); err != nil {
			t.Error(err)
		}
	}))
	defer site.Close()
	p := open(t, 820, 1180, site.URL+"/")
	p.says("From above")
	if got := eval[string](p, `getComputedStyle(document.querySelector('.course')).stroke`); got != "rgb(32, 85, 125)" {
		t.Errorf("the policy kept the sheet's own style out: a course is drawn in %s", got)
	}
	axe, err := os.ReadFile(filepath.Join("testdata", "axe-core", "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range p.axe(string(axe)) {
		t.Errorf("on a screen: %s: %s (%s): %s", f.ID, f.Help, f.HelpURL, f.Nodes)
	}
	for _, paper := range papers {
		// The margin is the page's own, 12 mm on each side; nothing may stick out of what it leaves.
		inside := int64((paper.width - 24/25.4) * 96)
		p.do(chromedp.EmulateViewport(inside, 1000))
		p.do(chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
			_, err := cdp.Call(ctx, tg, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
			return err
		}))
		if over := eval[string](p, `[...document.querySelectorAll('body *')].filter((e) => e.getBoundingClientRect().right > innerWidth + 1).map((e) => e.tagName + ' ' + e.textContent.slice(0, 30)).join('; ')`); over != "" {
			t.Errorf("%s: sticks out to the right: %s", paper.name, over)
		}
		var pdf []byte
		p.do(chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
			got, err := cdp.Call(ctx, tg, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: paper.width, PaperHeight: paper.height, PrintBackground: &yes})
			if err == nil {
				pdf = got.Data
			}
			return err
		}))
		if n := bytes.Count(pdf, []byte("/Type /Page\n")); n < 2 || n > 4 {
			t.Errorf("%s: %d pages for 48 frames, want 2 to 4", paper.name, n)
		}
		if dir := os.Getenv("THIRDSTOP_PRINTS"); dir != "" {
			if err := os.WriteFile(filepath.Join(dir, "sheet-"+paper.name+".pdf"), pdf, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
}
