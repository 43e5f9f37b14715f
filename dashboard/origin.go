package dashboard

import (
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"strings"
)

// hosts decides which names this server answers to, and which pages may speak
// to it. Both are checked on a server that only this machine can reach, too: a page
// from elsewhere that a browser here has open can send requests to localhost, and by
// giving its own name the address 127.0.0.1 (DNS rebinding) it even becomes "the same
// origin". It can't choose the Host header, though, and that names the page's own host.
type hosts struct {
	names map[string]bool     // lower case, without port
	addrs map[netip.Addr]bool // without zone
}

// newHosts lists what browsers may call this server. Names other than localhost count
// only where the network is let in.
func newHosts(open bool, extra []string) *hosts {
	h := &hosts{names: map[string]bool{"localhost": true}, addrs: map[netip.Addr]bool{}}
	for _, loopback := range []string{"127.0.0.1", "::1"} {
		h.addrs[netip.MustParseAddr(loopback)] = true
	}
	if name, err := os.Hostname(); err == nil && !open {
		name = strings.ToLower(name)
		h.names[name] = true
		h.names[strings.TrimSuffix(name, ".local")+".local"] = true
	}
	for _, e := range extra {
		if a, ok := hostAddr(e); ok {
			h.addrs[a] = true
		} else {
			h.names[strings.ToLower(e)] = true
		}
	}
	return h
}

// known tells whether a Host header names this server. An address counts if it is listed, or if
// it is the very one the request arrived at: a rebinding attack needs a name.
func (h *hosts) known(r *http.Request) bool {
	name := hostname(r.Host)
	a, isAddr := hostAddr(name)
	if !isAddr {
		return h.names[strings.ToLower(name)]
	}
	if h.addrs[a] {
		return true
	}
	at, ok := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	if !ok {
		return false
	}
	ap, err := netip.ParseAddrPort(at.String())
	return err == nil && ap.Addr().Unmap().WithZone("") == a
}

// admit tells whether a request may go on, or says why not.
func (h *hosts) admit(r *http.Request) *problem {
	if !h.known(r) {
		return &problem{http.StatusMisdirectedRequest, "unknown_host",
			"this server does not answer to the name the request used; use its address, or add the name to the hosts setting", nil}
	}
	site := r.Header.Get("Sec-Fetch-Site")
	origins := r.Header.Values("Origin")
	switch {
	case len(origins) > 1:
		return foreignOrigin
	case len(origins) == 1:
		if !sameOrigin(origins[0], r.Host) {
			return foreignOrigin
		}
	case site == "" || site == "same-origin" || site == "none":
	case r.Method == http.MethodGet && r.URL.Path == "/" && r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document":
		// A link from elsewhere opens the page; the page may not be framed.
	default:
		return foreignOrigin
	}
	return nil
}

var foreignOrigin = &problem{http.StatusForbidden, "foreign_origin",
	"the request comes from a page of another site; open thirdstop's own page", nil}

// sameOrigin tells whether an Origin header is that of the page this server
// handed out under the same Host header, port included: another program's page on
// this machine is foreign, too. Host was found to be ours before.
func sameOrigin(origin, host string) bool {
	u, err := url.Parse(origin)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.User != nil || u.Path != "" || u.RawQuery != "" || u.Fragment != "" {
		return false
	}
	std := map[string]string{"http": "80", "https": "443"}[u.Scheme]
	return strings.EqualFold(withPort(u.Host, std), withPort(host, std))
}

func withPort(host, std string) string {
	if _, _, err := net.SplitHostPort(host); err == nil {
		return host
	}
	return net.JoinHostPort(hostname(host), std)
}

// hostname takes the port and an address's brackets off.
func hostname(host string) string {
	if h, _, err := net.SplitHostPort(host); err == nil {
		return h
	}
	return strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
}

func hostAddr(host string) (netip.Addr, bool) {
	a, err := netip.ParseAddr(hostname(host))
	return a.Unmap().WithZone(""), err == nil
}
