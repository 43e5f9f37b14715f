package browsertest

import (
	"context"
	"flag"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"thirdstop/dashboard"
	"thirdstop/dashboard/browsertest/fake"
	"thirdstop/dashboard/web"
)

// browsers are the commands under which Chromium is installed.
var browsers = []string{"chromium", "chromium-browser", "google-chrome", "headless-shell"}

var allocator context.Context

func TestMain(m *testing.M) {
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox,
		chromedp.Flag("disable-gpu", true), chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-component-update", true),
		// No process is kept ready for a page that may come: there are many short ones here.
		chromedp.Flag("disable-features", "Translate,BlinkGenPropertyTrees,SpareRendererForSitePerProcess"))
	for _, name := range browsers {
		if path, err := exec.LookPath(name); err == nil {
			alloc, stop := chromedp.NewExecAllocator(context.Background(), append(opts, chromedp.ExecPath(path))...)
			browser, stopBrowser := chromedp.NewContext(alloc)
			if err := chromedp.Do(browser); err != nil { // starts it
				fmt.Fprintf(os.Stderr, "%s does not start: %v\n", path, err)
				os.Exit(1)
			}
			allocator = browser
			code := run(m)
			stopBrowser()
			stop()
			os.Exit(code)
		}
	}
	os.Exit(run(m))
}

// most is how many tests run beside each other. They wait for browsers and clocks rather than compute.
const most = "3"

func run(m *testing.M) int {
	flag.Parse()
	given := false
	flag.Visit(func(f *flag.Flag) { given = given || f.Name == "test.parallel" })
	if !given {
		_ = flag.Set("test.parallel", most)
	}
	defer func() {
		if builtIn != "" {
			os.RemoveAll(builtIn)
		}
		if oneFox.fox != nil {
			oneFox.stop()
		}
	}()
	return m.Run()
}

// needsBrowser skips a test where there is none; under CI that is a failure.
func needsBrowser(t *testing.T) {
	t.Helper()
	switch {
	case allocator != nil:
	case os.Getenv("CI") == "true":
		t.Fatalf("no browser was found under the names %s, and under CI the pages must be tried", strings.Join(browsers, ", "))
	default:
		t.Skipf("skipped: no browser was found under the names %s", strings.Join(browsers, ", "))
	}
}

// server is a real dashboard on a port of its own, which can go down and come back.
type server struct {
	t     *testing.T
	shoot *fake.Shoot
	cfg   dashboard.Config
	addr  string
	dash  *dashboard.Server
	stop  func()
}

func serve(t *testing.T, s *fake.Shoot, change ...func(*dashboard.Config)) *server {
	t.Helper()
	v := &server{t: t, shoot: s, addr: "127.0.0.1:0", cfg: dashboard.Config{Shoot: s, Pages: web.Files, Open: true}}
	for _, f := range change {
		f(&v.cfg)
	}
	v.up()
	t.Cleanup(func() { v.down() })
	return v
}

func (v *server) up() {
	v.t.Helper()
	l, err := net.Listen("tcp", v.addr)
	if err != nil {
		v.t.Fatalf("the server can't listen: %v", err)
	}
	v.addr = l.Addr().String()
	if v.dash, err = dashboard.New(v.cfg); err != nil {
		v.t.Fatalf("the server can't be made: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- v.dash.Serve(ctx, l) }()
	v.stop = func() {
		cancel()
		if err := <-done; err != nil {
			v.t.Errorf("the server ended with %v", err)
		}
		v.stop = nil
	}
}

func (v *server) down() {
	if v.stop != nil {
		v.stop()
	}
}

func (v *server) url() string { return "http://" + v.addr + "/" }

// tab is one page in a browser profile of its own: no cookie or setting is shared.
type tab struct {
	t   *testing.T
	ctx context.Context

	mu       sync.Mutex
	requests []string
	bytes    int
	axeIn    runtime.ExecutionContextID // the world that axe-core was brought into; 0: none yet
	faults   []string                   // console errors, exceptions, breaches of the content policy
}

// expectLost are console lines that a server which is down on purpose causes.
var expectLost = []string{"net::ERR_CONNECTION_REFUSED", "WebSocket connection to", "status of 401", "status of 403", "status of 409", "status of 422", "net::ERR_CONNECTION_RESET", "net::ERR_EMPTY_RESPONSE", "net::ERR_INTERNET_DISCONNECTED"}

func open(t *testing.T, width, height int64, url string) *tab {
	t.Helper()
	needsBrowser(t)
	ctx, cancel := chromedp.NewContext(allocator, chromedp.WithNewBrowserContext())
	ctx, cancelTime := context.WithTimeout(ctx, 4*time.Minute)
	p := &tab{t: t, ctx: ctx}
	t.Cleanup(func() {
		cancelTime()
		cancel()
		p.mu.Lock()
		defer p.mu.Unlock()
		for _, f := range p.faults {
			t.Errorf("the page complained: %s", f)
		}
	})
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		if _, err := cdp.Call(ctx, t, network.Enable, network.EnableParams{}); err != nil {
			return err
		}
		// Colours that fade would make every check of them wait.
		still := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-reduced-motion", Value: "reduce"}}}
		if _, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, still); err != nil {
			return err
		}
		// Every page takes itself for the one in front, as on a tablet of its own.
		if _, err := cdp.Call(ctx, t, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}); err != nil {
			return err
		}
		_, err := cdp.Call(ctx, t, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{
			Source: `document.addEventListener('securitypolicyviolation', (e) => console.error('content policy: ' + e.violatedDirective + ' ' + e.blockedURI));`})
		return err
	}))
	if err := chromedp.Listen(ctx, p.heard); err != nil {
		t.Fatal(err)
	}
	p.do(chromedp.EmulateViewport(width, height), chromedp.Navigate(url))
	return p
}

