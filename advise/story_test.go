package advise

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"thirdstop/advise/plan"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// A story in testdata/stories is a sentence or two behind "#", commands, a line
// "----", and the trace that must come of them. Each command takes place ten
// seconds after the one before. The commands:
//
//	plan COLOUR LIGHT...       LIGHT is group:role:power, with :tenths, :least=1/8 or :m=1.2 behind it; or
//	                           R:reflector:B, with :m=0.9, for a reflector of B's light
//	camera f/8 100 1/125       what the camera records from here on
//	reference on|off           a white reference is declared, or taken back
//	frame [N] KEY VALUE...     a frame is measured. backdrop -0.4, white -0.2, hair -1, sitter -2 in stops; a
//	                           "+" behind a value is "at least"; set no; kind approximate; wb auto; program 3;
//	                           flash auto; band 0.3 on the right; sigma 0.1 for all; chart 12 (mired) or none
//	frames N KEY VALUE/STEP... N frames, each of whose values lies STEP further than the one before; the trace
//	                           has only those of which more is said than what was measured
//	damaged                    a frame that can't be read
//	turn GROUP POWER           an adjustment is recorded
//	off GROUP, move GROUP 1.5  likewise; tilt R 45 turns a reflector away
//	swap lens|backdrop|aperture f/5.6|iso ISO200, modifier GROUP WORDS
//	walk begin|leave|skip STEP|redo STEP
//	sitter, not-now, baseline N, answer yes|no, end
//	wait 2s                    before the next command
//
// The trace has the log's lines and, where the advice changed, its status, its
// adjustments or headline, its reason, and its warnings' codes. Run the tests with -update to write
// traces anew, and explain every changed line in the commit.
var update = flag.Bool("update", false, "write the traces of the stories anew")

