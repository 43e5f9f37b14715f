package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
	"thirdstop/assess"
	"thirdstop/assess/studio"
)

// usualFrames stands for a number of frames that was not given.
const usualFrames = math.MinInt

const demoHelp = `Try thirdstop in a virtual studio: the committee portraits of the Alder Quay
Rowing Club, in its boathouse. The studio shoots real JPEG files into a temporary
folder, and the real daemon watches, measures and advises. You are the assistant:
turn a virtual light on the page, and the next frame shows it.

    thirdstop demo [--listen ADDR] [--seed N] [--no-plan] [--no-browser]
    thirdstop demo --headless [--walk | --tire] [--frames N] [--seed N]

    --headless    no page: the adjustments are followed as they come, and every reading
                  and adjustment is printed
    --frames N    with --headless: give up after N frames (12 if left out, 24 with --walk, 60 with --tire)
    --tire        with --headless: once on target, the key tires until its drift is named
    --walk        with --headless: go through the guided set-up instead
    --seed N      another start of the lights
    --no-plan     begin with nothing known, as on a first day; not with --headless, which follows advice
    --keep FOLDER keep captures and record in FOLDER instead of a temporary one; a later
                  demo with the same folder goes on from there
    --https       serve the page over HTTPS with a certificate of this machine's own
    --log WORD    "text" or "json"; nothing but warnings if left out

Exit code: 0 done, and with --headless only if the light came on target; 1 it did
not, or something failed; 2 wrong use.
`

func runDemo(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	return playDemo(ctx, args, stdout, stderr, nil)
}

