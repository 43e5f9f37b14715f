package index

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/trail"
)

// A database that may not grow behaves as one on a full disk does (SQLite answers SQLITE_FULL to both).
func TestAFullDiskLeavesTheIndexAsItWas(t *testing.T) {
	dir := t.TempDir()
	shoots := filepath.Join(dir, "shoots")
	begin := func(id string) {
		tr, err := trail.Create(filepath.Join(shoots, id), trail.Header{At: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC), Rules: advise.Rules,
			About: json.RawMessage(`{}`)}, trail.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if err := tr.Close(); err != nil {
			t.Fatal(err)
		}
	}
	begin("first")
	x, err := Open(filepath.Join(dir, "index.sqlite"))
	if err != nil {
		t.Fatal(err)
	}
	defer x.Close()
	if _, err := x.Update(t.Context(), shoots, ""); err != nil {
		t.Fatal(err)
	}
	var pages int
	if err := x.db.QueryRow("PRAGMA page_count").Scan(&pages); err != nil {
		t.Fatal(err)
	}
	if err := x.db.QueryRow(fmt.Sprintf("PRAGMA max_page_count = %d", pages)).Scan(&pages); err != nil {
		t.Fatal(err)
	}
	for i := range 80 {
		begin(fmt.Sprintf("shoot-%02d", i))
	}
	u, err := x.Update(t.Context(), shoots, "")
	if err == nil {
		t.Fatalf("80 shoots fit into no room at all: %+v", u)
	}
	before, err := x.List(t.Context(), 0)
	if err != nil || len(before) == 0 || before[len(before)-1].ID != "first" {
		t.Errorf("what was indexed before is gone: %d shoots, %v", len(before), err)
	}
	if err := x.db.QueryRow("PRAGMA max_page_count = 100000").Scan(&pages); err != nil {
		t.Fatal(err)
	}
	if _, err := x.Update(t.Context(), shoots, ""); err != nil {
		t.Errorf("with room again: %v", err)
	}
	if all, err := x.List(t.Context(), 0); err != nil || len(all) != 81 {
		t.Errorf("with room again: %d shoots, %v", len(all), err)
	}
}
