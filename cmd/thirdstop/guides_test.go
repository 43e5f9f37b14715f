package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thirdstop/advise/guides"
	"thirdstop/advise/plan"
)

// What a shoot taught of its flashes is there for the next plan.
func TestLearnedGuideNumbersReachTheNextPlan(t *testing.T) {
	lonely(t)
	data := t.TempDir()
	t.Setenv("THIRDSTOP_DATA", data)
	p, _ := plan.Parse("x", plan.Annotated())
	s, err := guides.Open(guidesPath(data))
	if err != nil {
		t.Fatal(err)
	}
	key, _ := p.Light("B")
	s.Add("a", guides.KeyOf(key), 12)
	if err := s.Save(); err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	planReach(t.Context(), []string{"-"}, bytes.NewReader(plan.Annotated()), &out, &errs)
	if !strings.Contains(out.String(), "from what earlier shoots taught of it") {
		t.Errorf("the learned key is not used:\n%s%s", &out, &errs)
	}
	if err := os.WriteFile(filepath.Join(data, "guides.json"), []byte("{"), 0o600); err != nil {
		t.Fatal(err)
	}
	out.Reset()
	if code := planReach(t.Context(), []string{"-"}, bytes.NewReader(plan.Annotated()), &out, &errs); code != 0 || strings.Contains(out.String(), "earlier shoots") {
		t.Errorf("a damaged file: exit %d\n%s", code, &out)
	}
}
