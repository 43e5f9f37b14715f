package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thirdstop/advise/plan"
)

func plannedRun(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, err bytes.Buffer
	code = runPlan(context.Background(), args, &out, &err)
	return code, out.String(), err.String()
}

func TestPlanNewWritesAPlanThatCheckAccepts(t *testing.T) {
	file := filepath.Join(t.TempDir(), "boathouse.yaml")
	code, out, errs := plannedRun(t, "new", file)
	if code != 0 || !strings.Contains(out, file) || errs != "" {
		t.Fatalf("plan new exits %d, says %q and %q", code, out, errs)
	}
	code, out, errs = plannedRun(t, "check", file)
	if code != 0 || out != file+": good, with 3 lights\n" || errs != "" {
		t.Errorf("plan check of the example exits %d, says %q and %q", code, out, errs)
	}
}

func TestPlanNewNeverOverwrites(t *testing.T) {
	file := filepath.Join(t.TempDir(), "mine.yaml")
	if err := os.WriteFile(file, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	code, _, errs := plannedRun(t, "new", file)
	got, err := os.ReadFile(file)
	if err != nil || string(got) != "mine" || code != 1 || !strings.Contains(errs, "was left alone") {
		t.Errorf("plan new on a file that is there exits %d, says %q and leaves %q (%v)", code, errs, got, err)
	}
	code, _, errs = plannedRun(t, "new", filepath.Join(t.TempDir(), "nowhere", "p.yaml"))
	if code != 1 || !strings.Contains(errs, "can't write") {
		t.Errorf("plan new in a folder that is not there exits %d and says %q", code, errs)
	}
}

func TestPlanNewWithoutAFileGoesToTheTerminal(t *testing.T) {
	for _, args := range [][]string{{"new"}, {"new", "-"}} {
		if code, out, _ := plannedRun(t, args...); code != 0 || out != string(plan.Annotated()) {
			t.Errorf("plan %v exits %d and writes %d bytes, want the example", args, code, len(out))
		}
	}
}

func TestPlanCheckNamesEveryFaultOfEveryFile(t *testing.T) {
	dir := t.TempDir()
	good, bad, odd := filepath.Join(dir, "good.yaml"), filepath.Join(dir, "bad.yaml"), filepath.Join(dir, "odd.yaml")
	for name, text := range map[string]string{
		good: string(plan.Annotated()),
		bad:  "version: 1\nbackdrop:\n  colour: whit\nlights:\n  - role: key\n    group: B\n    powr: 1/8\n",
		odd:  strings.Replace(string(plan.Annotated()), "shutter: 1/125", "shutter: 1/500", 1),
	} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	code, out, errs := plannedRun(t, "check", good, bad, odd, filepath.Join(dir, "missing.yaml"))
	if code != 1 {
		t.Errorf("plan check exits %d, want 1", code)
	}
	for _, want := range []string{
		good + ": good, with 3 lights\n",
		bad + ":3: backdrop.colour: is \"whit\"; write white?",
		bad + ":7: lights[0].powr: is no key of lights; write power\n",
		bad + ": 2 faults\n",
		": camera.shutter: is 1/500 s, faster than the sync time 1/200 s",
		odd + ": good, with 3 lights; 1 thing is unusual\n",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("plan check does not say %q:\n%s", want, out)
		}
	}
	if !strings.Contains(errs, "missing.yaml: there is no such file") {
		t.Errorf("plan check says %q of a file that is not there", errs)
	}
	if code, _, _ := plannedRun(t, "check", odd); code != 0 {
		t.Errorf("plan check of an unusual plan exits %d, want 0", code)
	}
}

func TestPlanCheckReadsStandardInputUpToItsLimit(t *testing.T) {
	var out, errs bytes.Buffer
	if code := planCheck(context.Background(), []string{"-"}, bytes.NewReader(plan.Annotated()), &out, &errs); code != 0 {
		t.Errorf("plan check - exits %d: %s%s", code, &out, &errs)
	}
	out.Reset()
	endless := strings.NewReader(strings.Repeat("# boathouse\n", 1<<20))
	if code := planCheck(context.Background(), []string{"-"}, endless, &out, &errs); code != 1 || !strings.Contains(out.String(), "256 KB") {
		t.Errorf("plan check of 12 MB exits %d and says %q", code, &out)
	}
	if left := endless.Len(); left < 11<<20 {
		t.Errorf("plan check read all but %d bytes of 12 MB", left)
	}
}

func TestPlanSaysHowItIsUsed(t *testing.T) {
	for _, c := range []struct {
		args []string
		code int
	}{
		{nil, 2}, {[]string{"wirte"}, 2}, {[]string{"check"}, 2}, {[]string{"new", "a", "b"}, 2}, {[]string{"new", "--force"}, 2},
		{[]string{"check", "--json", "x"}, 2}, {[]string{"--help"}, 0}, {[]string{"help"}, 0},
	} {
		code, out, errs := plannedRun(t, c.args...)
		if code != c.code || !strings.Contains(out+errs, "plan check") {
			t.Errorf("plan %v exits %d, want %d, and says %q %q", c.args, code, c.code, out, errs)
		}
	}
	stopped, stop := context.WithCancel(context.Background())
	stop()
	var out, errs bytes.Buffer
	if code := runPlan(stopped, []string{"check", "x"}, &out, &errs); code != 1 || !strings.Contains(errs.String(), "stopped") {
		t.Errorf("a stopped plan check exits %d and says %q", code, &errs)
	}
}
