package dashboard

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"strings"
	"testing"

	"thirdstop/dashboard/dashtest"
	"thirdstop/dashboard/sheet"
	"thirdstop/dashboard/sheet/sheettest"
)

// pretended is a past of one shoot, which is the one that runs.
type pretended struct{ fail error }

func (p pretended) Sheet(_ context.Context, id string, w io.Writer) error {
	if id != dashtest.New().Snapshot().ID {
		return fmt.Errorf("shoot %s: %w", id, fs.ErrNotExist)
	}
	if p.fail != nil {
		fmt.Fprint(w, "half a page")
		return p.fail
	}
	return sheet.Write(w, sheettest.Shoot(12), sheet.Options{})
}

func TestTheSheetIsServedUnderAPolicyOfItsOwn(t *testing.T) {
	b := start(t, open)
	got := b.ask("GET", "/api/v1/sheet", "")
	if got.status != http.StatusOK || !strings.Contains(got.text, "From above") || !strings.HasPrefix(got.header.Get("Content-Type"), "text/html") {
		t.Fatalf("GET sheet = %d %.200s", got.status, got.text)
	}
	policy := got.header.Values("Content-Security-Policy")
	if len(policy) != 1 || policy[0] != sheet.Policy() || strings.Contains(policy[0], "script-src") {
		t.Errorf("policy %q", policy)
	}
	if got.header.Get("Cache-Control") != "no-store" {
		t.Error("the sheet, which names people, may be cached")
	}
	for _, id := range []string{"gone", "../secrets", "%00"} {
		if got := b.ask("GET", "/api/v1/sheet?shoot="+id, ""); got.status != http.StatusNotFound || !strings.Contains(got.text, "no_such_shoot") {
			t.Errorf("the sheet of %s = %d %.100s", id, got.status, got.text)
		}
	}
	broken := start(t, open, func(_ *Server, c *Config) { c.Past = pretended{errors.New("record 7 is damaged")} })
	if got := broken.ask("GET", "/api/v1/sheet", ""); got.status != http.StatusInternalServerError || strings.Contains(got.text, "half") {
		t.Errorf("a sheet that can't be made = %d %.100s", got.status, got.text)
	}
	without := start(t, open, func(_ *Server, c *Config) { c.Past = nil })
	if got := without.ask("GET", "/api/v1/sheet", ""); got.status != http.StatusNotFound {
		t.Errorf("a server without a past = %d", got.status)
	}
}
