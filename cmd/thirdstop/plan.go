package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"thirdstop/advise/plan"
)

const planHelp = `Write and check light plans.

    thirdstop plan new [FILE]     write the annotated example to FILE, or to the
                                  terminal for "-" or no FILE; a file that is there
                                  already is left alone
    thirdstop plan check FILE...  say what is wrong with each plan, and what is
                                  unusual; "-" is standard input
    thirdstop plan reach FILE     before the day: the power that each light will need,
                                  what is out of reach, and what would bring it in

Exit code: 0 done, or nothing wrong (unusual is not wrong), 1 something is wrong, out of reach
or a file can't be read or written, 2 wrong use.
`

// runPlan writes the example plan and checks plans.
func runPlan(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	if len(args) == 0 {
		fmt.Fprint(stderr, planHelp)
		return 2
	}
	switch verb, rest := args[0], args[1:]; verb {
	case "help", "-h", "-help", "--help":
		fmt.Fprint(stdout, planHelp)
		return 0
	case "new":
		return planNew(rest, stdout, stderr)
	case "reach":
		return planReach(ctx, rest, os.Stdin, stdout, stderr)
	case "check":
		return planCheck(ctx, rest, os.Stdin, stdout, stderr)
	default:
		fmt.Fprintf(stderr, "thirdstop plan: %q is no command; use new, check or reach\n\n%s", verb, planHelp)
		return 2
	}
}

func planNew(args []string, stdout, stderr io.Writer) int {
	if len(args) > 1 || len(args) == 1 && len(args[0]) > 1 && args[0][0] == '-' {
		fmt.Fprintf(stderr, "thirdstop plan new: give one file name, or - for the terminal\n\n%s", planHelp)
		return 2
	}
	if len(args) == 0 || args[0] == "-" {
		if _, err := stdout.Write(plan.Annotated()); err != nil {
			fmt.Fprintf(stderr, "thirdstop plan new: can't write the example: %v\n", err)
			return 1
		}
		return 0
	}
	name := args[0]
	if err := planWriteNew(name, plan.Annotated()); err != nil {
		if errors.Is(err, fs.ErrExist) {
			fmt.Fprintf(stderr, "thirdstop plan new: %s is there already and was left alone; give another name\n", name)
		} else {
			what := systemSays(err)
			if errors.Is(err, fs.ErrNotExist) {
				what = "its folder is not there"
			}
			fmt.Fprintf(stderr, "thirdstop plan new: can't write %s: %s; make its folder first, or give another name\n", name, what)
		}
		return 1
	}
	fmt.Fprintf(stdout, "wrote %s; change what differs, then run: thirdstop plan check %s\n", name, name)
	return 0
}

// planWriteNew writes a file that must not exist yet. What it could not finish it
// takes away again, so that a full disk leaves no half plan.
func planWriteNew(name string, text []byte) error {
	f, err := os.OpenFile(filepath.Clean(name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	if err = errors.Join(err, f.Close()); err != nil {
		os.Remove(f.Name())
	}
	return err
}

func planCheck(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	if len(args) == 0 {
		fmt.Fprintf(stderr, "thirdstop plan check: give the plan's file name\n\n%s", planHelp)
		return 2
	}
	for _, name := range args {
		if len(name) > 1 && name[0] == '-' {
			fmt.Fprintf(stderr, "thirdstop plan check: there is no flag %s; a file of that name is ./%s\n", name, name)
			return 2
		}
	}
	code := 0
	for _, name := range args {
		if ctx.Err() != nil {
			fmt.Fprintln(stderr, "thirdstop plan check: stopped before all files were checked")
			return 1
		}
		shown := name
		if name == "-" {
			shown = "standard input"
		}
		text, err := planRead(name, stdin)
		if err != nil {
			fmt.Fprintf(stderr, "thirdstop plan check: %v\n", aboutFile(shown, err, "check the name; \"thirdstop plan new\" writes a plan to begin with"))
			code = 1
			continue
		}
		p, faults, unusual := plan.Check(shown, text)
		if faults != nil {
			fmt.Fprintln(stdout, faults)
			fmt.Fprintf(stdout, "%s: %s\n", shown, planCount(len(faults), "fault", "faults"))
			code = 1
			continue
		}
		for _, u := range unusual {
			fmt.Fprintf(stdout, "%v (unusual)\n", u)
		}
		fmt.Fprintf(stdout, "%s: good, with %s", shown, planCount(len(p.Lights), "light", "lights"))
		if len(unusual) > 0 {
			fmt.Fprintf(stdout, "; %s unusual", planCount(len(unusual), "thing is", "things are"))
		}
		fmt.Fprintln(stdout)
	}
	return code
}

// planRead reads a file, and of one that is too large just enough for the reader of
// plans to refuse it.
func planRead(name string, stdin io.Reader) ([]byte, error) {
	in := stdin
	if name != "-" {
		f, err := os.Open(filepath.Clean(name))
		if err != nil {
			return nil, err
		}
		defer f.Close()
		in = f
	}
	return io.ReadAll(io.LimitReader(in, plan.MostBytes+1))
}

func planCount(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
