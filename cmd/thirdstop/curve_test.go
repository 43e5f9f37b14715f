package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
	"thirdstop/assess/tone"
)

// bracketFiles shoots a bracket in the boathouse by the room's light.
func bracketFiles(t *testing.T, change func(i int, st *studio.Studio)) []string {
	t.Helper()
	st := studio.BoatHouse(7)
	st.Camera.Width, st.Camera.PictureHeight = 900, 600
	st.Camera.Curve = studio.ShoulderCurve
	for i := range st.Lights {
		st.Lights[i].On = false
	}
	st.Ambient = studio.Ambient{Value: 10.3}
	dir := t.TempDir()
	var out []string
	for i, shutter := range []exposure.Shutter{1.0 / 4, 1.0 / 5, 1.0 / 6, 1.0 / 8, 1.0 / 10, 1.0 / 15, 1.0 / 30, 1.0 / 60, 1.0 / 125} {
		st.Camera.Shutter = shutter
		if change != nil {
			change(i, st)
		}
		shot := st.Shoot(time.Date(2026, 11, 25, 9, 0, i, 0, time.UTC))
		name := filepath.Join(dir, fmt.Sprintf("AQ_%04d.JPG", i+1))
		if err := os.WriteFile(name, shot.JPEG, 0o600); err != nil {
			t.Fatal(err)
		}
		out = append(out, name)
	}
	return out
}

// From bracket to daemon: the curve is learned, kept, listed, shown, and the camera's frames are read under it.
func TestACurveIsLearnedKeptAndUsed(t *testing.T) {
	lonely(t)
	data := t.TempDir()
	if code, out, _ := ran(t, "curve", "list", "--data", data); code != 0 || !strings.Contains(out, "No curve was learned") {
		t.Errorf("an empty list is %q (%d)", out, code)
	}
	code, out, errs := ran(t, append([]string{"curve", "learn", "--data", data}, bracketFiles(t, nil)...)...)
	if code != 0 || !strings.Contains(out, "Quayside One, AQ000117") || !strings.Contains(out, "AQ_0001.JPG") {
		t.Fatalf("learning ended with %d:\n%s%s", code, out, errs)
	}
	// No place lay near the edge of clipping, so another is asked for: with the lamp further off one does.
	const asked = "Take another bracket"
	if !strings.Contains(out, asked) {
		t.Errorf("no other bracket is asked for:\n%s", out)
	}
	moved := bracketFiles(t, func(_ int, st *studio.Studio) { st.Ambient.Value = 9.7 })
	if code, out, errs = ran(t, append([]string{"curve", "learn", "--data", data}, moved...)...); code != 0 || strings.Contains(out, asked) {
		t.Fatalf("learning again ended with %d:\n%s%s", code, out, errs)
	}
	store, err := tone.OpenStore(curvesPath(data))
	if err != nil || len(store.List()) != 1 {
		t.Fatalf("kept: %v (%v)", store.List(), err)
	}
	name := store.List()[0].Curve.Name()
	for _, args := range [][]string{{"curve", "list", "--data", data}, {"curve", "show", "--data", data}, {"curve", "show", "--data", data, "quayside"}} {
		if code, out, errs := ran(t, args...); code != 0 || !strings.Contains(out, name) {
			t.Errorf("%v doesn't show %s (%d):\n%s%s", args, name, code, out, errs)
		}
	}
	if code, _, errs := ran(t, "curve", "show", "--data", data, "kodiak"); code != 1 || !strings.Contains(errs, "kodiak") {
		t.Errorf("an unknown camera ended with %d: %s", code, errs)
	}

	// The studio's truth is the source: the card's light at the sensor.
	st := studio.BoatHouse(11)
	st.Camera.Curve = studio.ShoulderCurve
	shot := st.Shoot(time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC))
	card, ok := shot.Truth.Region(studio.WhiteReference)
	if !ok {
		t.Fatal("the studio shows no white card")
	}
	box := inner(card.Box)
	read := func(m measurer) *assess.Reading {
		r, _, err := m.Measure(shot.Name, shot.JPEG, assess.Hints{WhiteReference: &box})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	learned, plain := read(measurer{store}), read(measurer{&tone.Store{}})
	if learned.Tone.Curve != name || learned.Tone.Source != "learned" || plain.Tone.Source != "default" {
		t.Errorf("the readings carry the curves %+v and %+v, want %s and the default", learned.Tone, plain.Tone, name)
	}
	off := learned.Regions.WhiteReference.Value - card.Level
	if off > 0.06 || off < -0.06 {
		t.Errorf("under the learned curve the card reads %v, want %v (the studio's truth) ± 0.06", learned.Regions.WhiteReference.Value, card.Level)
	}
}

