package browsertest

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"thirdstop/assess/studio"
)

// TestSpeedOfThePage prints what README.md says of the page's speed: with the program itself, a browser and files on disk. It
// fails only where a frame is lost. THIRDSTOP_SPEED is how many presses are timed, `.ci/speed` sets it.
func TestSpeedOfThePage(t *testing.T) {
	presses, _ := strconv.Atoi(os.Getenv("THIRDSTOP_SPEED"))
	if presses < 1 {
		t.Skip("run by .ci/speed")
	}
	needsBrowser(t)
	firstLoad(t)
	pressToPaint(t, max(presses, 60))
	twentyScreens(t, 60)
}

// inShort is a list of times in a few words.
func inShort(took []time.Duration) string {
	slices.Sort(took)
	at := func(p float64) float64 { return took[int(p*float64(len(took)-1))].Seconds() * 1e3 }
	return fmt.Sprintf("median %.0f ms | p95 %.0f ms | worst %.0f ms", at(0.5), at(0.95), at(1))
}

func firstLoad(t *testing.T) {
	daemon := startReal(t, program(t), "demo", "--no-plan", "--no-browser", "--listen", freePort(t))
	defer daemon.down()
	p := open(t, 1180, 820, daemon.URL)
	p.until("the page is drawn", `document.querySelector('.board:not(.opening)')`)
	p.until("all has come", `performance.now() > 3000`)
	p.mu.Lock()
	all, requests := p.bytes, len(p.requests)
	p.mu.Unlock()
	picture := eval[int](p, `performance.getEntriesByType('resource').filter((e) => e.name.includes('/picture')).reduce((n, e) => n + e.transferSize, 0)`)
	fmt.Printf("| first load | %.0f KB in %d requests, and %.0f KB for the picture of the newest frame |\n", float64(all-picture)/1e3, requests, float64(picture)/1e3)
}

// pressToPaint times from a press to its picture, on the tablet that was pressed and, over the daemon and its record, on another.
func pressToPaint(t *testing.T, presses int) {
	daemon := startReal(t, program(t), "demo", "--no-browser", "--listen", freePort(t))
	defer daemon.down()
	a, b := open(t, 1180, 820, daemon.URL), open(t, 820, 1180, daemon.URL)
	for _, p := range []*tab{a, b} {
		p.until("the lights are there", `document.querySelectorAll('.light output').length >= 3 && document.querySelector('.frame-in img')?.naturalWidth > 0`)
	}
	const key = `document.querySelectorAll('.light')[1]`
	// The clocks of both pages are one machine's.
	const painted = `new Promise((done) => { const was = ` + key + `.querySelector('output').innerText, at = performance.timeOrigin + performance.now();
		const look = () => { if (` + key + `.querySelector('output').innerText !== was) requestAnimationFrame(() => requestAnimationFrame(() => done([at, performance.timeOrigin + performance.now()]))); else requestAnimationFrame(look); };`
	var own, other []time.Duration
	for i := range presses {
		a.until("the press before is recorded", `!`+key+`.querySelector('output').classList.contains('draft') && [...`+key+`.querySelectorAll('button')].every((b) => !b.disabled)`)
		seen := make(chan []float64, 1)
		go func() { seen <- eval[[]float64](b, painted+` look(); })`) }()
		time.Sleep(50 * time.Millisecond) // so that the other page looks before anything happens
		at := eval[[]float64](a, painted+key+fmt.Sprintf(`.querySelectorAll('button')[%d].click(); look(); })`, i%2))
		own = append(own, time.Duration((at[1]-at[0])*1e6))
		there := <-seen
		// Presses are gathered for 900 ms before they are recorded.
		other = append(other, time.Duration((there[1]-at[0])*1e6)-900*time.Millisecond)
	}
	fmt.Printf("| press to paint, %d presses | %s |\n", presses, inShort(own))
	fmt.Printf("| recorded press to paint on another tablet | %s |\n", inShort(other))
}

