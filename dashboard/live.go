package dashboard

import (
	"context"
	"errors"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"github.com/gorilla/websocket"
)

// Close codes of our own (RFC 6455, section 7.4.2, leaves 4000 to 4999 to applications).
const (
	closeUnpaired = 4001
	closeSlow     = 4008
)

// pace are the times of a live connection.
type pace struct {
	write time.Duration // how long one message may take to leave
	ping  time.Duration // between pings
	pong  time.Duration // without any pong the peer is gone
	beat  time.Duration // between beats, which pages can see and pings they can't
}

var usualPace = pace{write: 5 * time.Second, ping: 15 * time.Second, pong: 40 * time.Second, beat: 5 * time.Second}

// lastWords is how long a message that is under way gets when the server stops.
const lastWords = 500 * time.Millisecond

// The bounds of live connections.
const (
	mostClients = 64
	mostNotices = 16
	mostMessage = 4 << 10 // bytes of a message from a page, which has nothing to say
)

// live sends the newest state to every client. A client that is slow gets fewer states, never old
// ones: each has one slot, and its own goroutine empties it.
type live struct {
	s    *Server
	pace pace

	mu      sync.Mutex
	clients map[*client]bool // guarded by mu
	closed  bool             // guarded by mu: nobody comes in any more
	running sync.WaitGroup
}

// client is one connection. Its writer goroutine alone writes to conn; the goroutine
// of its request alone reads.
type client struct {
	conn    *websocket.Conn
	who     Device
	slot    atomic.Pointer[view] // the newest state not sent yet
	wake    chan struct{}        // the slot was filled
	notices chan []byte
	ending  sync.Once
	end     chan struct{} // closed to make the writer say goodbye
	endCode int           // written before end is closed
	endText string
}

// notice is a message about the connection, not the shoot.
type notice struct {
	Type string `json:"type"` // "notice"
	Code string `json:"code"`
	Text string `json:"text"`
}

type beat struct {
	Type       string `json:"type"` // "beat"
	ServerTime string `json:"server_time"`
	State      uint64 `json:"state"`
}

// run hands out states until the context ends, then says goodbye to all.
func (l *live) run(ctx context.Context) {
	changed, stop := l.s.cfg.Shoot.Watch()
	defer stop()
	l.publish() // who came before Watch may have missed a change
	for {
		select {
		case <-ctx.Done():
			l.close()
			return
		case _, ok := <-changed:
			if !ok { // the shoot is over and gone; what was last known stays on the screens
				changed = nil
				continue
			}
			l.publish()
		}
	}
}

// publish puts the newest state into every slot. It waits for nobody.
func (l *live) publish() {
	l.mu.Lock()
	defer l.mu.Unlock()
	v, err := l.s.current()
	if err != nil {
		l.s.log.Error().Err(err).Msg("the state can't be shown")
		return
	}
	for c := range l.clients {
		c.offer(v)
	}
}

func (c *client) offer(v *view) {
	c.slot.Store(v)
	select {
	case c.wake <- struct{}{}:
	default:
	}
}

// tell queues a notice for the clients that match. One whose queue is full is let go.
func (l *live) tell(code, text string, match func(Device) bool) {
	msg, err := marshal(notice{"notice", code, text})
	if err != nil {
		l.s.log.Error().Err(err).Msg("a notice can't be written")
		return
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	for c := range l.clients {
		if !match(c.who) {
			continue
		}
		select {
		case c.notices <- msg:
		default:
			c.finish(closeSlow, "too slow")
		}
	}
}

// drop ends the connections of a device.
func (l *live) drop(device string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for c := range l.clients {
		if c.who.ID == device {
			c.finish(closeUnpaired, "this device was unpaired")
		}
	}
}

// close ends all connections and waits until their goroutines are gone.
func (l *live) close() {
	l.mu.Lock()
	l.closed = true
	for c := range l.clients {
		c.finish(websocket.CloseGoingAway, "thirdstop is stopping")
		// A tablet that is stuck just now must not hold up the end for pace.write.
		_ = c.conn.NetConn().SetWriteDeadline(time.Now().Add(lastWords))
	}
	l.mu.Unlock()
	l.running.Wait()
}

func (c *client) finish(code int, text string) {
	c.ending.Do(func() {
		c.endCode, c.endText = code, text
		close(c.end)
	})
}

var errFull = &problem{http.StatusServiceUnavailable, "full", "too many screens are connected; close one", nil}
var errStopping = &problem{http.StatusServiceUnavailable, "stopping", "thirdstop is stopping", nil}

// join lets a client in, with the newest state in its slot.
func (l *live) join(c *client) *problem {
	l.mu.Lock()
	defer l.mu.Unlock()
	v, err := l.s.current()
	switch {
	case l.closed:
		return errStopping
	case len(l.clients) >= mostClients:
		return errFull
	case err != nil:
		l.s.log.Error().Err(err).Msg("the state can't be shown")
		return errInternal
	}
	l.clients[c] = true
	l.running.Add(1)
	c.offer(v)
	return nil
}

func (l *live) leave(c *client) {
	l.mu.Lock()
	delete(l.clients, c)
	l.mu.Unlock()
	l.running.Done()
}

func (l *live) count() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.clients)
}

