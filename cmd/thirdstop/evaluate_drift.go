package main

import (
	"context"
	"flag"
	"fmt"
	"io"

	"thirdstop/advise/trial"
)

// runEvaluateDrift is "thirdstop evaluate drift"; its help stands with the others of evaluate.
func runEvaluateDrift(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("evaluate drift", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	frames := flags.Int("frames", 3000, "")
	runs := flags.Int("runs", 20, "")
	seed := flags.Uint64("seed", 1, "")
	if code, done := parse(flags, args, evaluateHelp, stdout, stderr); done {
		return code
	}
	if flags.NArg() > 0 || *frames < 1 || *frames > 10_000_000 || *runs < 1 || *runs > 100_000 || *seed > 1_000_000 {
		fmt.Fprintf(stderr, "thirdstop evaluate: frames go from 1 to 10000000, runs from 1 to 100000, seeds from 0 to 1000000\n\n%s", evaluateHelp)
		return 2
	}
	found, err := trial.Drift(ctx, trial.DriftOptions{Frames: *frames, Runs: *runs, Faults: *runs, Seed: *seed})
	if err == nil {
		err = found.WriteTable(stdout)
	}
	if err != nil {
		fmt.Fprintln(stderr, "thirdstop evaluate:", err)
		return 1
	}
	return 0
}
