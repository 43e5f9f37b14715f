package dashboard

import (
	"encoding/json"
	"fmt"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"thirdstop/advise/shoot"
)

// quick makes the times of live connections short.
func quick(s *Server, _ *Config) {
	if s != nil {
		s.live.pace = pace{write: 300 * time.Millisecond, ping: 50 * time.Millisecond, pong: time.Second, beat: 20 * time.Millisecond}
	}
}

// nextState reads on until a state of at least that number comes.
func nextState(t testing.TB, c *websocket.Conn, seq uint64) map[string]any {
	t.Helper()
	m := next(t, c, "state")
	for m["state"].(float64) < float64(seq) {
		m = next(t, c, "state")
	}
	return m
}

func TestALiveConnectionShowsTheWholeStateAtOnceAndEachChange(t *testing.T) {
	b := start(t, open)
	c := b.mustSocket()
	var asked, live map[string]any
	live = next(t, c, "state")
	asked = b.ask("GET", "/api/v1/state", "").json(t)
	for _, m := range []map[string]any{asked, live} {
		delete(m, "server_time")
	}
	if fmt.Sprint(asked) != fmt.Sprint(live) {
		t.Errorf("the live state is not the one that is asked for:\n%v\n%v", live, asked)
	}
	for n := 4; n <= 6; n++ {
		b.sh.AddFrame()
		m := nextState(t, c, b.sh.Snapshot().State.Seq)
		if got := m["frame"].(map[string]any)["number"]; got != float64(n) {
			t.Errorf("after frame %d arrived the live state shows frame %v", n, got)
		}
	}
}

func TestAWriteIsSeenByEveryTablet(t *testing.T) {
	b := start(t)
	one, _ := b.paired(Shoots)
	two, _ := b.paired(Lights)
	a, c := b.mustSocket(one), b.mustSocket(two)
	next(t, a, "state")
	next(t, c, "state")
	if got := b.ask("POST", "/api/v1/adjustments", `{"client":"x","seen":0,"group":"B","to_text":"1/16"}`, two); got.status != 200 {
		t.Fatalf("adjusting = %d %s", got.status, got.text)
	}
	for _, conn := range []*websocket.Conn{a, c} {
		m := nextState(t, conn, b.sh.Snapshot().State.Seq)
		if p := m["lights"].([]any)[1].(map[string]any)["power_text"]; p != "1/16" {
			t.Errorf("a tablet shows the key at %v, want 1/16", p)
		}
	}
}

func TestBeatsShowThatTheLineIsAlive(t *testing.T) {
	b := start(t, open, quick)
	c := b.mustSocket()
	m := next(t, c, "beat")
	if m["state"] != float64(b.sh.Snapshot().State.Seq) || m["server_time"] == "" {
		t.Errorf("beat = %v, want the state's number and the time", m)
	}
}

func TestARevokedDeviceIsCutOff(t *testing.T) {
	b := start(t, func(s *Server, _ *Config) {
		if s != nil {
			s.live.pace.beat = time.Hour // it must not be the beat that notices
		}
	})
	shoots, _ := b.paired(Shoots)
	lights, id := b.paired(Lights)
	theirs, mine := b.mustSocket(lights), b.mustSocket(shoots)
	next(t, theirs, "state")
	next(t, mine, "state")
	if got := b.ask("DELETE", "/api/v1/devices/"+id, "", shoots); got.status != 204 {
		t.Fatalf("revoking = %d %s", got.status, got.text)
	}
	if code := closeCode(t, theirs); code != closeUnpaired {
		t.Errorf("the revoked tablet's connection ended with %d, want %d", code, closeUnpaired)
	}
	if got := b.ask("GET", "/api/v1/state", "", lights); got.status != 401 {
		t.Errorf("the revoked tablet's next call = %d, want 401", got.status)
	}
	if _, res, err := b.socket(lights); err == nil || res.StatusCode != 401 {
		t.Errorf("the revoked tablet's next connection: %v, want 401", err)
	}
	b.sh.AddFrame()
	next(t, mine, "state")
	if list := b.ask("GET", "/api/v1/devices", "", shoots).json(t)["devices"].([]any); len(list) != 1 {
		t.Errorf("%d devices are left, want 1", len(list))
	}
	if got := b.ask("DELETE", "/api/v1/devices/"+id, "", shoots); got.status != 404 {
		t.Errorf("revoking again = %d, want 404", got.status)
	}
}

func TestADeviceRevokedBehindTheServersBackIsCutOffWithTheNextBeat(t *testing.T) {
	b := start(t, quick)
	lights, id := b.paired(Lights)
	c := b.mustSocket(lights)
	next(t, c, "state")
	if _, err := b.s.cfg.Devices.Revoke(id); err != nil { // not Server.Revoke: as from a terminal
		t.Fatal(err)
	}
	if code := closeCode(t, c); code != closeUnpaired {
		t.Errorf("the connection ended with %d, want %d", code, closeUnpaired)
	}
}

