package dashboard

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"mime"
	"net/http"
	"slices"
	"sync"

	"thirdstop/advise"
	"thirdstop/advise/account"
	"thirdstop/advise/shoot"
	"thirdstop/dashboard/language"
	"thirdstop/dashboard/sheet"
)

// Past is what was recorded, of this shoot and of earlier ones. Its methods may be called from many
// goroutines at once.
type Past interface {
	// Sheet writes the sheet of a shoot. The error wraps fs.ErrNotExist where there is no shoot of that id.
	Sheet(ctx context.Context, id string, w io.Writer) error
	// Export writes a table of a shoot. The errors are those of Sheet, and account.ErrNoBaseline where corrections are
	// asked of a shoot in which nothing was accepted as right.
	Export(ctx context.Context, id string, table account.Table, form account.Form, w io.Writer) error
	// Rebuild is the light of an earlier shoot and a plan drawn from it. The error wraps fs.ErrNotExist where there is no
	// such shoot, and account.ErrNoBaseline where nothing was accepted as right in it.
	Rebuild(ctx context.Context, id string) (advise.Earlier, advise.PlanText, error)
	// Shoots lists recorded shoots, the newest first.
	Shoots(ctx context.Context, limit int) ([]PastShoot, error)
}

// PastShoot is a recorded shoot in a few words.
type PastShoot struct {
	ID       string `json:"id"`
	Began    string `json:"began"` // RFC 3339, UTC
	Name     string `json:"name"`  // of its plan, "" where it had none
	Frames   int    `json:"frames"`
	Baseline int    `json:"baseline"` // frame number, 0: none, so it can't be built again
	Here     bool   `json:"here"`     // it is the one that goes on
}

// mostShoots is the most shoots that are listed.
const mostShoots = 200

// getShoots is GET /api/v1/shoots.
func (s *Server) getShoots(w http.ResponseWriter, r *http.Request, who Device) error {
	if s.cfg.Past == nil {
		return errNoCall
	}
	limit, err := limitOf(r)
	if err != nil {
		return err
	}
	list, err := s.cfg.Past.Shoots(r.Context(), min(limit, mostShoots))
	if err != nil {
		return err
	}
	id := s.cfg.Shoot.Snapshot().ID
	for i := range list {
		list[i].Here = list[i].ID == id
	}
	return answer(w, http.StatusOK, map[string]any{"shoots": list})
}

type rebuildBody struct {
	act
	Shoot *string `json:"shoot"`
}

// postRebuild is POST /api/v1/rebuild: this shoot is to build the light of an earlier one again. It hands over the plan,
// then the light; a repeat after either does what is missing.
func (s *Server) postRebuild(w http.ResponseWriter, r *http.Request, who Device) error {
	if s.cfg.Past == nil {
		return errNoCall
	}
	var b rebuildBody
	if err := readAct(w, r, mostBody, &b); err != nil {
		return err
	}
	if b.Shoot == nil {
		return missing("shoot", "the id of the shoot whose light is to be built again")
	}
	if *b.Shoot == s.cfg.Shoot.Snapshot().ID {
		return refused("that is the shoot that goes on; choose an earlier one")
	}
	earlier, text, err := s.cfg.Past.Rebuild(r.Context(), *b.Shoot)
	if err != nil {
		return ofPast(err)
	}
	if !s.asked.same(who.ID+"/"+*b.Client, b.asked) {
		return errReused
	}
	first := shoot.Request{Client: who.ID + "/" + *b.Client + "/plan", Seen: *b.Seen, By: advise.Actor{Device: who.ID, Role: string(who.Role)}, Plan: &text}
	if _, err := s.cfg.Shoot.Submit(r.Context(), first); err != nil {
		s.asked.forget(who.ID + "/" + *b.Client)
		return err
	}
	zero := uint64(0) // the plan moved the state on
	return s.submit(w, r, who, &act{Client: b.Client, Seen: &zero, asked: b.asked}, shoot.Request{Earlier: &earlier})
}

var errNoShoot = &problem{http.StatusNotFound, "no_such_shoot", "there is no shoot of that id", nil}

// serveSheet is GET /api/v1/sheet?shoot=ID&language=de: one page to print; without an id that of this shoot, without a
// language in English.
func (s *Server) serveSheet(w http.ResponseWriter, r *http.Request, who Device) error {
	if s.cfg.Past == nil {
		return errNoCall
	}
	id := r.URL.Query().Get("shoot")
	if id == "" {
		id = s.cfg.Shoot.Snapshot().ID
	}
	code := r.URL.Query().Get("language")
	said, err := s.tables.of(s.pages, code)
	if err != nil {
		return err
	}
	var page bytes.Buffer // whole or not at all
	if err := s.cfg.Past.Sheet(r.Context(), id, &page); errors.Is(err, fs.ErrNotExist) {
		return errNoShoot
	} else if err != nil {
		return err
	}
	text := page.Bytes()
	if said != nil {
		text = said.Page(text, code)
	}
	w.Header().Set("Content-Security-Policy", sheet.Policy())
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(text) // the caller is gone; nobody to tell
	return nil
}

// ofPast is an error of [Past] as the page is told.
func ofPast(err error) error {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return errNoShoot
	case errors.Is(err, account.ErrNoBaseline):
		return refused(err.Error())
	}
	return err
}

// serveExport is GET /api/v1/export?table=frames&as=csv&shoot=ID: one table of a shoot, of this one without an id.
func (s *Server) serveExport(w http.ResponseWriter, r *http.Request, who Device) error {
	if s.cfg.Past == nil {
		return errNoCall
	}
	q := r.URL.Query()
	table, form := account.Table(cmp.Or(q.Get("table"), string(account.FramesTable))), account.Form(cmp.Or(q.Get("as"), string(account.CSV)))
	if !slices.Contains([]account.Table{account.FramesTable, account.LogTable, account.CorrectionsTable}, table) {
		return bad("table", fmt.Sprintf("there is no table %q; ask for frames, log or corrections", table))
	}
	if form != account.CSV && form != account.JSONLines {
		return bad("as", fmt.Sprintf("tables are not written as %q; ask for csv or jsonl", form))
	}
	id := cmp.Or(q.Get("shoot"), s.cfg.Shoot.Snapshot().ID)
	var rows bytes.Buffer // whole or not at all
	if err := s.cfg.Past.Export(r.Context(), id, table, form, &rows); err != nil {
		return ofPast(err)
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	if form == account.JSONLines {
		w.Header().Set("Content-Type", "application/x-ndjson")
	}
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": id + "-" + string(table) + "." + string(form)}))
	_, _ = w.Write(rows.Bytes()) // the caller is gone; nobody to tell
	return nil
}

// tables are the languages of the daemon's sentences that were asked for.
type tables struct {
	mu   sync.Mutex
	read map[string]*language.Table // guarded by mu
}

// of gives a language's table out of the pages; nil is English.
func (t *tables) of(p *pages, code string) (*language.Table, error) {
	if code == "" || code == "en" {
		return nil, nil
	}
	text, ok := p.files["said-"+code+".txt"]
	if !ok {
		return nil, bad("language", fmt.Sprintf("there is no language %q; leave it out for English", code))
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if said, ok := t.read[code]; ok {
		return said, nil
	}
	said, err := language.Parse(string(text))
	if err != nil {
		return nil, fmt.Errorf("the table of the language %s can't be read: %w", code, err)
	}
	if t.read == nil {
		t.read = map[string]*language.Table{}
	}
	t.read[code] = said
	return said, nil
}