func (p *tab) heard(ev any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch e := ev.(type) {
	case *network.EventRequestWillBeSent:
		p.requests = append(p.requests, e.Request.URL)
	case *network.EventLoadingFinished:
		p.bytes += int(e.EncodedDataLength)
	case *runtime.EventExceptionThrown:
		p.fault("exception: " + e.ExceptionDetails.Text + " " + describe(e.ExceptionDetails.Exception))
	case *runtime.EventConsoleAPICalled:
		if e.Type == "error" || e.Type == "warning" {
			var words []string
			for _, a := range e.Args {
				words = append(words, describe(a))
			}
			p.fault(strings.Join(words, " "))
		}
	case *log.EventEntryAdded:
		if e.Entry.Level == "error" {
			p.fault(e.Entry.Text + " " + e.Entry.URL)
		}
	}
}

func describe(o *runtime.RemoteObject) string {
	if o == nil {
		return ""
	}
	if o.Description != "" {
		return o.Description
	}
	return string(o.Value)
}

func (p *tab) fault(text string) {
	for _, known := range expectLost {
		if strings.Contains(text, known) {
			return
		}
	}
	p.faults = append(p.faults, text)
}

func (p *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	if err := chromedp.Do(p.ctx, steps...); err != nil {
		p.t.Fatalf("the browser did not do it: %v", err)
	}
}

// eval gives what an expression is in the page.
func eval[T any](p *tab, js string) T {
	p.t.Helper()
	v, err := chromedp.Run(p.ctx, chromedp.Evaluate[T](js, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatalf("%s: %v", js, err)
	}
	return v
}

// patience is how long the page may take for anything. It is long because a machine may do much else; who waits in vain is told what for.
const patience = time.Minute

// until waits for an expression to come true, and says what was waited for.
func (p *tab) until(what, js string) {
	p.t.Helper()
	_, err := chromedp.Run(p.ctx, chromedp.Poll[bool]("!!("+js+")", chromedp.WithPollingInterval(40*time.Millisecond), chromedp.WithPollingTimeout(patience)))
	if err != nil {
		p.t.Fatalf("in vain waited until %s (%v); the page says:\n%s", what, err, eval[string](p, `document.body.innerText`))
	}
}

// says waits until the page shows a text.
func (p *tab) says(text string) {
	p.t.Helper()
	p.until(fmt.Sprintf("the page says %q", text), fmt.Sprintf(`document.body.innerText.replace(/\s+/g, ' ').includes(%q)`, text))
}

// press clicks on what a CSS selector names, with the mouse, as a person does.
func (p *tab) press(sel string) {
	p.t.Helper()
	p.until(sel+" is there to be pressed", fmt.Sprintf(`document.querySelector(%q) && !document.querySelector(%q).disabled`, sel, sel))
	eval[chromedp.Void](p, fmt.Sprintf(`document.querySelector(%q).scrollIntoView({block: 'center'})`, sel))
	p.do(chromedp.Click(chromedp.CSS(sel)))
}

// pressText clicks on the button or link with a text.
func (p *tab) pressText(text string) {
	p.t.Helper()
	find := fmt.Sprintf(`[...document.querySelectorAll('button, a, label')].find((b) => b.innerText.trim() === %q && !b.disabled)`, text)
	p.until(fmt.Sprintf("%q is there to be pressed", text), find)
	eval[chromedp.Void](p, fmt.Sprintf(`document.querySelectorAll('[data-press]').forEach((e) => e.removeAttribute('data-press')), %s.setAttribute('data-press', '')`, find))
	p.press("[data-press]")
}

// size gives the window another size, and waits until the page is drawn in it.
func (p *tab) size(size [2]int64) {
	p.t.Helper()
	p.do(chromedp.EmulateViewport(size[0], size[1]))
	p.until("the page has its size", fmt.Sprintf(`innerWidth === %d`, size[0]))
	eval[chromedpVoid](p, `new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done())))`)
}

func (p *tab) fill(sel, text string) {
	p.t.Helper()
	p.press(sel)
	eval[chromedp.Void](p, fmt.Sprintf(`document.querySelector(%q).select?.()`, sel))
	p.do(chromedp.SendKeys(chromedp.CSS(sel), text))
}

// screen goes to one of the page's screens by its name at the foot, as the width allows.
func (p *tab) screen(name string) {
	p.t.Helper()
	p.until("the names of the screens are there", `document.querySelector('.foot nav a')`)
	link := fmt.Sprintf(`.foot nav a[href="#%s"]`, name)
	if eval[bool](p, fmt.Sprintf(`document.querySelector(%q).offsetWidth === 0`, link)) {
		p.press(`.foot nav a[href="#more"]`)
		link = fmt.Sprintf(`.more-screen a[href="#%s"]`, name)
	}
	p.press(link)
	p.until("the screen is there", fmt.Sprintf(`document.querySelector('.app.on-%s')`, name))
}
