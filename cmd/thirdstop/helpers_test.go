package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
)

// lonely gives a test a home of its own, so that it never sees what lies in the user's.
func lonely(t *testing.T) string {
	t.Helper()
	home := t.TempDir()
	for _, e := range os.Environ() {
		if name, _, _ := strings.Cut(e, "="); strings.HasPrefix(name, "THIRDSTOP_") {
			t.Setenv(name, "")
		}
	}
	t.Setenv("HOME", home)
	t.Setenv("XDG_DATA_HOME", filepath.Join(home, "data"))
	t.Setenv("XDG_CONFIG_HOME", filepath.Join(home, "config"))
	t.Setenv("AppData", filepath.Join(home, "config"))
	t.Setenv("LocalAppData", filepath.Join(home, "data"))
	t.Setenv("JOURNAL_STREAM", "")
	t.Setenv("NOTIFY_SOCKET", "")
	return home
}

// ran runs a command to its end.
func ran(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(context.Background(), args, &out, &errs)
	return code, out.String(), errs.String()
}

// pipe is an output that a test reads while it is written.
type pipe struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (p *pipe) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.text.Write(b)
}

func (p *pipe) String() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.text.String()
}

// running is a daemon in this process.
type running struct {
	t        *testing.T
	out, log *pipe
	url      string
	stop     func() int
}

var pageAddress = regexp.MustCompile(`The page: (http://\S+)`)

// started runs the daemon until its page is there.
func started(t *testing.T, args ...string) *running {
	t.Helper()
	r := &running{t: t, out: &pipe{}, log: &pipe{}}
	ctx, cancel := context.WithCancel(context.Background())
	code := make(chan int, 1)
	go func() { code <- run(ctx, append([]string{"run", "--log", "json"}, args...), r.out, r.log) }()
	r.stop = sync.OnceValue(func() int {
		cancel()
		select {
		case c := <-code:
			return c
		case <-time.After(30 * time.Second):
			t.Error("the daemon does not stop")
			return -1
		}
	})
	t.Cleanup(func() { r.stop() })
	until(t, "the page is served", func() bool {
		if m := pageAddress.FindStringSubmatch(r.out.String()); m != nil {
			r.url = m[1]
			return true
		}
		select {
		case c := <-code:
			code <- c
			t.Fatalf("the daemon ended with %d: %s%s", c, r.out, r.log)
		default:
		}
		return false
	})
	return r
}

// until waits for something that another process or the file system does: there is no clock to pass in.
func until(t *testing.T, what string, done func() bool) {
	t.Helper()
	limit := time.Now().Add(30 * time.Second)
	for !done() {
		if time.Now().After(limit) {
			t.Fatalf("waited in vain until %s", what)
		}
		time.Sleep(10 * time.Millisecond)
	}
}

// call speaks to the API; body nil is a GET.
func (r *running) call(path string, body map[string]any) (int, map[string]any) {
	r.t.Helper()
	method, in := http.MethodGet, io.Reader(nil)
	if body != nil {
		text, err := json.Marshal(body)
		if err != nil {
			r.t.Fatal(err)
		}
		method, in = http.MethodPost, bytes.NewReader(text)
	}
	req, err := http.NewRequest(method, r.url+path, in)
	if err != nil {
		r.t.Fatal(err)
	}
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		r.t.Fatal(err)
	}
	defer res.Body.Close()
	var v map[string]any
	if text, err := io.ReadAll(res.Body); err != nil || json.Unmarshal(text, &v) != nil {
		r.t.Fatalf("%s answers %d %s", path, res.StatusCode, text)
	}
	return res.StatusCode, v
}

// state waits for a state of the page that is as wanted.
func (r *running) state(what string, as func(s map[string]any) bool) map[string]any {
	r.t.Helper()
	var s map[string]any
	until(r.t, what, func() bool {
		_, s = r.call("/api/v1/state", nil)
		return as(s)
	})
	return s
}
