package tone

import (
	"encoding/json"
	"errors"
	"math"
	"testing"
	"time"

	"thirdstop/assess/studio"
)

// without takes places out whose lighter code lies between two: tones that no surface shows.
func without(steps []Step, from, to float64) []Step {
	var out []Step
	for _, s := range steps {
		var kept []Pair
		for _, p := range s.Pairs {
			if p.Clipped[1] || p.Light[1] <= from || p.Light[1] >= to {
				kept = append(kept, p)
			}
		}
		s.Pairs = kept
		out = append(out, s)
	}
	return out
}

func bracketOf(t *testing.T, k studio.CurveKind, seed uint64, from, to float64) Bracket {
	t.Helper()
	b, err := Gathered(without(scene{curve: k.Code, noise: 0.2}.steps(seed, third, 0.015), from, to))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// A bracket that shows no tone just under the edge leaves it open. With another one, in which the lamp was moved, it is known. The source of
// the truth is each curve's formula.
func TestASecondBracketTellsTheEdge(t *testing.T) {
	for _, k := range []studio.CurveKind{studio.Cameras()[10], studio.Cameras()[33], studio.Cameras()[55]} {
		first, second := bracketOf(t, k, 31, 238, 255), bracketOf(t, k, 32, 200, 246)
		alone, used, err := FitTogether(first)
		if err != nil || len(used) != 0 {
			t.Fatalf("%v: %v, %d earlier ones used", k, err, len(used))
		}
		if alone.EdgeSigma() <= EdgeKnown {
			t.Errorf("%v: no place lies near the edge, and it is known to %v", k, alone.EdgeSigma())
		}
		both, used, err := FitTogether(second, first)
		if err != nil || len(used) != 1 {
			t.Fatalf("%v: %v, %d earlier ones used, want 1", k, err, len(used))
		}
		newest, _, err := FitTogether(second)
		if err != nil {
			t.Fatal(err)
		}
		if a, b, c := alone.EdgeSigma(), newest.EdgeSigma(), both.EdgeSigma(); c >= a || c >= b {
			t.Errorf("%v: the edge is known to %v and %v from each of two brackets, and to %v from both", k, a, b, c)
		}
		if off := math.Abs(both.Curve.level(1, 225) - math.Log2(k.Light(225))); off > 0.05 {
			t.Errorf("%v: levels are off by %.3f stop after two brackets, want at most 0.05", k, off)
		}
		if len(both.Frames) != 2*len(third) || len(newest.Frames) != len(third) {
			t.Errorf("%v: there are %d frames in two brackets and %d in one", k, len(both.Frames), len(newest.Frames))
		}
	}
}

// Another picture style makes another curve of the same camera: what it showed before is left out.
func TestAnEarlierBracketOfAnotherStyleIsLeftOut(t *testing.T) {
	now, before := studio.Cameras()[12], studio.Cameras()[12+21]
	newest := bracketOf(t, now, 41, 256, 256)
	alone, _, err := FitTogether(newest)
	if err != nil {
		t.Fatal(err)
	}
	f, used, err := FitTogether(newest, bracketOf(t, before, 42, 256, 256), bracketOf(t, now, 43, 256, 256))
	if err != nil || len(used) != 1 {
		t.Fatalf("%v; %d of two earlier brackets used, want the one of the same style", err, len(used))
	}
	if off := math.Abs(f.Curve.level(1, 120) - alone.Curve.level(1, 120)); off > 0.02 {
		t.Errorf("the other style moved the curve by %.3f stop", off)
	}
}

// A bracket that was stored and read again says the same.
func TestStoredBracketsSayTheSame(t *testing.T) {
	k := studio.Cameras()[30]
	first, second := bracketOf(t, k, 51, 238, 255), bracketOf(t, k, 52, 200, 246)
	first.Taken = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	e := entry(t)
	e.Brackets = []Bracket{first}
	text, err := json.MarshalIndent(e, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	back, err := DecodeEntry(text)
	if err != nil || len(back.Brackets) != 1 {
		t.Fatalf("came back as %d brackets: %v", len(back.Brackets), err)
	}
	if b := back.Brackets[0]; !b.Taken.Equal(first.Taken) || b.Frames() != len(third) || len(b.lines) != len(first.lines) {
		t.Errorf("a bracket of %v, %d frames and %d lines came back as %v, %d and %d", first.Taken, first.Frames(), len(first.lines), b.Taken, b.Frames(), len(b.lines))
	}
	want, _, err := FitTogether(second, first)
	if err != nil {
		t.Fatal(err)
	}
	got, used, err := FitTogether(second, back.Brackets...)
	if err != nil || len(used) != 1 {
		t.Fatalf("%v, %d used", err, len(used))
	}
	if _, used, err := FitTogether(first, back.Brackets...); err != nil || len(used) != 0 {
		t.Errorf("%v; frames that were learned from before were learned from twice", err)
	}
	for code := 5.0; code < 255; code += 10 { // stored to a hundredth of a code
		if d := math.Abs(got.Curve.level(1, code) - want.Curve.level(1, code)); d > 0.003 {
			t.Errorf("at code %v the curve differs by %.4f stop from one learned of what was not stored", code, d)
		}
	}
}

func TestDamagedBracketsAreRefused(t *testing.T) {
	const good = `{"taken_at":"2026-11-25T09:00:00Z","steps":[{"light_frame":0,"dark_frame":1,"ratio_stops":1,"sigma_stops":0.02,"seen":["1 200.00 150.00 0.0100 20 false"]}]}`
	var b Bracket
	if err := json.Unmarshal([]byte(good), &b); err != nil || len(b.lines) != 1 || b.lines[0].light != 200 || b.lines[0].pairs != 20 {
		t.Fatalf("came back as %+v: %v", b, err)
	}
	for _, line := range []string{"", "1 200", "3 200 150 0.01 20 false", "1 300 150 0.01 20 false", "1 200 NaN 0.01 20 false", "1 200 150 0 20 false", "1 200 150 NaN 20 false"} {
		text := `{"steps":[{"light_frame":0,"dark_frame":1,"ratio_stops":1,"sigma_stops":0.02,"seen":["` + line + `"]}]}`
		if err := json.Unmarshal([]byte(text), &b); !errors.Is(err, ErrEntry) {
			t.Errorf("%q was taken for a place: %v", line, err)
		}
	}
	for _, step := range []string{`{"light_frame":0,"dark_frame":0,"ratio_stops":1}`, `{"light_frame":0,"dark_frame":1,"ratio_stops":-1}`} {
		if err := json.Unmarshal([]byte(`{"steps":[`+step+`]}`), &b); !errors.Is(err, ErrEntry) {
			t.Errorf("%s was taken for a step: %v", step, err)
		}
	}
}

// Curves that were stored before brackets were kept still serve.
func TestEntriesOfVersion1AreRead(t *testing.T) {
	text := `{"version":1,"key":{"make":"Quayside","model":"Quayside One","serial":"AQ000117","color_space":1,"custom_rendered":0,"contrast":0,"saturation":0},
"curve":{"name":"learned-old","source":"learned","channels":[[{"code":8,"level_stops":-8,"sigma_stops":0.3},{"code":120,"level_stops":-3,"sigma_stops":0.05},{"code":255,"level_stops":0,"sigma_stops":0.2}]]},
"learned_at":"2026-11-25T09:00:00Z","frames":9,"from_code":5,"to_code":251,"edge_seen":true,"off_median_stops":0.015,"off_95_percent_stops":0.05}`
	e, err := DecodeEntry([]byte(text))
	if err != nil || e.Curve.Name() != "learned-old" || len(e.Brackets) != 0 {
		t.Errorf("version 1 came back as %+v: %v", e, err)
	}
}
