package browsertest

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"testing"
	"time"

	"thirdstop/advise"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/dashboard/browsertest/fake"
)

// Every line that the daemon itself writes into the shoot log for what people do has German words. The lines come from
// advise.Apply, so that a new wording there fails here.
func TestTheLogOfWhatPeopleDoIsGerman(t *testing.T) {
	at := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	box := assess.Box{X0: 0.4, Y0: 0.4, X1: 0.6, Y1: 0.6}
	r := &assess.Reading{Kind: assess.Full}
	r.Regions.Backdrop = &assess.Backdrop{Level: assess.Level{Value: -1.5, Sigma: 0.1}, WhiteFloor: -1.6, FloorSigma: 0.1, Mask: assess.Mask{Cols: 1, Rows: 1, Bits: "gA=="}}
	off, far := true, exposure.Metres(1.8)
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
	do(advise.Input{Adjusted: &advise.Adjusted{Group: "B", From: s.Lights[1].Power, To: s.Lights[1].Power, Distance: &far}})
	do(advise.Input{Reference: &advise.Reference{Frame: 1, Box: &box}})
	for _, p := range []advise.Part{advise.BackdropPart, advise.FacePart, advise.WitnessPart, advise.EmptyPart} {
		do(advise.Input{Marked: &advise.Marked{Frame: 1, Part: p, Box: &box}})
		do(advise.Input{Marked: &advise.Marked{Part: p, Back: true}})
	}
	do(advise.Input{Sitter: &advise.Sitter{Ref: "x"}})
	do(advise.Input{Note: &advise.Note{Ref: "y"}})
	for _, p := range []advise.Phase{advise.Paused, advise.Resumed, advise.Ended} {
		do(advise.Input{Session: &advise.Session{Phase: p}})
	}
	do(advise.Input{Plan: &advise.PlanText{}})
	if len(lines) < 20 {
		t.Fatalf("only %d lines came of it: %q", len(lines), lines)
	}
	lines = append(lines, asked(t)...)
	p := open(t, 390, 844, serve(t, fake.New(time.Now)).url())
	p.says("Measuring only")
	list, err := json.Marshal(lines)
	if err != nil {
		t.Fatal(err)
	}
	missing := eval[[]string](p, fmt.Sprintf(`import(document.querySelector('script[type=module]').src.replace('main.js', 'texts-de.js')).then((m) => %s.filter((l) => !m.texts.said.sentence(l)))`, list))
	for _, l := range missing {
		t.Errorf("no German for %q", l)
	}
}

// asked are the questions of all stories, and the log's lines of what became of advice and questions.
func asked(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", "advise", "testdata", "stories", "*.txt"))
	if err != nil || len(files) < 10 {
		t.Fatalf("only %d stories found: %v", len(files), err)
	}
	said := regexp.MustCompile(`(?m)^  (?:ask|log (?:followed|back|recheck|absent|not_now|not_turned)): (.+)$`)
	var out []string
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range said.FindAllStringSubmatch(string(text), -1) {
			if !slices.Contains(out, m[1]) {
				out = append(out, m[1])
			}
		}
	}
	if len(out) < 20 {
		t.Fatalf("only %d lines came of the stories: %q", len(out), out)
	}
	return out
}
