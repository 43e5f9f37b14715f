package dashboard

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/fstest"
	"time"

	"github.com/gorilla/websocket"
	"github.com/rs/zerolog"

	"thirdstop/dashboard/dashtest"
)

// clock is a hand-set clock.
type clock struct {
	mu sync.Mutex
	t  time.Time
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.t
}

func (c *clock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = c.t.Add(d)
}

// buffer is a log that goroutines may write to.
type buffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *buffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *buffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}

// bench is a server that runs, on a listener of its own.
type bench struct {
	t     testing.TB
	sh    *dashtest.Shoot
	s     *Server
	clock *clock
	log   *buffer
	addr  string // 127.0.0.1:port
	halt  context.CancelFunc
	ended chan error

	client http.Client
}

var testPages = fstest.MapFS{
	"index.html":     {Data: []byte(`<script type="module" src="%ASSETS%main.js"></script><link href="%ASSETS%/base.css">`)},
	"main.js":        {Data: []byte(`import "./sub/x.js";`)},
	"base.css":       {Data: []byte(`body{}`)},
	"sub/x.js":       {Data: []byte(`export {}`)},
	"web.go":         {Data: []byte(`package web`)},
	"NOTES.md":       {Data: []byte(`notes`)},
	"secret/key.pem": {Data: []byte(`no`)},
}

// running counts servers: while there is one, it has goroutines.
var running atomic.Int32

// start runs a server that asks for pairing, unless change says otherwise. When the test ends
// it must stop cleanly and leave no goroutine behind.
func start(t testing.TB, change ...func(*Server, *Config)) *bench {
	t.Helper()
	b := &bench{t: t, sh: dashtest.New(), clock: &clock{t: dashtest.Began}, log: &buffer{}, ended: make(chan error, 1)}
	devices, err := OpenDevices("")
	if err != nil {
		t.Fatal(err)
	}
	cfg := Config{Shoot: b.sh, Pages: testPages, Devices: devices, Now: b.clock.now, Log: zerolog.New(b.log), Version: "test", Past: pretended{}}
	for _, f := range change {
		f(nil, &cfg)
	}
	if b.s, err = New(cfg); err != nil {
		t.Fatal(err)
	}
	for _, f := range change {
		f(b.s, &cfg)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	b.addr = l.Addr().String()
	ctx, halt := context.WithCancel(context.Background())
	b.halt = halt
	web := &http.Transport{}
	b.client = http.Client{Transport: web, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	running.Add(1)
	go func() { b.ended <- b.s.Serve(ctx, narrow{l}) }()
	t.Cleanup(func() {
		b.halt()
		web.CloseIdleConnections()
		if err := <-b.ended; err != nil {
			t.Errorf("Serve() = %v, want nil after its context ended", err)
		}
		if n := b.sh.Watchers(); n != 0 {
			t.Errorf("%d watchers of the shoot are left, want none", n)
		}
		if running.Add(-1) == 0 {
			eventually(t, "no goroutine of the dashboard is left", func() bool { return strands() == 0 })
		}
	})
	return b
}

// strands counts goroutines of this package that are not tests.
func strands() int {
	buf := make([]byte, 1<<20)
	n := 0
	for _, g := range strings.Split(string(buf[:runtime.Stack(buf, true)]), "\n\n") {
		if strings.Contains(g, "dashboard.(*live)") || strings.Contains(g, "dashboard.(*Server)") {
			n++
		}
	}
	return n
}

// eventually waits for something that another goroutine does. It is bounded, and no test passes by waiting.
func eventually(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); !ok(); time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Errorf("not within 10 s: %s", what)
			return
		}
	}
}

func open(_ *Server, c *Config) { c.Open, c.Devices = true, nil }

// reply is what came of a request.
type reply struct {
	status int
	header http.Header
	text   string
}

func (r reply) json(t testing.TB) map[string]any {
	t.Helper()
	var v map[string]any
	if err := json.Unmarshal([]byte(r.text), &v); err != nil {
		t.Fatalf("the answer is no JSON object: %v\n%s", err, r.text)
	}
	return v
}

// code is the error's code, "" where there is no error.
func (r reply) code() string {
	var v struct {
		Error struct{ Code, Text string }
	}
	_ = json.Unmarshal([]byte(r.text), &v)
	return v.Error.Code
}

// ask sends a request. A body makes it JSON. Header lines are "Name: value"; Host is one of them.
func (b *bench) ask(method, path, body string, header ...string) reply {
	b.t.Helper()
	req, err := http.NewRequest(method, "http://"+b.addr+path, strings.NewReader(body))
	if err != nil {
		b.t.Fatal(err)
	}
	if body != "" {
		req.Header.Set("Content-Type", "application/json")
	}
	for _, h := range header {
		name, value, _ := strings.Cut(h, ": ")
		if name == "Host" {
			req.Host = value
			continue
		}
		req.Header.Set(name, value)
	}
	res, err := b.client.Do(req)
	if err != nil {
		b.t.Fatalf("%s %s: %v", method, path, err)
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	if err != nil {
		b.t.Fatalf("%s %s: %v", method, path, err)
	}
	return reply{res.StatusCode, res.Header, string(text)}
}

// paired adds a device and gives the header that lets it in, and its id.
func (b *bench) paired(role Role) (header, id string) {
	b.t.Helper()
	d, token, err := b.s.cfg.Devices.Add("tablet", role, b.clock.now())
	if err != nil {
		b.t.Fatal(err)
	}
	return "Authorization: Bearer " + token, d.ID
}

// socket opens a live connection.
func (b *bench) socket(header ...string) (*websocket.Conn, *http.Response, error) {
	h := http.Header{}
	for _, line := range header {
		name, value, _ := strings.Cut(line, ": ")
		h.Set(name, value)
	}
	c, res, err := websocket.DefaultDialer.Dial("ws://"+b.addr+"/api/v1/live", h)
	if err == nil {
		b.t.Cleanup(func() { c.Close() })
	}
	return c, res, err
}

func (b *bench) mustSocket(header ...string) *websocket.Conn {
	b.t.Helper()
	c, _, err := b.socket(header...)
	if err != nil {
		b.t.Fatalf("the live connection was refused: %v", err)
	}
	return c
}

// next reads messages until one has the type, at most for 10 s.
func next(t testing.TB, c *websocket.Conn, kind string) map[string]any {
	t.Helper()
	_ = c.SetReadDeadline(time.Now().Add(10 * time.Second))
	for {
		var m map[string]any
		if err := c.ReadJSON(&m); err != nil {
			t.Fatalf("no %s came: %v", kind, err)
		}
		if m["type"] == kind {
			return m
		}
	}
}

// closeCode reads on until the connection ends and gives the close code, 0 if there was none.
func closeCode(t testing.TB, c *websocket.Conn) int {
	t.Helper()
	_ = c.SetReadDeadline(time.Now().Add(10 * time.Second))
	for {
		if _, _, err := c.ReadMessage(); err != nil {
			if e, ok := err.(*websocket.CloseError); ok {
				return e.Code
			}
			return 0
		}
	}
}

func dashPicture(size int) func(context.Context, int, int) ([]byte, error) {
	return func(context.Context, int, int) ([]byte, error) { return make([]byte, size), nil }
}

// narrow gives connections so small a buffer that a caller who reads nothing is noticed soon; a machine's own holds megabytes.
type narrow struct{ net.Listener }

func (n narrow) Accept() (net.Conn, error) {
	c, err := n.Listener.Accept()
	if t, ok := c.(*net.TCPConn); ok {
		_ = t.SetWriteBuffer(16 << 10)
	}
	return c, err
}
