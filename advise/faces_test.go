package advise

import (
	"slices"
	"strings"
	"testing"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// faced is a reading of one head, in fractions of an upright frame of 2:3.
func faced(x, eyes, size float64) *assess.Reading {
	wide := size * 1.5
	f := assess.Face{Box: assess.Box{X0: x - wide/2, X1: x + wide/2, Y0: eyes - 0.4*size, Y1: eyes + 0.6*size}, Size: size, EyeLine: eyes, Headroom: 0.8, Confidence: 1}
	return &assess.Reading{Version: 1, Width: 1000, Height: 1500, Kind: assess.Full, Regions: assess.Regions{Faces: []assess.Face{f}}}
}

// shown takes frames in and gives the notes on the newest, and the state.
func shown(t *testing.T, baseline int, readings ...*assess.Reading) (State, []string) {
	t.Helper()
	var s State
	for n, r := range readings {
		s, _ = Apply(s, Input{Frame: &Frame{Number: n + 1, Revision: 1, Reading: r}})
		if n+1 == baseline {
			s, _ = Apply(s, Input{Baseline: &Baseline{Frame: baseline}})
		}
	}
	return s, s.FaceNotes(s.Frames[len(s.Frames)-1])
}

func TestHeadsAreHeldAgainstTheBaseline(t *testing.T) {
	for _, x := range []struct {
		x, eyes, size float64
		want          []string
	}{
		{0.5, 0.35, 0.24, nil},
		{0.52, 0.36, 0.26, nil}, // a pose
		{0.5, 0.35, 0.30, []string{"The head is 25 % larger than in the baseline."}},
		{0.5, 0.35, 0.18, []string{"The head is 25 % smaller than in the baseline."}},
		{0.5, 0.29, 0.24, []string{"The eyes are 6 % of the frame's height higher than in the baseline."}},
		{0.5, 0.41, 0.24, []string{"The eyes are 6 % of the frame's height lower than in the baseline."}},
		{0.65, 0.35, 0.24, []string{"The head is 10 % of the frame's height further to the right than in the baseline."}},
		{0.35, 0.35, 0.24, []string{"The head is 10 % of the frame's height further to the left than in the baseline."}},
	} {
		_, notes := shown(t, 1, faced(0.5, 0.35, 0.24), faced(x.x, x.eyes, x.size))
		got := slices.DeleteFunc(notes, func(n string) bool { return !strings.Contains(n, "baseline") })
		if !slices.Equal(got, x.want) {
			t.Errorf("a head of %.2f at %.2f, %.2f after one of 0.24 at 0.50, 0.35: %q, want %q", x.size, x.x, x.eyes, got, x.want)
		}
	}
	if _, notes := shown(t, 0, faced(0.5, 0.35, 0.24), faced(0.5, 0.35, 0.30)); strings.Contains(strings.Join(notes, " "), "baseline") {
		t.Errorf("without a baseline: %q", notes)
	}
	// The baseline's head is known still when its frame has left the newest ones.
	many := []*assess.Reading{faced(0.5, 0.35, 0.24)}
	for range KeepFrames + 5 {
		many = append(many, faced(0.5, 0.35, 0.31))
	}
	if s, notes := shown(t, 1, many...); s.Frames[0].Number == 1 || !strings.Contains(strings.Join(notes, " "), "29 % larger") {
		t.Errorf("after %d frames: %q", len(many), notes)
	}
}

func TestFacesAreToldOf(t *testing.T) {
	source, over := 2.1, exposure.Stops(1.07)
	r := faced(0.5, 0.35, 0.24)
	f := &r.Regions.Faces[0]
	f.KeyFill = &assess.KeyFill{Lit: "left", Difference: 1.63, Sigma: 0.2, Additive: 3.1, Source: &source, KeyOver: &over}
	f.Glare = &assess.Glare{Sides: "both", Area: 0.02}
	r.Balance.Face = &assess.Difference{Value: 1.24, AtLeast: true}
	_, notes := shown(t, 0, r)
	want := []string{
		"The face has 0.8 stop of headroom.",
		"Lighting ratio 3.1:1 (key and fill to fill), 2.1:1 (key to fill): the left side is lighter by 1.6 ± 0.2 stop.",
		"The backdrop is at least 1.2 stops lighter than the face.",
		"Spectacles mirror a lamp over the eyes: put the key higher, or have the frames tilted a little down. Power does not help.",
	}
	if !slices.Equal(notes, want) {
		t.Errorf("notes are %q, want %q", notes, want)
	}
	f.KeyFill = &assess.KeyFill{Lit: "even", Difference: 0.1, Sigma: 0.1, Additive: 1.07}
	f.Glare, f.ClippedShare = nil, 0.034
	r.Balance.Face = &assess.Difference{Value: -0.5}
	if _, notes = shown(t, 0, r); !slices.Equal(notes, []string{"3.4 % of the face clips.", "The sides of the face are lit alike, to 0.2 stop.", "The backdrop is 0.5 stop darker than the face."}) {
		t.Errorf("notes are %q", notes)
	}
	r.Regions.Faces = append(r.Regions.Faces, *f)
	r.Balance.Faces = &assess.Difference{Value: 0.62}
	if _, notes = shown(t, 0, r); len(notes) < 2 || notes[0] != "2 faces." || notes[1] != "The lightest face lies 0.6 stop over the darkest, skins and light together." {
		t.Errorf("notes of a group are %q", notes)
	}
}

// What is known of faces never changes what is advised: the same shoot with and without them gives the same outputs.
func TestFacesChangeNoAdvice(t *testing.T) {
	with, without := faced(0.5, 0.35, 0.24), faced(0.5, 0.35, 0.24)
	with.Regions.Faces[0].Glare = &assess.Glare{Sides: "both"}
	with.Regions.Faces[0].ClippedShare = 0.5
	without.Regions.Faces = nil
	for _, r := range []*assess.Reading{with, without} {
		r.PartOfSet.Answer = assess.BelongsYes
		r.Regions.Backdrop = &assess.Backdrop{Level: assess.Level{Value: -3.5, Sigma: 0.1}, WhiteFloor: -3.5, FloorSigma: 0.1, Confidence: 1}
	}
	const text = "version: 1\nbackdrop: {colour: white}\nlights:\n  - {role: background, group: A, power: 1/16, clicks: thirds}\n"
	s, _ := Apply(State{}, Input{Plan: &PlanText{Name: "boathouse.yaml", Text: text}})
	o, _ := Apply(State{}, Input{Plan: &PlanText{Name: "boathouse.yaml", Text: text}})
	for n := 1; n < 4; n++ {
		var a, b []Output
		s, a = Apply(s, Input{Frame: &Frame{Number: n, Revision: 1, Reading: with}})
		o, b = Apply(o, Input{Frame: &Frame{Number: n, Revision: 1, Reading: without}})
		if len(a) != len(b) {
			t.Fatalf("frame %d: %d outputs with faces, %d without", n, len(a), len(b))
		}
		for i := range a {
			if a[i].Event != nil && b[i].Event != nil && *a[i].Event != *b[i].Event || (a[i].Advice == nil) != (b[i].Advice == nil) {
				t.Errorf("frame %d: %+v with faces, %+v without", n, a[i].Event, b[i].Event)
			}
		}
		if s.Advice.Headline != o.Advice.Headline || s.Advice.Status != o.Advice.Status {
			t.Errorf("frame %d: %q with faces, %q without", n, s.Advice.Headline, o.Advice.Headline)
		}
		if s.Advice.Status != Adjust {
			t.Errorf("frame %d: the advice is %q, want a turn to compare", n, s.Advice.Headline)
		}
	}
}