// playDemo is runDemo on a clock that leaps over what turning dials takes; nil is the machine's.
func playDemo(ctx context.Context, args []string, stdout, stderr io.Writer, leaping *leap) int {
	flags := flag.NewFlagSet("demo", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	listen := flags.String("listen", "127.0.0.1:0", "")
	seed := flags.Uint64("seed", 1, "")
	headless := flags.Bool("headless", false, "")
	frames := flags.Int("frames", usualFrames, "")
	walk := flags.Bool("walk", false, "")
	tire := flags.Bool("tire", false, "")
	noPlan := flags.Bool("no-plan", false, "")
	noBrowser := flags.Bool("no-browser", false, "")
	keep := flags.String("keep", "", "")
	logKind := flags.String("log", "", "")
	https := flags.Bool("https", false, "")
	if code, done := parse(flags, args, demoHelp, stdout, stderr); done {
		return code
	}
	if *frames == usualFrames {
		*frames = 12
		if *walk {
			*frames = 24
		}
		if *tire {
			*frames = 60
		}
	}
	if flags.NArg() > 0 {
		fmt.Fprintf(stderr, "thirdstop demo: what is %q? The demo takes flags alone\n\n%s", flags.Arg(0), demoHelp)
		return 2
	}
	if *frames < 1 {
		fmt.Fprintf(stderr, "thirdstop demo: --frames is %d; write a number from 1 on\n\n%s", *frames, demoHelp)
		return 2
	}
	if *tire && (*walk || !*headless) {
		fmt.Fprintf(stderr, "thirdstop demo: --tire goes with --headless and without --walk; on the page it is a box to tick\n\n%s", demoHelp)
		return 2
	}
	if *walk && !*headless {
		fmt.Fprintf(stderr, "thirdstop demo: --walk goes with --headless; on the page the set-up has a screen of its own\n\n%s", demoHelp)
		return 2
	}
	if *headless && *noPlan {
		fmt.Fprintf(stderr, "thirdstop demo: --headless follows advice, and without a plan there is none; leave out one of --headless and --no-plan\n\n%s", demoHelp)
		return 2
	}
	if err := checkLog(*logKind); err != nil {
		fmt.Fprintf(stderr, "thirdstop demo: %v\n\n%s", err, demoHelp)
		return 2
	}
	fail := func(err error) int {
		fmt.Fprintln(stderr, "thirdstop demo:", err)
		return 1
	}
	base := *keep
	if base == "" {
		var err error
		if base, err = os.MkdirTemp("", "thirdstop-demo-"); err != nil {
			return fail(fmt.Errorf("no temporary folder can be made: %w; name one with --keep", err))
		}
		defer os.RemoveAll(base)
	}
	b := &boathouse{room: studio.BoatHouse(*seed), capture: filepath.Join(base, "captures"), hands: pause}
	b.room.Sitter.Sockets = 1 // a face that is seen as one
	var now func() time.Time
	if leaping != nil {
		b.hands, now = leaping.pause, leaping.now
	}
	if err := makeFolder(b.capture, "the demo's capture folder", "name another folder with --keep"); err != nil {
		return fail(err)
	}
	log := logger(*logKind, stderr)
	if *logKind == "" {
		log = logger("text", stderr).Level(zerolog.WarnLevel)
	}
	d := &daemon{out: stdout, log: log, demo: b, quiet: *headless, now: now,
		settings: settings{Folder: b.capture, Data: filepath.Join(base, "data"), Listen: *listen, Existing: "take", HTTPS: *https}}
	if !*noPlan {
		d.Plan = filepath.Join(base, "boathouse.yaml")
		if _, err := os.Stat(d.Plan); err != nil { // in a demo that goes on it may hold what was edited on the page
			if err := os.WriteFile(d.Plan, b.plan(), 0o600); err != nil {
				return fail(fmt.Errorf("the demo's plan can't be written: %w", aboutFile(d.Plan, err, "check the disk, or name another folder with --keep")))
			}
		}
	}
	var reached error
	d.started = func(ctx context.Context, s *shoot.Shoot, url string) error {
		if st := s.Snapshot().State; st.FrameCount > 0 {
			if err := b.goOn(&st); err != nil {
				fmt.Fprintln(stdout, "Note:", err)
			}
			fmt.Fprintln(stdout, "The boathouse goes on after", count(st.FrameCount)+"; its lights stand as the record says.")
		}
		if *headless {
			play := b.follow
			switch {
			case *walk:
				play = b.walk
			case *tire:
				play = b.untilTired
			}
			reached = play(ctx, s, *frames, stdout)
			return nil
		}
		after := "everything is thrown away then."
		if *keep != "" {
			after = "captures and record stay in " + *keep + "."
		}
		fmt.Fprintln(stdout, "You are the assistant. Stop with Ctrl-C;", after)
		if !*noBrowser {
			openBrowser(url)
		}
		return b.keepShooting(ctx)
	}
	if err := d.run(ctx); err != nil {
		return fail(err)
	}
	switch {
	case errors.Is(reached, context.Canceled):
		return fail(errors.New("stopped before the light came on target"))
	case reached != nil:
		return fail(reached)
	}
	return 0
}

// follow plays the assistant without a page: it does what the advice says, and tells the
// daemon nothing of it but where the white card is.
func (b *boathouse) follow(ctx context.Context, s *shoot.Shoot, frames int, out io.Writer) error {
	before := s.Snapshot().State.FrameCount
	declared := s.Snapshot().State.Reference != nil
	for n := before + 1; n <= before+frames; n++ {
		truth, err := b.shoot()
		if err != nil {
			return err
		}
		if err := await(ctx, s, func(x *shoot.Snapshot) bool { return x.State.FrameCount >= n }); err != nil {
			return err
		}
		if card, ok := truth.Region(studio.WhiteReference); !declared && ok {
			declared = true
			// As a person would tap the card on the tablet.
			box := inner(card.Box)
			if _, err := s.Submit(ctx, shoot.Request{Reference: &advise.Reference{Frame: n, Box: &box}}); err != nil {
				return err
			}
		}
		snap := s.Snapshot()
		b.report(out, n, snap, truth)
		a := snap.State.Advice
		if a.Status == advise.Hold {
			fmt.Fprintf(out, "On target after %s.\n", count(n-before))
			return nil
		}
		if a.Status == advise.Adjust {
			for _, adj := range a.Adjustments {
				if err := b.turn(adj.Group, adj.To); err != nil {
					return err
				}
			}
			if err := b.hands(ctx, handTime); err != nil {
				return err
			}
		}
	}
	return fmt.Errorf("not on target after %s", count(frames))
}

// handTime is what turning the dials takes the pretended assistant.
const handTime = 4200 * time.Millisecond

// frameTime is the pause between frames of the pretended photographer.
const frameTime = 6 * time.Second

// report prints one reading and what is advised.
func (b *boathouse) report(out io.Writer, n int, snap *shoot.Snapshot, truth studio.Truth) {
	fmt.Fprintf(out, "Frame %d, measured and advised %d ms after its last byte\n", n, snap.Latency.Milliseconds())
	for _, e := range snap.State.Advice.Expected {
		fmt.Fprintf(out, "  %-16s %s stops to clipping, target %s\n", e.Name, e.NowText, e.TargetText)
	}
	for _, w := range snap.State.Advice.Warnings {
		fmt.Fprintf(out, "  note: %s\n", w.Text)
	}
	if len(snap.State.Advice.Adjustments) == 0 {
		fmt.Fprintf(out, "  %s. %s\n", snap.State.Advice.Headline, snap.State.Advice.Reason)
	}
	for _, a := range snap.State.Advice.Adjustments {
		fmt.Fprintf(out, "  %s\n      %s\n", a.Text, a.Reason)
	}
	if ref, ok := truth.Region(studio.WhiteReference); ok {
		fmt.Fprintf(out, "  (truth: backdrop %s, white card %s)\n", truth.WhiteFloor.Signed(), ref.Peak.Signed())
	}
}

// inner is a box shrunk by a quarter on each side, as a tap into the middle of the card.
func inner(b studio.Box) assess.Box {
	w, h := b.X1-b.X0, b.Y1-b.Y0
	return assess.Box{X0: b.X0 + w/4, Y0: b.Y0 + h/4, X1: b.X1 - w/4, Y1: b.Y1 - h/4}
}

// await waits until the shoot looks as wanted.
func await(ctx context.Context, s *shoot.Shoot, done func(*shoot.Snapshot) bool) error {
	changed, stop := s.Watch()
	defer stop()
	limit := time.NewTimer(time.Minute)
	defer limit.Stop()
	for !done(s.Snapshot()) {
		select {
		case <-changed:
		case <-limit.C:
			return errors.New("the frame did not arrive within a minute")
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}

// leap is a clock that goes on at once by what others would wait.
type leap struct {
	mu sync.Mutex
	by time.Duration
}

func (l *leap) now() time.Time {
	l.mu.Lock()
	defer l.mu.Unlock()
	return time.Now().Add(l.by)
}

func (l *leap) pause(ctx context.Context, d time.Duration) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.by += d
	return ctx.Err()
}

func pause(ctx context.Context, d time.Duration) error {
	select {
	case <-time.After(d):
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// openBrowser shows the page where there is a browser; the address is printed anyway.
func openBrowser(url string) {
	command := "xdg-open"
	args := []string{url}
	switch runtime.GOOS {
	case "darwin":
		command = "open"
	case "windows":
		command, args = "rundll32", []string{"url.dll,FileProtocolHandler", url}
	default:
		if os.Getenv("DISPLAY") == "" && os.Getenv("WAYLAND_DISPLAY") == "" {
			return
		}
	}
	cmd := exec.Command(command, args...)
	if cmd.Start() == nil {
		go cmd.Wait()
	}
}
