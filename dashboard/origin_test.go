package dashboard

import (
	"fmt"
	"net"
	"net/http"
	"os"
	"strings"
	"testing"

	"github.com/gorilla/websocket"
)

func newListener(addr string) (net.Listener, error) { return net.Listen("tcp", addr) }

// originCase is a request as a browser, a script or an attacker's page makes it. PORT
// stands for the server's port.
type originCase struct {
	story  string
	host   string
	origin string // "" none
	site   string // Sec-Fetch-Site, "" none
	ok     bool
}

var originCases = []originCase{
	{"a script on this machine", "127.0.0.1:PORT", "", "", true},
	{"the page itself", "127.0.0.1:PORT", "http://127.0.0.1:PORT", "same-origin", true},
	{"the page itself by name", "localhost:PORT", "http://localhost:PORT", "same-origin", true},
	{"the page itself, host in capitals", "LOCALHOST:PORT", "http://localhost:PORT", "", true},
	{"the page by IPv6", "[::1]:PORT", "http://[::1]:PORT", "same-origin", true},
	{"a forwarded port", "localhost:9999", "http://localhost:9999", "same-origin", true},
	{"a configured name", "studio.example:PORT", "http://studio.example:PORT", "same-origin", true},
	{"a configured name behind TLS", "studio.example", "https://studio.example", "same-origin", true},
	{"a configured address", "192.0.2.7:PORT", "http://192.0.2.7:PORT", "", true},
	{"the address typed into the address bar", "127.0.0.1:PORT", "", "none", true},

	{"DNS rebinding: the attacker's name points here", "evil.example:PORT", "http://evil.example:PORT", "same-origin", false},
	{"DNS rebinding without Origin, as on a GET", "evil.example:PORT", "", "same-origin", false},
	{"DNS rebinding to a name that begins like ours", "localhost.evil.example:PORT", "http://localhost.evil.example:PORT", "same-origin", false},
	{"DNS rebinding to a name that ends like ours", "evil-localhost:PORT", "http://evil-localhost:PORT", "same-origin", false},
	{"an address that is not ours", "203.0.113.9:PORT", "http://203.0.113.9:PORT", "", false},
	{"no host at all", "", "", "", false},
	{"another site's page", "127.0.0.1:PORT", "http://evil.example", "cross-site", false},
	{"another site's page, old browser", "localhost:PORT", "http://evil.example", "", false},
	{"another program's page on this machine", "localhost:PORT", "http://localhost:3000", "same-site", false},
	{"our other name is another origin", "localhost:PORT", "http://127.0.0.1:PORT", "cross-site", false},
	{"a sandboxed frame", "localhost:PORT", "null", "cross-site", false},
	{"a file on disk", "localhost:PORT", "file://", "", false},
	{"an extension", "localhost:PORT", "chrome-extension://abc", "", false},
	{"a picture tag on another site", "localhost:PORT", "", "cross-site", false},
	{"a picture tag on another program's page", "localhost:PORT", "", "same-site", false},
	{"an origin with a user", "localhost:PORT", "http://x@localhost:PORT", "", false},
	{"an origin with a path", "localhost:PORT", "http://localhost:PORT/x", "", false},
}

