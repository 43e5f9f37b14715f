package language

import (
	"bytes"
	"html"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/account"
	"thirdstop/advise/plan"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/dashboard/sheet"
	"thirdstop/dashboard/sheet/sheettest"
)

// Every line of the table is reached by a sentence that looks like it: no line above takes it.
func TestEveryLineOfTheTableIsReached(t *testing.T) {
	table := german(t)
	sample := map[string]string{"n": "7", "x": "2.5", "dial": "1/8 + 1/3", "any": "xyz", "f": "f/8", "light": "Key (B)", "lights": "Key (B) and Fill (C)",
		"standing": "Key (B) 1/8 and Fill (C) off", "who": "Key (B)", "stops": "0.40 stop", "level": "-0.42", "aim": "0 to +1/2 stop", "change": "power up 2/3 stop",
		"Change": "Power up 2/3 stop", "turn": "Key (B): power up 2/3 stop, set 1/8 + 1/3", "turns": "Key (B): power up 2/3 stop, set 1/8 + 1/3; Fill (C): power down 1 stop, set 1/16",
		"dir": "up", "Region": "The backdrop", "region": "the backdrop", "acc": "the backdrop", "dat": "the backdrop", "bare": "backdrop", "levels": "backdrop -0.42, white reference 0.00",
		"adds": "0.43 stop to the sitter and 0.15 stop to the backdrop", "steps": "all lights", "place": "at the camera", "colour": "grey", "setting": "1/4 at 1.2 m",
		"list": "a and b", "patches": "dark skin and cyan", "side": "left", "corner": "left", "said": "No backdrop was found in frame 7"}
	n := 0
	for _, r := range table.rules {
		if strings.Contains(strings.Join(r.names, " "), "said") { // what may be filled in there is known by its own line
			continue
		}
		en, de := r.en, r.to
		for _, name := range r.names {
			base := strings.TrimRight(name, "0123456789")
			v, ok := sample[base]
			if !ok {
				t.Fatalf("no sample of the kind %q", base)
			}
			en = strings.ReplaceAll(en, "<"+name+">", v)
			for _, w := range table.kinds[base].words {
				v = w.from.ReplaceAllString(v, w.to)
			}
			de = strings.ReplaceAll(de, "<"+name+">", v)
		}
		n++
		if got, _ := table.Say(en); got != de {
			t.Errorf("%q is said as %q, want %q", en, got, de)
		}
	}
	if n < 250 {
		t.Errorf("only %d lines were tried", n)
	}
}

// What the daemon itself writes into the shoot log for what people do.
func TestTheLogOfWhatPeopleDoIsKnown(t *testing.T) {
	at := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	box := assess.Box{X0: 0.4, Y0: 0.4, X1: 0.6, Y1: 0.6}
	r := &assess.Reading{Kind: assess.Full}
	r.Regions.Backdrop = &assess.Backdrop{Level: assess.Level{Value: -1.5, Sigma: 0.1}, WhiteFloor: -1.6, FloorSigma: 0.1, Mask: assess.Mask{Cols: 1, Rows: 1, Bits: "gA=="}}
	off, far, umbrella := true, exposure.Metres(1.8), "white umbrella"
	zoom, side, iso := plan.Millimetres(50), advise.Degrees(35), exposure.ISO(200)
	const rig = "version: 1\nbackdrop:\n  colour: white\nlights:\n  - role: background\n    group: A\n    power: 1/8\n  - role: key\n    group: B\n    power: 1/4\n    distance: 1.2 m\n"
	var s advise.State
	var lines []string
	do := func(in advise.Input) {
		in.At = at
		var out []advise.Output
		s, out = advise.Apply(s, in)
		for _, o := range out {
			if o.Event != nil {
				lines = append(lines, o.Event.Text)
			}
		}
	}
	do(advise.Input{Session: &advise.Session{Phase: advise.Begun}})
	do(advise.Input{Plan: &advise.PlanText{Name: "boathouse.yaml", Text: rig}})
	if len(s.Lights) != 2 {
		t.Fatalf("the plan was not taken: %q", lines)
	}
	do(advise.Input{Frame: &advise.Frame{Number: 1, Revision: 1, Reading: r}})
	do(advise.Input{NotNow: &advise.NotNow{Advice: s.Advice.Number}})
	do(advise.Input{Adjusted: &advise.Adjusted{Group: "B", From: s.Lights[1].Power, To: s.Lights[1].Power - exposure.Third}})
	do(advise.Input{Adjusted: &advise.Adjusted{Group: "A", From: s.Lights[0].Power, To: s.Lights[0].Power, Off: &off}})
	do(advise.Input{Adjusted: &advise.Adjusted{Group: "B", From: s.Lights[1].Power, To: s.Lights[1].Power, Distance: &far, Modifier: &umbrella, Zoom: &zoom, Bearing: &side}})
	do(advise.Input{Reference: &advise.Reference{Frame: 1, Box: &box}})
	for _, p := range []advise.Part{advise.BackdropPart, advise.FacePart, advise.WitnessPart, advise.EmptyPart} {
		do(advise.Input{Marked: &advise.Marked{Frame: 1, Part: p, Box: &box}})
		do(advise.Input{Marked: &advise.Marked{Part: p, Back: true}})
	}
	do(advise.Input{Metered: &advise.Metered{FNumber: 8, ISO: 100}})
	do(advise.Input{Swap: &advise.Swap{What: advise.SwapISO, ISO: &iso}})
	do(advise.Input{Swap: &advise.Swap{What: advise.SwapLens}})
	do(advise.Input{Sitter: &advise.Sitter{Ref: "x"}})
	do(advise.Input{Note: &advise.Note{Ref: "y"}})
	for _, p := range []advise.Phase{advise.Paused, advise.Resumed, advise.Ended} {
		do(advise.Input{Session: &advise.Session{Phase: p}})
	}
	do(advise.Input{Plan: &advise.PlanText{}})
	if len(lines) < 25 {
		t.Fatalf("only %d lines came of it: %q", len(lines), lines)
	}
	table := german(t)
	for _, l := range lines {
		if _, ok := table.Say(l); !ok {
			t.Errorf("no German for %q", l)
		}
	}
}

