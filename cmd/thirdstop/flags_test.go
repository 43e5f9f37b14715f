package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"io"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

func TestWrongFlagsAreRefusedInOurWords(t *testing.T) {
	lonely(t)
	commands := [][]string{{"run"}, {"demo"}, {"assess"}, {"chart"}, {"curve", "learn"}, {"trail", "verify"}, {"trail", "list"}, {"shoots", "list"},
		{"pair"}, {"devices"}, {"evaluate", "levels"}, {"evaluate", "regions"}, {"evaluate", "advice"}, {"evaluate", "drift"}, {"plan", "check"}}
	for _, c := range commands {
		code, out, errs := ran(t, append(c, "--bogus", "x")...)
		if code != 2 || out != "" || !strings.Contains(errs, "bogus") || strings.Contains(errs, "not defined") {
			t.Errorf("%v --bogus = %d %q", c, code, firstLine(errs))
		}
	}
	for args, want := range map[string]string{
		"run --bogus x":                   "thirdstop run: wrong use: there is no flag --bogus; those that there are stand below",
		"run --poll=maybe x":              `thirdstop run: wrong use: --poll is "maybe"; write --poll alone, or true or false behind an equals sign`,
		"demo --frames x":                 `thirdstop demo: --frames is "x"; write a whole number`,
		"demo --frames":                   "thirdstop demo: --frames needs a value behind it, and nothing follows",
		"demo --headless --frames 0":      "thirdstop demo: --frames is 0; write a number from 1 on",
		"demo --headless --frames -1":     "thirdstop demo: --frames is -1; write a number from 1 on",
		"demo --seed -3":                  `thirdstop demo: --seed is "-3"; write a whole number from 0 on`,
		"demo boathouse":                  `thirdstop demo: what is "boathouse"? The demo takes flags alone`,
		"assess --white 1,2 a.jpg":        `thirdstop assess: --white is "1,2"; write a box as left, top, right, bottom in fractions of the frame, like 0.4,0.6,0.5,0.75`,
		"chart --headroom abc a.jpg":      `thirdstop chart: --headroom is "abc"; write a number like 0.5`,
		"chart --headroom NaN a.jpg":      `thirdstop chart: --headroom is "NaN"; write a number like 0.5`,
		"chart --headroom 0 a.jpg":        "thirdstop chart: --headroom is over 0 and at most 4 stops, not 0",
		"pair --role":                     "thirdstop pair: --role needs a value behind it, and nothing follows",
		"evaluate levels --scenes 0":      "thirdstop evaluate: --scenes 0 leaves the studio out, and no files are named, so nothing is left; name a bracket, or ask for a scene",
		"evaluate levels --scenes -1":     "thirdstop evaluate: scenes go from 0 to 100000 and seeds from 0 to 1000000",
		"evaluate drift --frames -1":      "thirdstop evaluate: frames go from 0 to 10000000, runs and faults from 0 to 100000, scatter from 0.01 to 0.5 stop, seeds from 0 to 1000000",
		"evaluate drift --runs -1":        "thirdstop evaluate: frames go from 0 to 10000000, runs and faults from 0 to 100000, scatter from 0.01 to 0.5 stop, seeds from 0 to 1000000",
		"evaluate drift --scatter 0.001":  "thirdstop evaluate: frames go from 0 to 10000000, runs and faults from 0 to 100000, scatter from 0.01 to 0.5 stop, seeds from 0 to 1000000",
		"evaluate advice --scatter inf":   `thirdstop evaluate advice: --scatter is "inf"; write a number like 0.5`,
		"evaluate advice --wrong -0.5":    "thirdstop evaluate: studios go from 1 to 100000, scatter over 0 to 0.5 stop, off over 0 to 6 stops, wrong from 0 to 1 or -1, the curve is own or default, and nothing follows",
		"evaluate regions --scenes 1e3":   `thirdstop evaluate regions: --scenes is "1e3"; write a whole number`,
		"evaluate levels --scenes 9e9999": `thirdstop evaluate levels: --scenes is "9e9999"; write a whole number`,
	} {
		code, out, errs := ran(t, strings.Fields(args)...)
		if code != 2 || out != "" || firstLine(errs) != want {
			t.Errorf("%s = %d %q, want 2 and %q", args, code, firstLine(errs), want)
		}
	}
}

func firstLine(text string) string {
	line, _, _ := strings.Cut(text, "\n")
	return line
}

// What flag.FlagSet.Parse takes is taken alike, and what it refuses is refused.
func TestFlagsAreReadAsTheLibraryReadsThem(t *testing.T) {
	type values struct {
		on   bool
		n    int
		u    uint64
		f    float64
		text string
		rest []string
		help bool
		bad  bool
	}
	read := func(args []string, parse func(*flag.FlagSet, []string) error) values {
		var v values
		fs := flag.NewFlagSet("x", flag.ContinueOnError)
		fs.SetOutput(io.Discard)
		fs.BoolVar(&v.on, "on", false, "")
		fs.IntVar(&v.n, "n", 1, "")
		fs.Uint64Var(&v.u, "u", 1, "")
		fs.Float64Var(&v.f, "f", 1, "")
		fs.StringVar(&v.text, "text", "", "")
		err := parse(fs, args)
		if err != nil {
			return values{help: errors.Is(err, flag.ErrHelp), bad: true}
		}
		v.rest = append([]string{}, fs.Args()...)
		return v
	}
	words := []string{"--on", "-on", "--on=false", "--on=x", "-n", "--n=3", "3", "-3", "--u", "--u=-1", "--f", "0.5", "--f=2e3", "--text", "--text=", "--text=a=b", "a.jpg",
		"-", "--", "--help", "-h", "--no", "", "x"}
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 0))
	taken := 0
	for range 20_000 {
		args := make([]string, r.IntN(6))
		for i := range args {
			args[i] = words[r.IntN(len(words))]
		}
		want := read(args, func(fs *flag.FlagSet, a []string) error { return fs.Parse(a) })
		if got := read(args, parseFlags); !reflect.DeepEqual(got, want) {
			t.Fatalf("%q (seed %d): %+v, the library has %+v", args, seed, got, want)
		}
		if !want.bad {
			taken++
		}
	}
	if taken < 1000 {
		t.Errorf("only %d of the words made sense", taken)
	}
}

// The object names the file already.
func TestErrorsInJSONNameTheFileOnce(t *testing.T) {
	lonely(t)
	dir := t.TempDir()
	for _, command := range []string{"assess", "chart"} {
		for _, name := range []string{filepath.Join(dir, "none.jpg"), dir} {
			var out, errs bytes.Buffer
			run(t.Context(), []string{command, "--json", name}, &out, &errs)
			var v struct{ File, Error string }
			if err := json.Unmarshal(out.Bytes(), &v); err != nil || v.File != name || v.Error == "" || strings.Contains(v.Error, dir) {
				t.Errorf("%s --json %s prints %s (%v)", command, name, out.String(), err)
			}
			if strings.Count(errs.String(), dir) != 1 {
				t.Errorf("%s --json %s says %s, want the name once", command, name, errs.String())
			}
		}
	}
}
