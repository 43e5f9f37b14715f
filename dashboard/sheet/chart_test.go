package sheet_test

import (
	"strings"
	"testing"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/dashboard/sheet"
	"thirdstop/dashboard/sheet/sheettest"
)

func TestTheSheetShowsTheChartThatTheShootRecorded(t *testing.T) {
	a := sheettest.Shoot(12)
	if html := written(t, a, sheet.Options{}); strings.Contains(html, "Colour chart") {
		t.Error("a shoot without a chart has a sheet with one")
	}
	shift, tint, mean, worst, by := 7.4, -0.0012, 2.31, 5.2, exposure.Stops(-0.125)
	last := &a.Frames[len(a.Frames)-1]
	last.Stands = true
	last.Chart = &assess.Chart{Shift: &shift, Tint: &tint, Mean: &mean, Worst: &worst, Patch: "cyan", Error: &by, Sigma: 0.05}
	html := written(t, a, sheet.Options{})
	for _, want := range []string{"Colour chart", "mean 2.3, worst 5.2 (cyan)", "7 mired (over 0: too warm)", "-0.12 stop (give or take 0.05)"} {
		if !strings.Contains(strings.ReplaceAll(html, "&#43;", "+"), want) {
			t.Errorf("the sheet lacks %q", want)
		}
	}
}
