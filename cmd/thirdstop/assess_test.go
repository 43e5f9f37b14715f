package main

import (
	"bytes"
	"context"
	"encoding/json"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"thirdstop/assess"
	"thirdstop/testdata"
)

func assessedRun(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, err bytes.Buffer
	code = runAssess(context.Background(), args, &out, &err)
	return code, out.String(), err.String()
}

// jsonLines takes the output apart, one object per line.
func jsonLines(t *testing.T, out string) []map[string]any {
	t.Helper()
	var all []map[string]any
	for _, line := range strings.Split(strings.TrimSuffix(out, "\n"), "\n") {
		var v map[string]any
		if err := json.Unmarshal([]byte(line), &v); err != nil {
			t.Fatalf("a line is not JSON: %v\n%s", err, line)
		}
		all = append(all, v)
	}
	return all
}

// The goexif module's sample files are real camera JPEGs, most of them cut off after their
// Exif, which djpeg (libjpeg-turbo 2.1.5) finds too: it decodes 10 of them.
func TestAssessPrintsOneLinePerFileInOrder(t *testing.T) {
	files := testdata.Samples(t)
	slices.Reverse(files) // an order that no sorting would give
	code, out, errs := assessedRun(t, append([]string{"--json"}, files...)...)
	lines := jsonLines(t, out)
	if len(lines) != len(files) {
		t.Fatalf("%d lines for %d files", len(lines), len(files))
	}
	failed := 0
	for i, v := range lines {
		if v["file"] != files[i] {
			t.Errorf("line %d is of %v, want %s", i, v["file"], files[i])
		}
		if text, ok := v["error"].(string); ok {
			failed++
			if len(v) != 2 || text == "" || !strings.Contains(errs, text) {
				t.Errorf("the line of the unreadable %s is %v, and the sentence on standard error is missing or differs", files[i], v)
			}
			continue
		}
		if v["width"].(float64) < 1 || v["regions"] == nil || v["missing"] == nil {
			t.Errorf("the line of %s lacks its reading: %v", files[i], v)
		}
		checkNullsHaveReasons(t, files[i], "", v, v["missing"].(map[string]any))
	}
	if want := map[bool]int{true: 0, false: 1}[failed == 0]; code != want {
		t.Errorf("exit code %d with %d unreadable files, want %d", code, failed, want)
	}
	if len(files)-failed != 10 {
		t.Errorf("%d of %d real camera JPEGs were read, want the 10 that djpeg decodes", len(files)-failed, len(files))
	}
}

// wholeSample is a sample that holds a picture.
func wholeSample(t *testing.T) string {
	t.Helper()
	for _, f := range testdata.Samples(t) {
		if code, _, _ := assessedRun(t, f); code == 0 {
			return f
		}
	}
	t.Fatal("no sample could be read")
	return ""
}

func checkNullsHaveReasons(t *testing.T, file, path string, v any, missing map[string]any) {
	switch v := v.(type) {
	case nil:
		if s, _ := missing[path].(string); s == "" {
			t.Errorf("%s: %s is null without a reason", file, path)
		}
	case map[string]any:
		for k, e := range v {
			checkNullsHaveReasons(t, file, strings.TrimPrefix(path+"."+k, "."), e, missing)
		}
	}
}

func TestAssessExitCodes(t *testing.T) {
	good := wholeSample(t)
	gone := filepath.Join(t.TempDir(), "gone.jpg")
	empty := filepath.Join(t.TempDir(), "empty.jpg")
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		args []string
		want int
		says string // on standard error
	}{
		{[]string{"--json", good}, 0, ""},
		{[]string{good}, 0, ""},
		{[]string{"--", good}, 0, ""},
		{[]string{"--json", good, gone}, 1, "gone.jpg"},
		{[]string{gone}, 1, "gone.jpg"},
		{[]string{empty}, 1, "empty.jpg"},
		{[]string{t.TempDir()}, 1, "folder"},
		{[]string{}, 2, "name at least one file"},
		{[]string{"--json"}, 2, "name at least one file"},
		{[]string{"--jsn", good}, 2, "jsn"},
		{[]string{"--white", "0.5,0.5,0.4,0.6", good}, 2, "write a box"},
		{[]string{"--white", "0.5,0.5,NaN,0.6", good}, 2, "write a box"},
		{[]string{"--white", "0.4,0.5,0.5,0.6", good}, 0, ""},
		{[]string{"--fields", good}, 2, "takes no files"},
		{[]string{"--help"}, 0, ""},
	} {
		code, out, errs := assessedRun(t, tc.args...)
		if code != tc.want || !strings.Contains(errs, tc.says) || tc.says == "" && errs != "" {
			t.Errorf("assess %q exits %d and says %q, want %d and %q", tc.args, code, errs, tc.want, tc.says)
		}
		if tc.want == 0 && out == "" {
			t.Errorf("assess %q prints nothing", tc.args)
		}
		if tc.want == 2 && out != "" {
			t.Errorf("assess %q, wrong use, prints %q on standard output", tc.args, out)
		}
	}
}

