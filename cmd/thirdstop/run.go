package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/rs/zerolog"
)

const runHelp = `Watch the folder your camera's files land in, measure every frame, and advise.

    thirdstop run [flags] FOLDER

    --plan FILE      the light plan; without one, three answers on the page are enough
    --listen ADDR    where the page is served; 127.0.0.1:7353 if left out, for this
                     machine alone. ":7353" opens it to the network: every device
                     must then be let in once, with a code ("thirdstop pair")
    --existing WORD  files that are there already: "take" them, in the order in which they
                     were taken (if left out), or "skip" them
    --poll           look into the folder at short intervals, as a network share needs
    --fresh          begin a new shoot even if the last one in this folder was not ended
    --rebuild SHOOT  begin a new shoot that builds the light of an earlier one again: its
                     baseline is the target, and the page says light by light how far
                     today is from then. "thirdstop shoots list" tells which there are
    --data FOLDER    where shoots, devices and pictures for the page are kept
    --looks-on       devices that only look on may see the frames
    --https          serve the page over HTTPS with a certificate of this machine's own, which
                     a browser asks about once; then tablets keep their screens on
    --hosts NAMES    further names of this machine in browsers, with commas between
    --log WORD       "text" or "json"; text on a terminal if left out
    --config FILE    the config file; thirdstop/config.yaml in the usual folder if left out

A flag comes before its environment variable (THIRDSTOP_PLAN, THIRDSTOP_LISTEN,
THIRDSTOP_LOOKS_ON ...), and that before the config file ("plan: ...", "listen: ...").
THIRDSTOP_FOLDER or "folder: ..." name the folder where the command line does not.
Nothing is ever written into the capture folder.

Exit code: 0 stopped in order, 1 something failed, 2 wrong use or wrong settings.
`

func runRun(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	s, err := readSettings(args, os.Getenv)
	switch {
	case errors.Is(err, flag.ErrHelp):
		fmt.Fprint(stdout, runHelp)
		return 0
	case errors.Is(err, errUsage):
		fmt.Fprintf(stderr, "thirdstop run: %v\n\n%s", err, runHelp)
		return 2
	case err != nil: // settings that are wrong stay wrong, wherever they stand
		fmt.Fprintln(stderr, "thirdstop run:", err)
		return 2
	}
	d := &daemon{settings: s, out: stdout, log: logger(s.Log, stderr)}
	if err := d.run(ctx); err != nil {
		fmt.Fprintln(stderr, "thirdstop run:", err)
		return 1
	}
	return 0
}

// logger writes for a person on a terminal and as JSON otherwise, unless told.
func logger(kind string, w io.Writer) zerolog.Logger {
	w = behind(w) // it escapes what it logs, and colours it
	if kind == "text" || kind == "" && terminal(w) {
		return zerolog.New(zerolog.ConsoleWriter{Out: w, TimeFormat: "15:04:05"}).Level(zerolog.InfoLevel).With().Timestamp().Logger()
	}
	return zerolog.New(w).Level(zerolog.InfoLevel).With().Timestamp().Logger()
}

// split reads names with commas between.
func split(names string) []string {
	var out []string
	for n := range strings.SplitSeq(names, ",") {
		if n = strings.TrimSpace(n); n != "" {
			out = append(out, n)
		}
	}
	return out
}
