package main

import (
	"html"
	"path/filepath"
	"strings"
	"testing"
)

func TestTheSheetShowsAColourChartWhereOneIsNamed(t *testing.T) {
	lonely(t)
	data, id := tape(t)
	t.Setenv("THIRDSTOP_DATA", data)
	if code, out, errs := ran(t, "trail", "sheet", id); code != 0 || errs != "" || strings.Contains(out, "Colour chart") {
		t.Errorf("a sheet without a chart = %d %q", code, errs)
	}
	code, out, errs := ran(t, "trail", "sheet", "--chart", printedChart(t), id)
	if code != 0 || errs != "" {
		t.Fatalf("sheet = %d %q", code, errs)
	}
	out = html.UnescapeString(out)
	for _, want := range []string{"Colour chart", "colours, CIEDE2000", "white balance", "November 2014 and later", "make the neutrals neutral"} {
		if !strings.Contains(out, want) {
			t.Errorf("the sheet lacks %q", want)
		}
	}
	if code, out, errs := ran(t, "trail", "sheet", "--chart", filepath.Join(data, "gone.jpg"), id); code != 1 || out != "" || !strings.Contains(errs, "gone.jpg") {
		t.Errorf("a chart that is not there = %d %q", code, errs)
	}
	if code, _, errs := ran(t, "trail", "verify", "--chart", "x.jpg", id); code != 2 || !strings.Contains(errs, "--chart") {
		t.Errorf("verify --chart = %d %q", code, errs)
	}
}
