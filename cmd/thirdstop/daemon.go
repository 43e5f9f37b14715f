package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"thirdstop/advise"
	"thirdstop/advise/plan"
	"thirdstop/advise/shoot"
	"thirdstop/advise/trail"
	"thirdstop/assess"
	"thirdstop/assess/legible"
	"thirdstop/assess/photo"
	"thirdstop/assess/tone"
	"thirdstop/dashboard"
	"thirdstop/dashboard/web"
	"thirdstop/watcher"
)

// daemon is the whole of thirdstop on one capture folder.
type daemon struct {
	settings
	out   io.Writer
	outMu sync.Mutex // several parts say something
	log   zerolog.Logger
	demo  http.Handler // controls of a virtual studio; nil in an ordinary run

	// started is called when everything runs; the demo goes on from there.
	started func(ctx context.Context, s *shoot.Shoot, url string) error
	quiet   bool             // prints nothing of its own to out
	now     func() time.Time // nil: time.Now
	disk    trail.Disk       // of the record; nil: the machine's
}

// run works until ctx ends, something fails, or what started does is done.
func (d *daemon) run(ctx context.Context) (err error) {
	if info, err := os.Stat(d.Folder); err == nil && !info.IsDir() {
		return fmt.Errorf("%s: this is a file; name the folder that your camera's files land in", d.Folder)
	}
	if err := makeFolder(d.Data, "the data folder", "name another with --data"); err != nil {
		return err
	}
	release, err := lockData(d.Data, "stop that one, or give this one a folder of its own with --data")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, release()) }()

	// What can be wrong with the settings is found before anything is recorded.
	planText, err := d.readPlan()
	if err != nil {
		return err
	}
	earlier, err := d.readEarlier(ctx)
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", d.Listen)
	if err != nil {
		return fmt.Errorf("the page can't be served on %s: %s; choose another address with --listen", d.Listen, systemSays(err))
	}
	defer func() { listener.Close() }() // when something fails before Serve took it over

	sh, err := d.open(earlier)
	if err != nil {
		return err
	}
	defer func() {
		d.keepGuides(sh)
		err = errors.Join(err, sh.Close())
		if st := sh.Snapshot().State; st.Phase != advise.Ended {
			d.say("The shoot %s rests after %s and can be gone on with.", sh.ID(), count(st.FrameCount))
		}
	}()
	if err := d.plan(ctx, sh, planText); err != nil {
		return err
	}
	if err := d.rebuild(ctx, sh, earlier); err != nil {
		return err
	}
	var to relay
	to.to(sh)
	w, err := d.watch(&to)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	context.AfterFunc(ctx, func() { notify("STOPPING=1") })
	watched := make(chan error, 1)
	go func() {
		watched <- w.Run(ctx, &to)
		cancel()
	}()
	defer func() {
		cancel()
		err = errors.Join(err, <-watched)
	}()
	for {
		server, err := d.serve(sh, listener)
		if err != nil {
			return err
		}
		if err = d.together(ctx, sh, server, listener); !errors.Is(err, errRoomAgain) || ctx.Err() != nil {
			return err
		}
		sh.Close() // says again why it took no more
		d.say("There is room on the disk again.")
		was := sh
		if sh, err = d.reopen(ctx, &to); err != nil {
			sh = was // closed already
			return err
		}
		if listener, err = net.Listen("tcp", listener.Addr().String()); err != nil {
			return fmt.Errorf("the page can't be served again: %s; start thirdstop again", systemSays(err))
		}
	}
}

// lockPatience is what a program that was killed gets to let go of the data folder: the system takes it apart within a
// second, and whoever starts thirdstop again does so at once.
const lockPatience = 2 * time.Second

// lockData keeps the data folder for this program. What to do where another one has it is told by hint.
func lockData(data, hint string) (release func() error, err error) {
	release, err = trail.LockDir(data, lockPatience)
	if held, ok := errors.AsType[*trail.LockedError](err); ok {
		return nil, &fileTrouble{data, "another thirdstop" + held.Process() + " uses this data folder; " + hint, err}
	}
	return release, err
}

// count is a number of frames in words.
func count(n int) string {
	if n == 1 {
		return "1 frame"
	}
	return fmt.Sprintf("%d frames", n)
}

