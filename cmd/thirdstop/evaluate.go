package main

import (
	"context"
	"flag"
	"fmt"
	"io"

	"thirdstop/advise/trial"
	"thirdstop/assess"
	"thirdstop/assess/evaluate"
	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
)

const evaluateHelp = `Say how far thirdstop can be believed, on scenes and studios of known truth, as Markdown tables.

    thirdstop evaluate levels [--scenes N] [--seed N] [--curves any|cameras] [FILE...]

Random scenes of the virtual studio are measured under the default tone curve, and
again after the camera's curve was learned from a simulated bracket of nine frames.
Files are a real bracket (see "thirdstop curve --help"): its steps are read with
curves that never saw the frame. With files, --scenes 0 leaves the studio out.

    --scenes N   how many; 200 unless told, about a second each on a slow machine
    --seed N     other scenes; 1 unless told. None was used to build thirdstop
    --curves W   any: the studio's seven tone curves, most with a shorter shoulder than cameras have; cameras: those
                 that show sRGB's 18 % grey where cameras do, 2.47 to 3.47 stops under the edge. any unless told

    thirdstop evaluate tone [--studios N] [--seed N] [--scatter STOPS] [--curves any|cameras]

How far a camera's tone curve is off by default, after 3, 6 and 10 recorded changes of light of known size during a
shoot, and after the guided bracket; and how far the best fixed curve would be. 60 studios unless told, seed 300000;
--studios 0 leaves the shoots out.

    thirdstop evaluate regions [--scenes N] [--seed N]

How well backdrop, sitter and a white are found in such scenes, and how true the sitter's
clipped share is.

    thirdstop evaluate faces [--scenes N] [--seed N] [FILE...]

Whether faces are found in such scenes, and how true the difference between their sides is, and
what is said of glare. Files are portraits: what is read of each is listed, to be looked at by eye;
with files, --scenes 0 leaves the studio out.

    thirdstop evaluate advice [--studios N] [--seed N] [--scatter STOPS] [--off STOPS] [--curve own|default] [--wrong SHARE] [--walk] [--least] [--trace]

The advice is followed in random virtual studios, one to four lights, until every target
holds in truth: after how many corrections, and in what share of the studios.

    --studios N      how many; 200 unless told, half a second each on a slow machine
    --seed N         other studios; 100000 unless told
    --scatter STOPS  of every flash, one standard deviation; 0.03 unless told
    --off STOPS      the lights start at most so far off; 4 unless told
    --curve WHICH    read through the camera's own tone curve, as after learning it, or through the default; own unless told
    --wrong SHARE    how wrong the plan's distances are, one standard deviation; 0.3 unless told. -1: the plan has none
    --walk           the guided set-up is walked first; "at once" is then its end
    --least          it is looked for, too, how few lights had to be turned, out of all settings in truth; dear
    --trace          print every frame and what was advised, instead

    thirdstop evaluate unrecorded [--studios N] [--seed N] [--scatter STOPS] [--curve own|default] [--trace]

While the advice is followed, somebody turns lights or switches them off without a word: how soon
that is asked about, and how often a frame is called a hold meanwhile. 40 studios unless told.

    thirdstop evaluate drift [--frames N] [--runs N] [--faults N] [--scatter STOPS] [--seed N]

After the guided set-up the virtual studio shoots with moving sitters who change, and with
scripted faults of its lights, at 0.03, 0.05 and 0.10 stop scatter or the one told. Causes are
always told apart at 0.05. A part with 0 of them is left out.

    --frames N   clean frames at every scatter, for false alarms; 3000 unless told
    --runs N     drifts of every course; 20 unless told
    --faults N   faults of every kind; as many as runs unless told

Exit code: 0 done, 1 it could not be done, 2 wrong use.
`

