package main

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"thirdstop/advise"
	"thirdstop/advise/plan"
	"thirdstop/advise/shoot"
	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
	"thirdstop/assess/tone"
	"thirdstop/watcher"
)

// guided is a person who follows the guide to the tone curve in a virtual boathouse.
type guided struct {
	t       *testing.T
	data    string
	capture string
	s       *shoot.Shoot
	room    *studio.Studio
	n       int
}

func newGuided(t *testing.T) *guided {
	g := &guided{t: t, data: t.TempDir(), capture: t.TempDir(), room: studio.BoatHouse(7)}
	g.room.Camera.Width, g.room.Camera.PictureHeight = 900, 600
	g.room.Camera.Curve = studio.ShoulderCurve
	for i := range g.room.Lights {
		g.room.Lights[i].On = false
	}
	g.room.Ambient = studio.Ambient{Value: 10.3}
	if err := os.Mkdir(filepath.Join(g.data, "shoots"), 0o700); err != nil {
		t.Fatal(err)
	}
	g.open()
	return g
}

func (g *guided) open() {
	g.t.Helper()
	store, err := tone.OpenStore(curvesPath(g.data))
	if err != nil {
		g.t.Fatal(err)
	}
	g.s, _, err = shoot.Open(shoot.Config{Shoots: filepath.Join(g.data, "shoots"), Folder: g.capture, Version: "test",
		Measurer: measurer{store}, Curves: store, Log: zerolog.Nop()})
	if err != nil {
		g.t.Fatal(err)
	}
	g.t.Cleanup(func() { g.s.Close() })
}

func (g *guided) ask(do advise.BracketDo) {
	g.t.Helper()
	if _, err := g.s.Submit(g.t.Context(), shoot.Request{Bracket: &advise.BracketInput{Do: do}}); err != nil {
		g.t.Fatal(err)
	}
}

// frame takes a frame of the room as it stands, and gives the state that comes of it.
func (g *guided) frame() advise.State {
	g.t.Helper()
	g.n++
	name := fmt.Sprintf("AQ_%04d.JPG", g.n)
	shot := g.room.Shoot(time.Date(2026, 11, 25, 9, g.n, 0, 0, time.UTC))
	path := filepath.Join(g.capture, name)
	if err := os.WriteFile(path, shot.JPEG, 0o600); err != nil {
		g.t.Fatal(err)
	}
	v := watcher.Version{Rel: name, Path: path, Data: shot.JPEG, Hash: sha256.Sum256(shot.JPEG), Size: int64(len(shot.JPEG)), ModTime: time.Now()}
	if err := g.s.Complete(g.t.Context(), v); err != nil {
		g.t.Fatal(err)
	}
	return g.s.Snapshot().State
}

// learned waits until the curve is learned or refused.
func (g *guided) learned() advise.Bracket {
	g.t.Helper()
	changed, stop := g.s.Watch()
	defer stop()
	late := time.After(time.Minute)
	for {
		if b := g.s.Snapshot().State.Bracket; b != nil && !b.Ready {
			return *b
		}
		select {
		case <-changed:
		case <-late:
			g.t.Fatal("the curve was not learned within a minute")
		}
	}
}