// open begins or resumes the shoot, and says which.
func (d *daemon) open(e *earlierLight) (*shoot.Shoot, error) {
	shoots := filepath.Join(d.Data, "shoots")
	if err := makeFolder(shoots, "the folder of the shoots", "check who may write in the data folder, and whether its disk is full"); err != nil {
		return nil, err
	}
	curves, err := tone.OpenStore(curvesPath(d.Data))
	if err != nil { // frames are still measured, under the stated default
		d.log.Warn().Msg("a stored tone curve can't be used")
		d.say("Note: %v.", err)
	}
	c := shoot.Config{Shoots: shoots, Folder: d.Folder, Fresh: d.Fresh,
		Measurer: measurer{curves}, Version: version(), Now: d.now, Learned: learnedGuides(d.Data), Curves: curves, Disk: d.disk, Log: d.log}
	sh, start, err := d.openFor(e, c)
	if err != nil {
		return nil, err
	}
	for _, r := range start.Repairs { // the sentence names folders, which the log must not
		d.log.Warn().Uint64("record", r.Record).Int64("bytes", r.Bytes).Msg("the trail was repaired")
		d.say("Repaired: %s.", r)
	}
	if n := len(start.Differs); n > 0 {
		d.log.Warn().Int("records", n).Str("rules", advise.Rules).Msg("these rules would advise otherwise than was recorded; the record stands")
	}
	for _, id := range start.Passed {
		d.log.Warn().Str("shoot", id).Msg("a shoot can't be read")
		d.say("The record of the shoot %s can't be read; `thirdstop trail verify %s` tells more. Files of it that lie in the folder count as new.", id, id)
	}
	if start.Resumed {
		d.say("The shoot %s goes on; %s so far.", sh.ID(), count(sh.Snapshot().State.FrameCount))
	} else {
		d.say("The shoot %s begins.", sh.ID())
	}
	return sh, nil
}

// inStops expresses a region's histogram under the curve that its reading names. It reports
// false where that curve is not stored any more.
func (d *daemon) inStops(curve string, c assess.Codes) (assess.InStops, bool) {
	if curve == tone.Default().Name() {
		return c.InStops(nil)
	}
	store, err := tone.OpenStore(curvesPath(d.Data))
	if err != nil {
		return assess.InStops{}, false
	}
	for _, e := range store.List() {
		if e.Curve.Name() == curve {
			return c.InStops(e.Curve)
		}
	}
	return assess.InStops{}, false
}

// readPlan reads and checks the plan file.
func (d *daemon) readPlan() (string, error) {
	if d.Plan == "" {
		return "", nil
	}
	text, err := os.ReadFile(d.Plan)
	if err != nil {
		return "", fmt.Errorf("the light plan can't be read: %w", aboutFile(d.Plan, err, "check the name after --plan; \"thirdstop plan new\" writes one to begin with"))
	}
	if _, faults := plan.Parse(planName(d.Plan), text); len(faults) > 0 {
		return "", fmt.Errorf("the light plan has faults:\n%w", faults)
	}
	return string(text), nil
}

// planName is what a plan file is called in the record and on the page.
func planName(file string) string { return legible.Line(filepath.Base(file)) }

// plan hands the plan over, unless it is known and was perhaps changed on the page since.
func (d *daemon) plan(ctx context.Context, sh *shoot.Shoot, text string) error {
	if d.Plan == "" || ctx.Err() != nil {
		return nil
	}
	edited := sh.PlanEdited()
	handed, err := sh.PlanFile(ctx, advise.Actor{Device: "local", Role: "shoots"}, planName(d.Plan), text)
	if err == nil && !handed && sh.Snapshot().State.PlanText != text {
		d.say("The light plan was changed on the page since this file was read, and stays as it is there; edit the file to have it read again.")
	}
	if handed && edited {
		d.say("The light plan was changed on the page, and %s was edited, too: the file is in force now. The page's plan stands in the record.", planName(d.Plan))
	}
	return err
}

