package plan

import (
	"reflect"
	"strings"
	"testing"

	"thirdstop/assess/exposure"
)

func TestThreeAnswersMakeAPlan(t *testing.T) {
	for _, c := range []struct {
		says string
		a    Answers
		want string // names and settings
	}{
		{"one light", Answers{Backdrop: White, Lights: []Answer{{Power: "1/8"}}}, "Key (A) 1/8"},
		{"two on white", Answers{Backdrop: White, Lights: []Answer{{Power: "1/4"}, {Power: "1/8 + 1/3"}}}, "Background (A) 1/4, Key (B) 1/8 + 1/3"},
		{"two on grey", Answers{Backdrop: Grey, Lights: []Answer{{Power: "1/4"}, {Power: "1/8"}}}, "Key (A) 1/4, Fill (B) 1/8"},
		{"three on a colour", Answers{Backdrop: Coloured, Lights: []Answer{{Power: "1/4"}, {Power: "1/8"}, {Power: "1/16"}}}, "Background (A) 1/4, Key (B) 1/8, Fill (C) 1/16"},
		{"three on black", Answers{Backdrop: Black, Lights: []Answer{{Power: "1/4"}, {Power: "1/8"}, {Power: "1/16"}}}, "Key (A) 1/4, Fill (B) 1/8, Hair (C) 1/16"},
		{"four on white", Answers{Backdrop: White, Lights: []Answer{{Power: "1/4"}, {Power: "1/8"}, {Power: "1/16"}, {Power: "1/32"}}}, "Background (A) 1/4, Key (B) 1/8, Fill (C) 1/16, Hair (D) 1/32"},
		{"told roles and letters", Answers{Backdrop: White, Lights: []Answer{{Role: Key, Group: "b", Power: "1/4"}, {Role: Background, Power: "1/8"}, {Role: Background, Power: "1/16"}, {Role: Fill, Power: "full"}, {Role: Hair, Power: "1/2"}}},
			"Key (B) 1/4, Background (A) 1/8, Background (C) 1/16, Fill (D) 1/1, Hair (E) 1/2"},
		{"tenths from the dial", Answers{Backdrop: White, Lights: []Answer{{Power: "1/8 + 0.4"}}}, "Key (A) 1/8 + 0.4"},
		{"tenths told", Answers{Backdrop: White, Lights: []Answer{{Power: "1/8 + 0.3", Clicks: "tenths"}}}, "Key (A) 1/8 + 0.3"},
		{"thirds told", Answers{Backdrop: White, Lights: []Answer{{Power: "1/8 + 0.3", Clicks: "thirds"}}}, "Key (A) 1/8 + 1/3"},
		{"numbers", Answers{Backdrop: White, Lights: []Answer{{Power: "7.4", Top: "10"}}}, "Key (A) 7.4"},
		{"numbers in thirds", Answers{Backdrop: White, Lights: []Answer{{Power: "7.3", Top: "10.0", Clicks: "thirds"}}}, "Key (A) 7.3"},
	} {
		p, faults := FromAnswers(c.a)
		if faults != nil {
			t.Errorf("%s: %v", c.says, faults)
			continue
		}
		var got []string
		for _, l := range p.Lights {
			got = append(got, l.Name()+" "+l.Setting())
		}
		if s := strings.Join(got, ", "); s != c.want {
			t.Errorf("%s: the lights are %s, want %s", c.says, s, c.want)
		}
		if p.Targets != DefaultTargets(c.a.Backdrop) {
			t.Errorf("%s: targets %+v, want the defaults of %s", c.says, p.Targets, c.a.Backdrop)
		}
		back, faults := Parse("back", p.Marshal())
		if faults != nil || !reflect.DeepEqual(back, p) {
			t.Errorf("%s: %v\nread back as %+v, want %+v", c.says, faults, back, p)
		}
	}
}