// What is said of the plans in the plan's own stories, faults and what is unusual.
func TestWhatPlansAreToldIsKnown(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "..", "advise", "plan", "testdata", "*.txt"))
	if err != nil || len(files) < 20 {
		t.Fatalf("only %d plans found: %v", len(files), err)
	}
	table := german(t)
	n := 0
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		story, _, _ := strings.Cut(strings.ReplaceAll(string(text), "\r\n", "\n"), "\n----\n")
		p, faults := plan.Parse("shoot.yaml", []byte(story))
		var say []string
		for _, x := range faults {
			say = append(say, x.Text)
		}
		if len(faults) == 0 {
			for _, x := range p.Unusual() {
				say = append(say, x.Text)
			}
			r := p.ReachOf(nil)
			for _, x := range r.Lights {
				say = append(append(say, x.Text), x.Mends...)
			}
			if r.All != "" {
				say = append(say, r.All)
			}
		}
		for _, x := range say {
			n++
			if _, ok := table.Say(x); !ok {
				t.Errorf("%s: no German for %q", filepath.Base(f), x)
			}
		}
	}
	if n < 60 {
		t.Errorf("only %d sentences came of the plans", n)
	}
}

// The sheet of a shoot, put into German, has no English left but what people and cameras named.
func TestTheSheetIsKnown(t *testing.T) {
	table := german(t)
	a := sheettest.Shoot(48)
	a.Log = append(a.Log, account.Line{Kind: "drift", Frame: 9, Group: "B", Text: "Key (B) changed."})
	var page bytes.Buffer
	if err := sheet.Write(&page, a, sheet.Options{}); err != nil {
		t.Fatal(err)
	}
	bare := *a
	bare.Final.Baseline, bare.Final.Plan, bare.AtBaseline = 0, nil, advise.State{}
	got := string(table.Page(page.Bytes(), "de"))
	if !strings.Contains(got, `<html lang="de">`) || !strings.Contains(got, "Von oben") || !strings.Contains(got, "coxswain &lt;of the &#34;Quay&#34;&gt;") {
		t.Error("the sheet is not in German, or a name is gone")
	}
	var other bytes.Buffer
	if err := sheet.Write(&other, &bare, sheet.Options{}); err != nil {
		t.Fatal(err)
	}
	text := regexp.MustCompile(`>([^<]*[A-Za-z]{3,}[^<]*)<|(?:aria-label|alt)="([^"]+)"`)
	hidden := regexp.MustCompile(`(?s)<style>.*?</style>|<code>.*?</code>|<(th|td)[^>]*class="(?:person|file)"[^>]*>.*?</(?:th|td)>`)
	ours := regexp.MustCompile(`^(?:\d+ \w+ 2026, .*|[\d.]+ m|thirdstop.*|Alder Quay.*|.*umbrella.*|.*softbox.*|[\d:]+|f/8|ISO 100|1/125 s|default-1|treasurer|boatman|.*Quay.*|bare, flagged from the sitter|white panel)$`) // numbers, names and modifiers
	n := 0
	for _, p := range []string{page.String(), other.String()} {
		for _, m := range text.FindAllStringSubmatch(hidden.ReplaceAllString(p, "<i>"), -1) {
			s := strings.Join(strings.Fields(html.UnescapeString(m[1]+m[2])), " ")
			if ours.MatchString(s) || s == "" {
				continue
			}
			n++
			if _, ok := table.Say(s); !ok {
				t.Errorf("no German for %q", s)
			}
		}
	}
	if n < 80 {
		t.Errorf("only %d texts stand on the sheets", n)
	}
}
