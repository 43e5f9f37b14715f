package main

import (
	"context"
	"fmt"
	"path/filepath"

	"thirdstop/advise"
	"thirdstop/advise/account"
	"thirdstop/advise/shoot"
)

// earlierLight is what --rebuild asks for.
type earlierLight struct {
	light advise.Earlier
	plan  advise.PlanText
}

// readEarlier reads the shoot whose light is to be built again, nil where none is.
func (d *daemon) readEarlier(ctx context.Context) (*earlierLight, error) {
	if d.Rebuild == "" {
		return nil, nil
	}
	a, err := account.ReadContext(ctx, shootFolder(d.Data, d.Rebuild))
	if err != nil {
		return nil, fmt.Errorf("the shoot to be built again can't be read: %w", err)
	}
	var e earlierLight
	e.light, e.plan, err = a.Rebuild()
	return &e, err
}

// openFor opens the shoot; one that does not build the light that is asked for is left to rest, and another begins.
func (d *daemon) openFor(e *earlierLight, c shoot.Config) (*shoot.Shoot, shoot.Start, error) {
	sh, start, err := shoot.Open(c)
	if err != nil || e == nil || !start.Resumed {
		return sh, start, err
	}
	if now := sh.Snapshot().State.Earlier; now != nil && now.Shoot == e.light.Shoot {
		return sh, start, nil // a restart with the same flags goes on
	}
	if err := sh.Close(); err != nil {
		return nil, start, err
	}
	c.Fresh = true
	return shoot.Open(c)
}

// rebuild hands the earlier light and its plan over, once.
func (d *daemon) rebuild(ctx context.Context, sh *shoot.Shoot, e *earlierLight) error {
	if e == nil || sh.Snapshot().State.Earlier != nil {
		return nil
	}
	by := advise.Actor{Device: "local", Role: "shoots"}
	if _, err := sh.Submit(ctx, shoot.Request{Client: "rebuild/plan", By: by, Plan: &e.plan}); err != nil {
		return err
	}
	if _, err := sh.Submit(ctx, shoot.Request{Client: "rebuild/light", By: by, Earlier: &e.light}); err != nil {
		return err
	}
	d.say("The light of %s is built again. Set the lights as they stood:", filepath.Base(e.light.Shoot))
	for _, l := range e.light.Lights {
		where := ""
		if l.Distance > 0 {
			where = " at " + l.Distance.String()
		}
		d.say("  %s: %s%s %s", l.Name, l.PowerText, where, l.Modifier)
	}
	d.say("Mind heat, stands and leads; the maker's manuals come first.")
	return nil
}
