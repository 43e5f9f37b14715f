package dashboard

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"time"
)

// cookieLife is how long a browser keeps its token: the most that browsers allow (400 days),
// for next year's shoot.
const cookieLife = 400 * 24 * time.Hour

// cookieName differs by port, as browsers share cookies between all ports of a host.
func cookieName(r *http.Request) string {
	if _, port, err := net.SplitHostPort(r.Host); err == nil && strings.Trim(port, "0123456789") == "" {
		return "thirdstop_" + port
	}
	return "thirdstop"
}

// caller says which device a request comes from.
func (s *Server) caller(r *http.Request) (Device, error) {
	if s.cfg.Open {
		return local, nil
	}
	token := ""
	if c, err := r.Cookie(cookieName(r)); err == nil {
		token = c.Value
	}
	if h, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer "); ok { // scripts
		token = h
	}
	if token == "" || len(token) > 100 {
		return Device{}, errUnpaired
	}
	d, ok, err := s.cfg.Devices.byToken(token)
	if err != nil {
		return Device{}, err
	}
	if !ok {
		return Device{}, errUnpaired
	}
	return d, nil
}

// stillPaired tells whether a device that came in before may stay.
func (s *Server) stillPaired(d Device) bool {
	if s.cfg.Open {
		return true
	}
	now, ok, err := s.cfg.Devices.byID(d.ID)
	return err == nil && ok && now.Role == d.Role
}

// NewCode makes a one-time code that pairs one device in the role, and the address
// that carries it. The code stands in the address's fragment, which browsers never send, so it
// lands in no log. The oldest code goes when eight are waiting.
func (s *Server) NewCode(role Role) (code string, expires time.Time, url string) {
	code, expires = s.pairing.issue(role)
	return code[:4] + "-" + code[4:], expires, s.URL() + "/#pair=" + code
}

type codeBody struct {
	Role *string `json:"role"`
}

// postCode is POST /api/v1/pair/codes.
func (s *Server) postCode(w http.ResponseWriter, r *http.Request, who Device) error {
	var b codeBody
	if err := readBody(w, r, mostBody, &b); err != nil {
		return err
	}
	if b.Role == nil {
		return missing("role", "shoots, lights or looks")
	}
	role, err := ParseRole(*b.Role)
	if err != nil {
		return bad("field", err.Error())
	}
	if s.cfg.Open {
		return errOpen
	}
	code, expires, url := s.NewCode(role)
	qr, err := qrRows(url)
	if err != nil {
		return err
	}
	return answer(w, http.StatusOK, map[string]any{"code": code, "role": role, "expires": timestamp(expires), "url": url, "qr": qr})
}

var errOpen = &problem{http.StatusConflict, "open", "this server is open to this machine alone, so there is nothing to pair; start it with --listen to let tablets in", nil}

type pairBody struct {
	Code *string `json:"code"`
	Name *string `json:"name"`
}

// postPair is POST /api/v1/pair: a code is used up for a token.
func (s *Server) postPair(w http.ResponseWriter, r *http.Request, _ Device) error {
	var b pairBody
	if err := readBody(w, r, mostBody, &b); err != nil {
		return err
	}
	if s.cfg.Open {
		return errOpen
	}
	if b.Code == nil {
		return missing("code", "the pairing code")
	}
	name, err := words(b.Name, "name", 40)
	if err != nil {
		return err
	}
	var from netip.Addr
	if ap, err := netip.ParseAddrPort(r.RemoteAddr); err == nil {
		from = ap.Addr()
	}
	role, err := s.pairing.redeem(from, *b.Code)
	switch {
	case errors.Is(err, errTooOften):
		w.Header().Set("Retry-After", fmt.Sprint(int(addressRefill.Seconds())))
		s.log.Warn().Msg("pairing was tried too often")
		return &problem{http.StatusTooManyRequests, "too_often", "pairing was tried too often; wait a minute", nil}
	case err != nil:
		s.log.Warn().Msg("pairing was tried with a wrong code")
		return &problem{http.StatusForbidden, "code", "that code is wrong, used or over two minutes old; ask for a new one", nil}
	}
	d, token, err := s.cfg.Devices.Add(name, role, s.now())
	if errors.Is(err, ErrTooManyDevices) {
		return &problem{http.StatusConflict, "too_many_devices", err.Error(), nil}
	}
	if err != nil {
		return err
	}
	s.log.Info().Str("device", d.ID).Str("role", string(role)).Msg("a device was paired")
	http.SetCookie(w, &http.Cookie{Name: cookieName(r), Value: token, Path: "/", MaxAge: int(cookieLife.Seconds()),
		HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode})
	s.live.tell("paired", "a device was paired", func(d Device) bool { return d.Role == Shoots })
	return answer(w, http.StatusOK, map[string]any{"device": d, "token": token})
}

// getDevices is GET /api/v1/devices.
func (s *Server) getDevices(w http.ResponseWriter, r *http.Request, who Device) error {
	list := []Device{local}
	if !s.cfg.Open {
		var err error
		if list, err = s.cfg.Devices.List(); err != nil {
			return err
		}
	}
	return answer(w, http.StatusOK, map[string]any{"devices": list})
}

// deleteDevice is DELETE /api/v1/devices/{id}.
func (s *Server) deleteDevice(w http.ResponseWriter, r *http.Request, who Device) error {
	if s.cfg.Open {
		return errOpen
	}
	found, err := s.Revoke(r.PathValue("id"))
	if err != nil {
		return err
	}
	if !found {
		return &problem{http.StatusNotFound, "no_such_device", "there is no such device", nil}
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// Revoke shuts a device out: its token opens nothing any more and its live
// connections are closed. It reports whether there was such a device.
func (s *Server) Revoke(id string) (bool, error) {
	if s.cfg.Devices == nil {
		return false, nil
	}
	found, err := s.cfg.Devices.Revoke(id)
	if found && err == nil {
		s.live.drop(id)
		s.log.Info().Str("device", id).Msg("a device was revoked")
	}
	return found, err
}