func TestStories(t *testing.T) {
	files, _ := filepath.Glob("testdata/stories/*.txt")
	if len(files) < 10 {
		t.Fatalf("only %d stories found", len(files))
	}
	for _, f := range files {
		t.Run(strings.TrimSuffix(filepath.Base(f), ".txt"), func(t *testing.T) {
			text, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			script, want, ok := strings.Cut(string(text), "----\n")
			if !ok {
				t.Fatalf("%s has no line ----", f)
			}
			got := play(t, script)
			if *update {
				if err := os.WriteFile(f, []byte(script+"----\n"+got), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if got != want {
				t.Errorf("the trace of %s is\n%s\nwant\n%s", f, got, want)
			}
		})
	}
}

// story is a script being played.
type story struct {
	t     *testing.T
	s     State
	at    time.Time
	frame int
	exif  assess.Exif
	out   strings.Builder
	log   []Input
}

func play(t *testing.T, script string) string {
	st := &story{t: t, at: time.Date(2026, 5, 9, 10, 0, 0, 0, time.UTC)}
	for line := range strings.Lines(script) {
		if line = strings.TrimSpace(line); line != "" && line[0] != '#' {
			st.do(line)
		}
	}
	// The same inputs, through JSON, give the same state's advice: what a restart relies on.
	again := State{}
	for _, in := range st.log {
		again, _ = Apply(again, in)
	}
	if !reflect.DeepEqual(again.Advice, st.s.Advice) {
		t.Errorf("replaying the inputs gives the advice %+v, want %+v", again.Advice, st.s.Advice)
	}
	return st.out.String()
}

func (st *story) do(line string) {
	t, w := st.t, strings.Fields(line)
	rest := w[1:]
	arg := func(i int) string {
		if i >= len(rest) {
			t.Fatalf("%q lacks a word", line)
		}
		return rest[i]
	}
	var in Input
	switch w[0] {
	case "plan":
		in.Plan = &PlanText{Name: "story.yaml", Text: planOf(t, rest)}
	case "camera":
		n, err1 := exposure.ParseFNumber(arg(0))
		iso, err2 := exposure.ParseISO(arg(1))
		sh, err3 := exposure.ParseShutter(arg(2))
		if err1 != nil || err2 != nil || err3 != nil {
			t.Fatal(line, err1, err2, err3)
		}
		st.exif.FNumber, st.exif.ISO, st.exif.ExposureTime = &n, &iso, &sh
		return
	case "wait":
		d, err := time.ParseDuration(arg(0))
		if err != nil {
			t.Fatal(err)
		}
		st.at = st.at.Add(d - 10*time.Second)
		return
	case "reference":
		in.Reference = &Reference{Frame: st.frame}
		if arg(0) == "on" {
			in.Reference.Box = &assess.Box{X0: 0.4, Y0: 0.6, X1: 0.5, Y1: 0.7}
		}
	case "frames":
		st.frames(rest)
		return
	case "frame", "again":
		f := &Frame{Number: st.frame, Revision: 2}
		if n, err := strconv.Atoi(arg(0)); err == nil {
			f.Number, f.Revision, rest = n, 1, rest[1:]
		} else if w[0] == "frame" {
			f.Number, f.Revision = st.frame+1, 1
		}
		st.frame = max(st.frame, f.Number)
		f.Reading = st.reading(rest)
		in.Frame = f
	case "damaged":
		st.frame++
		in.Frame = &Frame{Number: st.frame, Revision: 1, Damaged: "its end is missing"}
	case "turn", "off", "move", "tilt":
		in.Adjusted = st.adjusted(w[0], arg(0), strings.Join(rest[1:], " "))
	case "sitter":
		in.Sitter = &Sitter{Ref: "x"}
	case "not-now":
		in.NotNow = &NotNow{Advice: st.s.Advice.Number}
	case "baseline":
		n, _ := strconv.Atoi(arg(0))
		in.Baseline = &Baseline{Frame: n}
	case "answer":
		if st.s.Question == nil {
			t.Fatalf("%q, but no question is open", line)
		}
		in.Answer = &Answer{Question: st.s.Question.Number, Yes: arg(0) == "yes"}
	case "swap":
		in.Swap = &Swap{What: SwapKind(arg(0))}
		for _, v := range rest[1:] {
			if n, err := exposure.ParseFNumber(v); err == nil {
				in.Swap.FNumber = &n
			} else if iso, err := exposure.ParseISO(v); err == nil {
				in.Swap.ISO = &iso
			}
		}
	case "modifier":
		text := strings.Join(rest[1:], " ")
		i, _ := st.s.light(arg(0))
		in.Adjusted = &Adjusted{Group: arg(0), From: st.s.Lights[i].Power, To: st.s.Lights[i].Power, Modifier: &text}
	case "walk":
		in.Walk = &WalkInput{Do: WalkDo(arg(0))}
		if len(rest) > 1 {
			in.Walk.Step = rest[1]
		}
	case "end":
		in.Session = &Session{Phase: Ended}
	default:
		t.Fatalf("no command %q", w[0])
	}
	st.apply(line, in)
}

// frames plays a run of frames, each written out as a command of its own.
func (st *story) frames(words []string) {
	n, err := strconv.Atoi(words[0])
	if err != nil || len(words)%2 == 0 {
		st.t.Fatalf("frames %v: say how many, then keys and values", words)
	}
	for i := range n {
		line := "frame"
		for k := 1; k+1 < len(words); k += 2 {
			v := words[k+1]
			if from, step, ok := strings.Cut(v, "/"); ok {
				a, err1 := strconv.ParseFloat(from, 64)
				b, err2 := strconv.ParseFloat(step, 64)
				if err1 != nil || err2 != nil {
					st.t.Fatalf("frames %v: %q is no value and step", words, words[k+1])
				}
				v = strconv.FormatFloat(a+float64(i)*b, 'f', 3, 64)
			}
			line += " " + words[k] + " " + v
		}
		before, was := st.out.String(), st.s.Advice
		st.do(line)
		said := st.out.String()[len(before):]
		if strings.Count(said, "  log ") == 1 && !strings.Contains(said, "  ask") && was.Status == st.s.Advice.Status && was.Headline == st.s.Advice.Headline {
			st.out.Reset()
			st.out.WriteString(before)
		}
	}
}

func (st *story) apply(line string, in Input) {
	st.at = st.at.Add(10 * time.Second)
	in.At = st.at
	b, err := json.Marshal(in)
	if err != nil {
		st.t.Fatal(err)
	}
	var back Input
	if err := json.Unmarshal(b, &back); err != nil {
		st.t.Fatal(err)
	}
	st.log = append(st.log, back)
	before := clone(st.t, st.s)
	next, out := Apply(st.s, in)
	if after := clone(st.t, st.s); before != after {
		st.t.Errorf("%q changed the state it was given:\n%s\nwas\n%s", line, after, before)
	}
	st.s = next
	fmt.Fprintf(&st.out, "%s\n", line)
	for _, o := range out {
		switch {
		case o.Event != nil:
			fmt.Fprintf(&st.out, "  log %s: %s\n", o.Event.Kind, o.Event.Text)
		case o.Question != nil:
			fmt.Fprintf(&st.out, "  ask: %s\n", o.Question.Text)
		case o.Advice != nil:
			st.advice(*o.Advice)
		}
	}
}

func (st *story) advice(a Advice) {
	marks := ""
	if a.Guess {
		marks += " (first guess)"
	}
	fmt.Fprintf(&st.out, "  %s%s: %s\n", a.Status, marks, a.Headline)
	for _, x := range a.Adjustments {
		fmt.Fprintf(&st.out, "    %s: %s\n", x.Text, x.Reason)
	}
	if len(a.Adjustments) == 0 {
		fmt.Fprintf(&st.out, "    %s\n", a.Reason)
	}
	for _, w := range a.Ways {
		fmt.Fprintf(&st.out, "    way: %s (%s)\n", w.Text, w.Price)
	}
	for _, w := range a.Warnings {
		fmt.Fprintf(&st.out, "    warning %s\n", w.Code)
	}
}

// clone writes what a caller can see of a state, to notice changes.
func clone(t *testing.T, s State) string {
	b, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	return string(b) + fmt.Sprint(len(s.taught.Seen), len(s.model.Seen), len(s.pending), len(s.recent))
}

func (st *story) adjusted(what, group, value string) *Adjusted {
	i, ok := st.s.light(group)
	k, passive := st.s.reflector(group)
	if !ok && !passive {
		st.t.Fatalf("no light %q", group)
	}
	l := LightState{}
	if ok {
		l = st.s.Lights[i]
	} else {
		l.Off = st.s.Reflectors[k].Away
	}
	a := &Adjusted{Group: group, From: l.Power, To: l.Power}
	switch what {
	case "tilt":
		v, err := strconv.ParseFloat(value, 64)
		if err != nil {
			st.t.Fatal(err)
		}
		d := Degrees(v)
		a.Turned = &d
	case "turn":
		d, err := st.s.Plan.Lights[i].Scale.Parse(value)
		if err != nil {
			st.t.Fatal(err)
		}
		a.To = d
	case "off":
		off := !l.Off
		a.Off = &off
	case "move":
		m, err := exposure.ParseMetres(value)
		if err != nil {
			st.t.Fatal(err)
		}
		a.Distance = &m
	}
	return a
}

// reading is a frame of which only what advising looks at is filled in.
func (st *story) reading(words []string) *assess.Reading {
	r := &assess.Reading{Version: assess.FormatVersion, Kind: assess.Full, Exif: st.exif}
	one := 1
	if r.Exif.FNumber != nil {
		r.Exif.Program = &one
	}
	sigma := exposure.Stops(0.1)
	for i := 0; i+1 < len(words); i += 2 {
		if words[i] == "sigma" {
			v, _ := strconv.ParseFloat(words[i+1], 64)
			sigma = exposure.Stops(v)
		}
	}
	for i := 0; i+1 < len(words); i += 2 {
		key, value := words[i], words[i+1]
		number, atLeast := strings.CutSuffix(value, "+")
		v, err := strconv.ParseFloat(number, 64)
		level := assess.Level{Value: exposure.Stops(v), Sigma: sigma, AtLeast: atLeast}
		switch key {
		case "backdrop":
			r.Regions.Backdrop = &assess.Backdrop{Level: level, WhiteFloor: level.Value, FloorSigma: sigma, FloorAtLeast: atLeast}
		case "white":
			declared := st.s.Reference != nil
			r.Regions.WhiteReference = &assess.WhiteReference{Level: level, Peak: level.Value, PeakAtLeast: atLeast, Declared: declared}
		case "sitter":
			r.Regions.Sitter = &assess.Sitter{Level: level}
		case "hair":
			r.Regions.Sitter = &assess.Sitter{Level: assess.Level{Value: -2, Sigma: sigma}, Crown: &assess.Crown{Peak: level.Value, AtLeast: atLeast}}
		case "clips":
			r.Regions.Sitter = &assess.Sitter{Level: assess.Level{Value: -2, Sigma: sigma}, ClippedShare: v, ClippedLeast: v * 0.85}
		case "band": // a share of the frame, on its right
			r.DarkBand = &assess.Band{Edge: assess.RightEdge, Share: v, Fall: 4}
		case "set":
			r.PartOfSet, err = assess.PartOfSet{Answer: assess.Belongs(value), Sure: 0.9, Reason: "no backdrop was found"}, nil
		case "chart": // its mired, or "none"
			if r.Missing = map[string]string{"chart": "no 24-patch chart found"}; value != "none" {
				duv, white, by, mean, worst := -0.003, exposure.Stops(-0.41), exposure.Stops(0.09), 2.1, 6.4
				shift := v
				r.Missing, r.Chart = nil, &assess.Chart{Shift: &shift, Tint: &duv, White: &white, Error: &by, Sigma: 0.05, Mean: &mean, Worst: &worst,
					Patch: "cyan", Warnings: []string{"the chart is lit unevenly"}}
			}
			err = nil
		case "kind":
			r.Kind, err = assess.Kind(value), nil
		case "wb":
			n := 1
			if value == "auto" {
				n = 0
			}
			r.Exif.WhiteBalance, err = &n, nil
		case "flash":
			r.Exif.Flash, err = &assess.Flash{Mode: value}, nil
		case "program":
			n := int(v)
			r.Exif.Program = &n
		case "sigma":
		default:
			st.t.Fatalf("no key %q", key)
		}
		if err != nil {
			st.t.Fatal(err)
		}
	}
	return r
}

// planOf builds a plan out of a story's words.
func planOf(t *testing.T, words []string) string {
	p := plan.Plan{Version: plan.FormatVersion, Backdrop: plan.Backdrop{Colour: plan.BackdropColour(words[0])},
		Targets: plan.DefaultTargets(plan.BackdropColour(words[0]))}
	for _, w := range words[1:] {
		parts := strings.Split(w, ":")
		if len(parts) < 3 {
			t.Fatalf("a light is group:role:power, not %q", w)
		}
		if parts[1] == string(plan.Passive) {
			m := plan.Reflector{Group: parts[0], Of: parts[2]}
			if len(parts) > 3 {
				var err error
				if m.Distance, err = exposure.ParseMetres(strings.TrimPrefix(parts[3], "m=")); err != nil {
					t.Fatal(err)
				}
			}
			p.Reflectors = append(p.Reflectors, m)
			continue
		}
		l := plan.Light{Group: parts[0], Role: plan.Role(parts[1]), Scale: exposure.ThirdFractions, Least: -7 * exposure.Stop}
		power := strings.ReplaceAll(parts[2], "_", " ")
		for _, x := range parts[3:] {
			key, value, _ := strings.Cut(x, "=")
			var err error
			switch key {
			case "tenths":
				l.Scale = exposure.TenthFractions
			case "least":
				l.Least, err = l.Scale.Parse(value)
			case "most":
				l.Most, err = l.Scale.Parse(value)
			case "m":
				l.Distance, err = exposure.ParseMetres(value)
			case "gn":
				l.Guide, err = exposure.ParseGuideNumber(value)
			default:
				t.Fatalf("no part %q of a light", key)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		var err error
		if l.Power, err = l.Scale.Parse(power); err != nil {
			t.Fatal(err)
		}
		p.Lights = append(p.Lights, l)
	}
	return string(p.Marshal())
}
