package account

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/trail"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

func lines(words ...string) *Account {
	a := &Account{ID: "s", Head: trail.Head{Seq: 9, Hash: strings.Repeat("a", 64)}}
	for i, w := range words {
		a.Log = append(a.Log, Line{Record: uint64(i + 2), Hash: "h", At: time.Date(2026, 11, 25, 9, 0, i, 0, time.UTC),
			By: advise.Actor{Device: "local"}, Kind: "note", Text: "A note.", Words: w})
	}
	return a
}

// The characters are those of OWASP's page "CSV Injection" (from memory): =, +, -, @, tab, carriage return, line feed and
// the full-width forms of the first four.
func TestNoTextOfAnExportBecomesAFormula(t *testing.T) {
	words := []string{"=1+1", "+1", "-1", "@sum(A1)", "\t=1", "\r=1", "\n=1", "＝1", "＋1", "－1", "＠a", " =1", "'=1", "=cmd|' /C calc'!A0",
		"a;=1", "a\",=1", "stroke \"Q\"", "umbrella sagged"}
	var b bytes.Buffer
	if err := lines(words...).Write(&b, LogTable, CSV); err != nil {
		t.Fatal(err)
	}
	raw := b.String()
	rows, err := csv.NewReader(strings.NewReader(raw)).ReadAll()
	if err != nil || len(rows) != len(words)+1 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	// A number, nothing, or a quoted text whose first character starts no formula.
	cell := regexp.MustCompile(`^(|-?[0-9.]+|true|false|"([^"]|"")*")$`)
	for i, r := range rows[1:] {
		got := r[len(r)-1]
		danger := i < 14
		if danger != strings.HasPrefix(got, "'") {
			t.Errorf("the note %q is written as %q", words[i], got)
		}
		// A reader of CSV makes one line end of CR LF, and RFC 4180 keeps it in a quoted field.
		if plain := strings.TrimPrefix(got, "'"); danger && plain != words[i] && "'"+words[i] != got {
			t.Errorf("the note %q does not read back: %q", words[i], got)
		}
	}
	for _, c := range strings.Split(strings.SplitN(raw, "\r\n", 3)[1], ",") {
		if !cell.MatchString(c) {
			t.Errorf("the cell %s is neither a number nor quoted", c)
		}
	}
}

func TestJSONLinesKeepTextsAsTheyAre(t *testing.T) {
	var b bytes.Buffer
	if err := lines("=1+1 <é> \u2028").Write(&b, LogTable, JSONLines); err != nil {
		t.Fatal(err)
	}
	var o struct {
		Words string  `json:"words"`
		Frame *int    `json:"frame"`
		Head  string  `json:"head"`
		At    string  `json:"at"`
		Rec   float64 `json:"record"`
	}
	if err := json.Unmarshal(b.Bytes(), &o); err != nil {
		t.Fatal(err)
	}
	if o.Words != "=1+1 <é> \u2028" || o.Frame != nil || !strings.HasPrefix(o.Head, "9:aaa") || o.At != "2026-11-25T09:00:00.000000Z" || o.Rec != 2 {
		t.Errorf("got %+v", o)
	}
	if n := bytes.Count(b.Bytes(), []byte("\n")); n != 1 {
		t.Errorf("%d line ends for one row", n)
	}
}

func FuzzExportedTextsReadBack(f *testing.F) {
	f.Add("=1", "stroke \"Q\"\r\n")
	f.Fuzz(func(t *testing.T, a, b string) {
		var out bytes.Buffer
		if err := lines(a, b).Write(&out, LogTable, CSV); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&out).ReadAll()
		if err != nil || len(rows) != 3 {
			t.Fatalf("%d rows, %v", len(rows), err)
		}
		for i, w := range []string{a, b} {
			got, want := rows[i+1][len(rows[0])-1], strings.ReplaceAll(unarmed(w), "\r\n", "\n")
			if got != want {
				t.Errorf("%q came back as %q", w, got)
			}
		}
	})
}

func TestADirectionToldLaterCountsForTheBaseline(t *testing.T) {
	d, e := advise.Degrees(45), advise.Degrees(-30)
	a := &Account{}
	a.AtBaseline.Lights = []advise.LightState{{Group: "A"}, {Group: "B", Bearing: &e}, {Group: "C"}}
	a.Final.Lights = []advise.LightState{{Group: "B", Bearing: &d}, {Group: "A", Bearing: &d}}
	before := a.AtBaseline.Lights
	a.tellLater()
	if l := a.AtBaseline.Lights; *l[0].Bearing != 45 || *l[1].Bearing != -30 || l[2].Bearing != nil || before[0].Bearing != nil {
		t.Errorf("the lights are %+v, and those of the state before %+v", l, before)
	}
}

// What a frame tells of its face stands in the export, in words and numbers of the reading; a frame of several has their number alone.
func TestAFaceIsExported(t *testing.T) {
	source, over := 2.0, exposure.Stops(1)
	face := &assess.Face{EyeLine: 0.35, Size: 0.2, Box: assess.Box{X0: 0.4, X1: 0.6}, Level: assess.Level{Value: -2.5, Sigma: 0.1},
		KeyFill: &assess.KeyFill{Lit: "left", Difference: 1.585, Sigma: 0.12, Additive: 3, Source: &source, KeyOver: &over}}
	a := &Account{ID: "s", Frames: []Frame{{Number: 1, Kind: assess.Full, Faces: 1, Face: face}, {Number: 2, Kind: assess.Full, Faces: 3}, {Number: 3, Damaged: "it broke off"}}}
	var b bytes.Buffer
	if err := a.Write(&b, FramesTable, CSV); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 4 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for name, want := range map[string][3]string{
		"faces": {"1", "3", ""}, "face_x_share": {"0.5000", "", ""}, "face_eye_line_share": {"0.3500", "", ""}, "face_size_share": {"0.2000", "", ""},
		"face_stops": {"-2.500", "", ""}, "face_sides_stops": {"1.585", "", ""}, "face_lit_side": {"left", "", ""},
		"key_and_fill_to_fill": {"3.00", "", ""}, "key_to_fill": {"2.00", "", ""},
	} {
		at := slices.Index(rows[0], name)
		if at < 0 {
			t.Errorf("there is no column %s", name)
			continue
		}
		for i, w := range want {
			if got := rows[i+1][at]; got != w && strings.TrimRight(w, "0") != got {
				t.Errorf("%s of frame %d is %q, want %q", name, i+1, got, w)
			}
		}
	}
}
