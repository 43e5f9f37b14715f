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

	"thirdstop/advise"
	"thirdstop/advise/account"
	"thirdstop/dashboard/dashtest"
	"thirdstop/dashboard/sheet"
	"thirdstop/dashboard/sheet/sheettest"
	"thirdstop/dashboard/web"
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

func (p pretended) Export(_ context.Context, id string, table account.Table, form account.Form, w io.Writer) error {
	switch {
	case id != dashtest.New().Snapshot().ID:
		return fmt.Errorf("shoot %s: %w", id, fs.ErrNotExist)
	case table == account.CorrectionsTable:
		return fmt.Errorf("corrections: %w", account.ErrNoBaseline)
	case p.fail != nil:
		fmt.Fprint(w, "half a table")
		return p.fail
	}
	return sheettest.Shoot(12).Write(w, table, form)
}

func (p pretended) Rebuild(_ context.Context, id string) (advise.Earlier, advise.PlanText, error) {
	switch id {
	case "20261120-100000-EARLY":
		return advise.Earlier{Shoot: id, Name: "committee, first evening", Frame: 12, Lights: []advise.EarlierLight{
				{Group: "B", Role: "key", Name: "Key (B)", Power: -60, PowerText: "1/4", Distance: 1.2}}},
			advise.PlanText{Name: "as in " + id, Text: dashtest.PlanText}, nil
	case "20261119-100000-BARE":
		return advise.Earlier{}, advise.PlanText{}, fmt.Errorf("the light of %s can't be built again: %w", id, account.ErrNoBaseline)
	}
	return advise.Earlier{}, advise.PlanText{}, fmt.Errorf("shoot %s: %w", id, fs.ErrNotExist)
}

func (p pretended) Shoots(_ context.Context, limit int) ([]PastShoot, error) {
	all := []PastShoot{{ID: dashtest.New().Snapshot().ID, Began: "2026-11-25T09:00:00Z", Name: "Alder Quay Rowing Club, committee", Frames: 3},
		{ID: "20261120-100000-EARLY", Began: "2026-11-20T10:00:00Z", Name: "committee, first evening", Frames: 64, Baseline: 12}}
	return all[:min(limit, len(all))], nil
}

func TestATableIsExportedWhole(t *testing.T) {
	b := start(t, open)
	for _, c := range []struct{ query, kind, name, begins string }{
		{"", "text/csv", "-frames.csv", "shoot,head,"},
		{"?table=log", "text/csv", "-log.csv", "shoot,head,"},
		{"?table=frames&as=jsonl", "application/x-ndjson", "-frames.jsonl", "{"},
	} {
		got := b.ask("GET", "/api/v1/export"+c.query, "")
		if got.status != http.StatusOK || !strings.HasPrefix(got.header.Get("Content-Type"), c.kind) || !strings.HasPrefix(strings.ReplaceAll(got.text, "\"", ""), strings.ReplaceAll(c.begins, "\"", "")) || strings.Count(got.text, "\n") < 2 {
			t.Errorf("GET export%s = %d %s %.200s", c.query, got.status, got.header.Get("Content-Type"), got.text)
		}
		if d := got.header.Get("Content-Disposition"); !strings.HasPrefix(d, "attachment") || !strings.Contains(d, dashtest.New().Snapshot().ID+c.name) {
			t.Errorf("export%s is handed over as %q", c.query, d)
		}
		if got.header.Get("Cache-Control") != "no-store" {
			t.Errorf("export%s, which names people, may be cached", c.query)
		}
	}
	for query, want := range map[string]int{"?table=faces": 400, "?as=xls": 400, "?shoot=gone": 404, "?shoot=../secrets": 404, "?table=corrections": 422} {
		if got := b.ask("GET", "/api/v1/export"+query, ""); got.status != want {
			t.Errorf("export%s = %d %.100s, want %d", query, got.status, got.text, want)
		}
	}
	broken := start(t, open, func(_ *Server, c *Config) { c.Past = pretended{errors.New("record 7 is damaged")} })
	if got := broken.ask("GET", "/api/v1/export", ""); got.status != http.StatusInternalServerError || strings.Contains(got.text, "half") {
		t.Errorf("a table that can't be made = %d %.100s", got.status, got.text)
	}
}

func TestAnEarlierLightIsHandedOverWithItsPlan(t *testing.T) {
	b := start(t, open)
	got := b.ask("POST", "/api/v1/rebuild", `{"client": "r-1", "seen": 4, "shoot": "20261120-100000-EARLY"}`, "Content-Type: application/json")
	if got.status != http.StatusOK {
		t.Fatalf("rebuild = %d %s", got.status, got.text)
	}
	took := b.sh.Requests()
	if len(took) != 2 || took[0].Plan == nil || took[1].Earlier == nil || took[1].Earlier.Frame != 12 {
		t.Fatalf("the shoot was asked %+v, want the plan and then the light", took)
	}
	if again := b.ask("POST", "/api/v1/rebuild", `{"client": "r-1", "seen": 4, "shoot": "20261120-100000-EARLY"}`, "Content-Type: application/json"); again.status != http.StatusOK ||
		!strings.Contains(again.text, `"repeat":true`) || len(b.sh.Requests()) != 2 {
		t.Errorf("a repeat = %d %s, and the shoot took %d requests", again.status, again.text, len(b.sh.Requests()))
	}
	for body, want := range map[string]int{
		`{"client": "r-2", "seen": 0, "shoot": "gone"}`:                                       http.StatusNotFound,
		`{"client": "r-3", "seen": 0, "shoot": "20261119-100000-BARE"}`:                       http.StatusUnprocessableEntity,
		`{"client": "r-4", "seen": 0, "shoot": "` + dashtest.New().Snapshot().ID + `"}`:       http.StatusUnprocessableEntity,
		`{"client": "r-5", "seen": 0}`:                                                        http.StatusBadRequest,
		`{"client": "r-6", "seen": 4, "shoot": "20261120-100000-EARLY", "stands": "forever"}`: http.StatusBadRequest,
		`{"client": "r-7", "seen": 4, "shoot": "20261120-100000-EARLY"}`:                      http.StatusConflict,
	} {
		if got := b.ask("POST", "/api/v1/rebuild", body, "Content-Type: application/json"); got.status != want {
			t.Errorf("%s = %d %.120s, want %d", body, got.status, got.text, want)
		}
	}
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
	german := start(t, open, func(_ *Server, c *Config) { c.Pages = web.Files })
	if got := german.ask("GET", "/api/v1/sheet?language=de", ""); got.status != http.StatusOK || !strings.Contains(got.text, `<html lang="de">`) || !strings.Contains(got.text, "Von oben") {
		t.Errorf("the sheet in German = %d %.200s", got.status, got.text)
	}
	if got := german.ask("GET", "/api/v1/sheet?language=xx", ""); got.status != http.StatusBadRequest {
		t.Errorf("the sheet in a language that is not there = %d %.100s, want 400", got.status, got.text)
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
