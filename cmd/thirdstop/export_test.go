package main

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func TestAnExportHoldsTheShootAndItsHead(t *testing.T) {
	lonely(t)
	data, id := tape(t)
	t.Setenv("THIRDSTOP_DATA", data)
	_, out, _ := ran(t, "trail", "verify", id)
	_, rest, _ := strings.Cut(out, "head ")
	head := strings.Fields(rest)[0]
	for _, table := range []string{"frames", "log"} {
		code, out, errs := ran(t, "trail", "export", "--table", table, id)
		if code != 0 || errs != "" {
			t.Fatalf("export %s = %d %s", table, code, errs)
		}
		rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
		if err != nil || len(rows) < 4 {
			t.Fatalf("%s: %d rows, %v", table, len(rows), err)
		}
		at := slices.Index(rows[0], "head")
		for _, r := range rows[1:] {
			if r[at] != head {
				t.Fatalf("%s: a row has the head %s, verify printed %s", table, r[at], head)
			}
		}
		code, out, errs = ran(t, "trail", "export", "--table", table, "--as", "jsonl", id)
		lines := strings.Split(strings.TrimSuffix(out, "\n"), "\n")
		if code != 0 || errs != "" || len(lines) != len(rows)-1 {
			t.Fatalf("export %s as JSON Lines = %d %s, %d lines for %d rows", table, code, errs, len(lines), len(rows)-1)
		}
		var o map[string]any
		if err := json.Unmarshal([]byte(lines[0]), &o); err != nil || len(o) != len(rows[0]) || o["head"] != head {
			t.Errorf("%s: the first line is %s, %v", table, lines[0], err)
		}
		_, help, _ := ran(t, "trail", "export", "--columns")
		for _, c := range rows[0] {
			if !strings.Contains(help, "\n  "+c+" ") {
				t.Errorf("the column %s of %s is not documented", c, table)
			}
		}
	}
	// The head of an export finds what verify alone can't: a record removed from the end.
	chain := filepath.Join(data, "shoots", id, "trail.jsonl")
	whole, err := os.ReadFile(chain)
	if err != nil {
		t.Fatal(err)
	}
	cut := whole[:strings.LastIndexByte(string(whole[:len(whole)-1]), '\n')+1]
	if err := os.WriteFile(chain, cut, 0o600); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := ran(t, "trail", "verify", "--head", head, id); code != 1 || !strings.Contains(errs, "head") {
		t.Errorf("verify with the export's head = %d %q", code, errs)
	}
	for _, words := range []string{"trail export", "trail export --table faces " + id, "trail export --as xls " + id, "trail verify --as csv " + id,
		"trail export " + id + " " + id, "trail export --columns " + id} {
		if code, _, _ := ran(t, strings.Fields(words)...); code != 2 {
			t.Errorf("%s = %d, want wrong use", words, code)
		}
	}
	if code, _, errs := ran(t, "trail", "export", "gone"); code != 1 || !strings.Contains(errs, "holds no shoot") {
		t.Errorf("export of a shoot that is not there = %d %q", code, errs)
	}
}
