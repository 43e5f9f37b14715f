package main

import (
	"context"
	"errors"
	"sync"
	"time"

	"thirdstop/advise/shoot"
	"thirdstop/advise/trail"
	"thirdstop/watcher"
)

// A record whose disk was full takes nothing more until it is opened again. The daemon does that
// by itself as soon as there is room: page and shoot begin anew, while the watcher stays and
// brings the frames that were refused meanwhile.

// errRoomAgain ends one opening of the shoot, for the next.
var errRoomAgain = errors.New("there is room on the disk again")

// roomEvery is how often it is seen, while the disk is full, whether there is room again.
const roomEvery = 2 * time.Second

// waitForRoom returns errRoomAgain when a record that stopped for want of room can be gone on with, and
// meanwhile sees that the record is still there.
func (d *daemon) waitForRoom(ctx context.Context, sh *shoot.Shoot) error {
	tick := time.NewTicker(roomEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			sh.LookAfter()
			if sh.RoomAgain() {
				return errRoomAgain
			}
		}
	}
}

// reopen opens the shoot again that was closed, and waits where the disk filled up meanwhile.
func (d *daemon) reopen(ctx context.Context, to *relay) (*shoot.Shoot, error) {
	for {
		sh, err := d.open(nil)
		var stopped *trail.PoisonedError
		if err == nil {
			was := to.now()
			to.to(sh)
			sh.Inherit(was)
			return sh, nil
		}
		if !errors.As(err, &stopped) || !stopped.Full() {
			return nil, err
		}
		d.log.Warn().Msg("the disk is full again")
		if pause(ctx, roomEvery) != nil {
			return nil, err
		}
	}
}

// relay hands what the watcher finds to the shoot that is open.
type relay struct {
	mu sync.RWMutex
	sh *shoot.Shoot
}

func (r *relay) to(sh *shoot.Shoot) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.sh = sh
}

func (r *relay) now() *shoot.Shoot {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return r.sh
}

func (r *relay) Complete(ctx context.Context, v watcher.Version) error {
	return r.now().Complete(ctx, v)
}
func (r *relay) Trouble(ctx context.Context, p watcher.Problem) error {
	return r.now().Trouble(ctx, p)
}
func (r *relay) Known(rel string, hash [32]byte) bool { return r.now().Known(rel, hash) }
func (r *relay) Unread(rel string, size int64, modified time.Time) bool {
	return r.now().Unread(rel, size, modified)
}