// The guide leads from nothing to a stored curve through which the next frame is read: what can't serve is refused by name, a
// restart in the middle resumes, and the record replays to the same.
func TestTheGuideToTheToneCurve(t *testing.T) {
	lonely(t)
	g := newGuided(t)
	p := plan.Annotated()
	if _, err := g.s.Submit(t.Context(), shoot.Request{Plan: &advise.PlanText{Name: "boathouse.yaml", Text: string(p)}}); err != nil {
		t.Fatal(err)
	}
	g.ask(advise.BracketBegin)
	g.room.Camera.Shutter = 1.0 / 4
	refused := map[string]func(c *studio.Camera){
		"Only the shutter may change": func(c *studio.Camera) { c.ISO *= 2 },
		"is that of frame":            func(c *studio.Camera) { c.Shutter = 1.0 / 4 },
		"another size":                func(c *studio.Camera) { c.Width, c.PictureHeight = 720, 480 },
	}
	st := g.frame()
	if b := st.Bracket; b.Good != 1 || b.Fault || b.Next == 0 {
		t.Fatalf("the first frame: %+v", *b)
	}
	for why, change := range refused {
		was := g.room.Camera
		g.room.Camera.Shutter = st.Bracket.Next
		change(&g.room.Camera)
		st = g.frame()
		if b := st.Bracket; !b.Fault || !strings.Contains(b.Says, why) || b.Good != 1 {
			t.Errorf("a frame that can't serve: %q with %d good ones, want a word of %q", b.Says, b.Good, why)
		}
		g.room.Camera = was
	}
	for g.n < 20 && !st.Bracket.Ready && !st.Bracket.Done {
		if st.Bracket.Good == 4 {
			if err := g.s.Close(); err != nil {
				t.Fatal(err)
			}
			g.open()
			if b := g.s.Snapshot().State.Bracket; b == nil || b.Good != 4 || b.Next != st.Bracket.Next {
				t.Fatalf("after a restart the guide stands at %+v", b)
			}
		}
		g.room.Camera.Shutter = st.Bracket.Next
		st = g.frame()
		if st.Bracket.Fault {
			t.Fatalf("%s", st.Bracket.Says)
		}
		if f := st.Frames[len(st.Frames)-1]; f.Aside == "" || st.Advice.Status == advise.Adjust {
			t.Errorf("frame %d of the guide is taken for one of the shoot: aside %q, advice %s", f.Number, f.Aside, st.Advice.Status)
		}
	}
	b := g.learned()
	if !b.Done || b.Good < 5 || b.Good > 9 || !(b.Now < b.Was/2) {
		t.Fatalf("the guide ended with %+v", b)
	}
	t.Logf("%d frames: %s", b.Good, b.Says)

	// The next frame is the shoot's own again, and comes through the curve. The source of the truth is the studio's formula.
	store, err := tone.OpenStore(curvesPath(g.data))
	if err != nil || len(store.List()) != 1 || store.List()[0].Curve.Name() != b.Curve {
		t.Fatalf("stored are %v (%v), want %s", store.List(), err, b.Curve)
	}
	g.ask(advise.BracketLeave)
	g.room.Camera.Shutter, g.room.Ambient = 1.0/125, studio.Ambient{Value: 2}
	for i := range g.room.Lights {
		g.room.Lights[i].On = true
	}
	st = g.frame()
	if r := st.Frames[len(st.Frames)-1].Reading; r.Tone.Curve != b.Curve || r.Tone.Source != "learned" || st.Frames[len(st.Frames)-1].Aside != "" {
		t.Errorf("the next frame comes through %+v, want %s", r.Tone, b.Curve)
	}
	if err := g.s.Close(); err != nil {
		t.Fatal(err)
	}
	re, err := shoot.Replay(filepath.Join(g.data, "shoots", g.s.ID()))
	if err != nil || len(re.Differs) > 0 || re.Inputs < 15 {
		t.Errorf("the replay: %d inputs, %d differences, %v", re.Inputs, len(re.Differs), err)
	}
}

// A curve that was learned by command while the shoot rested is taken up with the first frame that comes
// through it: what is still used of earlier frames is expressed anew, and that stands in the record.
func TestACurveLearnedElsewhereIsTakenUp(t *testing.T) {
	lonely(t)
	g := newGuided(t)
	if _, err := g.s.Submit(t.Context(), shoot.Request{Plan: &advise.PlanText{Name: "boathouse.yaml", Text: string(plan.Annotated())}}); err != nil {
		t.Fatal(err)
	}
	lit := func() {
		g.room.Camera.Shutter, g.room.Ambient = 1.0/125, studio.Ambient{Value: 2}
		for i := range g.room.Lights {
			g.room.Lights[i].On = true
		}
	}
	lit()
	before := g.frame()
	if err := g.s.Close(); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := ran(t, append([]string{"curve", "learn", "--data", g.data}, bracketFiles(t, nil)...)...); code != 0 {
		t.Fatalf("learning ended with %d: %s%s", code, out, errs)
	}
	g.open()
	after := g.frame()
	was, now := before.Frames[0].Reading, after.Frames[0].Reading
	if was.Tone.Curve != "default-1" || now.Tone.Source != "learned" || now.Tone.Curve != after.Frames[1].Reading.Tone.Curve {
		t.Fatalf("the first frame stands under %+v, and now under %+v; the second under %+v", was.Tone, now.Tone, after.Frames[1].Reading.Tone)
	}
	// Both frames show the same light: the first, expressed anew, as the second measured.
	if a, b := now.Regions.Sitter.Value, after.Frames[1].Reading.Regions.Sitter.Value; a-b > 0.1 || b-a > 0.1 {
		t.Errorf("the sitter of the first frame lies at %v anew, in the second at %v", a, b)
	}
	found := false
	events, err := g.s.Events(0, 100)
	for _, e := range events {
		found = found || e.Kind == "curve"
	}
	if err != nil || !found {
		t.Errorf("the log doesn't tell of the curve (%v)", err)
	}
}