func runEvaluate(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	switch {
	case len(args) > 0 && args[0] == "levels":
		return runEvaluateLevels(ctx, args[1:], stdout, stderr)
	case len(args) > 0 && args[0] == "regions":
		return runEvaluateRegions(ctx, args[1:], stdout, stderr)
	case len(args) > 0 && args[0] == "faces":
		return runEvaluateFaces(ctx, args[1:], stdout, stderr)
	case len(args) > 0 && args[0] == "advice":
		return runEvaluateAdvice(ctx, args[1:], stdout, stderr)
	case len(args) > 0 && args[0] == "unrecorded":
		return runEvaluateUnrecorded(ctx, args[1:], stdout, stderr)
	case len(args) > 0 && args[0] == "tone":
		return runEvaluateTone(ctx, args[1:], stdout, stderr)
	case len(args) > 0 && args[0] == "drift":
		return runEvaluateDrift(ctx, args[1:], stdout, stderr)
	case len(args) > 0 && (args[0] == "-h" || args[0] == "--help" || args[0] == "help"):
		fmt.Fprint(stdout, evaluateHelp)
		return 0
	}
	fmt.Fprintf(stderr, "thirdstop evaluate: say what: levels, tone, regions, faces, advice, unrecorded or drift\n\n%s", evaluateHelp)
	return 2
}

