package main

import (
	"context"
	"fmt"
	"io"

	"thirdstop/advise/plan"
)

// planReach prints which power every light of a plan will need.
func planReach(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	if len(args) != 1 || len(args[0]) > 1 && args[0][0] == '-' {
		fmt.Fprintf(stderr, "thirdstop plan reach: give one plan's file name, or - for standard input\n\n%s", planHelp)
		return 2
	}
	name := args[0]
	if name == "-" {
		name = "standard input"
	}
	text, err := planRead(args[0], stdin)
	if err != nil {
		fmt.Fprintf(stderr, "thirdstop plan reach: can't read %s: %v\n", name, err)
		return 1
	}
	p, faults := plan.Parse(name, text)
	if len(faults) > 0 {
		fmt.Fprintln(stdout, faults)
		return 1
	}
	var learned plan.Effective
	if data, err := theDataFolder(); err == nil {
		learned = learnedGuides(data)
	}
	r := p.ReachOf(learned)
	if r.Camera != "" {
		fmt.Fprintf(stdout, "At %s:\n", r.Camera)
	}
	code := 0
	for _, n := range r.Lights {
		fmt.Fprintf(stdout, "  %s\n", n.Text)
		if n.Learned {
			fmt.Fprintln(stdout, "      from what earlier shoots taught of it")
		}
		for _, m := range n.Mends {
			fmt.Fprintf(stdout, "      or %s\n", m)
		}
		if n.Verdict == plan.TooWeak || n.Verdict == plan.TooMuch {
			code = 1
		}
	}
	if r.All != "" {
		fmt.Fprintln(stdout, r.All)
	}
	fmt.Fprintln(stdout, "These are estimates; the first frames tell. What a flash and its modifier stand for long is in the maker's manual.")
	return code
}