func TestOnlyOurOwnPagesAndScriptsAreHeard(t *testing.T) {
	for _, kind := range []string{"open", "paired"} {
		b := start(t, func(_ *Server, c *Config) {
			c.Open = kind == "open"
			c.Hosts = []string{"studio.example", "192.0.2.7"}
		})
		_, port, _ := net.SplitHostPort(b.addr)
		token, _ := b.paired(Shoots)
		for i, c := range originCases {
			fill := strings.NewReplacer("PORT", port)
			headers := []string{token, "Host: " + fill.Replace(c.host)}
			if c.host == "" {
				continue // Go's client can't leave it out; see below
			}
			if c.origin != "" {
				headers = append(headers, "Origin: "+fill.Replace(c.origin))
			}
			if c.site != "" {
				headers = append(headers, "Sec-Fetch-Site: "+c.site)
			}
			got := b.ask("GET", "/api/v1/state", "", headers...)
			if ok := got.status == 200; ok != c.ok {
				t.Errorf("%s server, %s: GET state = %d %s, want let through: %v", kind, c.story, got.status, got.code(), c.ok)
			}
			got = b.ask("POST", "/api/v1/notes", fmt.Sprintf(`{"client":"n%d","seen":0,"text":"x"}`, i), headers...)
			if ok := got.status == 200; ok != c.ok {
				t.Errorf("%s server, %s: POST notes = %d %s, want let through: %v", kind, c.story, got.status, got.code(), c.ok)
			}
			if _, status := handshake(t, b, headers); (status == http.StatusSwitchingProtocols) != c.ok {
				t.Errorf("%s server, %s: websocket = %d, want let through: %v", kind, c.story, status, c.ok)
			}
		}
		if got := b.ask("POST", "/api/v1/notes", `{"client":"m","seen":0,"text":"x"}`, token, "Origin: http://evil.example"); strings.Contains(got.text, "state") {
			t.Errorf("a refusal gives the state away: %s", got.text)
		}
	}
}

// handshake opens a websocket with any headers and gives the status it got.
func handshake(t *testing.T, b *bench, headers []string) (string, int) {
	t.Helper()
	h := http.Header{}
	for _, line := range headers {
		name, value, _ := strings.Cut(line, ": ")
		h.Set(name, value)
	}
	c, res, err := websocket.DefaultDialer.Dial("ws://"+b.addr+"/api/v1/live", h)
	if err == nil {
		c.Close()
	}
	if res == nil {
		t.Fatalf("no answer to the handshake: %v", err)
	}
	return res.Status, res.StatusCode
}

func TestARequestWithoutHostIsTurnedAway(t *testing.T) {
	b := start(t, open)
	c, err := net.Dial("tcp", b.addr)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprint(c, "GET /api/v1/state HTTP/1.0\r\n\r\n")
	buf := make([]byte, 100)
	n, _ := c.Read(buf)
	if !strings.Contains(string(buf[:n]), " 421 ") {
		t.Errorf("a request without a host got %q, want 421", buf[:n])
	}
}

func TestALinkFromElsewhereOpensThePageButNoCall(t *testing.T) {
	b := start(t, open)
	link := []string{"Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: document"}
	if got := b.ask("GET", "/", "", link...); got.status != 200 {
		t.Errorf("following a link to the page = %d, want 200", got.status)
	}
	if got := b.ask("GET", "/api/v1/state", "", link...); got.status != 403 {
		t.Errorf("following a link to a call = %d, want 403", got.status)
	}
	frame := []string{"Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: iframe"}
	if got := b.ask("GET", "/", "", frame...); got.status != 403 {
		t.Errorf("the page in another site's frame = %d, want 403", got.status)
	}
}

func TestTheMachinesNameCountsOnlyWhereTheNetworkIsLetIn(t *testing.T) {
	name, err := os.Hostname()
	if err != nil {
		t.Skipf("this machine has no name: %v", err)
	}
	for _, host := range []string{name, strings.TrimSuffix(name, ".local") + ".local"} {
		for _, isOpen := range []bool{true, false} {
			r := &http.Request{Host: host + ":80"}
			if got := newHosts(isOpen, nil).known(r); got == isOpen && host != "localhost" {
				t.Errorf("host %q on a server with open=%v: known = %v, want %v", host, isOpen, got, !isOpen)
			}
		}
	}
}

func FuzzOriginNeverPassesForAnotherHost(f *testing.F) {
	for _, c := range originCases {
		f.Add(c.origin, c.host)
	}
	f.Add("http:", "") // passed once
	f.Fuzz(func(t *testing.T, origin, host string) {
		if !sameOrigin(origin, host) {
			return
		}
		// What passes must, after its scheme, be the host itself or the host with its usual port.
		rest := strings.ToLower(origin[strings.Index(origin, "://")+3:])
		host = strings.ToLower(host)
		trim := func(s string) string {
			return strings.TrimSuffix(strings.TrimSuffix(strings.NewReplacer("[", "", "]", "").Replace(s), ":80"), ":443")
		}
		if trim(rest) != trim(host) {
			t.Errorf("sameOrigin(%q, %q) = true", origin, host)
		}
	})
}
