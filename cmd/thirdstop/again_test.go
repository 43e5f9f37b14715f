package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"

	"github.com/rs/zerolog"

	"thirdstop/advise/trail"
	"thirdstop/assess/studio"
)

// filling is the machine's disk, until it is full.
type filling struct {
	trail.OSDisk
	full atomic.Bool
}

func (d *filling) Append(name string) (trail.File, error) {
	f, err := d.OSDisk.Append(name)
	return fillingFile{f, d}, err
}

func (d *filling) Create(name string) (trail.File, error) {
	f, err := d.OSDisk.Create(name)
	return fillingFile{f, d}, err
}

type fillingFile struct {
	trail.File
	d *filling
}

func (f fillingFile) Write(b []byte) (int, error) {
	if f.d.full.Load() {
		n, _ := f.File.Write(b[:len(b)/2]) // as a disk does that has room for a part
		return n, syscall.ENOSPC
	}
	return f.File.Write(b)
}

// A full disk stops the record and nothing else: frames are measured and shown, and when there is
// room again everything goes on by itself, with the frames that came meanwhile and in their order.
func TestARecordGoesOnByItselfWhenTheDiskHasRoomAgain(t *testing.T) {
	home := lonely(t)
	capture := filepath.Join(home, "captures")
	if err := os.Mkdir(capture, 0o700); err != nil {
		t.Fatal(err)
	}
	b := &boathouse{room: studio.BoatHouse(1), capture: capture, hands: pause}
	b.room.Camera.Width, b.room.Camera.Height = 600, 400
	shoot := func() {
		t.Helper()
		if _, err := b.shoot(); err != nil {
			t.Fatal(err)
		}
	}
	shoot() // was there before, and is to be left alone, also by a second opening
	disk := &filling{}
	r := &running{t: t, out: &pipe{}, log: &pipe{}}
	d := &daemon{out: r.out, log: zerolog.Nop(), disk: disk,
		settings: settings{Folder: capture, Data: filepath.Join(home, "d"), Listen: "127.0.0.1:0", Existing: "skip"}}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- d.run(ctx) }()
	defer func() {
		stop()
		if err := <-ended; err != nil {
			t.Errorf("the daemon ends with %v", err)
		}
		id := strings.Fields(r.out.String())[2]
		if code, out, errs := ran(t, "trail", "verify", "--data", d.Data, id); code != 0 {
			t.Errorf("the record: %s%s", out, errs)
		}
	}()
	until(t, "the page is served", func() bool {
		m := pageAddress.FindStringSubmatch(r.out.String())
		if m != nil {
			r.url = m[1]
		}
		return m != nil
	})
	frames := func(n int) map[string]any {
		return r.state(fmt.Sprint(n, " frames are shown"), func(s map[string]any) bool { return s["frame_count"] == float64(n) })
	}
	shoot()
	frames(1)

	disk.full.Store(true)
	shoot()
	shoot()
	s := r.state("the page says that it is full", func(s map[string]any) bool { return s["recording"] != "" && s["unrecorded"] != nil })
	if text := s["recording"].(string); !strings.Contains(text, "full; free some space, and thirdstop goes on by itself") {
		t.Errorf("recording = %q", text)
	}
	if err := os.WriteFile(filepath.Join(capture, "notes.jpg"), []byte("crews and oars"), 0o600); err != nil {
		t.Fatal(err)
	}
	standing := func(s map[string]any) bool { return strings.Contains(fmt.Sprint(s["troubles"]), "notes.jpg") }
	r.state("a trouble of that time is told", standing)
	if s["frame_count"] != 1.0 {
		t.Errorf("%v frames on a full disk", s["frame_count"])
	}

	disk.full.Store(false)
	until(t, "the shoot goes on", func() bool { return strings.Contains(r.out.String(), "goes on; 1 frame so far.") })
	s = r.state("the frames that came meanwhile are taken", func(s map[string]any) bool { return s["frame_count"] == 3.0 })
	if s["recording"] != "" || s["unrecorded"] != nil || !standing(s) {
		t.Errorf("after it: recording %q, unrecorded %v, troubles %v; want nothing of the full disk, and what stood before", s["recording"], s["unrecorded"], s["troubles"])
	}
	if f := s["frame"].(map[string]any); f["file_name"] != "AQ_0004.JPG" {
		t.Errorf("the newest frame is %v, want the last that was taken", f["file_name"])
	}
	shoot()
	frames(4)
}
