package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"time"

	"thirdstop/dashboard"
)

const pairHelp = `Let a tablet or phone in, while "thirdstop run --listen" runs on this machine.

    thirdstop pair [--role ROLE] [--data FOLDER]

Prints a code that works once and for two minutes, with a picture of it to
photograph with the tablet. ROLE is what the device may do:

    shoots   everything
    lights   adjustments, settings and notes (if left out)
    looks    only look, if the daemon runs with --looks-on

Exit code: 0 a code was made, 1 it could not be, 2 wrong use.
`

func runPair(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("pair", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	roleName := flags.String("role", "lights", "")
	data := flags.String("data", "", "")
	if code, done := parse(flags, args, pairHelp, stdout, stderr); done {
		return code
	}
	role, err := dashboard.ParseRole(*roleName)
	if err == nil && flags.NArg() > 0 {
		err = fmt.Errorf("what is %q?", flags.Arg(0))
	}
	if err != nil {
		fmt.Fprintf(stderr, "thirdstop pair: %v\n\n%s", err, pairHelp)
		return 2
	}
	if *data, err = dataOf(*data, os.Getenv); err != nil {
		fmt.Fprintln(stderr, "thirdstop pair:", err)
		return 1
	}
	c, err := askCode(ctx, *data, role)
	if err != nil {
		fmt.Fprintln(stderr, "thirdstop pair:", err)
		return 1
	}
	printCode(stdout, c)
	return 0
}

// printCode shows a code as text and as a picture.
func printCode(w io.Writer, c pairCode) {
	if c.URL != "" {
		if qr, err := dashboard.QR(c.URL); err == nil {
			fmt.Fprintln(behind(w), qr) // its colours are orders to the terminal, and ours
		}
		fmt.Fprintln(w, "Open on the tablet:", c.URL)
	}
	fmt.Fprintf(w, "Code: %s   works once, until %s\n", c.Code, c.Expires.Local().Format(time.TimeOnly))
}
