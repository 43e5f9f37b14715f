package main

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"thirdstop/advise/index"
	"thirdstop/assess/exposure"
	"thirdstop/assess/tone"
)

const shootsHelp = `Look through the recorded shoots.

    thirdstop shoots list                   all of them, the newest first
    thirdstop shoots search WORD...         those that hold all of the words: in the plan's name, lights,
                                            modifiers, camera, or in names, files and notes that were not erased
    thirdstop shoots compare SHOOT SHOOT    how two were lit, light by light
    thirdstop shoots learned                guide numbers and tone curves that the frames showed

    --data FOLDER    where the shoots are; as for "thirdstop run"

They are looked up in an index, index.sqlite in the data folder, which is made out of the records and may be
deleted at any time. Names of people are not in it: they are looked up in the records themselves.

Exit code: 0 all is well (also if nothing was found), 1 something is not, 2 wrong use.
`

func runShoots(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	if len(args) == 0 {
		fmt.Fprint(stderr, shootsHelp)
		return 2
	}
	verb := args[0]
	flags := flag.NewFlagSet("shoots "+verb, flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	data := flags.String("data", "", "")
	switch verb {
	case "help", "-h", "-help", "--help":
		fmt.Fprint(stdout, shootsHelp)
		return 0
	case "list", "search", "compare", "learned":
	default:
		fmt.Fprintf(stderr, "thirdstop shoots: %q is no command; use list, search, compare or learned\n\n%s", verb, shootsHelp)
		return 2
	}
	if code, done := parse(flags, args[1:], shootsHelp, stdout, stderr); done {
		return code
	}
	switch n := flags.NArg(); {
	case (verb == "list" || verb == "learned") && n > 0:
		fmt.Fprintf(stderr, "thirdstop shoots %s: what is %q?\n\n%s", verb, flags.Arg(0), shootsHelp)
		return 2
	case verb == "search" && n == 0:
		fmt.Fprintf(stderr, "thirdstop shoots search: say what to look for\n\n%s", shootsHelp)
		return 2
	case verb == "compare" && n != 2:
		fmt.Fprintf(stderr, "thirdstop shoots compare: name two shoots\n\n%s", shootsHelp)
		return 2
	}
	if err := shoots(ctx, verb, *data, flags.Args(), stdout); err != nil {
		fmt.Fprintf(stderr, "thirdstop shoots %s: %v\n", verb, err)
		return 1
	}
	return 0
}

func shoots(ctx context.Context, verb, data string, args []string, stdout io.Writer) error {
	data, err := dataOf(data, os.Getenv)
	if err != nil {
		return err
	}
	folder := filepath.Join(data, "shoots")
	if _, err := os.Stat(folder); err != nil {
		fmt.Fprintf(stdout, "No shoot was recorded in %s yet.\n", data)
		return nil
	}
	x, err := index.Open(indexPath(data))
	if err != nil {
		return err
	}
	defer x.Close()
	if _, err := x.Update(ctx, folder, ""); err != nil {
		return err
	}
	switch verb {
	case "search":
		found, err := x.Search(ctx, folder, args)
		if err == nil && len(found) == 0 {
			fmt.Fprintln(stdout, "No shoot holds all of that.")
		}
		listShoots(stdout, found)
		return err
	case "compare":
		return compareShoots(ctx, x, args[0], args[1], stdout)
	case "learned":
		return learned(ctx, x, data, stdout)
	}
	list, err := x.List(ctx, 0)
	if err == nil && len(list) == 0 {
		fmt.Fprintf(stdout, "No shoot was recorded in %s yet.\n", data)
	}
	listShoots(stdout, list)
	return err
}

func listShoots(w io.Writer, list []index.Shoot) {
	for _, s := range list {
		fmt.Fprintf(w, "%s  %s  %s", s.ID, s.Began.Local().Format("2006-01-02 15:04"), count(s.Frames))
		if s.Judged > 0 {
			fmt.Fprintf(w, ", %d of %d on target", s.OnTarget, s.Judged)
		}
		if s.Baseline > 0 {
			fmt.Fprintf(w, ", baseline %d", s.Baseline)
		}
		if s.Name != "" {
			fmt.Fprintf(w, "  %s", s.Name)
		}
		fmt.Fprintln(w)
		if s.Fault != "" {
			fmt.Fprintf(w, "    its record can't be read: %s\n", s.Fault)
		}
	}
}

// compareShoots says how two shoots were lit, each as when its baseline was accepted, else at its end.
func compareShoots(ctx context.Context, x *index.Index, first, second string, w io.Writer) error {
	a, errA := x.Get(ctx, first)
	b, errB := x.Get(ctx, second)
	if err := errors.Join(errA, errB); err != nil {
		return fmt.Errorf("%w; \"thirdstop shoots list\" tells which there are", err)
	}
	fmt.Fprintf(w, "%-24s %-28s %-28s\n", "", a.ID, b.ID)
	row := func(what, x, y, apart string) {
		if x == y {
			apart = ""
		}
		fmt.Fprintln(w, strings.TrimRight(fmt.Sprintf("%-24s %-28s %-28s %s", what, x, y, apart), " "))
	}
	row("began", a.Began.Local().Format("2006-01-02 15:04"), b.Began.Local().Format("2006-01-02 15:04"), "")
	row("plan", a.Name, b.Name, "")
	gain := ""
	if ga, ok := exposure.Gain(a.ISO, a.FNumber); ok {
		if gb, ok := exposure.Gain(b.ISO, b.FNumber); ok {
			gain = fmt.Sprintf("%+.2f stop of exposure", float64(gb-ga))
		}
	}
	row("camera", shootCamera(a), shootCamera(b), gain)
	row("backdrop", backdropText(a), backdropText(b), "")
	for _, group := range groupsOf(a, b) {
		la, okA := lightOf(a, group)
		lb, okB := lightOf(b, group)
		name := la.Name
		if !okA {
			name = lb.Name
		}
		apart := ""
		if okA && okB && !la.Off && !lb.Off {
			d := (lb.Power - la.Power).Stops()
			apart = fmt.Sprintf("%+.2f stop by the dial", float64(d))
			if f, ok := exposure.Falloff(la.Distance, lb.Distance); ok && math.Abs(float64(f)) >= 0.005 {
				apart += fmt.Sprintf(", %+.2f by distance", float64(f))
			}
		}
		row(name, lightText(la, okA), lightText(lb, okB), apart)
		if la.Modifier != lb.Modifier {
			row("", la.Modifier, lb.Modifier, "")
		}
	}
	for _, l := range a.Levels {
		i := slices.IndexFunc(b.Levels, func(m index.Level) bool { return m.Region == l.Region })
		if i < 0 {
			row(l.Name, levelOf(l), "", "")
			continue
		}
		apart := ""
		if m := b.Levels[i]; !l.AtLeast && !m.AtLeast {
			apart = fmt.Sprintf("%+.2f stop", float64(m.Value-l.Value))
		}
		row(l.Name, levelOf(l), levelOf(b.Levels[i]), apart)
	}
	for _, m := range b.Levels {
		if !slices.ContainsFunc(a.Levels, func(l index.Level) bool { return m.Region == l.Region }) {
			row(m.Name, "", levelOf(m), "")
		}
	}
	return nil
}

func groupsOf(shoots ...index.Shoot) []string {
	var out []string
	for _, s := range shoots {
		for _, l := range s.Lights {
			if !slices.Contains(out, l.Group) {
				out = append(out, l.Group)
			}
		}
	}
	return out
}

func lightOf(s index.Shoot, group string) (index.Light, bool) {
	i := slices.IndexFunc(s.Lights, func(l index.Light) bool { return l.Group == group })
	if i < 0 {
		return index.Light{}, false
	}
	return s.Lights[i], true
}

func lightText(l index.Light, there bool) string {
	if !there {
		return "none"
	}
	text := l.PowerText
	if l.Off {
		text = "off"
	}
	if l.Distance > 0 {
		text += " at " + l.Distance.String()
	}
	if l.Direction != "" {
		text += ", " + l.Direction
	}
	return text
}

func levelOf(l index.Level) string {
	if l.AtLeast {
		return "at least " + l.Value.Signed()
	}
	return l.Value.Signed()
}

func shootCamera(s index.Shoot) string {
	var parts []string
	if s.FNumber > 0 {
		parts = append(parts, s.FNumber.String())
	}
	if s.ISO > 0 {
		parts = append(parts, s.ISO.String())
	}
	if s.Shutter > 0 {
		parts = append(parts, s.Shutter.String())
	}
	return strings.Join(parts, ", ")
}

func backdropText(s index.Shoot) string {
	if s.BackdropAt > 0 {
		return s.Backdrop + " at " + s.BackdropAt.String()
	}
	return s.Backdrop
}

// learned lists what frames have shown of lights and cameras.
func learned(ctx context.Context, x *index.Index, data string, w io.Writer) error {
	store, err := tone.OpenStore(curvesPath(data)) // one that can't be read is left out, and "curve" tells more
	if store == nil {
		return err
	}
	if err := x.PutCurves(ctx, store.List()); err != nil {
		return err
	}
	list, err := x.List(ctx, 0)
	if err != nil {
		return err
	}
	none := true
	for _, s := range list {
		s, err := x.Get(ctx, s.ID)
		if err != nil {
			return err
		}
		for _, l := range s.Lights {
			if l.Guide > 0 {
				none = false
				fmt.Fprintf(w, "guide number %.0f m (give or take %.0f)  %s, %s at %v  %s\n", float64(l.Guide),
					float64(l.Guide)*(math.Exp2(float64(l.GuideSigma)/2)-1), l.Name, cmp.Or(l.Modifier, "modifier not stated"), l.Distance, s.ID)
			}
		}
	}
	curves, err := x.Curves(ctx)
	if err != nil {
		return err
	}
	for _, c := range curves {
		none = false
		fmt.Fprintf(w, "tone curve %s  %s, %s  from %s, %s\n", c.Name, c.Camera, c.Rendering, count(c.Frames), c.Learned.Local().Format("2006-01-02"))
	}
	if none {
		fmt.Fprintln(w, "Nothing was learned yet: guide numbers need the key's distance in the plan and a declared white reference, curves `thirdstop curve learn`.")
	} else {
		fmt.Fprintln(w, "Guide numbers are of the key with what was on it, at ISO 100 and full power.")
	}
	return nil
}
