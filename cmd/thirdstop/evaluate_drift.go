package main

import (
	"context"
	"flag"
	"fmt"
	"io"

	"thirdstop/advise/trial"
	"thirdstop/assess/exposure"
)

// runEvaluateDrift is "thirdstop evaluate drift"; its help stands with the others of evaluate.
func runEvaluateDrift(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("evaluate drift", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	frames := flags.Int("frames", 3000, "")
	runs := flags.Int("runs", 20, "")
	faults := flags.Int("faults", -1, "")
	scatter := flags.Float64("scatter", 0, "")
	seed := flags.Uint64("seed", 1, "")
	if code, done := parse(flags, args, evaluateHelp, stdout, stderr); done {
		return code
	}
	if flags.NArg() > 0 || *frames < 0 || *frames > 10_000_000 || *runs < 0 || *runs > 100_000 || *faults < -1 || *faults > 100_000 || *scatter != 0 && !(*scatter >= 0.01 && *scatter <= 0.5) || *seed > 1_000_000 {
		fmt.Fprintf(stderr, "thirdstop evaluate: frames go from 0 to 10000000, runs and faults from 0 to 100000, scatter from 0.01 to 0.5 stop, seeds from 0 to 1000000\n\n%s", evaluateHelp)
		return 2
	}
	o := trial.DriftOptions{Frames: *frames, Runs: *runs, Faults: *faults, Seed: *seed}
	if o.Faults < 0 {
		o.Faults = o.Runs
	}
	if *scatter > 0 {
		o.Scatters = []exposure.Stops{exposure.Stops(*scatter)}
	}
	found, err := trial.Drift(ctx, o)
	if err == nil {
		err = found.WriteTable(stdout)
	}
	if err != nil {
		fmt.Fprintln(stderr, "thirdstop evaluate:", err)
		return 1
	}
	return 0
}
