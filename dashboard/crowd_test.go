package dashboard

import (
	"encoding/json"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
)

// Twenty screens at two frames a second, one of which reads nothing: the others are shown every frame
// at once, and the daemon waits for nobody.
func TestTwentyScreensAtTwoFramesASecondAndOneOfThemStuck(t *testing.T) {
	b := start(t, open)
	const screens, frames, every = 20, 6, 500 * time.Millisecond
	var delays []time.Duration
	var mu sync.Mutex
	var wait sync.WaitGroup
	stuck := websocket.Dialer{NetDial: func(network, addr string) (net.Conn, error) {
		c, err := net.Dial(network, addr)
		if err == nil {
			err = c.(*net.TCPConn).SetReadBuffer(2 << 10)
		}
		return c, err
	}}
	idle, _, err := stuck.Dial("ws://"+b.addr+"/api/v1/live", nil)
	if err != nil {
		t.Fatal(err)
	}
	defer idle.Close()
	shown := make([]time.Time, frames+1) // when each frame's state came to be; guarded by mu
	for range screens - 1 {
		c := b.mustSocket()
		defer c.Close()
		wait.Go(func() {
			for {
				_ = c.SetReadDeadline(time.Now().Add(10 * time.Second))
				_, text, err := c.ReadMessage()
				now := time.Now()
				if err != nil {
					t.Errorf("a screen was let go: %v", err)
					return
				}
				var m struct {
					Type   string        `json:"type"`
					Advice advise.Advice `json:"advice"`
				}
				if json.Unmarshal(text, &m) != nil || m.Type != "state" || m.Advice.Number < 1000 {
					continue
				}
				n := m.Advice.Number - 1000
				mu.Lock()
				delays = append(delays, now.Sub(shown[n]))
				mu.Unlock()
				if n == frames {
					return
				}
			}
		})
	}
	tick := time.NewTicker(every)
	defer tick.Stop()
	var slowest time.Duration
	for n := 1; n <= frames; n++ {
		<-tick.C
		begun := time.Now()
		mu.Lock()
		shown[n] = begun
		mu.Unlock()
		b.sh.Change(func(snap *shoot.Snapshot) {
			snap.State.Advice.Number = 1000 + n
			snap.State.Advice.Reason = strings.Repeat("over ", 8<<10) // so that what the stuck screen leaves unread fills its line
		})
		slowest = max(slowest, time.Since(begun))
	}
	wait.Wait()
	// It was stuck indeed: not all states fit into its line.
	_ = idle.NetConn().(*net.TCPConn).SetReadBuffer(4 << 20)
	got, last := 0, 0
	for last < frames {
		_ = idle.SetReadDeadline(time.Now().Add(10 * time.Second))
		_, text, err := idle.ReadMessage()
		if err != nil {
			break // let go, in the middle of a message that could not leave in time
		}
		var m struct {
			Advice advise.Advice `json:"advice"`
		}
		if json.Unmarshal(text, &m) == nil && m.Advice.Number >= 1000 {
			got, last = got+1, m.Advice.Number-1000
		}
	}
	if got >= frames {
		t.Errorf("the stuck screen got all %d states one after the other, so it was never stuck", got)
	}
	slices.Sort(delays)
	if len(delays) != (screens-1)*frames {
		t.Fatalf("%d states were shown, want %d: every frame on every screen that reads", len(delays), (screens-1)*frames)
	}
	median, worst := delays[len(delays)/2], delays[len(delays)-1]
	t.Logf("from a new state to 19 screens: median %v, worst %v; the shoot was held up for %v at most", median, worst, slowest)
	// What waited for the stuck screen would wait for all of the time that a message may take to leave (5 s), six times over;
	// a machine that does much else, or the race detector, takes some of it as well.
	if quick := delays[len(delays)/4]; quick > time.Second || worst > usualPace.write {
		t.Errorf("from a new state to the screens it took %v for the quickest quarter and %v at worst, want 1 s and %v at most", quick, worst, usualPace.write)
	}
	if slowest > usualPace.write/2 {
		t.Errorf("the shoot was held up for %v by a screen that reads nothing", slowest)
	}
}
