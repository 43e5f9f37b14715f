package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"path/filepath"

	"thirdstop/assess"
	"thirdstop/assess/evaluate"
)

func runEvaluateFaces(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("evaluate faces", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	scenes := flags.Int("scenes", 200, "")
	seed := flags.Uint64("seed", 1, "")
	if code, done := parse(flags, args, evaluateHelp, stdout, stderr); done {
		return code
	}
	if *scenes < 0 || *scenes > 100_000 || *seed > 1_000_000 || *scenes == 0 && flags.NArg() == 0 {
		fmt.Fprintf(stderr, "thirdstop evaluate: scenes go from 1 to 100000, or 0 with files, and seeds from 0 to 1000000\n\n%s", evaluateHelp)
		return 2
	}
	fail := func(err error) int {
		fmt.Fprintln(stderr, "thirdstop evaluate:", err)
		return 1
	}
	if *scenes > 0 {
		found, err := evaluate.MeasureFaces(ctx, *scenes, *seed)
		if err == nil {
			err = found.WriteTable(stdout)
		}
		if err != nil {
			return fail(err)
		}
	}
	var portraits []evaluate.Portrait
	for _, name := range flags.Args() {
		if ctx.Err() != nil {
			return fail(ctx.Err())
		}
		r, _, err := assessFile(name, assess.Hints{}, false)
		if err != nil {
			return fail(err)
		}
		portraits = append(portraits, evaluate.Portrait{Name: filepath.Base(name), Reading: r})
	}
	if len(portraits) > 0 {
		if err := evaluate.WritePortraits(stdout, portraits); err != nil {
			return fail(err)
		}
	}
	return 0
}
