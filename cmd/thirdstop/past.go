package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"strings"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/account"
	"thirdstop/advise/index"
	"thirdstop/dashboard"
	"thirdstop/dashboard/sheet"
)

// past is what the data folder holds of recorded shoots, for the page.
type past struct {
	shoots string // the folder of the shoots
	index  string
	open   string // id of the shoot that goes on, whose record grows with every frame
	one    chan struct{}
}

func newPast(data, open string) *past {
	return &past{shoots: filepath.Join(data, "shoots"), index: indexPath(data), open: open, one: make(chan struct{}, 1)}
}

// indexPath is where the index of the shoots lies; it may be deleted at any time.
func indexPath(data string) string { return filepath.Join(data, "index.sqlite") }

// folder is where a shoot lies. Its id comes from a request, so it names a folder here or nothing.
func (p *past) folder(id string) (string, error) {
	if id == "" || strings.ContainsAny(id, `/\:`) || strings.HasPrefix(id, ".") {
		return "", fmt.Errorf("shoot %q: %w", id, fs.ErrNotExist)
	}
	return filepath.Join(p.shoots, id), nil
}

// Rebuild is the light of an earlier shoot, and a plan drawn from it.
func (p *past) Rebuild(ctx context.Context, id string) (advise.Earlier, advise.PlanText, error) {
	dir, err := p.folder(id)
	if err != nil {
		return advise.Earlier{}, advise.PlanText{}, err
	}
	a, err := account.ReadContext(ctx, dir)
	if err != nil {
		return advise.Earlier{}, advise.PlanText{}, err
	}
	return a.Rebuild()
}

// Shoots lists what is recorded, the newest first. The shoot that goes on is listed as it was when it was listed last.
func (p *past) Shoots(ctx context.Context, limit int) ([]dashboard.PastShoot, error) {
	x, err := index.Open(p.index)
	if err != nil {
		return nil, err
	}
	defer x.Close()
	if _, err := x.Update(ctx, p.shoots, p.open); err != nil {
		return nil, err
	}
	list, err := x.List(ctx, limit)
	if err != nil {
		return nil, err
	}
	out := []dashboard.PastShoot{}
	for _, s := range list {
		out = append(out, dashboard.PastShoot{ID: s.ID, Began: s.Began.UTC().Format(time.RFC3339), Name: s.Name, Frames: s.Frames, Baseline: s.Baseline})
	}
	return out, nil
}

// Sheet writes the sheet of a shoot.
func (p *past) Sheet(ctx context.Context, id string, w io.Writer) error {
	return p.played(ctx, id, func(a *account.Account, dir string) error {
		return sheet.Write(w, a, sheet.Options{Pictures: picturesOf(dir), Zone: time.Local})
	})
}

// Export writes a table of a shoot.
func (p *past) Export(ctx context.Context, id string, table account.Table, form account.Form, w io.Writer) error {
	return p.played(ctx, id, func(a *account.Account, _ string) error { return a.Write(w, table, form) })
}

// played hands a shoot's account over, one at a time: the whole record is played, beside a shoot that goes on.
func (p *past) played(ctx context.Context, id string, use func(a *account.Account, dir string) error) error {
	dir, err := p.folder(id)
	if err != nil {
		return err
	}
	select {
	case p.one <- struct{}{}:
		defer func() { <-p.one }()
	case <-ctx.Done():
		return ctx.Err()
	}
	a, err := account.ReadContext(ctx, dir)
	if err != nil {
		return errors.Join(err, ctx.Err())
	}
	return use(a, dir)
}
