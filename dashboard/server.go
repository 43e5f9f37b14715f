package dashboard

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	stdlog "log"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/rs/zerolog"
)

// Server is the dashboard of one shoot.
type Server struct {
	cfg      Config
	log      zerolog.Logger
	now      func() time.Time
	hosts    *hosts
	pages    *pages
	pictures *pictures
	pairing  *pairing
	live     *live
	rigs     rigs
	tables   tables
	asked    asked

	addrMu sync.Mutex
	addr   net.Addr // guarded by addrMu

	viewMu sync.Mutex
	view   *view // guarded by viewMu: the newest snapshot, written out
}

// New makes a server; [Server.Serve] runs it.
func New(cfg Config) (*Server, error) {
	if err := cfg.check(); err != nil {
		return nil, err
	}
	p, err := readPages(cfg.Pages)
	if err != nil {
		return nil, fmt.Errorf("dashboard: %w", err)
	}
	s := &Server{
		cfg:      cfg,
		log:      cfg.Log,
		now:      cfg.Now,
		hosts:    newHosts(cfg.Open, cfg.Hosts),
		pages:    p,
		pictures: newPictures(cfg.Shoot.Thumbnail),
		pairing:  newPairing(cfg.Now),
		addr:     cfg.Addr,
	}
	s.live = &live{s: s, pace: usualPace, clients: map[*client]bool{}}
	return s, nil
}

// ErrNotLocal is returned where an open server was given a listener that other machines can reach.
var ErrNotLocal = errors.New("a server that asks for no pairing must listen on this machine's own address (127.0.0.1 or ::1) only")

// The times a request may take. The websocket has its own once it is open.
const (
	headerTime = 5 * time.Second
	readTime   = 15 * time.Second
	writeTime  = 30 * time.Second
	idleTime   = 2 * time.Minute
	mostHeader = 16 << 10
	// stopTime is what requests that run get at the end.
	stopTime = 5 * time.Second
)

// Serve answers on a listener until the context ends. Then live connections are closed
// with "going away", running requests are waited for, and it returns nil.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	if s.cfg.Open && !loopback(l.Addr()) {
		l.Close()
		return fmt.Errorf("dashboard: %w; it is %s", ErrNotLocal, l.Addr())
	}
	s.addrMu.Lock()
	s.addr = l.Addr()
	s.addrMu.Unlock()

	srv := &http.Server{
		Handler:           s.handler(),
		ReadHeaderTimeout: headerTime,
		ReadTimeout:       readTime,
		WriteTimeout:      writeTime,
		IdleTimeout:       idleTime,
		MaxHeaderBytes:    mostHeader,
		ErrorLog:          stdlog.New(debugWriter{s.log}, "", 0),
	}
	liveCtx, stopLive := context.WithCancel(context.Background())
	defer stopLive()
	liveDone := make(chan struct{})
	go func() {
		defer close(liveDone)
		s.live.run(liveCtx)
	}()
	failed := make(chan error, 1)
	if c := s.cfg.Certificate; c != nil {
		// HTTP/1.1 alone: a websocket can't be made of an HTTP/2 request here.
		l = tls.NewListener(l, &tls.Config{Certificates: []tls.Certificate{*c}, MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}})
	}
	go func() { failed <- srv.Serve(l) }()

	var err error
	select {
	case err = <-failed:
		err = fmt.Errorf("dashboard: the server stopped: %w", err)
	case <-ctx.Done():
	}
	s.live.tell("stopping", "thirdstop is stopping", func(Device) bool { return true })
	stopLive()
	<-liveDone
	stopCtx, stop := context.WithTimeout(context.Background(), stopTime)
	defer stop()
	if srv.Shutdown(stopCtx) != nil {
		srv.Close()
	}
	if err == nil {
		<-failed // http.ErrServerClosed
	}
	return err
}

// debugWriter takes what net/http says of broken connections.
type debugWriter struct{ log zerolog.Logger }

func (w debugWriter) Write(p []byte) (int, error) {
	w.log.Debug().Msg("a connection failed before there was a request")
	return len(p), nil
}

// URL is the address under which other devices reach this server, without a slash
// at the end; empty while no listener is known. Where it listens on every address, the
// first one of a private network is taken.
func (s *Server) URL() string {
	s.addrMu.Lock()
	defer s.addrMu.Unlock()
	if s.addr == nil {
		return ""
	}
	url := URLs(s.addr)[0]
	if s.cfg.Certificate != nil {
		url = "https" + strings.TrimPrefix(url, "http")
	}
	return url
}

// URLs lists the addresses under which a listener can be reached, the one that
// tablets can most likely use first.
func URLs(addr net.Addr) []string {
	ap, err := netip.ParseAddrPort(addr.String())
	if err != nil {
		return []string{"http://" + addr.String()}
	}
	found := []netip.Addr{ap.Addr().Unmap()}
	if ap.Addr().IsUnspecified() {
		found = nil
		list, _ := net.InterfaceAddrs()
		for _, a := range list {
			if p, err := netip.ParsePrefix(a.String()); err == nil && !p.Addr().IsLinkLocalUnicast() {
				found = append(found, p.Addr().Unmap())
			}
		}
		slices.SortStableFunc(found, func(a, b netip.Addr) int { return reach(a) - reach(b) })
		if len(found) == 0 {
			found = []netip.Addr{netip.MustParseAddr("127.0.0.1")}
		}
	}
	urls := make([]string, len(found))
	for i, a := range found {
		urls[i] = "http://" + netip.AddrPortFrom(a, ap.Port()).String()
	}
	return urls
}

// reach orders addresses by how likely a tablet in the room can use them.
func reach(a netip.Addr) int {
	switch {
	case a.IsLoopback():
		return 4
	case a.Is4() && a.IsPrivate():
		return 0
	case a.Is4():
		return 1
	case a.IsPrivate():
		return 2
	}
	return 3
}

func loopback(a net.Addr) bool {
	ap, err := netip.ParseAddrPort(a.String())
	return err == nil && ap.Addr().Unmap().IsLoopback()
}
