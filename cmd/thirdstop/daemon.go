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
	"thirdstop/advise/shoot"
	"thirdstop/advise/trail"
	"thirdstop/assess/photo"
	"thirdstop/assess/tone"
	"thirdstop/dashboard"
	"thirdstop/dashboard/web"
	"thirdstop/watcher"
)

// daemon is the whole of thirdstop on one capture folder.
type daemon struct {
	settings
	out  io.Writer
	log  zerolog.Logger
	demo http.Handler // controls of a virtual studio; nil in an ordinary run

	// started is called when everything runs; the demo goes on from there.
	started func(ctx context.Context, s *shoot.Shoot, url string) error
	quiet   bool // prints nothing of its own to out
}

// run works until ctx ends, something fails, or what started does is done.
func (d *daemon) run(ctx context.Context) (err error) {
	if err := os.MkdirAll(d.Data, 0o700); err != nil {
		return fmt.Errorf("the data folder can't be made: %w", err)
	}
	release, err := trail.LockDir(d.Data)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, release()) }()

	sh, err := d.open()
	if err != nil {
		return err
	}
	defer func() {
		err = errors.Join(err, sh.Close())
		if sh.Snapshot().State.Phase != advise.Ended {
			d.say("The shoot %s rests after %d frames and can be gone on with.", sh.ID(), sh.Snapshot().State.FrameCount)
		}
	}()
	if err := d.plan(ctx, sh); err != nil {
		return err
	}
	listener, server, err := d.serve(sh)
	if err != nil {
		return err
	}
	defer listener.Close() // when something fails before Serve took it over
	w, err := d.watch(sh)
	if err != nil {
		return err
	}
	return d.together(ctx, sh, server, listener, w)
}

// open begins or resumes the shoot, and says which.
func (d *daemon) open() (*shoot.Shoot, error) {
	shoots := filepath.Join(d.Data, "shoots")
	if err := os.MkdirAll(shoots, 0o700); err != nil {
		return nil, fmt.Errorf("the folder of the shoots can't be made: %w", err)
	}
	sh, start, err := shoot.Open(shoot.Config{Shoots: shoots, Folder: d.Folder, Fresh: d.Fresh,
		Measurer: measurer{tone.Default()}, Version: version(), Log: d.log})
	if err != nil {
		return nil, err
	}
	for _, r := range start.Repairs {
		d.log.Warn().Str("repair", r.String()).Msg("trail")
	}
	if n := len(start.Differs); n > 0 {
		d.log.Warn().Int("records", n).Str("rules", advise.Rules).Msg("these rules would advise otherwise than was recorded; the record stands")
	}
	if start.Resumed {
		d.say("The shoot %s goes on: %d frames so far.", sh.ID(), sh.Snapshot().State.FrameCount)
	} else {
		d.say("A new shoot begins: %s.", sh.ID())
	}
	return sh, nil
}

// plan hands the plan file over, unless it is the one already in force.
func (d *daemon) plan(ctx context.Context, sh *shoot.Shoot) error {
	if d.Plan == "" {
		return nil
	}
	text, err := os.ReadFile(d.Plan)
	if err != nil {
		return fmt.Errorf("the light plan can't be read: %w", err)
	}
	if sh.Snapshot().State.PlanText == string(text) {
		return nil
	}
	_, err = sh.Submit(ctx, shoot.Request{By: advise.Actor{Device: "local", Role: "shoots"},
		Plan: &advise.PlanText{Name: filepath.Base(d.Plan), Text: string(text)}})
	return err
}

// serve opens the listener and builds the page's server. On an address of this
// machine alone everybody here is let in; elsewhere every device must pair.
func (d *daemon) serve(sh *shoot.Shoot) (net.Listener, *dashboard.Server, error) {
	l, err := net.Listen("tcp", d.Listen)
	if err != nil {
		return nil, nil, fmt.Errorf("the page can't be served on %s: %w; choose another address with --listen", d.Listen, err)
	}
	c := dashboard.Config{Shoot: sh, Pages: web.Files, LooksOn: d.LooksOn, Hosts: split(d.Hosts), Addr: l.Addr(),
		Demo: d.demo, Version: version(), Log: d.log}
	if a, ok := l.Addr().(*net.TCPAddr); ok && a.IP.IsLoopback() {
		c.Open = true
	} else if c.Devices, err = dashboard.OpenDevices(devicesPath(d.Data)); err != nil {
		l.Close()
		return nil, nil, err
	}
	s, err := dashboard.New(c)
	if err != nil {
		l.Close()
		return nil, nil, err
	}
	if c.Open {
		d.say("The page: %s", s.URL())
	} else {
		d.say("The page: %s (every device is let in once, with a code)", s.URL())
		var code pairCode
		code.Code, code.Expires, code.URL = s.NewCode(dashboard.Shoots)
		printCode(d.out, code)
		d.say("More codes: thirdstop pair, or on the page under devices.")
	}
	return l, s, nil
}

func (d *daemon) watch(sh *shoot.Shoot) (*watcher.Watcher, error) {
	existing := watcher.TakeExisting
	if d.Existing == watcher.SkipExisting.String() {
		existing = watcher.SkipExisting
	}
	return watcher.New(watcher.Config{Folder: d.Folder, Whole: photo.Whole, Taken: photo.Taken, Existing: existing,
		Known: sh.Known, PollOnly: d.Poll, Logger: d.log})
}

// together runs the parts until ctx ends or one of them fails, and waits for all.
func (d *daemon) together(ctx context.Context, sh *shoot.Shoot, server *dashboard.Server, l net.Listener, w *watcher.Watcher) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var wait sync.WaitGroup
	fails := make(chan error, 5)
	part := func(f func() error) {
		wait.Go(func() {
			if err := f(); err != nil && ctx.Err() == nil {
				fails <- err
			}
			cancel()
		})
	}
	part(func() error { return server.Serve(ctx, l) })
	part(func() error { return w.Run(ctx, sh) })
	if a, ok := l.Addr().(*net.TCPAddr); ok && !a.IP.IsLoopback() {
		part(func() error { return serveControl(ctx, d.Data, server) })
	}
	part(func() error { return d.signs(ctx, sh) })
	if d.started != nil {
		part(func() error { return d.started(ctx, sh, server.URL()) })
	}
	wait.Wait()
	notify("STOPPING=1")
	close(fails)
	var all []error
	for err := range fails {
		all = append(all, err)
	}
	return errors.Join(all...)
}

// signs tells the service manager that the daemon is ready and alive: a sign is
// given only while the shoot can still take an input.
func (d *daemon) signs(ctx context.Context, sh *shoot.Shoot) error {
	notify("READY=1\nSTATUS=watching")
	every := watchdogEvery()
	if every <= 0 {
		<-ctx.Done()
		return nil
	}
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			sh.Words("") // waits for the writer; hangs with it
			notify(fmt.Sprintf("WATCHDOG=1\nSTATUS=%d frames, %s", sh.Snapshot().State.FrameCount, sh.Snapshot().State.Advice.Status))
		}
	}
}

func (d *daemon) say(format string, a ...any) {
	if !d.quiet {
		fmt.Fprintf(d.out, format+"\n", a...)
	}
}
