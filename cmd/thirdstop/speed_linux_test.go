package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
)

// TestSpeedOfTheWholeWay prints how long it takes from the last byte of a 24-megapixel frame to
// its advice on the websocket of a page, and how many frames a second are kept up with. It
// fails only where frames get lost. The frames are the virtual studio's.
func TestSpeedOfTheWholeWay(t *testing.T) {
	rounds, _ := strconv.Atoi(os.Getenv("THIRDSTOP_SPEED"))
	if rounds < 1 {
		t.Skip("run by .ci/speed")
	}
	home := lonely(t)
	capture, aside := filepath.Join(home, "captures"), filepath.Join(home, "aside")
	for _, d := range []string{capture, aside} {
		if err := os.Mkdir(d, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	b, planFile := room(t, 1, capture)
	b.room.Camera.Width, b.room.Camera.PictureHeight = 6000, 4000
	var shots [][]byte
	for i := range 3 {
		name, err := b.room.Shoot(time.Now()).Save(aside, studio.Tether{Direct: true, Chunk: 1 << 20})
		if err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		shots = append(shots, data)
		if err := b.turn("B", exposure.Dial(-60-10*i)); err != nil {
			t.Fatal(err)
		}
	}
	d := started(t, "--data", filepath.Join(home, "d"), "--listen", "127.0.0.1:0", "--plan", planFile, capture)
	conn, _, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(d.url, "http")+"/api/v1/live", nil)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	// next waits for the state with a number of frames, the advice on the newest included.
	next := func(count int) {
		for {
			_ = conn.SetReadDeadline(time.Now().Add(60 * time.Second))
			_, text, err := conn.ReadMessage()
			if err != nil {
				t.Fatal(err)
			}
			if bytes.Contains(text, fmt.Appendf(nil, `"frame_count":%d,`, count)) {
				if !bytes.Contains(text, fmt.Appendf(nil, `"frame":%d,`, count)) {
					t.Fatalf("frame %d comes without advice: %.600s", count, text)
				}
				return
			}
		}
	}
	const single = 200
	var took []time.Duration
	for i := range single {
		f, err := os.Create(filepath.Join(capture, fmt.Sprintf("AQ_%04d.jpg", i)))
		if err != nil {
			t.Fatal(err)
		}
		// What lies behind a picture's end makes another file of it, and the same picture.
		data := fmt.Appendf(bytes.Clone(shots[i%len(shots)]), "%d", i)
		if _, err := f.Write(data[:len(data)-1]); err != nil {
			t.Fatal(err)
		}
		start := time.Now()
		if _, err := f.Write(data[len(data)-1:]); err != nil {
			t.Fatal(err)
		}
		f.Close()
		next(i + 1)
		took = append(took, time.Since(start))
		if i >= 3 { // a full disk is not what is measured
			os.Remove(filepath.Join(capture, fmt.Sprintf("AQ_%04d.jpg", i-3)))
		}
	}
	slices.Sort(took)
	at := func(p float64) float64 { return took[int(p*float64(len(took)-1))].Seconds() * 1e3 }
	fmt.Printf("| last byte to advice, %d frames of 24 MP (%.1f MB) | median %.0f ms | p95 %.0f ms | p99 %.0f ms |\n",
		single, float64(len(shots[0]))/1e6, at(0.5), at(0.95), at(0.99))

	// A few files, linked again and again: as many frames as disk space doesn't matter for.
	const many = 1000
	cpu := func() time.Duration {
		var u syscall.Rusage
		_ = syscall.Getrusage(syscall.RUSAGE_SELF, &u)
		return time.Duration(u.Utime.Nano() + u.Stime.Nano())
	}
	for i, data := range shots {
		if err := os.WriteFile(filepath.Join(aside, fmt.Sprint(i)), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	start, before := time.Now(), cpu()
	for i := range many {
		link := filepath.Join(aside, fmt.Sprintf("AQ_1%04d.jpg", i))
		if err := os.Link(filepath.Join(aside, fmt.Sprint(i%len(shots))), link); err != nil {
			t.Fatal(err)
		}
		if err := os.Rename(link, filepath.Join(capture, filepath.Base(link))); err != nil {
			t.Fatal(err)
		}
	}
	arrived := time.Since(start)
	next(single + many)
	all := time.Since(start)
	status, _ := os.ReadFile("/proc/self/status")
	_, peak, _ := strings.Cut(string(status), "VmHWM:")
	kib, _ := strconv.ParseFloat(strings.Fields(peak)[0], 64)
	fmt.Printf("| %d frames at once (in %.1f s) | %.1f frames a second | %.0f ms of CPU a frame | peak %.0f MiB, the studio's rendering included |\n",
		many, arrived.Seconds(), many/all.Seconds(), (cpu()-before).Seconds()*1e3/many, kib/1024)
}
