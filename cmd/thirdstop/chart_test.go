package main

import (
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thirdstop/assess/colour"
	"thirdstop/testdata"
)

// printedChart writes a JPEG of a chart as a balanced camera shows it, a perfect white half a stop under clipping.
func printedChart(t *testing.T) string {
	t.Helper()
	const pitch, edge = 48, 40
	img := image.NewRGBA(image.Rect(0, 0, 8*pitch, 6*pitch))
	draw.Draw(img, img.Rect, image.NewUniform(color.RGBA{60, 60, 60, 255}), image.Point{}, draw.Src)
	toD65 := colour.Bradford(colour.D50, colour.D65)
	for i := range colour.Patches {
		rgb := colour.SRGB.RGB(toD65.Of(colour.Patches[i].Reference(colour.After2014).XYZ(colour.D50)))
		var code [3]uint8
		for ch := range rgb {
			code[ch] = uint8(colour.SRGB.Encode(rgb[ch]*(-colour.DefaultHeadroom).Factor()) + 0.5)
		}
		x, y := (1+i%colour.ChartCols)*pitch, (1+i/colour.ChartCols)*pitch
		draw.Draw(img, image.Rect(x+4, y+4, x+4+edge, y+4+edge), image.NewUniform(color.RGBA{code[0], code[1], code[2], 255}), image.Point{}, draw.Src)
	}
	name := filepath.Join(t.TempDir(), "chart.jpg")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := jpeg.Encode(f, img, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return name
}

func TestChartReadsAPrint(t *testing.T) {
	lonely(t)
	name := printedChart(t)
	code, out, errs := ran(t, "chart", "--curve", "srgb", name)
	if code != 0 || errs != "" {
		t.Fatalf("chart exits %d and says %q", code, errs)
	}
	for _, want := range []string{"chart.jpg\n", "0 degrees, patches 48 pixels apart", "November 2014 and later", "the camera's white balance fits",
		"0.50 stops under clipping", "evenness", "dark skin", "black 2"} {
		if !strings.Contains(out, want) {
			t.Errorf("the text lacks %q:\n%s", want, out)
		}
	}
}

func TestChartPrintsOneLinePerFileInOrder(t *testing.T) {
	good, none := printedChart(t), wholeSample(t) // before the home is gone that the module's samples lie in
	lonely(t)
	code, out, errs := ran(t, "chart", "--json", "--edition", "before-2014", "--headroom", "1", none, good, "gone.jpg")
	lines := jsonLines(t, out)
	if code != 1 || len(lines) != 3 {
		t.Fatalf("exit code %d and %d lines, want 1 and 3", code, len(lines))
	}
	if text, _ := lines[0]["error"].(string); !strings.Contains(text, "no 24-patch chart") || !strings.Contains(errs, text) || lines[0]["chart"] != nil {
		t.Errorf("a picture without a chart gives %v and %q", lines[0], errs)
	}
	if text, _ := lines[2]["error"].(string); lines[2]["file"] != "gone.jpg" || !strings.Contains(text, "there is no such file") {
		t.Errorf("a missing file gives %v", lines[2])
	}
	chart, ok := lines[1]["chart"].(map[string]any)
	if !ok || lines[1]["file"] != good {
		t.Fatalf("the chart's line is %v", lines[1])
	}
	if chart["edition"] != "before_2014" || chart["curve"] != "default-1" || len(chart["patches"].([]any)) != 24 {
		t.Errorf("edition %v, curve %v", chart["edition"], chart["curve"])
	}
	if m, ok := chart["exposure"].(map[string]any); !ok || math.Abs(m["error_stops"].(float64)-m["white_stops"].(float64)-1) > 0.002 {
		t.Errorf("the headroom asked for isn't what the error is counted from: %v", chart["exposure"])
	}
}

func TestChartHelpsAndKnowsWrongUse(t *testing.T) {
	lonely(t)
	for _, tc := range []struct {
		args   string
		code   int
		stdout string
		stderr string
	}{
		{"chart --help", 0, "--edition", ""},
		{"chart help", 0, "--edition", ""},
		{"chart", 2, "", "name at least one file"},
		{"chart --edition 1976 a.jpg", 2, "", `"1976"`},
		{"chart --curve film a.jpg", 2, "", `"film"`},
		{"chart --headroom 9 a.jpg", 2, "", "headroom"},
		{"chart --headroom 0 a.jpg", 2, "", "headroom"},
		{"chart gone.jpg", 1, "", "gone.jpg"},
	} {
		code, out, errs := ran(t, strings.Fields(tc.args)...)
		if code != tc.code || !strings.Contains(out, tc.stdout) || !strings.Contains(errs, tc.stderr) {
			t.Errorf("thirdstop %s = %d\nstdout %q\nstderr %q\nwant %d, %q and %q", tc.args, code, out, errs, tc.code, tc.stdout, tc.stderr)
		}
	}
}

func TestChartSaysWhatTheFileIs(t *testing.T) {
	lonely(t)
	// A raw developer's export, whose history is in its XMP; the picture has four clipped patches.
	code, out, errs := ran(t, "chart", testdata.Photos(t, "qiujueqin-color-checker", "passport.jpg"))
	if code != 0 || errs != "" {
		t.Fatalf("chart exits %d and says %q", code, errs)
	}
	for _, want := range []string{"turned by 180 degrees", "not as the camera wrote it", "clipped: orange, moderate red, orange yellow and yellow"} {
		if !strings.Contains(out, want) {
			t.Errorf("the text lacks %q:\n%s", want, out)
		}
	}
}