// serve is GET /api/v1/live.
func (l *live) serve(w http.ResponseWriter, r *http.Request, who Device) error {
	up := websocket.Upgrader{
		HandshakeTimeout: l.pace.write,
		WriteBufferSize:  16 << 10,
		CheckOrigin:      func(*http.Request) bool { return true }, // hosts.admit did, and knows more
		Error: func(w http.ResponseWriter, r *http.Request, status int, reason error) {
			s := &problem{status: status, Code: "websocket", Text: "this call is a websocket: " + reason.Error()}
			l.s.fail(w, r, who, s)
		},
	}
	c := &client{who: who, wake: make(chan struct{}, 1), notices: make(chan []byte, mostNotices), end: make(chan struct{})}
	if l.count() >= mostClients { // before the upgrade, while there can be an answer
		return errFull
	}
	conn, err := up.Upgrade(w, r, nil)
	if err != nil {
		return nil // was answered
	}
	defer conn.Close()
	c.conn = conn
	if p := l.join(c); p != nil {
		_ = conn.WriteControl(websocket.CloseMessage, websocket.FormatCloseMessage(websocket.CloseTryAgainLater, p.Code), time.Now().Add(l.pace.write))
		return nil
	}
	defer l.leave(c)
	if !l.s.stillPaired(who) { // revoked between the door and the list
		c.finish(closeUnpaired, "this device was unpaired")
	}
	written := make(chan struct{})
	go func() {
		defer close(written)
		defer conn.Close() // wakes the reader
		l.write(c)
	}()
	l.read(c)
	c.finish(websocket.CloseNormalClosure, "")
	<-written
	return nil
}

// read waits for the peer to go. What it says is thrown away.
func (l *live) read(c *client) {
	c.conn.SetReadLimit(mostMessage)
	extend := func(string) error { return c.conn.SetReadDeadline(time.Now().Add(l.pace.pong)) }
	_ = extend("")
	c.conn.SetPongHandler(extend)
	for {
		if _, _, err := c.conn.ReadMessage(); err != nil {
			return
		}
	}
}

// write sends what there is until the client is to go or a message can't leave in time.
func (l *live) write(c *client) {
	ping, beats := time.NewTicker(l.pace.ping), time.NewTicker(l.pace.beat)
	defer ping.Stop()
	defer beats.Stop()
	for {
		var err error
		select {
		case <-c.end:
			l.goodbye(c)
			return
		case msg := <-c.notices:
			err = l.send(c, msg)
		case <-c.wake:
			err = l.sendState(c)
		case <-beats.C:
			err = l.sendBeat(c)
		case <-ping.C:
			err = c.conn.WriteControl(websocket.PingMessage, nil, time.Now().Add(l.pace.write))
		}
		if err != nil {
			l.s.log.Debug().Str("device", c.who.ID).Msg("a screen is gone or too slow")
			return
		}
	}
}

func (l *live) send(c *client, msg []byte) error {
	if err := c.conn.SetWriteDeadline(time.Now().Add(l.pace.write)); err != nil {
		return err
	}
	return c.conn.WriteMessage(websocket.TextMessage, msg)
}

func (l *live) sendState(c *client) error {
	v := c.slot.Swap(nil)
	if v == nil {
		return nil
	}
	msg, err := l.s.greet(v, c.who)
	if err != nil {
		return err
	}
	return l.send(c, msg)
}

var errRevoked = errors.New("the device was revoked")

// sendBeat shows the page that the line is alive. It also notices what another
// process did to the list of devices.
func (l *live) sendBeat(c *client) error {
	if !l.s.stillPaired(c.who) {
		c.finish(closeUnpaired, "this device was unpaired")
		l.goodbye(c)
		return errRevoked
	}
	msg, err := marshal(beat{"beat", timestamp(l.s.now()), l.s.cfg.Shoot.Snapshot().State.Seq})
	if err != nil {
		return err
	}
	return l.send(c, msg)
}

// goodbye sends the notices that wait, says why, and closes.
func (l *live) goodbye(c *client) {
	for len(c.notices) > 0 {
		if l.send(c, <-c.notices) != nil {
			return
		}
	}
	_ = c.conn.WriteControl(websocket.CloseMessage, websocket.FormatCloseMessage(c.endCode, c.endText), time.Now().Add(l.pace.write))
}
