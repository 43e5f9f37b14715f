package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"thirdstop/dashboard"
)

// The control socket lets `thirdstop pair` ask the running daemon for a code. It
// lies in the data folder, which only its owner may enter.

func controlPath(data string) string { return filepath.Join(data, "control.sock") }

// pairCode is what the daemon answers.
type pairCode struct {
	Code    string    `json:"code"`
	Expires time.Time `json:"expires"`
	URL     string    `json:"url"`
}

// control answers on the socket until ctx ends. Without it the daemon goes on: codes are
// on the page as well.
func (d *daemon) control(ctx context.Context, s *dashboard.Server) {
	defer func() { <-ctx.Done() }() // a part that returns ends the others
	l, err := listenControl(d.Data)
	if err != nil {
		d.log.Warn().Msg("no control socket: `thirdstop pair` won't reach this daemon, and codes are made on the page under devices")
		d.say("`thirdstop pair` won't work: %v. Codes are made on the page under devices.", err)
		return
	}
	if err := serveControl(ctx, l, s); err != nil {
		d.log.Warn().Msg("the control socket failed; codes are made on the page under devices")
	}
}

// mostSocketPath is the longest path of a unix socket, in bytes: Linux takes 107, macOS 103.
const mostSocketPath = 103

func listenControl(data string) (net.Listener, error) {
	path := controlPath(data)
	if len(path) > mostSocketPath {
		return nil, fmt.Errorf("the path of its socket %s is longer than %d bytes; a data folder with a shorter path helps", path, mostSocketPath)
	}
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, fmt.Errorf("the old control socket can't be removed: %w", err)
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return nil, fmt.Errorf("its socket can't be made: %w", err)
	}
	if err := os.Chmod(path, 0o600); err != nil {
		l.Close()
		return nil, fmt.Errorf("its socket can't be kept to its owner: %w", err)
	}
	return l, nil
}

func serveControl(ctx context.Context, l net.Listener, s *dashboard.Server) error {
	mux := http.NewServeMux()
	mux.HandleFunc("POST /code/{role}", func(w http.ResponseWriter, r *http.Request) {
		role, err := dashboard.ParseRole(r.PathValue("role"))
		if err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		var c pairCode
		c.Code, c.Expires, c.URL = s.NewCode(role)
		json.NewEncoder(w).Encode(c)
	})
	srv := &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second}
	stop := context.AfterFunc(ctx, func() { srv.Close() })
	defer stop()
	if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// askCode asks the daemon of a data folder for a code.
func askCode(ctx context.Context, data string, role dashboard.Role) (pairCode, error) {
	var c pairCode
	client := http.Client{Timeout: 5 * time.Second, Transport: &http.Transport{
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			return (&net.Dialer{}).DialContext(ctx, "unix", controlPath(data))
		}}}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://thirdstop/code/"+string(role), nil)
	if err != nil {
		return c, err
	}
	res, err := client.Do(req)
	if err != nil {
		return c, fmt.Errorf("no thirdstop that is open to the network runs on the data folder %s; start one with `thirdstop run --listen :7353 FOLDER`", data)
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		return c, fmt.Errorf("the daemon refused: %s", res.Status)
	}
	return c, json.NewDecoder(res.Body).Decode(&c)
}
