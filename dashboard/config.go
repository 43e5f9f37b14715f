package dashboard

import (
	"context"
	"crypto/tls"
	"errors"
	"io/fs"
	"net"
	"net/http"
	"time"

	"github.com/rs/zerolog"

	"thirdstop/advise/plan"
	"thirdstop/advise/shoot"
	"thirdstop/assess"
)

// Shoot is what the dashboard needs of a shoot. All its methods may be called
// from many goroutines at once.
type Shoot interface {
	// Snapshot is the newest state. It is never changed once it was handed out.
	Snapshot() *shoot.Snapshot
	// Watch gives a signal on every new snapshot; signals that nobody took in time
	// become one. stop ends it.
	Watch() (changed <-chan struct{}, stop func())
	// Events lists up to limit events with numbers over after, oldest first.
	Events(after uint64, limit int) ([]shoot.Event, error)
	// Submit returns once the request is on disk and has taken effect. Its refusals wrap
	// [shoot.ErrStale], [shoot.ErrRefused] or [shoot.ErrNotRecorded].
	Submit(ctx context.Context, r shoot.Request) (shoot.Receipt, error)
	// Thumbnail is a JPEG of a frame, upright, its longer edge at most edge pixels.
	// The error wraps [shoot.ErrNoFrame] where there is no picture.
	Thumbnail(ctx context.Context, frame, edge int) ([]byte, error)
	// Words are the text behind a reference into the side file, "" where it was erased.
	Words(ref string) string
}

var _ Shoot = (*shoot.Shoot)(nil)

// PlanFile is the light plan's file. Its methods may be called from many goroutines at once.
type PlanFile interface {
	// Read is its text as it is now; the error wraps fs.ErrNotExist where it is gone.
	Read() (string, error)
	// Write puts a text in its place, whole or not at all.
	Write(text string) error
}

// Config is what a [Server] is made of. Shoot and Pages must be set; all else
// has a zero value that works, except that Devices must be set unless Open is.
type Config struct {
	Shoot Shoot
	Pages fs.FS // index.html and the files it loads; see web/SERVING.md

	// Open lets every program of this machine in without pairing, as a device
	// "local" that may do everything. [Server.Serve] then refuses a listener that
	// other machines can reach.
	Open bool

	Plan        PlanFile         // the file that the light plan came out of; nil: none, or it must not be written
	Past        Past             // what was recorded; nil: no sheets and no earlier shoots
	Devices     *Devices         // who is paired; unused when Open
	LooksOn     bool             // devices that look on may see frames and the state's number
	Hosts       []string         // further names or addresses by which browsers may call this server, without port
	Certificate *tls.Certificate // the page is served over HTTPS with it; nil: over plain HTTP
	Addr        net.Addr         // the listener's address, if it is known before Serve; for the links of NewCode
	Demo        http.Handler     // the demo's controls under /demo/ (the prefix is taken off); nil: there are none
	// InStops expresses a region's histogram under the curve of that name; nil: under the default one.
	InStops func(curve string, c assess.Codes) (assess.InStops, bool)
	Version string         // of the program, told by /healthz; may be empty
	Learned plan.Effective // guide numbers that earlier shoots taught; nil: none
	Log     zerolog.Logger
	Now     func() time.Time // nil: time.Now
}

func (c *Config) check() error {
	switch {
	case c.Shoot == nil:
		return errors.New("dashboard: no shoot was given")
	case c.Pages == nil:
		return errors.New("dashboard: no pages were given")
	case c.Devices == nil && !c.Open:
		return errors.New("dashboard: a daemon that is open to the network needs a file of paired devices")
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	return nil
}