func TestAssessStopsWhenAsked(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	stop()
	var out, errs bytes.Buffer
	if code := runAssess(ctx, []string{testdata.Samples(t)[0]}, &out, &errs); code != 1 || out.Len() > 0 || !strings.Contains(errs.String(), "stopped") {
		t.Errorf("a stopped run exits %d, prints %q and says %q", code, out.String(), errs.String())
	}
}

// The names of the fields are a promise. They stand in a file, so that a change is
// seen by whoever makes it; fields may be added, never renamed or dropped.
func TestAssessFieldsAreStable(t *testing.T) {
	code, out, errs := assessedRun(t, "--fields")
	if code != 0 || errs != "" {
		t.Fatalf("assess --fields exits %d and says %q", code, errs)
	}
	var names []string
	for _, line := range strings.Split(strings.TrimSpace(out), "\n")[1:] {
		names = append(names, strings.Fields(line)[0])
	}
	golden := filepath.Join("..", "..", "testdata", "assess", "fields.txt")
	text, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if want := strings.Fields(string(text)); !slices.Equal(names, want) {
		for _, n := range want {
			if !slices.Contains(names, n) {
				t.Errorf("the field %s is gone; scripts and trails rely on it", n)
			}
		}
		for _, n := range names {
			if !slices.Contains(want, n) {
				t.Errorf("the field %s is new: add it to %s", n, golden)
			}
		}
		if !t.Failed() {
			t.Error("the order of the fields changed")
		}
	}
}

// The list of fields covers what is really printed.
func TestAssessFieldsCoverTheOutput(t *testing.T) {
	known := map[string]bool{"file": true}
	for _, f := range assess.Fields() {
		known[f.Path] = true
		if f.Doc == "" {
			t.Errorf("the field %s is not documented", f.Path)
		}
	}
	_, out, _ := assessedRun(t, append([]string{"--json"}, testdata.Samples(t)...)...)
	for _, v := range jsonLines(t, out) {
		if v["error"] == nil {
			checkKnown(t, known, "", v)
		}
	}
}

func checkKnown(t *testing.T, known map[string]bool, path string, v any) {
	switch v := v.(type) {
	case map[string]any:
		for k, e := range v {
			p := strings.TrimPrefix(path+"."+k, ".")
			if !known[p] {
				t.Errorf("the field %s is printed and not documented", p)
			}
			if p != "missing" {
				checkKnown(t, known, p, e)
			}
		}
	case []any:
		for _, e := range v {
			if _, group := e.(map[string]any); group {
				checkKnown(t, known, path+"[]", e)
			}
		}
	}
}

// A real portrait before a plain backdrop, read for people: what is there and in which words.
func TestAssessForPeople(t *testing.T) {
	file := testdata.Photos(t, "plain-backdrop-portraits", "portrait-05.jpg")
	code, out, errs := assessedRun(t, file)
	if code != 0 || errs != "" {
		t.Fatalf("assess exits %d and says %q", code, errs)
	}
	for _, want := range []string{"portrait-05.jpg\n", "1024 x 1024", "backdrop", "stops to clipping", "white floor", "sitter", "tone curve", "nothing recorded"} {
		if !strings.Contains(out, want) {
			t.Errorf("the text lacks %q:\n%s", want, out)
		}
	}
}

// The made-up portraits of the studio hold faces too plain to be sure of; what is held here is that faces come where
// they are asked for, and nowhere else. How well they are found is tested beside the detector.
func TestFacesAreListedWhereTheyAreAskedFor(t *testing.T) {
	file := filepath.Join(t.TempDir(), "AQ_0001.jpg")
	if err := os.WriteFile(file, plainJPEG(t), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		args []string
		want bool
	}{{[]string{"--json", file}, false}, {[]string{"--json", "--faces", file}, true}} {
		var out, errs bytes.Buffer
		if code := runAssess(t.Context(), tc.args, &out, &errs); code != 0 {
			t.Fatalf("%v: exit %d, %s", tc.args, code, &errs)
		}
		var v map[string]any
		if err := json.Unmarshal(out.Bytes(), &v); err != nil {
			t.Fatal(err)
		}
		list, ok := v["faces"].([]any)
		if _, there := v["faces"]; there != tc.want || ok && len(list) != 0 {
			t.Errorf("%v: faces are %v, want a list: %v, and an empty one of a plain wall", tc.args, v["faces"], tc.want)
		}
	}
}

func plainJPEG(t *testing.T) []byte {
	t.Helper()
	m := image.NewGray(image.Rect(0, 0, 640, 480))
	for i := range m.Pix {
		m.Pix[i] = uint8(120 + i%640/32)
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
