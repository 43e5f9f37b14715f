package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"sort"
	"strings"
	"text/tabwriter"
	"time"

	"thirdstop/assess"
	"thirdstop/assess/photo"
	"thirdstop/assess/tone"
)

const curveHelp = `Learn a camera's tone curve, so that levels are true in linear light.

    thirdstop curve learn [--data FOLDER] FILE...   learn from a bracket, and keep it
    thirdstop curve list  [--data FOLDER]           what was learned
    thirdstop curve show  [--data FOLDER] [CAMERA]  the curve, code by code

A bracket is five to nine frames that differ in the shutter only: a third of a stop
apart while the lightest surface clips, then whole stops down; camera fixed, a steady light that doesn't flicker (daylight or a hot
lamp, kept clear of anything that burns), flash off, aperture and ISO by hand.
Picture style, white balance and vignetting correction as for the shoot; automatic
tone, shadow and highlight settings off. The scene needs light and dark surfaces.
In the longest frame the lightest surface should be clipped, in the shortest none.

The page leads through the same, one frame at a time: "Learn the tone curve" under Set-up.

Files are only read. A camera whose response is not fixed is refused, and so are
edited files. The camera's picture style is not in its standard Exif: learn again
when you change it. A running daemon takes a new curve up when it is next started.

Exit code: 0 done, 1 not learned or not found, 2 wrong use.
`

func curvesPath(data string) string { return filepath.Join(data, "curves") }

func runCurve(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	wrong := func(format string, a ...any) int {
		fmt.Fprintf(stderr, "thirdstop curve: "+format+"\n\n%s", append(a, curveHelp)...)
		return 2
	}
	if len(args) == 0 {
		return wrong("say learn, list or show")
	}
	switch args[0] {
	case "help", "-h", "-help", "--help":
		fmt.Fprint(stdout, curveHelp)
		return 0
	}
	flags := flag.NewFlagSet("curve "+args[0], flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	data := flags.String("data", "", "")
	if code, done := parse(flags, args[1:], curveHelp, stdout, stderr); done {
		return code
	}
	if *data == "" {
		var err error
		if *data, err = dataFolder(); err != nil {
			fmt.Fprintln(stderr, "thirdstop curve:", err)
			return 1
		}
	}
	var err error
	switch rest := flags.Args(); {
	case args[0] == "learn" && len(rest) >= 2:
		err = learnCurve(ctx, curvesPath(*data), rest, stdout, stderr)
	case args[0] == "learn":
		return wrong("learning takes a bracket of five to nine files; these are %d", len(rest))
	case args[0] == "list" && len(rest) == 0:
		err = listCurves(curvesPath(*data), stdout, stderr)
	case args[0] == "show" && len(rest) <= 1:
		err = showCurves(curvesPath(*data), strings.Join(rest, ""), stdout, stderr)
	default:
		return wrong("what is %q?", strings.Join(args, " "))
	}
	if err != nil {
		fmt.Fprintln(stderr, "thirdstop curve:", err)
		return 1
	}
	return 0
}

func learnCurve(ctx context.Context, folder string, names []string, stdout, stderr io.Writer) error {
	shots, key, err := readBracket(ctx, names)
	if err != nil {
		return err
	}
	store, err := tone.OpenStore(folder)
	if err != nil {
		fmt.Fprintln(stderr, "thirdstop curve:", err)
	}
	stored, _ := store.Entry(key)
	l, err := assess.LearnBracket(shots, key, time.Now(), stored.Brackets...)
	if err != nil {
		return fmt.Errorf("nothing was learned: %w", err)
	}
	fitted, out, e := l.Fitted, l.Misses, l.Entry
	path, err := store.Save(e)
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "Learned %s: %s (%s), from %d frames.\n\n", fitted.Curve.Name(), key.Camera(), key.Rendering(), e.Frames)
	if n := len(e.Brackets); n > 1 {
		fmt.Fprintf(stdout, "They are those of %d brackets: this one, and what an earlier one of the last hours showed of the same curve.\n\n", n)
	}
	printCurve(stdout, e)
	fmt.Fprintf(stdout, "\nEach frame read with a curve that never saw it (error of a step, stops):\n\n")
	printMisses(stdout, shots, fitted, out)
	if sigma := fitted.EdgeSigma(); sigma > tone.EdgeKnown {
		fmt.Fprintf(stdout, "\nNote: too few places lay at the edge of clipping, so all levels together may be off by ±%.2f.\n"+
			"Take another bracket with the lamp a little nearer or further, and learn from that one: what this one showed is kept, and counts with it.\n", float64(sigma))
	}
	fmt.Fprintf(stdout, "\nKept in %s. It serves from the next start of the daemon.\n", path)
	return nil
}

