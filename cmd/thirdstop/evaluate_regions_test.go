package main

import (
	"strings"
	"testing"
)

func TestEvaluateRegions(t *testing.T) {
	if code, out, errs := ran(t, "evaluate", "regions", "--scenes", "3"); code != 0 || !strings.Contains(out, "| backdrop, intersection over union | ") {
		t.Errorf("evaluate regions exits %d, prints %q and says %q", code, out, errs)
	}
	for _, wrong := range [][]string{{"--scenes", "0"}, {"--seed", "9999999"}, {"a.jpg"}} {
		if code, out, errs := ran(t, append([]string{"evaluate", "regions"}, wrong...)...); code != 2 || out != "" || !strings.Contains(errs, "scenes go from 1") {
			t.Errorf("evaluate regions %v exits %d, prints %q and says %q, want wrong use", wrong, code, out, errs)
		}
	}
}