func runEvaluateAdvice(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("evaluate advice", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	studios := flags.Int("studios", 200, "")
	seed := flags.Uint64("seed", 100_000, "")
	scatter := flags.Float64("scatter", 0.03, "")
	off := flags.Float64("off", 4, "")
	curve := flags.String("curve", "own", "")
	wrong := flags.Float64("wrong", 0.3, "")
	walk := flags.Bool("walk", false, "")
	least := flags.Bool("least", false, "")
	trace := flags.Bool("trace", false, "")
	if code, done := parse(flags, args, evaluateHelp, stdout, stderr); done {
		return code
	}
	if *studios < 1 || *studios > 100_000 || !(*scatter > 0 && *scatter <= 0.5) || !(*off > 0 && *off <= 6) || !(*wrong >= 0 && *wrong <= 1 || *wrong == -1) ||
		*curve != "own" && *curve != "default" || flags.NArg() > 0 {
		fmt.Fprintf(stderr, "thirdstop evaluate: studios go from 1 to 100000, scatter over 0 to 0.5 stop, off over 0 to 6 stops, wrong from 0 to 1 or -1, the curve is own or default, and nothing follows\n\n%s", evaluateHelp)
		return 2
	}
	o := trial.Options{Studios: *studios, Seed: *seed, Frames: 8, Scatter: exposure.Stops(*scatter), Off: exposure.Stops(*off), Own: *curve == "own", Wrong: *wrong, Walk: *walk, Least: *least}
	if *trace {
		o.Trace = stdout
	}
	all, err := trial.Run(ctx, o)
	if err == nil && !*trace {
		fmt.Fprintf(stdout, "%d random virtual studios from seed %d: one to four lights, flash scatter %.2f stop, starts up to %g stops off, the plan's distances %.0f %% wrong, levels read through the %s curve. Shares with 95 %% confidence intervals.\n\n",
			*studios, *seed, *scatter, *off, 100**wrong, map[string]string{"own": "camera's own", "default": "default"}[*curve])
		err = trial.WriteTable(stdout, trial.Sum(all))
	}
	if err != nil {
		fmt.Fprintln(stderr, "thirdstop evaluate:", err)
		return 1
	}
	return 0
}

func runEvaluateUnrecorded(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("evaluate unrecorded", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	studios := flags.Int("studios", 40, "")
	seed := flags.Uint64("seed", 200_000, "")
	scatter := flags.Float64("scatter", 0.03, "")
	curve := flags.String("curve", "own", "")
	trace := flags.Bool("trace", false, "")
	if code, done := parse(flags, args, evaluateHelp, stdout, stderr); done {
		return code
	}
	if *studios < 1 || *studios > 100_000 || !(*scatter > 0 && *scatter <= 0.5) || *curve != "own" && *curve != "default" || flags.NArg() > 0 {
		fmt.Fprintf(stderr, "thirdstop evaluate: studios go from 1 to 100000, scatter over 0 to 0.5 stop, the curve is own or default, and nothing follows\n\n%s", evaluateHelp)
		return 2
	}
	o := trial.CarelessOptions{Studios: *studios, Seed: *seed, Turns: 10, Scatter: exposure.Stops(*scatter), Own: *curve == "own"}
	if *trace {
		o.Trace = stdout
	}
	found, err := trial.PlayCareless(ctx, o)
	if err == nil {
		err = trial.WriteCareless(stdout, found)
	}
	if err != nil {
		fmt.Fprintln(stderr, "thirdstop evaluate:", err)
		return 1
	}
	return 0
}

// curvesNamed are the tone curves that a word stands for; none for the studio's seven.
func curvesNamed(word string) ([]studio.CurveKind, bool) {
	if word == "cameras" {
		return studio.Cameras(), true
	}
	return nil, word == "any"
}

func runEvaluateTone(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("evaluate tone", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	studios := flags.Int("studios", 60, "")
	seed := flags.Uint64("seed", 300_000, "")
	scatter := flags.Float64("scatter", 0.05, "")
	curves := flags.String("curves", "any", "")
	if code, done := parse(flags, args, evaluateHelp, stdout, stderr); done {
		return code
	}
	kinds, ok := curvesNamed(*curves)
	if !ok || *studios < 0 || *studios > 100_000 || !(*scatter > 0 && *scatter <= 0.5) || flags.NArg() > 0 {
		fmt.Fprintf(stderr, "thirdstop evaluate: studios go from 0 to 100000, scatter over 0 to 0.5 stop, the curves are any or cameras, and nothing follows\n\n%s", evaluateHelp)
		return 2
	}
	family, words := kinds, fmt.Sprintf("The %d tone curves within the span of cameras", len(kinds))
	if len(family) == 0 {
		family, words = studio.Curves(), "The studio's seven tone curves"
	}
	if err := evaluate.WriteFixed(stdout, words, family); err != nil {
		fmt.Fprintln(stderr, "thirdstop evaluate:", err)
		return 1
	}
	if *studios == 0 {
		return 0
	}
	all, err := trial.Tones(ctx, trial.ToneOptions{Studios: *studios, Seed: *seed, Scatter: exposure.Stops(*scatter), Curves: kinds})
	if err == nil {
		err = trial.WriteTones(stdout, all, *seed)
	}
	if err != nil {
		fmt.Fprintln(stderr, "thirdstop evaluate:", err)
		return 1
	}
	return 0
}

func runEvaluateLevels(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("evaluate levels", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	scenes := flags.Int("scenes", 200, "")
	seed := flags.Uint64("seed", 1, "")
	curves := flags.String("curves", "any", "")
	if code, done := parse(flags, args, evaluateHelp, stdout, stderr); done {
		return code
	}
	kinds, ok := curvesNamed(*curves)
	if !ok {
		fmt.Fprintf(stderr, "thirdstop evaluate: --curves is any or cameras, not %q\n\n%s", *curves, evaluateHelp)
		return 2
	}
	if *scenes < 0 || *scenes > 100_000 || *seed > 1_000_000 {
		fmt.Fprintf(stderr, "thirdstop evaluate: scenes go from 0 to 100000 and seeds from 0 to 1000000\n\n%s", evaluateHelp)
		return 2
	}
	if *scenes == 0 && flags.NArg() == 0 {
		fmt.Fprintf(stderr, "thirdstop evaluate: --scenes 0 leaves the studio out, and no files are named, so nothing is left; name a bracket, or ask for a scene\n\n%s", evaluateHelp)
		return 2
	}
	fail := func(err error) int {
		fmt.Fprintln(stderr, "thirdstop evaluate:", err)
		return 1
	}
	if *scenes > 0 {
		found, err := evaluate.Levels(ctx, *scenes, *seed, kinds...)
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
	if len(steps) < assess.FewestShots-1 {
		return fail(fmt.Errorf("these %d files hold %d steps of exposure, which is too few", len(shots), len(steps)))
	}
	if err := evaluate.WriteBracket(stdout, key.Camera(), steps); err != nil {
		return fail(err)
	}
	return 0
}
