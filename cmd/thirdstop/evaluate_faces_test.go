package main

import (
	"path/filepath"
	"strings"
	"testing"

	"thirdstop/testdata"
)

func TestEvaluateFaces(t *testing.T) {
	file := filepath.Join(testdata.Photos(t, "plain-backdrop-portraits"), "portrait-09.jpg")
	code, out, errs := ran(t, "evaluate", "faces", "--scenes", "3", file)
	if code != 0 || !strings.Contains(out, "| faces found, of frames in which a sitter was | ") || !strings.Contains(out, "A face was found in 1 of 1 pictures") {
		t.Errorf("evaluate faces exits %d, prints %q and says %q", code, out, errs)
	}
	for _, wrong := range [][]string{{"--scenes", "0"}, {"--scenes", "-1"}, {"--seed", "9999999"}} {
		if code, out, errs := ran(t, append([]string{"evaluate", "faces"}, wrong...)...); code != 2 || out != "" || !strings.Contains(errs, "scenes go from 1") {
			t.Errorf("evaluate faces %v exits %d, prints %q and says %q, want wrong use", wrong, code, out, errs)
		}
	}
}
