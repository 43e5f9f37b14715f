package shoot

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thirdstop/advise"
	"thirdstop/assess"
)

// seer is a Measurer whose files hold previews that come to something else than the files.
type seer struct {
	*given
	preview string // what it reads like; "" none
	looked  int
}

func (p *seer) Preview(_ string, _ []byte, h assess.Hints) *assess.Reading {
	p.looked++
	switch p.preview {
	case "":
		return nil
	case "panic":
		panic("a fault in the preview")
	}
	r, err := (&givenFrame{g: p.given, text: p.preview}).read(h)
	if err != nil {
		return nil
	}
	return r
}

// large is a file's text, large enough to have its preview looked at.
func large(text string) string { return text + strings.Repeat(" ", previewFrom) }

// openSeeing opens a shoot whose clock stands still, so that two can be compared.
func (b *bench) openSeeing(m Measurer) *Shoot {
	b.t.Helper()
	c := b.config()
	c.Measurer = m
	at := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	c.Now = func() time.Time { return at }
	s, _, err := Open(c)
	if err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(func() { s.Close() })
	b.submit(s, withPlan(Request{Client: "p-1"}))
	return s
}

func TestAPreviewIsShownUntilTheFrameIsMeasured(t *testing.T) {
	b := newBench(t)
	p := &seer{given: b.g, preview: dark}
	s := b.openSeeing(p)
	var during *Snapshot
	b.g.before = func() { during = s.Snapshot() }
	before := s.Snapshot().State.Seq
	b.take(s, "Q_0001.JPG", large(good))
	if during == nil || during.Provisional == nil {
		t.Fatal("while the file is measured, its preview should be shown")
	}
	v := during.Provisional
	if v.Frame.Number != 1 || v.Frame.Reading.Kind != assess.Provisional || v.Advice.Frame != 1 || v.Advice.Status != advise.Adjust {
		t.Errorf("shown is frame %d, %s, with the advice %q of frame %d", v.Frame.Number, v.Frame.Reading.Kind, v.Advice.Status, v.Advice.Frame)
	}
	if during.State.Seq != before || len(during.State.Frames) != 0 || during.State.Advice.Frame != 0 {
		t.Errorf("the state moved on to %d with %d frames for a preview", during.State.Seq, len(during.State.Frames))
	}
	after := s.Snapshot()
	if after.Provisional != nil {
		t.Error("the preview is still shown after the frame was measured")
	}
	if f := after.State.Frames[0]; f.Reading.Kind != assess.Full || f.Reading.Regions.Backdrop.WhiteFloor != 0.2 {
		t.Errorf("the frame's reading is %s with a backdrop at %v", f.Reading.Kind, f.Reading.Regions.Backdrop.WhiteFloor)
	}
}

// What is recorded and learned is the same with and without previews, however far they are off.
func TestAPreviewLeavesNoTrace(t *testing.T) {
	files := []string{dark, "backdrop -0.4 white -0.7 kind full", "torn", good, dark}
	var states []string
	var records []int
	for _, preview := range []string{"", "backdrop 0.9 white -3 kind full", "panic"} {
		b := newBench(t)
		p := &seer{given: b.g, preview: preview}
		s := b.openSeeing(p)
		for i, text := range files {
			b.take(s, "Q_000"+string(rune('1'+i))+".JPG", large(text))
			if s.Snapshot().Provisional != nil {
				t.Errorf("after frame %d a preview is shown", i+1)
			}
		}
		if p.looked != len(files) {
			t.Errorf("%d previews were looked for in %d files", p.looked, len(files))
		}
		state := s.Snapshot().State
		for i := range state.Frames { // the ids of names are made by chance
			state.Frames[i].File = ""
		}
		text, err := json.Marshal(state)
		if err != nil {
			t.Fatal(err)
		}
		states = append(states, string(text))
		trail, err := os.ReadFile(filepath.Join(b.trailOf(s), "trail.jsonl"))
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(trail), "provisional") {
			t.Error("the trail knows of a provisional reading")
		}
		records = append(records, strings.Count(string(trail), "\n"))
	}
	for i := 1; i < len(states); i++ {
		if states[i] != states[0] || records[i] != records[0] {
			t.Errorf("with previews the shoot came to %d records and\n%s\nwithout to %d and\n%s", records[i], states[i], records[0], states[0])
		}
	}
}

func TestAPreviewNeverComesAfterAReading(t *testing.T) {
	b := newBench(t)
	p := &seer{given: b.g, preview: dark}
	s := b.openSeeing(p)
	b.take(s, "Q_0001.JPG", large(good))
	var during *Snapshot
	b.g.before = func() { during = s.Snapshot() }
	b.take(s, "Q_0001.JPG", large("backdrop 0.3 white -0.2 kind full"))
	if during.Provisional != nil {
		t.Error("a rewrite of a frame that was measured is shown by its preview")
	}
	b.take(s, "Q_0002.JPG", good)
	if during.Provisional != nil {
		t.Error("a small file's preview is shown")
	}
	v := b.file("Q_0003.JPG", large(good+" "))
	v.Existing = true
	if err := s.Complete(context.Background(), v); err != nil || during.Provisional != nil {
		t.Errorf("a file that was there before is shown by its preview; %v", err)
	}
	// What a person records meanwhile makes the preview's advice old.
	b.g.before = func() {
		if s.Snapshot().Provisional == nil {
			t.Error("no preview to be overtaken")
		}
		b.submit(s, Request{Client: "a-1", Adjusted: &advise.Adjusted{Group: "B", To: -60}})
		during = s.Snapshot()
	}
	b.take(s, "Q_0004.JPG", large(dark))
	if during.Provisional != nil {
		t.Error("the preview's advice stands though the lights were turned since")
	}
}
