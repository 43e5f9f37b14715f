package dashboard

import (
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"net/http"

	"thirdstop/dashboard/sheet"
)

// Past is what was recorded, of this shoot and of earlier ones. Its methods may be called from many
// goroutines at once.
type Past interface {
	// Sheet writes the sheet of a shoot. The error wraps fs.ErrNotExist where there is no shoot of that id.
	Sheet(ctx context.Context, id string, w io.Writer) error
}

var errNoShoot = &problem{http.StatusNotFound, "no_such_shoot", "there is no shoot of that id", nil}

// serveSheet is GET /api/v1/sheet?shoot=ID: one page to print; without an id that of this shoot.
func (s *Server) serveSheet(w http.ResponseWriter, r *http.Request, who Device) error {
	if s.cfg.Past == nil {
		return errNoCall
	}
	id := r.URL.Query().Get("shoot")
	if id == "" {
		id = s.cfg.Shoot.Snapshot().ID
	}
	var page bytes.Buffer // whole or not at all
	if err := s.cfg.Past.Sheet(r.Context(), id, &page); errors.Is(err, fs.ErrNotExist) {
		return errNoShoot
	} else if err != nil {
		return err
	}
	w.Header().Set("Content-Security-Policy", sheet.Policy())
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = page.WriteTo(w) // the caller is gone; nobody to tell
	return nil
}
