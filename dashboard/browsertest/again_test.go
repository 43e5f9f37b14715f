package browsertest

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/account"
	"thirdstop/dashboard"
	"thirdstop/dashboard/browsertest/fake"
	"thirdstop/dashboard/sheet"
	"thirdstop/dashboard/sheet/sheettest"
)

// shelf is a past of two shoots, one of which can be built again.
type shelf struct{}

func (shelf) Sheet(_ context.Context, _ string, w io.Writer) error {
	return sheet.Write(w, sheettest.Shoot(12), sheet.Options{})
}

func (shelf) Export(_ context.Context, _ string, table account.Table, form account.Form, w io.Writer) error {
	return sheettest.Shoot(12).Write(w, table, form)
}

func (shelf) Rebuild(_ context.Context, id string) (advise.Earlier, advise.PlanText, error) {
	return advise.Earlier{Shoot: id, Name: "committee, first evening", Frame: 12, Lights: []advise.EarlierLight{
		{Group: "B", Role: "key", Name: "Key (B)", Power: -60, PowerText: "1/4", Distance: 1.2}}}, advise.PlanText{Name: "as in " + id}, nil
}

func (shelf) Shoots(context.Context, int) ([]dashboard.PastShoot, error) {
	return []dashboard.PastShoot{{ID: "now", Began: "2026-11-25T09:00:00Z", Name: "committee, second evening", Frames: 3},
		{ID: "early", Began: "2026-11-20T10:00:00Z", Name: "committee, first evening", Frames: 64, Baseline: 12}}, nil
}

func TestAnEarlierLightIsBuiltAgainFromThePage(t *testing.T) {
	t.Parallel()
	s := fake.New(time.Now)
	v := serve(t, s, func(c *dashboard.Config) { c.Past = shelf{} })
	p := open(t, 1180, 820, v.url()+"#log")
	p.says("Sheet of this shoot")

	// The table that a press brings is the shoot's, and the log shows what is asked for.
	if got := eval[string](p, `fetch([...document.querySelectorAll('.log-export a')].find((a) => a.innerText === 'Frames').href).then(async (r) => r.headers.get('Content-Disposition') + ' ' + (await r.text()).split('\r\n').length)`); !strings.HasPrefix(got, "attachment") || !strings.HasSuffix(got, " 14") {
		t.Errorf("the export of the frames is %q, want a file of a header and twelve rows", got)
	}
	s.OnTarget()
	s.Change(func(*advise.State) []advise.Event {
		return []advise.Event{{Kind: "note", Text: "The key's umbrella sagged."}}
	})
	p.says("sagged")
	eval[chromedpVoid](p, `(() => { const e = document.querySelector('#log-kind'); e.value = 'notes'; e.dispatchEvent(new Event('change', {bubbles: true})); })()`)
	p.until("the note stands alone", `document.querySelectorAll('.log-screen .line').length === 1 && document.querySelector('.log-screen .line').innerText.includes('sagged')`)
	eval[chromedpVoid](p, `(() => { const e = document.querySelector('#log-kind'); e.value = 'all'; e.dispatchEvent(new Event('change', {bubbles: true})); })()`)
	p.until("all lines are back", `document.querySelectorAll('.log-screen .line').length > 2`)
	p.pressText("List them")
	p.says("committee, first evening")
	if n := eval[int](p, `document.querySelectorAll('.past li button').length`); n != 1 {
		t.Errorf("%d shoots can be built again, want the one with a baseline", n)
	}
	if href := eval[string](p, `document.querySelector('[data-shoot=early] a').getAttribute('href')`); href != "/api/v1/sheet?shoot=early&language=en" {
		t.Errorf("its sheet is at %s", href)
	}
	axe, err := os.ReadFile(filepath.Join("testdata", "axe-core", "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range p.axe(string(axe)) {
		t.Errorf("the list: %s: %s (%s): %s", f.ID, f.Help, f.HelpURL, f.Nodes)
	}
	p.pressText("Build this light again")
	p.says("The light plan is replaced")
	p.pressText("Build it")
	p.screen("lights")
	p.says("As in committee, first evening")
	p.says("Key (B) stood at 1/4 at 1.2 m then")
}