// readBracket reads files, which must be one camera's in one rendering at one aperture and ISO.
func readBracket(ctx context.Context, names []string) (shots []assess.Shot, key tone.Key, err error) {
	var first photo.Exif
	for _, name := range names {
		if err := ctx.Err(); err != nil {
			return nil, key, err
		}
		data, err := readWhole(name)
		if err != nil {
			return nil, key, err
		}
		p, err := photo.Read(name, data)
		if err != nil {
			return nil, key, err
		}
		p.Release()
		k, ok := assess.CurveKey(p)
		if !ok {
			return nil, key, fmt.Errorf("%s is not as a camera wrote it (edited, exported, by a phone or without camera data), and such files have no curve of their own; use the camera's files", name)
		}
		shot, err := assess.BracketShot(p)
		if err != nil {
			return nil, key, err
		}
		if len(shots) == 0 {
			key, first = k, p.Exif
		}
		s := shots
		switch {
		case k != key:
			return nil, key, fmt.Errorf("%s is from another camera or rendering than %s: %s (%s), not %s (%s)", name, names[0], k.Camera(), k.Rendering(), key.Camera(), key.Rendering())
		case p.Exif.ISO != first.ISO || p.Exif.FNumber != first.FNumber:
			return nil, key, fmt.Errorf("%s was taken at %v, %v and %s at %v, %v; in a bracket only the shutter changes", name, p.Exif.FNumber, p.Exif.ISO, names[0], first.FNumber, first.ISO)
		case len(s) > 0 && (p.Survey.Width != s[0].Survey.Width || p.Survey.Height != s[0].Survey.Height):
			return nil, key, fmt.Errorf("%s has another size than %s", name, names[0])
		}
		shots = append(shots, shot)
	}
	return shots, key, nil
}

// shownCodes are where a curve is printed.
var shownCodes = []float64{8, 16, 32, 64, 96, 128, 160, 192, 216, 232, 244, 250, 254}

func printCurve(w io.Writer, e tone.Entry) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "code\tred\tgreen\tblue\t±\tdefault\t")
	for _, code := range shownCodes {
		fmt.Fprintf(t, "%.0f\t", code)
		for ch := range 3 {
			level, _ := e.Curve.Stops(ch, code, 0)
			fmt.Fprintf(t, "%.2f\t", float64(level))
		}
		was, _ := tone.Default().Stops(1, code, 0)
		fmt.Fprintf(t, "%.2f\t%.2f\t\n", float64(e.Curve.Sigma(1, code)), float64(was))
	}
	t.Flush()
	fmt.Fprintf(w, "Levels in stops to clipping. Codes %.0f to %.0f were seen in two frames.\n", e.From, e.To)
}

func printMisses(w io.Writer, shots []assess.Shot, f *tone.Fitted, all []tone.Miss) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "frame\tmedian\t95 %\tits exposure seems off by")
	for i := range shots {
		var of []tone.Miss
		for _, m := range all {
			if m.LeftFrame == i {
				of = append(of, m)
			}
		}
		median, most := tone.Spread(of, 20, 245)
		off, ok := f.Frames[i]
		if !ok {
			continue
		}
		fmt.Fprintf(t, "%s\t%.3f\t%.3f\t%s\n", filepath.Base(shots[i].Name), float64(median), float64(most), off)
	}
	median, most := tone.Spread(all, 20, 245)
	fmt.Fprintf(t, "all\t%.3f\t%.3f\t\n", float64(median), float64(most))
	t.Flush()
	low, lowMost := tone.Spread(all, 0, 40)
	high, highMost := 0.0, 0.0
	var v []float64
	for _, m := range all {
		if m.Code > 230 {
			v = append(v, math.Abs(float64(m.Off)))
		}
	}
	if len(v) > 0 {
		sort.Float64s(v)
		high, highMost = v[len(v)/2], v[len(v)*95/100]
	}
	fmt.Fprintf(w, "Codes 20 to 245 above; up to code 40: %.3f and %.3f; over code 230: %.3f and %.3f.\n", float64(low), float64(lowMost), high, highMost)
}

func listCurves(folder string, stdout, stderr io.Writer) error {
	store, err := tone.OpenStore(folder)
	if err != nil {
		fmt.Fprintln(stderr, "thirdstop curve:", err)
	}
	list := store.List()
	if len(list) == 0 {
		fmt.Fprintln(stdout, "No curve was learned. All cameras are measured under the default; \"thirdstop curve --help\" tells how to learn theirs.")
		return nil
	}
	t := tabwriter.NewWriter(stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "CURVE\tLEARNED\tFRAMES\tOFF (MEDIAN, 95 %)\tCAMERA\tRENDERING")
	for _, e := range list {
		fmt.Fprintf(t, "%s\t%s\t%d\t%.3f, %.3f\t%s\t%s\n", e.Curve.Name(), e.Learned.Local().Format("2006-01-02 15:04"), e.Frames,
			float64(e.Median), float64(e.Most), e.Key.Camera(), e.Key.Rendering())
	}
	return t.Flush()
}

func showCurves(folder, camera string, stdout, stderr io.Writer) error {
	store, err := tone.OpenStore(folder)
	if err != nil {
		fmt.Fprintln(stderr, "thirdstop curve:", err)
	}
	shown := 0
	for _, e := range store.List() {
		if camera != "" && !strings.Contains(strings.ToLower(e.Key.Camera()+" "+e.Curve.Name()), strings.ToLower(camera)) {
			continue
		}
		if shown > 0 {
			fmt.Fprintln(stdout)
		}
		fmt.Fprintf(stdout, "%s: %s (%s)\n\n", e.Curve.Name(), e.Key.Camera(), e.Key.Rendering())
		printCurve(stdout, e)
		shown++
	}
	switch {
	case shown > 0:
		return nil
	case camera == "":
		return errors.New("no curve was learned yet; \"thirdstop curve --help\" tells how to learn one")
	}
	return fmt.Errorf("no curve was learned of a camera or by a name like %q; \"thirdstop curve list\" tells which were", camera)
}