// twentyScreens lets two frames a second arrive while twenty screens are connected, one of which reads nothing.
func twentyScreens(t *testing.T, frames int) {
	home := t.TempDir()
	capture, aside := filepath.Join(home, "captures"), filepath.Join(home, "aside")
	for _, d := range []string{capture, aside} {
		if err := os.Mkdir(d, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	name, err := studio.BoatHouse(1).Shoot(time.Now()).Save(aside, studio.Tether{Direct: true, Chunk: 1 << 20})
	if err != nil {
		t.Fatal(err)
	}
	shot, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	daemon := startReal(t, program(t), "run", "--data", filepath.Join(home, "data"), "--listen", freePort(t), capture)
	defer daemon.down()
	live := "ws" + strings.TrimPrefix(daemon.URL, "http") + "api/v1/live"
	stuck := websocket.Dialer{NetDial: func(network, addr string) (net.Conn, error) {
		c, err := net.Dial(network, addr)
		if err == nil {
			err = c.(*net.TCPConn).SetReadBuffer(2 << 10)
		}
		return c, err
	}}
	if c, _, err := stuck.Dial(live, http.Header{}); err != nil {
		t.Fatal(err)
	} else {
		defer c.Close()
	}
	const screens = 20
	var mu sync.Mutex
	written, took := make([]time.Time, frames+1), []time.Duration(nil) // guarded by mu
	var wait sync.WaitGroup
	for range screens - 1 {
		c, _, err := websocket.DefaultDialer.Dial(live, nil)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		wait.Go(func() {
			for last := 0; last < frames; {
				_ = c.SetReadDeadline(time.Now().Add(60 * time.Second))
				_, text, err := c.ReadMessage()
				now := time.Now()
				var m struct {
					Type  string `json:"type"`
					Count int    `json:"frame_count"`
				}
				if err != nil || json.Unmarshal(text, &m) != nil {
					t.Errorf("a screen that reads was let go after %d frames: %v", last, err)
					return
				}
				if m.Type != "state" || m.Count == last {
					continue
				}
				if m.Count != last+1 {
					t.Errorf("a screen was shown frame %d after frame %d", m.Count, last)
				}
				last = m.Count
				mu.Lock()
				took = append(took, now.Sub(written[m.Count]))
				mu.Unlock()
			}
		})
	}
	rss := func(key string) float64 {
		status, _ := os.ReadFile(fmt.Sprintf("/proc/%d/status", daemon.cmd.Process.Pid))
		_, rest, ok := strings.Cut(string(status), key+":")
		if !ok {
			return 0
		}
		kib, _ := strconv.ParseFloat(strings.Fields(rest)[0], 64)
		return kib / 1024
	}
	before := rss("VmRSS")
	tick := time.NewTicker(500 * time.Millisecond)
	defer tick.Stop()
	for n := 1; n <= frames; n++ {
		<-tick.C
		// What lies behind a picture's end makes another file of it, and the same picture.
		part, to := filepath.Join(aside, fmt.Sprintf("AQ_%04d.part", n)), filepath.Join(capture, fmt.Sprintf("AQ_%04d.jpg", n))
		if err := os.WriteFile(part, fmt.Appendf(bytes.Clone(shot), "%d", n), 0o600); err != nil {
			t.Fatal(err)
		}
		mu.Lock()
		written[n] = time.Now()
		mu.Unlock()
		if err := os.Rename(part, to); err != nil {
			t.Fatal(err)
		}
	}
	wait.Wait()
	if len(took) != (screens-1)*frames {
		t.Fatalf("%d frames were shown, want each of %d on each of %d screens that read", len(took), frames, screens-1)
	}
	fmt.Printf("| file in place to state on %d screens, a 20th stuck, %d frames (%.1f MB) at 2 a second | %s | nothing lost | daemon %.0f MiB before, %.0f after, %.0f at most |\n",
		screens-1, frames, float64(len(shot))/1e6, inShort(took), before, rss("VmRSS"), rss("VmHWM"))
}