// A second bracket with the lamp moved counts with the first; the first taken again doesn't count twice.
func TestASecondBracketCountsWithTheFirst(t *testing.T) {
	lonely(t)
	data := t.TempDir()
	first := bracketFiles(t, nil)
	moved := bracketFiles(t, func(_ int, st *studio.Studio) { st.Ambient.Value = 10.2 })
	for _, x := range []struct {
		files []string
		want  string
	}{{first, "from 9 frames"}, {first, "from 9 frames"}, {moved, "from 18 frames"}} {
		code, out, errs := ran(t, append([]string{"curve", "learn", "--data", data}, x.files...)...)
		if code != 0 || !strings.Contains(out, x.want) || strings.Contains(out, "2 brackets") != (x.want == "from 18 frames") {
			t.Fatalf("learning ended with %d, want it to be %s:\n%s%s", code, x.want, out, errs)
		}
	}
}

func TestWhatIsNoBracketIsRefusedWithItsFile(t *testing.T) {
	lonely(t)
	data := t.TempDir()
	files := bracketFiles(t, func(i int, st *studio.Studio) {
		if i == 4 {
			st.Camera.ISO = 400
		}
	})
	for _, tc := range []struct {
		name string
		args []string
		code int
		says string
	}{
		{"nothing to do", nil, 2, "say learn, list or show"},
		{"an unknown word", []string{"teach"}, 2, "teach"},
		{"one file", append([]string{"learn", "--data", data}, files[0]), 2, "five to nine"},
		{"two files", append([]string{"learn", "--data", data}, files[:2]...), 1, "five to nine"},
		{"another ISO", append([]string{"learn", "--data", data}, files...), 1, "AQ_0005.JPG"},
		{"no file", append([]string{"learn", "--data", data, "missing.JPG"}, files[:3]...), 1, "missing.JPG"},
	} {
		code, out, errs := ran(t, append([]string{"curve"}, tc.args...)...)
		if code != tc.code || !strings.Contains(errs, tc.says) {
			t.Errorf("%s ended with %d and %q %q, want %d and a word of %q", tc.name, code, errs, out, tc.code, tc.says)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(curvesPath(data), "*")); len(left) > 0 {
		t.Errorf("refused brackets left %v", left)
	}
}

// A camera that brightens what is dark by itself has no curve, and is told so.
func TestACameraThatIsNotFixedIsRefused(t *testing.T) {
	lonely(t)
	data := t.TempDir()
	files := bracketFiles(t, func(i int, st *studio.Studio) {
		st.Ambient.Value = 10.3 + exposure.Stops(float64(i*i)*0.06) // brighter, the less the shutter lets through
		st.Camera.Curve = studio.CurveKind(i % 3)
	})
	code, _, errs := ran(t, append([]string{"curve", "learn", "--data", data}, files...)...)
	if code != 1 || !strings.Contains(errs, "not fixed") || !strings.Contains(errs, "nothing was learned") {
		t.Errorf("it ended with %d: %s", code, errs)
	}
}

func TestEvaluateIsACommand(t *testing.T) {
	lonely(t)
	if code, out, errs := ran(t, "evaluate", "levels", "--scenes", "1"); code != 0 || !strings.Contains(out, "| backdrop level | below -1 stop |") {
		t.Errorf("it ended with %d:\n%s%s", code, out, errs)
	}
	if code, out, errs := ran(t, "evaluate", "tone", "--studios", "0", "--curves", "cameras"); code != 0 || !strings.Contains(out, "the best fixed curve") {
		t.Errorf("the default's errors ended with %d:\n%s%s", code, out, errs)
	}
	if code, _, errs := ran(t, "evaluate", "tone", "--curves", "dreams"); code != 2 || !strings.Contains(errs, "cameras") {
		t.Errorf("unknown curves ended with %d: %s", code, errs)
	}
	if code, _, errs := ran(t, "evaluate", "dreams"); code != 2 || !strings.Contains(errs, "levels") {
		t.Errorf("an unknown evaluation ended with %d: %s", code, errs)
	}
	if code, _, _ := ran(t, "evaluate", "levels", "--scenes", "-1"); code != 2 {
		t.Errorf("a negative number of scenes ended with %d, want 2", code)
	}
}
