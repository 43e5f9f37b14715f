// Command thirdstop runs beside a tethered camera and says what to turn on the lights.
//
// It wires the rooms together and holds no logic of its own: one file per
// subcommand, with its help text at the top.
package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
)

const help = `thirdstop measures every frame of a portrait shoot as it arrives, and says which
light to turn, by how much, and why.

    thirdstop demo                try it in a virtual studio; nothing else is needed
    thirdstop run FOLDER          watch the folder your camera's files land in
    thirdstop plan new|check      write and check light plans
    thirdstop assess FILE...      measure single files
    thirdstop chart FILE...       read a 24-patch colour chart: light, exposure, colours
    thirdstop curve learn FILE... learn your camera's tone curve from a bracket
    thirdstop trail verify|replay check the record of a shoot
    thirdstop shoots list|search  look through the recorded shoots, and compare them
    thirdstop pair                let a tablet in, while "run --listen" runs
    thirdstop devices             list the paired devices, and revoke them
    thirdstop evaluate levels     how far levels are off, on scenes of known truth
    thirdstop version             which version this is

"thirdstop COMMAND --help" tells more. thirdstop only advises: it controls no light,
and the maker's manual, local rules and your own judgement come first.
`

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run does one command and returns its exit code.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	stdout, stderr = screen{stdout}, screen{stderr}
	if len(args) == 0 {
		fmt.Fprint(stderr, help)
		return 2
	}
	commands := map[string]func(context.Context, []string, io.Writer, io.Writer) int{
		"run": runRun, "demo": runDemo, "assess": runAssess, "plan": runPlan,
		"trail": runTrail, "shoots": runShoots, "curve": runCurve, "chart": runChart, "evaluate": runEvaluate, "pair": runPair, "devices": runDevices,
	}
	switch name := args[0]; name {
	case "help", "-h", "-help", "--help":
		fmt.Fprint(stdout, help)
		return 0
	case "version", "--version":
		fmt.Fprintln(stdout, "thirdstop", version())
		return 0
	default:
		if command, ok := commands[name]; ok {
			return command(ctx, args[1:], stdout, stderr)
		}
		fmt.Fprintf(stderr, "thirdstop: %q is no command\n\n%s", name, help)
		return 2
	}
}

// version is the module's version as the build recorded it.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v := info.Main.Version
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && (v == "" || v == "(devel)") {
			v = "devel-" + s.Value[:min(12, len(s.Value))]
		}
	}
	return v
}