// A shoot whose lights are turned by recorded steps teaches the camera's curve by itself: it is stored, told, recorded, and the
// next frame comes through it; the record replays to the same.
func TestAShootLearnsTheToneCurveByItself(t *testing.T) {
	lonely(t)
	g := newGuided(t)
	g.room.Camera.Shutter, g.room.Ambient, g.room.Camera.Curve = 1.0/125, studio.Ambient{Value: 1}, studio.IndexCurve
	g.room.Sitter.Card = true
	var text strings.Builder
	text.WriteString("version: 1\nbackdrop:\n  colour: white\nlights:\n")
	for i := range g.room.Lights {
		l := &g.room.Lights[i]
		l.On = l.Role == studio.Key || l.Role == studio.Background
		if l.On {
			scale := exposure.ThirdFractions
			if l.Click == exposure.Tenth {
				scale = exposure.TenthFractions
			}
			if err := l.Turn(l.Power - 2*exposure.Stop); err != nil { // under the edge, where it measures
				t.Fatal(err)
			}
			fmt.Fprintf(&text, "  - role: %s\n    group: %s\n    power: %s\n", l.Role, l.Group, scale.Format(l.Power))
		}
	}
	submit := func(r shoot.Request) {
		t.Helper()
		if _, err := g.s.Submit(t.Context(), r); err != nil {
			t.Fatal(err)
		}
	}
	submit(shoot.Request{Plan: &advise.PlanText{Name: "boathouse.yaml", Text: text.String()}})
	quiet, err := g.room.Expected()
	if err != nil {
		t.Fatal(err)
	}
	card, ok := quiet.Region(studio.WhiteReference)
	if !ok {
		t.Fatal("the boathouse holds no card")
	}
	st := g.frame()
	box := inner(card.Box)
	submit(shoot.Request{Reference: &advise.Reference{Frame: 1, Box: &box}})
	st = g.frame()
	for n := 0; n < 24 && st.Frames[len(st.Frames)-1].Reading.Tone.Source != "learned"; n++ {
		l := st.Lights[n/2%len(st.Lights)]
		to := l.Power + exposure.Stop
		if n%2 == 1 {
			to = l.Power - exposure.Stop
		}
		submit(shoot.Request{Adjusted: &advise.Adjusted{Group: l.Group, To: to}})
		if err := g.room.Light(l.Group).Turn(to); err != nil {
			t.Fatal(err)
		}
		st = g.frame()
	}
	last := st.Frames[len(st.Frames)-1].Reading
	if last.Tone.Source != "learned" {
		t.Fatalf("after %d frames and %d known changes the frames come through %+v", g.n, st.KnownCount, last.Tone)
	}
	store, err := tone.OpenStore(curvesPath(g.data))
	if err != nil || len(store.List()) != 1 || store.List()[0].Curve.Name() != last.Tone.Curve || len(store.List()[0].Known) < tone.FewestKnown {
		t.Errorf("stored are %v (%v), want %s with its steps", store.List(), err, last.Tone.Curve)
	}
	if was := tone.Default().SigmaOneStopUnder(); !(last.Tone.Sigma < was) {
		t.Errorf("a stop under the edge is known to ±%v, before to ±%v", last.Tone.Sigma, was)
	}
	for _, f := range st.Frames {
		if f.Reading.Tone.Curve != last.Tone.Curve {
			t.Errorf("frame %d is still expressed through %s", f.Number, f.Reading.Tone.Curve)
		}
	}
	if err := g.s.Close(); err != nil {
		t.Fatal(err)
	}
	re, err := shoot.Replay(filepath.Join(g.data, "shoots", g.s.ID()))
	if err != nil || len(re.Differs) > 0 {
		t.Errorf("the replay: %d differences, %v", len(re.Differs), err)
	}
}
