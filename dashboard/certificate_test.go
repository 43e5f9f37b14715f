package dashboard

import (
	"compress/gzip"
	"crypto/tls"
	"crypto/x509"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestACertificateIsKeptUntilItRunsOutOrLacksAName(t *testing.T) {
	dir, now := t.TempDir(), time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	names := []string{"localhost", "127.0.0.1", "boathouse.local"}
	first, err := Certificate(dir, names, now)
	if err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(filepath.Join(dir, certificateFile)); err != nil || info.Mode().Perm()&0o077 != 0 && os.PathSeparator == '/' {
		t.Errorf("the key's file is %v (%v); nobody else may read it", info.Mode(), err)
	}
	again, err := Certificate(dir, names, now.Add(300*24*time.Hour))
	if err != nil || Fingerprint(again) != Fingerprint(first) {
		t.Errorf("after 300 days the certificate is another one (%v); tablets would have to be told again", err)
	}
	for _, c := range []struct {
		what  string
		names []string
		at    time.Time
	}{
		{"that runs out in a month", names, now.Add(380 * 24 * time.Hour)},
		{"that lacks a name", append(names, "192.0.2.7"), now.Add(381 * 24 * time.Hour)}, // the address is of RFC 5737
	} {
		was, _ := os.ReadFile(filepath.Join(dir, certificateFile))
		if _, err := Certificate(dir, c.names, c.at); err != nil {
			t.Fatal(err)
		}
		if is, _ := os.ReadFile(filepath.Join(dir, certificateFile)); string(is) == string(was) {
			t.Errorf("a certificate %s is gone on with", c.what)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, certificateFile), []byte("not a certificate"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Certificate(dir, names, now); err != nil {
		t.Errorf("a damaged file is not replaced: %v", err)
	}
}

// The page over HTTPS, as crypto/tls checks it when the certificate is trusted.
func TestThePageIsServedOverHTTPS(t *testing.T) {
	cert, err := Certificate(t.TempDir(), []string{"127.0.0.1"}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	b := start(t, func(_ *Server, c *Config) { c.Certificate = &cert })
	pool := x509.NewCertPool()
	pool.AddCert(cert.Leaf)
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}}}
	url := "https://" + b.addr
	r, err := client.Get(url + "/")
	if err != nil {
		t.Fatal(err)
	}
	if got := b.s.URL(); got != url {
		t.Errorf("the page's address is %s, want %s", got, url)
	}
	text, _ := io.ReadAll(r.Body)
	r.Body.Close()
	if r.StatusCode != http.StatusOK || !strings.Contains(string(text), "main.js") {
		t.Errorf("the page answers %s: %.80s", r.Status, text)
	}
	conn, err := net.Dial("tcp", strings.TrimPrefix(url, "https://"))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	io.WriteString(conn, "GET / HTTP/1.1\r\nHost: x\r\n\r\n")
	if plain, _ := io.ReadAll(conn); strings.Contains(string(plain), "main.js") {
		t.Error("a server of HTTPS hands the page out in plain")
	}
}

func TestTextsAreHandedOutPackedToThoseWhoTakeIt(t *testing.T) {
	b := start(t)
	index := b.ask("GET", "/", "", "Accept-Encoding: gzip;q=0")
	if index.header.Get("Content-Encoding") != "" {
		t.Error("a page that was asked for unpacked is packed")
	}
	for accept, want := range map[string]string{"gzip": "gzip", "br, GZIP;q=0.5": "gzip", "identity": "", "gzip;q=0": "", "": ""} {
		text := strings.Repeat("the quick oar ", 40)
		r := httptest.NewRequest("GET", "/", nil)
		if accept != "" {
			r.Header.Set("Accept-Encoding", accept)
		}
		w := httptest.NewRecorder()
		handed := hand(w, r, packed("a.js", []byte(text)))
		if handed != (want == "gzip") || w.Header().Get("Content-Encoding") != want || w.Header().Get("Vary") != "Accept-Encoding" {
			t.Errorf("Accept-Encoding %q: handed out packed %v as %q, want %q", accept, handed, w.Header().Get("Content-Encoding"), want)
		}
		if !handed {
			continue
		}
		z, err := gzip.NewReader(w.Body)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := io.ReadAll(z); err != nil || string(got) != text {
			t.Errorf("unpacked it is %.40q (%v)", got, err)
		}
	}
	if packed("a.png", []byte(strings.Repeat("x", 4000))) != nil || packed("a.js", []byte("short")) != nil {
		t.Error("what gains nothing is packed")
	}
}
