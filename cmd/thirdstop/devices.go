package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"text/tabwriter"

	"thirdstop/dashboard"
)

const devicesHelp = `List the devices that were paired, and revoke them.

    thirdstop devices [--data FOLDER]              list them
    thirdstop devices [--data FOLDER] revoke ID    shut one out, at once

Exit code: 0 done, 1 it could not be done, 2 wrong use.
`

func runDevices(_ context.Context, args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("devices", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	data := flags.String("data", "", "")
	if code, done := parse(flags, args, devicesHelp, stdout, stderr); done {
		return code
	}
	fail := func(err error) int {
		fmt.Fprintln(stderr, "thirdstop devices:", err)
		return 1
	}
	var err error
	if *data, err = dataOf(*data, os.Getenv); err != nil {
		return fail(err)
	}
	devices, err := dashboard.OpenDevices(devicesPath(*data))
	if err != nil {
		return fail(err)
	}
	switch rest := flags.Args(); {
	case len(rest) == 2 && rest[0] == "revoke":
		was, err := devices.Revoke(rest[1])
		if err != nil {
			return fail(err)
		}
		if !was {
			return fail(fmt.Errorf("no device has the id %q; `thirdstop devices` lists them", rest[1]))
		}
		fmt.Fprintln(stdout, "Revoked:", rest[1])
		return 0
	case len(rest) > 0 && rest[0] == "revoke":
		fmt.Fprintf(stderr, "thirdstop devices: revoke takes the id of one device, as `thirdstop devices` lists it\n\n%s", devicesHelp)
		return 2
	case len(rest) > 0:
		fmt.Fprintf(stderr, "thirdstop devices: what is %q?\n\n%s", rest[0], devicesHelp)
		return 2
	}
	list, err := devices.List()
	if err != nil {
		return fail(err)
	}
	if len(list) == 0 {
		fmt.Fprintln(stdout, "No device is paired.")
		return 0
	}
	w := tabwriter.NewWriter(stdout, 0, 4, 2, ' ', 0)
	fmt.Fprintln(w, "ID\tROLE\tPAIRED\tNAME")
	for _, d := range list {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\n", d.ID, d.Role, d.Paired.Local().Format("2006-01-02 15:04"), d.Name)
	}
	w.Flush()
	return 0
}

func devicesPath(data string) string { return filepath.Join(data, "devices.json") }
