package plan

import (
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thirdstop/assess/exposure"
)

func TestTheAnnotatedExampleHasNoFaultsAndNothingUnusual(t *testing.T) {
	p, faults, unusual := Check("example.yaml", Annotated())
	if faults != nil {
		t.Fatalf("the example has faults:\n%v", faults)
	}
	for _, u := range unusual {
		t.Errorf("the example is unusual: %v", u)
	}
	if want := DefaultTargets(White); p.Targets != want {
		t.Errorf("the example says its targets are the defaults; they are %+v, want %+v", p.Targets, want)
	}
	var names []string
	for _, l := range p.Lights {
		names = append(names, l.Name()+" "+l.Setting())
	}
	if got := strings.Join(names, ", "); got != "Background (A) 1/4, Key (B) 1/8 + 1/3, Fill (C) 7.3" {
		t.Errorf("the example's lights are %s", got)
	}
}

func TestTheAnnotatedExampleExplainsEveryKey(t *testing.T) {
	text := string(Annotated())
	for _, keys := range [][]string{planKeys, cameraKeys, backdropKeys, lightKeys, targetKeys} {
		for _, k := range keys {
			if !strings.Contains(text, k+":") {
				t.Errorf("the example does not show the key %q", k)
			}
		}
	}
}

func TestTheExampleStatesTheDefaultsThatHold(t *testing.T) {
	text := string(Annotated())
	for c, name := range map[BackdropColour]string{Grey: "grey ", Black: "black ", Coloured: "coloured "} {
		b := DefaultTargets(c).BackdropLevel
		if want := name + formatStops(b.Low) + " to " + formatStops(b.High); !strings.Contains(strings.ReplaceAll(text, "\n  # ", " "), want) {
			t.Errorf("the example does not state the default %q", want)
		}
	}
}

func TestDefaultsCanBeReachedByThirdClicks(t *testing.T) {
	for _, c := range colours {
		d := DefaultTargets(c)
		for name, b := range map[string]Band{"white floor": d.WhiteFloor, "backdrop level": d.BackdropLevel, "white peak": d.WhitePeak} {
			if !b.IsZero() && b.Width() < exposure.Third.Stops() {
				t.Errorf("%s backdrop: the %s, %v, is narrower than a third of a stop", c, name, b)
			}
		}
		if white := c == White; d.WhiteFloor.IsZero() == white || d.BackdropLevel.IsZero() != white {
			t.Errorf("%s backdrop: white floor %v, backdrop level %v; want the first for white alone and the second for the others", c, d.WhiteFloor, d.BackdropLevel)
		}
	}
}

// plans generates every kind of plan that a file can state.
func plans(t *rapid.T) Plan {
	text := rapid.StringOfN(rapid.RuneFrom([]rune(`Alder Quay "\:#'{}[]&*!|>%@,-?é`+"`")), 0, 40, -1)
	label := func(name string) string { return strings.TrimSpace(text.Draw(t, name)) }
	metres := func(name string) exposure.Metres {
		if rapid.Bool().Draw(t, name+" known") {
			m, err := exposure.ParseMetres(rapid.SampledFrom([]string{"1.2 m", "4 ft", "0.3", "7.5 ft", "199 m", "33 cm", "1.01 m"}).Draw(t, name))
			if err != nil {
				t.Fatal(err)
			}
			return m
		}
		return 0
	}
	p := Plan{Version: FormatVersion, Shoot: label("shoot")}
	if rapid.Bool().Draw(t, "camera") {
		p.Camera = Camera{
			FNumber: rapid.SampledFrom(exposure.FNumberMarks).Draw(t, "f-number"),
			ISO:     rapid.SampledFrom(append([]exposure.ISO{0}, exposure.ISOMarks...)).Draw(t, "iso"),
			Shutter: rapid.SampledFrom([]exposure.Shutter{0, 1.0 / 125, 1.0 / 160, 0.5, 2, 1, 1.0 / 3, 0.3, 1.0 / 8000}).Draw(t, "shutter"),
			Sync:    rapid.SampledFrom([]exposure.Shutter{0, 1.0 / 200, 1.0 / 180}).Draw(t, "sync"),
		}
	}
	p.Backdrop = Backdrop{Colour: rapid.SampledFrom(colours).Draw(t, "colour"), Distance: metres("backdrop")}
	used := map[Role]bool{}
	for i := range rapid.IntRange(1, MostLights).Draw(t, "lights") {
		role := rapid.SampledFrom(roles).Draw(t, "role")
		if used[role] {
			role = Background
		}
		used[role] = true
		l := Light{Role: role, Group: []string{"A", "B", "C1", "01", "N", "Y", "ON", "X9Z", "7", "1E5", "0X1", "NO"}[i]}
		l.Scale.Click = rapid.SampledFrom([]exposure.Dial{exposure.Third, exposure.Tenth, exposure.Stop}).Draw(t, "click")
		if rapid.Bool().Draw(t, "numbers") {
			l.Scale.Marking = exposure.Numbers
			l.Scale.Top = rapid.IntRange(10, 990).Draw(t, "top")
		}
		clicks := -int(exposure.LeastPower / l.Scale.Click)
		least := rapid.IntRange(1, clicks).Draw(t, "least")
		most := rapid.IntRange(0, least-1).Draw(t, "most")
		power := rapid.IntRange(most, least).Draw(t, "power")
		l.Least, l.Most, l.Power = -exposure.Dial(least)*l.Scale.Click, -exposure.Dial(most)*l.Scale.Click, -exposure.Dial(power)*l.Scale.Click
		l.Guide = exposure.GuideNumber(metres("guide number"))
		l.Distance = metres("distance")
		l.Zoom = rapid.SampledFrom([]Millimetres{0, 24, 50, 105, 85.5}).Draw(t, "zoom")
		l.Limit = rapid.SampledFrom([]FlashesPerMinute{0, 2, 0.25, 30}).Draw(t, "limit")
		l.Modifier = label("modifier")
		p.Lights = append(p.Lights, l)
	}
	p.Targets = DefaultTargets(p.Backdrop.Colour)
	stops := rapid.Custom(func(t *rapid.T) exposure.Stops {
		n := rapid.IntRange(-36, 12).Draw(t, "numerator")
		switch rapid.IntRange(0, 2).Draw(t, "kind") {
		case 0:
			return exposure.Stops(n) / 3
		case 1:
			return exposure.Stops(n) / 10 / 3 * 2.9
		}
		return exposure.Stops(n*1000/36) / 1000
	})
	band := func(name string, b *Band) {
		x, y := stops.Draw(t, name+" low"), stops.Draw(t, name+" high")
		if y-x >= narrowestBand && x >= lowestTarget && y <= highestTarget {
			*b = Band{x + 0, y + 0}
		}
	}
	band("white floor", &p.Targets.WhiteFloor)
	band("backdrop level", &p.Targets.BackdropLevel)
	band("white peak", &p.Targets.WhitePeak)
	p.Targets.HairMost = stops.Draw(t, "hair most")
	p.Targets.MostClipped = float64(rapid.IntRange(0, 100000).Draw(t, "most clipped")) / 1000 / 100
	return p
}

func TestWhatIsWrittenReadsBackTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := plans(t)
		text := p.Marshal()
		got, faults := Parse("canonical", text)
		if faults != nil {
			t.Fatalf("%v\nin\n%s", faults, text)
		}
		if !reflect.DeepEqual(got, p) {
			t.Fatalf("read back\n%+v\nwant\n%+v\nfrom\n%s", got, p, text)
		}
		for _, u := range p.Unusual() {
			if u.Pointer == "" || u.Text == "" {
				t.Fatalf("a remark without a place or a text: %+v", u)
			}
		}
	})
}

func TestWithPowerLeavesThePlanItWasCalledOnAsItWas(t *testing.T) {
	p, faults := Parse("example", Annotated())
	if faults != nil {
		t.Fatal(faults)
	}
	q, ok := p.WithPower("b", -100)
	if before, _ := p.Light("B"); !ok || before.Power != -80 {
		t.Errorf("the plan's key stands at %d after WithPower, want -80 as before", before.Power)
	}
	if after, _ := q.Light("B"); after.Power != -100 {
		t.Errorf("the new plan's key stands at %d, want -100", after.Power)
	}
	if _, ok := p.WithPower("Z", 0); ok {
		t.Error("a group that no light has is said to have been set")
	}
	if _, ok := p.Light("Z"); ok {
		t.Error("a group that no light has is found")
	}
}

func TestBandsHoldBothTheirEnds(t *testing.T) {
	b := Band{-0.4, -0.05}
	for s, want := range map[exposure.Stops]bool{-0.4: true, -0.05: true, -0.2: true, -0.401: false, -0.049: false} {
		if b.Holds(s) != want {
			t.Errorf("%v holds %v: %v, want %v", b, s, !want, want)
		}
	}
	if b.String() != "-0.4 to -0.05 stop" {
		t.Errorf("the band prints %q", b)
	}
}

func TestFaultsPrintWithWhatIsKnown(t *testing.T) {
	for want, f := range map[string]Fault{
		"boathouse.yaml:14: lights[1].power: is odd": {File: "boathouse.yaml", Line: 14, Pointer: "lights[1].power", Text: "is odd"},
		"line 14: is odd":         {Line: 14, Text: "is odd"},
		"lights[1].power: is odd": {Pointer: "lights[1].power", Text: "is odd"},
		"boathouse.yaml: is odd":  {File: "boathouse.yaml", Text: "is odd"},
	} {
		if got := f.String(); got != want {
			t.Errorf("%+v prints %q, want %q", f, got, want)
		}
	}
	if err := Faults(nil).Err(); err != nil {
		t.Errorf("no faults are the error %v", err)
	}
	if err := (Faults{{Text: "a"}, {Text: "b"}}).Err(); err == nil || err.Error() != "a\nb" {
		t.Errorf("two faults are the error %v", err)
	}
}