func TestAnswersThatLeaveAQuestionOpenNameIt(t *testing.T) {
	for _, c := range []struct {
		a       Answers
		pointer string
		text    string
	}{
		{Answers{Lights: []Answer{{Power: "1/8"}}}, "backdrop.colour", "white, grey, black or coloured"},
		{Answers{Backdrop: "beige", Lights: []Answer{{Power: "1/8"}}}, "backdrop.colour", `"beige"`},
		{Answers{Backdrop: White}, "lights", "not a list"},
		{Answers{Backdrop: White, Lights: []Answer{{}}}, "lights[0].power", "is missing"},
		{Answers{Backdrop: White, Lights: []Answer{{Power: "1/8"}, {Power: "1/8 + 0.7"}}}, "lights[1].clicks", "thirds or"},
		{Answers{Backdrop: White, Lights: []Answer{{Power: "7.3"}}}, "lights[0].top", "full power"},
		{Answers{Backdrop: White, Lights: []Answer{{Power: "1"}}}, "lights[0].top", "full power"},
		{Answers{Backdrop: White, Lights: []Answer{{Power: "7.3", Top: "10"}}}, "lights[0].clicks", "thirds or"},
		{Answers{Backdrop: White, Lights: make([]Answer, 5)}, "lights[0].role", "is missing"},
		{Answers{Backdrop: White, Lights: []Answer{{Role: "rim", Power: "1/8"}, {Role: "hair", Power: "1/8"}}}, "lights[1].role", "as well"},
		{Answers{Backdrop: White, Lights: []Answer{{Group: "A", Power: "1/8"}, {Group: "a", Power: "1/8"}}}, "lights[1].group", "lights[0]"},
		{Answers{Backdrop: White, Shoot: "two\nlines", Lights: []Answer{{Power: "1/8"}}}, "shoot", "can't be shown"},
	} {
		_, faults := FromAnswers(c.a)
		found := false
		for _, f := range faults {
			found = found || f.Pointer == c.pointer && strings.Contains(f.Text, c.text)
		}
		if !found {
			t.Errorf("%+v: no fault at %s says %q; there are:\n%v", c.a, c.pointer, c.text, faults)
		}
	}
}

func TestAnswersTakeTheCameraFromTheFirstFrameAsFarAsItMakesSense(t *testing.T) {
	a := Answers{Backdrop: White, Lights: []Answer{{Power: "1/8"}}}
	a.Camera = Camera{FNumber: 8, Shutter: 1.0 / 125, ISO: 100}
	p, faults := FromAnswers(a)
	if faults != nil || p.Camera != a.Camera {
		t.Errorf("the camera is %+v (%v), want %+v", p.Camera, faults, a.Camera)
	}
	a.Camera = Camera{FNumber: 0.1, Shutter: exposure.Shutter(1e9), ISO: -5}
	if p, faults := FromAnswers(a); faults != nil || p.Camera != (Camera{}) {
		t.Errorf("a camera that can't be becomes %+v (%v), want nothing stated", p.Camera, faults)
	}
}

func TestAnswersAreLeftAsTheyWere(t *testing.T) {
	a := Answers{Backdrop: White, Lights: []Answer{{Power: "1/8"}, {Power: "1/4"}}}
	FromAnswers(a)
	if a.Lights[0].Role != "" || a.Lights[0].Group != "" {
		t.Errorf("the caller's answers became %+v", a.Lights)
	}
}

func FuzzFromAnswers(f *testing.F) {
	f.Add("white", "1/8 + 1/3", "", "", "key", "A", "boathouse")
	f.Add("grey", "7.3", "thirds", "10.0", "", "", "")
	f.Fuzz(func(t *testing.T, colour, power, clicks, top, role, group, shoot string) {
		p, faults := FromAnswers(Answers{Shoot: shoot, Backdrop: BackdropColour(colour), Lights: []Answer{{Role: Role(role), Group: group, Power: power, Clicks: clicks, Top: top}, {Power: "1/4"}}})
		if faults != nil {
			return
		}
		back, faults := Parse("back", p.Marshal())
		if faults != nil || !reflect.DeepEqual(back, p) {
			t.Fatalf("%v\nread back as %+v, want %+v\nfrom\n%s", faults, back, p, p.Marshal())
		}
	})
}