func TestThePhotographerIsToldOfANewDevice(t *testing.T) {
	b := start(t)
	shoots, _ := b.paired(Shoots)
	c := b.mustSocket(shoots)
	next(t, c, "state")
	code, _, _ := b.s.NewCode(Looks)
	b.ask("POST", "/api/v1/pair", pairBodyText(code, "x"))
	if m := next(t, c, "notice"); m["code"] != "paired" {
		t.Errorf("notice = %v, want paired", m)
	}
}

func TestStoppingSaysGoodbye(t *testing.T) {
	b := start(t, open)
	c := b.mustSocket()
	next(t, c, "state")
	b.halt()
	if m := next(t, c, "notice"); m["code"] != "stopping" {
		t.Errorf("notice = %v, want stopping", m)
	}
	if code := closeCode(t, c); code != websocket.CloseGoingAway {
		t.Errorf("the connection ended with %d, want 1001", code)
	}
	eventually(t, "the port is closed", func() bool {
		c, err := net.Dial("tcp", b.addr)
		if err == nil {
			c.Close()
		}
		return err != nil
	})
}

func TestAPageThatTalksTooMuchIsClosed(t *testing.T) {
	b := start(t, open)
	c := b.mustSocket()
	next(t, c, "state")
	if err := c.WriteMessage(websocket.TextMessage, []byte(`{"hello":1}`)); err != nil {
		t.Fatal(err)
	}
	b.sh.AddFrame()
	next(t, c, "state") // a short word is ignored
	if err := c.WriteMessage(websocket.TextMessage, make([]byte, mostMessage+1)); err != nil {
		t.Fatal(err)
	}
	if code := closeCode(t, c); code != websocket.CloseMessageTooBig {
		t.Errorf("a message over 4 KB ended with %d, want 1009", code)
	}
}

func TestAPeerThatAnswersNoPingIsLetGo(t *testing.T) {
	b := start(t, open, quick, func(s *Server, _ *Config) {
		if s != nil {
			s.live.pace.pong = 600 * time.Millisecond
		}
	})
	deaf := b.mustSocket()
	deaf.SetPingHandler(func(string) error { return nil })
	go func() { // reads, so that pings arrive, and answers none
		for {
			if _, _, err := deaf.ReadMessage(); err != nil {
				return
			}
		}
	}()
	well := b.mustSocket()
	beats := make(chan bool, 1000)
	go func() {
		defer close(beats)
		for {
			if _, _, err := well.ReadMessage(); err != nil {
				return
			}
			select {
			case beats <- true:
			default:
			}
		}
	}()
	eventually(t, "both are connected", func() bool { return b.s.live.count() == 2 })
	eventually(t, "the deaf peer is gone", func() bool { return b.s.live.count() == 1 })
	for len(beats) > 0 {
		<-beats
	}
	if !<-beats {
		t.Error("the peer that does answer pings is gone, too")
	}
}

// heavy makes states so large that a peer who doesn't read fills the kernel's
// buffers within a few of them.
func heavy(b *bench) {
	reason := strings.Repeat("x", 256<<10)
	b.sh.Change(func(s *shoot.Snapshot) { s.State.Advice.Reason = reason })
}

// stuckTablet connects one that never reads.
func stuckTablet(t *testing.T, b *bench) {
	t.Helper()
	raw, err := net.Dial("tcp", b.addr)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { raw.Close() })
	_ = raw.(*net.TCPConn).SetReadBuffer(4 << 10)
	fmt.Fprintf(raw, "GET /api/v1/live HTTP/1.1\r\nHost: %s\r\nConnection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n", b.addr)
	eventually(t, "the stuck tablet is connected", func() bool { return b.s.live.count() == 1 })
}

func TestAStuckTabletHoldsUpNobody(t *testing.T) {
	b := start(t, open, quick, func(s *Server, _ *Config) {
		if s != nil {
			s.live.pace.write = time.Second
		}
	})
	heavy(b)
	stuckTablet(t, b)
	well := b.mustSocket()
	next(t, well, "state")
	worst := time.Duration(0)
	end := time.Now().Add(20 * time.Second)
	for i := 0; b.s.live.count() == 2 || i < 20; i++ {
		if time.Now().After(end) {
			t.Fatal("the stuck tablet was never let go")
		}
		begun := time.Now()
		got := b.ask("POST", "/api/v1/notes", fmt.Sprintf(`{"client":"n%d","seen":0,"text":"x"}`, i))
		if got.status != 200 {
			t.Fatalf("a note while a tablet is stuck = %d %s", got.status, got.text)
		}
		nextState(t, well, uint64(got.json(t)["state"].(float64)))
		worst = max(worst, time.Since(begun))
	}
	if worst > 900*time.Millisecond { // nobody waits for the stuck one's write, which takes up to 1 s
		t.Errorf("the other tablet waited up to %v", worst)
	}
	t.Logf("worst time from a note to its state on the other tablet, with states of 256 KB: %v", worst)
}

func TestASlowTabletGetsTheNewestStateNotTheBacklog(t *testing.T) {
	b := start(t, open)
	c := b.mustSocket()
	next(t, c, "state")
	const frames = 500
	for range frames {
		b.sh.AddFrame()
	}
	last := b.sh.Snapshot().State.Seq
	got, before := 0, 0.0
	for {
		m := next(t, c, "state")
		n := m["state"].(float64)
		if n < before {
			t.Fatalf("state %v came after state %v", n, before)
		}
		before = n
		got++
		if n == float64(last) {
			break
		}
	}
	if got >= frames {
		t.Errorf("%d states came for %d frames that arrived at once, want some skipped", got, frames)
	}
}

