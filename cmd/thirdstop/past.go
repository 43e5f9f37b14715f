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

	"thirdstop/advise/account"
	"thirdstop/dashboard/sheet"
)

// past is what the data folder holds of recorded shoots, for the page.
type past struct {
	shoots string // the folder of the shoots
	one    chan struct{}
}

func newPast(shoots string) *past { return &past{shoots: shoots, one: make(chan struct{}, 1)} }

// folder is where a shoot lies. Its id comes from a request, so it names a folder here or nothing.
func (p *past) folder(id string) (string, error) {
	if id == "" || strings.ContainsAny(id, `/\:`) || strings.HasPrefix(id, ".") {
		return "", fmt.Errorf("shoot %q: %w", id, fs.ErrNotExist)
	}
	return filepath.Join(p.shoots, id), nil
}

// Sheet writes one sheet at a time: it plays the whole record, beside a shoot that goes on.
func (p *past) Sheet(ctx context.Context, id string, w io.Writer) error {
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
	return sheet.Write(w, a, sheet.Options{Pictures: picturesOf(dir), Zone: time.Local})
}
