package main

import (
	"context"
	"flag"
	"fmt"
	"io"

	"thirdstop/assess/evaluate"
)

func runEvaluateRegions(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("evaluate regions", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	scenes := flags.Int("scenes", 200, "")
	seed := flags.Uint64("seed", 1, "")
	if code, done := parse(flags, args, evaluateHelp, stdout, stderr); done {
		return code
	}
	if *scenes < 1 || *scenes > 100_000 || *seed > 1_000_000 || flags.NArg() > 0 {
		fmt.Fprintf(stderr, "thirdstop evaluate: scenes go from 1 to 100000 and seeds from 0 to 1000000, and nothing follows\n\n%s", evaluateHelp)
		return 2
	}
	found, err := evaluate.Regions(ctx, *scenes, *seed)
	if err == nil {
		err = found.WriteTable(stdout)
	}
	if err != nil {
		fmt.Fprintln(stderr, "thirdstop evaluate:", err)
		return 1
	}
	return 0
}
