package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"strings"
)

// parse reads the flags of a subcommand; done says that there is nothing left to do.
func parse(flags *flag.FlagSet, args []string, help string, stdout, stderr io.Writer) (code int, done bool) {
	switch err := parseFlags(flags, args); {
	case errors.Is(err, flag.ErrHelp):
		fmt.Fprint(stdout, help)
		return 0, true
	case err != nil:
		fmt.Fprintf(stderr, "thirdstop %s: %v\n\n%s", flags.Name(), err, help)
		return 2, true
	}
	return 0, false
}

// parseFlags reads flags as flag.FlagSet.Parse does, and says what is wrong with one in words that tell what to
// write instead. It returns flag.ErrHelp where help is asked for.
func parseFlags(flags *flag.FlagSet, args []string) error {
	for len(args) > 0 {
		word := args[0]
		name := strings.TrimPrefix(strings.TrimPrefix(word, "-"), "-")
		if name == word || name == "" || word == "--" {
			break // what follows are no flags
		}
		args = args[1:]
		name, value, given := strings.Cut(name, "=")
		f := flags.Lookup(name)
		switch {
		case f == nil && (name == "help" || name == "h"):
			return flag.ErrHelp
		case f == nil:
			return fmt.Errorf("there is no flag --%s; those that there are stand below", name)
		}
		if b, ok := f.Value.(interface{ IsBoolFlag() bool }); ok && b.IsBoolFlag() {
			if !given {
				value = "true"
			}
		} else if !given {
			if len(args) == 0 {
				return fmt.Errorf("--%s needs a value behind it, and nothing follows", name)
			}
			value, args = args[0], args[1:]
		}
		if err := setFlag(flags, f, value); err != nil {
			return err
		}
	}
	if len(args) > 0 && args[0] == "--" {
		args = args[1:]
	}
	return flags.Parse(append([]string{"--"}, args...))
}

// setFlag gives a flag its value, or says which values it takes.
func setFlag(flags *flag.FlagSet, f *flag.Flag, value string) error {
	err := flags.Set(f.Name, value)
	wrong := func(what string) error { return fmt.Errorf("--%s is %q; write %s", f.Name, value, what) }
	g, ok := f.Value.(flag.Getter)
	if !ok { // one of ours, whose error says what to write
		if err != nil {
			return fmt.Errorf("--%s is %q; %w", f.Name, value, err)
		}
		return nil
	}
	switch v := g.Get().(type) {
	case bool:
		if err != nil {
			return wrong("--" + f.Name + " alone, or true or false behind an equals sign")
		}
	case int, int64:
		if err != nil {
			return wrong("a whole number")
		}
	case uint, uint64:
		if err != nil {
			return wrong("a whole number from 0 on")
		}
	case float64:
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return wrong("a number like 0.5")
		}
	}
	return err
}