// serve builds the page's server. On an address of this machine alone everybody
// here is let in; elsewhere every device must pair.
func (d *daemon) serve(sh *shoot.Shoot, l net.Listener) (*dashboard.Server, error) {
	c := dashboard.Config{Shoot: sh, Pages: web.Files, LooksOn: d.LooksOn, Hosts: split(d.Hosts), Addr: l.Addr(),
		InStops: d.inStops, Past: newPast(d.Data, sh.ID()), Demo: d.demo, Version: version(), Log: d.log, Now: d.now, Learned: learnedGuides(d.Data)}
	if f := newPlanFile(d.Plan, d.Folder); d.Plan != "" && f != nil {
		c.Plan = f
	}
	c.Open = local(l)
	if d.HTTPS {
		cert, err := dashboard.Certificate(d.Data, dashboard.CertificateNames(l.Addr(), c.Hosts), time.Now())
		if err != nil {
			return nil, err
		}
		c.Certificate = &cert
		d.say("HTTPS: the browser asks once whether to trust this machine. Its certificate's SHA-256 fingerprint is\n    %s", dashboard.Fingerprint(cert))
	}
	if !c.Open {
		var err error
		if c.Devices, err = dashboard.OpenDevices(devicesPath(d.Data)); err != nil {
			return nil, err
		}
	}
	s, err := dashboard.New(c)
	if err != nil {
		return nil, err
	}
	if c.Open {
		d.say("The page: %s", s.URL())
		return s, nil
	}
	d.say("The page: %s (every device is let in once, with a code)", s.URL())
	if os.Getenv("JOURNAL_STREAM") == "" { // the journal is kept, and a code is not for keeping
		var code pairCode
		code.Code, code.Expires, code.URL = s.NewCode(dashboard.Shoots)
		printCode(d.out, code)
	}
	d.say("Codes: `thirdstop pair`, or on the page under devices.")
	return s, nil
}

// local tells whether a listener is reached from this machine alone.
func local(l net.Listener) bool {
	a, ok := l.Addr().(*net.TCPAddr)
	return ok && a.IP.IsLoopback()
}

func (d *daemon) watch(to *relay) (*watcher.Watcher, error) {
	existing := watcher.TakeExisting
	if d.Existing == watcher.SkipExisting.String() {
		existing = watcher.SkipExisting
	}
	return watcher.New(watcher.Config{Folder: d.Folder, Whole: photo.Whole, Taken: photo.Taken, Existing: existing,
		Known: to.Known, Unread: to.Unread, PollOnly: d.Poll, Now: d.now, Logger: d.log})
}

// together runs the parts until ctx ends or one of them fails, and waits for all.
func (d *daemon) together(ctx context.Context, sh *shoot.Shoot, server *dashboard.Server, l net.Listener) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var wait sync.WaitGroup
	fails := make(chan error, 6)
	part := func(f func() error) {
		wait.Go(func() {
			if err := f(); err != nil && ctx.Err() == nil {
				fails <- err
			}
			cancel()
		})
	}
	part(func() error { return server.Serve(ctx, l) })
	part(func() error { return d.waitForRoom(ctx, sh) })
	if !local(l) {
		part(func() error { d.control(ctx, server); return nil })
	}
	part(func() error { d.signs(ctx, sh); return nil })
	part(func() error { d.tellEnd(ctx, sh); return nil })
	if d.started != nil {
		part(func() error { return d.started(ctx, sh, server.URL()) })
	}
	<-ctx.Done()
	wait.Wait()
	close(fails)
	var all []error
	for err := range fails {
		all = append(all, err)
	}
	return errors.Join(all...)
}

// signs tells the service manager that the daemon is ready and alive: a sign is
// given only while the writer answers.
func (d *daemon) signs(ctx context.Context, sh *shoot.Shoot) {
	notify("READY=1\nSTATUS=watching")
	every := watchdogEvery()
	if every <= 0 {
		<-ctx.Done()
		return
	}
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			status := string(sh.Snapshot().State.Advice.Status)
			if sh.Alive() != nil { // a restart would not free the disk, and end the measuring as well
				status = "not recording"
			}
			notify(fmt.Sprintf("WATCHDOG=1\nSTATUS=%s, %s", count(sh.Snapshot().State.FrameCount), status))
		}
	}
}

// tellEnd says on the terminal that somebody ended the shoot. The page stays.
func (d *daemon) tellEnd(ctx context.Context, sh *shoot.Shoot) {
	changed, stop := sh.Watch()
	defer stop()
	for {
		if st := sh.Snapshot().State; st.Phase == advise.Ended {
			d.say("The shoot %s ends after %s. Start thirdstop again for the next one.", sh.ID(), count(st.FrameCount))
			<-ctx.Done()
			return
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return
		}
	}
}

func (d *daemon) say(format string, a ...any) {
	if !d.quiet {
		d.outMu.Lock()
		defer d.outMu.Unlock()
		fmt.Fprintf(d.out, format+"\n", a...)
	}
}
