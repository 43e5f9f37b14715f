package browsertest

import (
	"bufio"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"
)

// A second engine: Firefox, spoken to in the W3C's WebDriver BiDi, of which this file has the few
// commands that the jobs need.

var firefoxes = []string{"firefox-esr", "firefox"}

// fox is one Firefox; each of its pages lives in a user context of its own. The page opened last is in front.
type fox struct {
	t    *testing.T // whose turn it is
	conn *websocket.Conn
	last int
	stop func()
}

// oneFox is started with the first test that needs it, and held by the one that uses it.
var oneFox struct {
	sync.Mutex
	*fox
}

// startFox gives Firefox to one test after the other.
func startFox(t *testing.T) *fox {
	t.Helper()
	oneFox.Lock()
	t.Cleanup(oneFox.Unlock)
	if oneFox.fox == nil {
		oneFox.fox = newFox(t)
	}
	oneFox.t = t
	return oneFox.fox
}

func newFox(t *testing.T) *fox {
	t.Helper()
	path := ""
	for _, name := range firefoxes {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	switch {
	case path != "":
	case os.Getenv("CI") == "true":
		t.Fatalf("no second browser was found under the names %s, and under CI the pages must be tried in one", strings.Join(firefoxes, ", "))
	default:
		t.Skipf("skipped: no browser was found under the names %s", strings.Join(firefoxes, ", "))
	}
	profile, err := os.MkdirTemp("", "thirdstop-firefox-")
	if err != nil {
		t.Fatal(err)
	}
	// It must speak to nobody but the daemon under test.
	prefs := `user_pref("app.update.enabled", false);
user_pref("browser.shell.checkDefaultBrowser", false);
user_pref("browser.region.network.url", "");
user_pref("datareporting.policy.dataSubmissionEnabled", false);
user_pref("extensions.getAddons.cache.enabled", false);
user_pref("network.captive-portal-service.enabled", false);
user_pref("network.connectivity-service.enabled", false);
user_pref("services.settings.server", "data:,");
user_pref("intl.accept_languages", "en-GB");
user_pref("ui.prefersReducedMotion", 1);
`
	if err := os.WriteFile(filepath.Join(profile, "user.js"), []byte(prefs), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(path, "--headless", "--no-remote", "--profile", profile, "--remote-debugging-port", "0")
	cmd.Env = append(os.Environ(), "MOZ_HEADLESS=1")
	said, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	f := &fox{t: t, stop: func() {
		cmd.Process.Kill()
		cmd.Wait()
		os.RemoveAll(profile)
	}}
	defer func() {
		if t.Failed() {
			f.stop()
		}
	}()
	address := make(chan string, 1)
	go func() {
		lines := bufio.NewScanner(said)
		for lines.Scan() {
			if _, at, ok := strings.Cut(lines.Text(), "WebDriver BiDi listening on "); ok {
				address <- strings.TrimSpace(at)
				break
			}
		}
		io.Copy(io.Discard, said)
	}()
	select {
	case at := <-address:
		if f.conn, _, err = websocket.DefaultDialer.Dial(at+"/session", nil); err != nil {
			t.Fatalf("Firefox does not speak WebDriver BiDi at %s: %v", at, err)
		}
	case <-time.After(patience):
		t.Fatal("Firefox did not say where it listens")
	}
	f.call("session.new", map[string]any{"capabilities": map[string]any{"alwaysMatch": map[string]any{"acceptInsecureCerts": true}}}, nil)
	return f
}

// call gives a command and waits for its answer. Events that come meanwhile are passed over.
func (f *fox) call(method string, params any, into any) {
	f.t.Helper()
	if err := f.try(method, params, into); err != nil {
		f.t.Fatalf("%s: %v", method, err)
	}
}

func (f *fox) try(method string, params any, into any) error {
	f.last++
	if err := f.conn.WriteJSON(map[string]any{"id": f.last, "method": method, "params": params}); err != nil {
		return err
	}
	_ = f.conn.SetReadDeadline(time.Now().Add(patience))
	for {
		var m struct {
			ID      int             `json:"id"`
			Type    string          `json:"type"`
			Result  json.RawMessage `json:"result"`
			Error   string          `json:"error"`
			Message string          `json:"message"`
		}
		if err := f.conn.ReadJSON(&m); err != nil {
			return err
		}
		if m.ID != f.last {
			continue
		}
		if m.Type == "error" {
			return fmt.Errorf("%s: %s", m.Error, m.Message)
		}
		if into == nil {
			return nil
		}
		return json.Unmarshal(m.Result, into)
	}
}

// den is one page of Firefox.
type den struct {
	f       *fox
	t       *testing.T
	context string
}

func (f *fox) open(width, height int, url string) *den {
	f.t.Helper()
	var user struct {
		UserContext string `json:"userContext"`
	}
	f.call("browser.createUserContext", map[string]any{}, &user)
	var made struct {
		Context string `json:"context"`
	}
	f.call("browsingContext.create", map[string]any{"type": "tab", "userContext": user.UserContext}, &made)
	p := &den{f: f, t: f.t, context: made.Context}
	p.t.Cleanup(func() { _ = f.try("browsingContext.close", map[string]any{"context": p.context}, nil) })
	f.call("browsingContext.setViewport", map[string]any{"context": p.context, "viewport": map[string]int{"width": width, "height": height}}, nil)
	f.call("browsingContext.navigate", map[string]any{"context": p.context, "url": url, "wait": "complete"}, nil)
	return p
}

// ask gives what an expression is in the page, by way of JSON.
func (p *den) ask(js string, into any) {
	p.t.Helper()
	var got struct {
		Type   string `json:"type"`
		Result struct {
			Value string `json:"value"`
		} `json:"result"`
		Details struct {
			Text string `json:"text"`
		} `json:"exceptionDetails"`
	}
	p.f.call("script.evaluate", map[string]any{"expression": "(async () => JSON.stringify(await (" + js + ") ?? null))()", "awaitPromise": true,
		"target": map[string]any{"context": p.context}}, &got)
	if got.Type != "success" {
		p.t.Fatalf("%s: %s", js, got.Details.Text)
	}
	if err := json.Unmarshal([]byte(got.Result.Value), into); err != nil {
		p.t.Fatalf("%s gave %q: %v", js, got.Result.Value, err)
	}
}

func (p *den) until(what, js string) {
	p.t.Helper()
	for end := time.Now().Add(patience); ; time.Sleep(50 * time.Millisecond) {
		var yes bool
		if p.ask("!!("+js+")", &yes); yes {
			return
		}
		if time.Now().After(end) {
			var text string
			p.ask(`document.body.innerText`, &text)
			p.t.Fatalf("in vain waited until %s; the page says:\n%s", what, text)
		}
	}
}

func (p *den) says(text string) {
	p.t.Helper()
	p.until(fmt.Sprintf("the page says %q", text), fmt.Sprintf(`document.body.innerText.replace(/\s+/g, ' ').includes(%q)`, text))
}

// click presses the mouse in the middle of what an expression names, as a person does.
func (p *den) click(what, js string) {
	p.t.Helper()
	p.until(what+" is there to be pressed", "(e => e && !e.disabled)("+js+")")
	// A page that is still being laid out moves what was aimed at.
	p.until(what+" stands still", `(e => { e?.scrollIntoView({block: 'center'}); const r = e?.getBoundingClientRect(), at = r && r.left + ',' + r.top, still = at && at === window.stoodAt; window.stoodAt = at; return still; })(`+js+`)`)
	var at [2]float64
	p.ask(`(e => { e.scrollIntoView({block: 'center'}); const r = e.getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2]; })(`+js+`)`, &at)
	p.mouse(at)
}

func (p *den) mouse(at [2]float64) {
	p.t.Helper()
	p.f.call("input.performActions", map[string]any{"context": p.context, "actions": []any{map[string]any{"type": "pointer", "id": "mouse", "parameters": map[string]any{"pointerType": "mouse"},
		"actions": []any{map[string]any{"type": "pointerMove", "x": int(at[0]), "y": int(at[1])}, map[string]any{"type": "pointerDown", "button": 0}, map[string]any{"type": "pointerUp", "button": 0}}}}}, nil)
}

func (p *den) press(sel string) {
	p.t.Helper()
	p.click(sel, fmt.Sprintf(`document.querySelector(%q)`, sel))
}

func (p *den) pressText(text string) {
	p.t.Helper()
	p.click(fmt.Sprintf("%q", text), fmt.Sprintf(`[...document.querySelectorAll('button, a, label')].find((b) => b.innerText.trim() === %q)`, text))
}

func (p *den) fill(sel, text string) {
	p.t.Helper()
	p.press(sel)
	p.until(sel+" has the focus", fmt.Sprintf(`document.activeElement === document.querySelector(%q) && (document.activeElement.select(), true)`, sel))
	var keys []any
	for _, r := range text {
		keys = append(keys, map[string]any{"type": "keyDown", "value": string(r)}, map[string]any{"type": "keyUp", "value": string(r)})
	}
	p.f.call("input.performActions", map[string]any{"context": p.context, "actions": []any{map[string]any{"type": "key", "id": "keys", "actions": keys}}}, nil)
}

// axe runs axe-core over what is shown.
func (p *den) axe(source string) []violation {
	p.t.Helper()
	p.f.call("script.evaluate", map[string]any{"expression": source + ";true", "awaitPromise": false, "target": map[string]any{"context": p.context}}, nil)
	var got struct {
		Passes int         `json:"passes"`
		List   []violation `json:"list"`
	}
	p.ask(axeRun, &got)
	if got.Passes == 0 {
		p.t.Error("axe-core found nothing to check")
	}
	return got.List
}

func (p *den) picture(name string) {
	p.t.Helper()
	if *screensTo == "" {
		return
	}
	var shot struct {
		Data string `json:"data"`
	}
	p.f.call("browsingContext.captureScreenshot", map[string]any{"context": p.context}, &shot)
	png, err := base64.StdEncoding.DecodeString(shot.Data)
	if err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(*screensTo, name+".png"), png, 0o644); err != nil {
		p.t.Fatal(err)
	}
}

// real is the program itself, as a process of its own.
type real struct {
	t    *testing.T
	args []string
	cmd  *exec.Cmd
	said chan string
	URL  string
	Code string // the first pairing code, "" where there is none
}

var pageLine = regexp.MustCompile(`The page: (https?://\S+)`)
var codeLine = regexp.MustCompile(`#pair=([A-Z0-9]+)`)

// program is thirdstop, built once for all tests.
func program(t *testing.T) string {
	t.Helper()
	file, err := built()
	if err != nil {
		t.Fatal(err)
	}
	return file
}

// builtIn is the folder of the program that the tests built, "" while there is none. TestMain removes it.
var builtIn string

var built = sync.OnceValues(func() (string, error) {
	var err error
	if builtIn, err = os.MkdirTemp("", "thirdstop-built-"); err != nil {
		return "", err
	}
	file := filepath.Join(builtIn, "thirdstop")
	ctx, stop := context.WithTimeout(context.Background(), 3*time.Minute)
	defer stop()
	if out, err := exec.CommandContext(ctx, "go", "build", "-o", file, "thirdstop/cmd/thirdstop").CombinedOutput(); err != nil {
		return "", fmt.Errorf("thirdstop can't be built: %w\n%s", err, out)
	}
	return file, nil
})

func startReal(t *testing.T, args ...string) *real {
	t.Helper()
	r := &real{t: t, args: args}
	r.up()
	t.Cleanup(r.down)
	return r
}

func (r *real) up() {
	r.t.Helper()
	r.cmd = exec.Command(r.args[0], r.args[1:]...)
	out, err := r.cmd.StdoutPipe()
	if err != nil {
		r.t.Fatal(err)
	}
	r.cmd.Stderr = os.Stderr
	if err := r.cmd.Start(); err != nil {
		r.t.Fatal(err)
	}
	said := make(chan string, 64)
	go func() {
		lines := bufio.NewScanner(out)
		for lines.Scan() {
			select {
			case said <- lines.Text():
			default:
			}
		}
		close(said)
	}()
	wait := time.After(30 * time.Second)
	for r.URL = ""; r.URL == "" || strings.Contains(strings.Join(r.args, " "), "0.0.0.0") && r.Code == ""; {
		select {
		case line, ok := <-said:
			if !ok {
				r.t.Fatal("thirdstop ended before it said where its page is")
			}
			if m := pageLine.FindStringSubmatch(line); m != nil {
				r.URL = m[1] + "/"
			}
			if m := codeLine.FindStringSubmatch(line); m != nil {
				r.Code = m[1]
			}
		case <-wait:
			r.t.Fatal("thirdstop did not say within 30 s where its page is")
		}
	}
}

func (r *real) down() {
	if r.cmd == nil {
		return
	}
	r.cmd.Process.Signal(os.Interrupt)
	done := make(chan struct{})
	go func() { r.cmd.Wait(); close(done) }()
	select {
	case <-done:
	case <-time.After(10 * time.Second):
		r.cmd.Process.Kill()
		<-done
	}
	r.cmd = nil
}
