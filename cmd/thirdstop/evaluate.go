package main

import (
	"context"
	"flag"
	"fmt"
	"io"

	"thirdstop/assess"
	"thirdstop/assess/evaluate"
)

const evaluateHelp = `Say how far levels are off, on scenes of known truth, as a Markdown table.

    thirdstop evaluate levels [--scenes N] [--seed N] [FILE...]

Random scenes of the virtual studio are measured under the default tone curve, and
again after the camera's curve was learned from a simulated bracket of nine frames.
Files are a real bracket (see "thirdstop curve --help"): its steps are read with
curves that never saw the frame. With files, --scenes 0 leaves the studio out.

    --scenes N   how many; 200 unless told, about a second each on a slow machine
    --seed N     other scenes; 1 unless told. None was used to build thirdstop

Exit code: 0 done, 1 it could not be done, 2 wrong use.
`

func runEvaluate(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	if len(args) > 0 && args[0] == "levels" {
		args = args[1:]
	} else if len(args) == 0 || args[0] != "-h" && args[0] != "--help" && args[0] != "help" {
		fmt.Fprintf(stderr, "thirdstop evaluate: say what: levels\n\n%s", evaluateHelp)
		return 2
	} else {
		fmt.Fprint(stdout, evaluateHelp)
		return 0
	}
	flags := flag.NewFlagSet("evaluate levels", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	scenes := flags.Int("scenes", 200, "")
	seed := flags.Uint64("seed", 1, "")
	if code, done := parse(flags, args, evaluateHelp, stdout, stderr); done {
		return code
	}
	if *scenes < 0 || *scenes > 100_000 || *seed > 1_000_000 {
		fmt.Fprintf(stderr, "thirdstop evaluate: scenes go from 0 to 100000 and seeds from 0 to 1000000\n\n%s", evaluateHelp)
		return 2
	}
	fail := func(err error) int {
		fmt.Fprintln(stderr, "thirdstop evaluate:", err)
		return 1
	}
	if *scenes > 0 {
		found, err := evaluate.Levels(ctx, *scenes, *seed)
		if err != nil {
			return fail(err)
		}
		if err := found.WriteTable(stdout); err != nil {
			return fail(err)
		}
	}
	if flags.NArg() == 0 {
		return 0
	}
	shots, key, err := readBracket(ctx, flags.Args())
	if err != nil {
		return fail(err)
	}
	steps := assess.BracketSteps(shots)
	if len(steps) < fewestFrames-1 {
		return fail(fmt.Errorf("these %d files hold %d steps of exposure, which is too few", len(shots), len(steps)))
	}
	if err := evaluate.WriteBracket(stdout, key.Camera(), steps); err != nil {
		return fail(err)
	}
	return 0
}