func TestTheLatestStateWinsTheSlot(t *testing.T) {
	c := &client{wake: make(chan struct{}, 1)}
	old, newer := &view{}, &view{}
	c.offer(old)
	c.offer(newer)
	<-c.wake
	if got := c.slot.Swap(nil); got != newer {
		t.Error("the slot holds the older state")
	}
	select {
	case <-c.wake:
		t.Error("the writer is woken twice for one slot")
	default:
	}
}

func TestOneWhoTakesNoNoticesIsLetGo(t *testing.T) {
	b := start(t, open)
	c := &client{who: local, wake: make(chan struct{}, 1), notices: make(chan []byte, mostNotices), end: make(chan struct{})}
	b.s.live.mu.Lock()
	b.s.live.clients[c] = true
	b.s.live.mu.Unlock()
	for range mostNotices + 1 {
		b.s.live.tell("paired", "x", func(Device) bool { return true })
	}
	select {
	case <-c.end:
		if c.endCode != closeSlow {
			t.Errorf("it ends with %d, want %d", c.endCode, closeSlow)
		}
	default:
		t.Error("its queue of notices is full and it stays")
	}
	b.s.live.mu.Lock()
	delete(b.s.live.clients, c)
	b.s.live.mu.Unlock()
}

func TestThereIsAnEndToConnections(t *testing.T) {
	b := start(t, open)
	for range mostClients {
		b.mustSocket()
	}
	eventually(t, "all are connected", func() bool { return b.s.live.count() == mostClients })
	if _, res, err := b.socket(); err == nil || res.StatusCode != 503 {
		t.Errorf("one connection more: %v, want 503", err)
	}
}

func TestALiveCallThatIsNoWebsocketIsToldSo(t *testing.T) {
	b := start(t, open)
	if got := b.ask("GET", "/api/v1/live", ""); got.status != 400 || got.code() != "websocket" {
		t.Errorf("GET live without upgrade = %d %s, want 400 websocket", got.status, got.text)
	}
}

func TestAStuckTabletDoesNotHoldUpTheEnd(t *testing.T) {
	b := start(t, open) // at the usual pace, where a message gets 5 s to leave
	heavy(b)
	stuckTablet(t, b)
	well := b.mustSocket()
	for range 100 { // 25 MB, far more than the kernel keeps
		b.sh.AddFrame()
		next(t, well, "state")
	}
	begun := time.Now()
	b.halt()
	if code := closeCode(t, well); code != websocket.CloseGoingAway {
		t.Errorf("the other tablet's connection ended with %d, want 1001", code)
	}
	eventually(t, "all connections are gone", func() bool { return b.s.live.count() == 0 })
	if took := time.Since(begun); took > 4*time.Second {
		t.Errorf("the end took %v, want it not to wait for the stuck tablet", took)
	}
}

// BenchmarkFanOut measures from a new state to its arrival at the last of 20 tablets.
func BenchmarkFanOut(b *testing.B) {
	rig := start(b, open)
	const tablets = 20
	arrived := make(chan uint64, tablets)
	for range tablets {
		c := rig.mustSocket()
		go func() {
			for {
				_, text, err := c.ReadMessage()
				if err != nil {
					return
				}
				var m struct {
					Type  string `json:"type"`
					State uint64 `json:"state"`
				}
				if json.Unmarshal(text, &m) == nil && m.Type == "state" {
					arrived <- m.State
				}
			}
		}()
	}
	for range tablets {
		<-arrived
	}
	for b.Loop() {
		rig.sh.Change(func(*shoot.Snapshot) {})
		want := rig.sh.Snapshot().State.Seq
		for n := 0; n < tablets; {
			if <-arrived == want {
				n++
			}
		}
	}
}

// BenchmarkDocument measures writing a snapshot out as JSON.
func BenchmarkDocument(b *testing.B) {
	rig := start(b, open)
	snap := rig.sh.Snapshot()
	for b.Loop() {
		text, err := marshal(rig.s.document(snap))
		if err != nil {
			b.Fatal(err)
		}
		b.SetBytes(int64(len(text)))
	}
}

// lateWatch lets the server watch only once the gate is open.
type lateWatch struct {
	Shoot
	gate chan bool
}

func (l lateWatch) Watch() (<-chan struct{}, func()) {
	<-l.gate
	return l.Shoot.Watch()
}

func TestAChangeBeforeTheServerWatchesIsNotMissed(t *testing.T) {
	gate := make(chan bool)
	b := start(t, open, func(s *Server, c *Config) {
		if s == nil {
			c.Shoot = lateWatch{c.Shoot, gate}
		}
	})
	c := b.mustSocket()
	next(t, c, "state")
	b.sh.AddFrame() // nobody is signalled
	close(gate)
	nextState(t, c, b.sh.Snapshot().State.Seq)
}
