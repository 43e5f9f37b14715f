package plan

import (
	"bytes"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"
)

const smallest = "version: 1\nbackdrop:\n  colour: white\nlights:\n  - role: key\n    group: B\n    power: 1/8\n"

// Deep nesting makes a recursive parser overflow its stack, which ends the whole
// program and can't be caught. Each of these has to come back as a fault, and soon.
func TestHostileFilesComeBackAsFaultsSoon(t *testing.T) {
	n := MostBytes / 2
	staircase := ""
	for i := range 600 {
		staircase += strings.Repeat(" ", i) + "a:\n"
	}
	for name, text := range map[string]string{
		"brackets":          strings.Repeat("[", n),
		"brackets, closed":  strings.Repeat("[", n/2) + strings.Repeat("]", n/2),
		"braces":            strings.Repeat("{a: ", n/4),
		"mixed":             "lights: " + strings.Repeat("[{a: ", n/5),
		"dashes":            strings.Repeat("- ", n/2),
		"question marks":    strings.Repeat("? ", n/2),
		"colons":            strings.Repeat("a: ", n/3),
		"bare colons":       strings.Repeat(": ", n/2),
		"staircase":         staircase,
		"quotes":            strings.Repeat(`"`, n),
		"an open quote":     `a: "` + strings.Repeat("x\n", n/2),
		"anchors":           strings.Repeat("a: &a\n", 2000),
		"aliases of a bomb": "a: &a [x,x]\nb: &b [*a,*a]\nc: [*b,*b]\n",
		"tags":              "a: " + strings.Repeat("!!str ", n/6),
		"exclamation marks": strings.Repeat("!", n),
		"percent":           strings.Repeat("%\n", n/2),
		"documents":         strings.Repeat("---\n", n/4),
		"document ends":     strings.Repeat("...\n", n/4),
		"blocks":            strings.Repeat("a: |\n", n/5),
		"one long key":      strings.Repeat("k", n) + ": 1",
		"many keys": func() string {
			s := ""
			for i := range 5000 {
				s += fmt.Sprintf("k%d: 1\n", i)
			}
			return s
		}(),
		"one long line":      "shoot: " + strings.Repeat("x", n),
		"too large":          strings.Repeat("# x\n", MostBytes/4+1),
		"comments":           strings.Repeat("# x\n", MostBytes/4),
		"control characters": "shoot: \x00\x07",
		"not UTF-8":          "shoot: \xff\xfe",
		"UTF-16":             "\xff\xfev\x00e\x00r\x00",
		"tabs":               strings.Repeat("\t", n),
		"carriage returns":   strings.Repeat("\r", n),
		"a date":             "2026-11-25",
		"a JPEG":             "\xff\xd8\xff\xe0\x00\x10JFIF",
	} {
		t.Run(name, func(t *testing.T) {
			start := time.Now()
			_, faults := Parse("hostile", []byte(text))
			if len(faults) == 0 || len(faults) > mostFaults+1 {
				t.Errorf("%d faults, want some, at most %d", len(faults), mostFaults+1)
			}
			for _, f := range faults {
				if len(f.String()) > 600 {
					t.Errorf("a fault of %d bytes can't be read on a tablet: %.100s...", len(f.String()), f)
				}
			}
			if took := time.Since(start); took > 5*time.Second { // some 0.1 s here; a guard against quadratic time
				t.Errorf("took %v", took)
			}
		})
	}
}

func TestALargeFileIsRefusedForItsSizeAlone(t *testing.T) {
	remarks := strings.Repeat("#"+strings.Repeat("x", 1022)+"\n", MostBytes/1024)
	for extra, want := range map[int]bool{0: false, 1: true} {
		text := smallest + remarks[len(smallest):] + strings.Repeat("#", extra)
		_, faults := Parse("x", []byte(text))
		if got := len(faults) == 1 && strings.Contains(faults[0].Text, "256 KB"); got != want {
			t.Errorf("%d bytes are refused for their size: %v, want %v\n%.300v", len(text), got, want, faults)
		}
	}
}

func TestEditorsLineEndsAndMarksMakeNoDifference(t *testing.T) {
	want, faults := Parse("plain", Annotated())
	if faults != nil {
		t.Fatal(faults)
	}
	for name, text := range map[string][]byte{
		"CRLF":                bytes.ReplaceAll(Annotated(), []byte("\n"), []byte("\r\n")),
		"byte order mark":     append([]byte("\ufeff"), Annotated()...),
		"document header":     append([]byte("---\n"), Annotated()...),
		"document end":        append(Annotated(), "...\n"...),
		"no end of last line": bytes.TrimRight(Annotated(), "\n"),
		"empty lines":         bytes.ReplaceAll(Annotated(), []byte("\n"), []byte("\n\n")),
	} {
		got, faults := Parse(name, text)
		if faults != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %v\n%+v, want\n%+v", name, faults, got, want)
		}
	}
}

func TestBlockAndFlowStyleSayTheSame(t *testing.T) {
	want, faults := Parse("block", []byte(smallest))
	if faults != nil {
		t.Fatal(faults)
	}
	for _, text := range []string{
		"{version: 1, backdrop: {colour: white}, lights: [{role: key, group: B, power: 1/8}]}",
		`{"version": 1, "backdrop": {"colour": "white"}, "lights": [{"role": "key", "group": "B", "power": "1/8"}]}`,
		"version: 1\nlights:\n- power: '1/8'\n  group: b\n  role: Key\nbackdrop: {colour: WHITE}\n",
	} {
		got, faults := Parse("flow", []byte(text))
		if faults != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%s\nis %+v\n%v", text, got, faults)
		}
	}
}

func TestFaultsNameTheLineOfTheirKey(t *testing.T) {
	// The same slip on each line of the example in turn must be told with that line.
	lines := strings.Split(string(Annotated()), "\n")
	told := 0
	for i, l := range lines {
		key, _, ok := strings.Cut(l, ":")
		name := strings.TrimLeft(key, " -")
		if !ok || name == "" || strings.Contains(key, "#") {
			continue
		}
		broken := append([]string(nil), lines...)
		broken[i] = strings.Replace(l, name+":", name+"zz:", 1)
		_, faults := Parse("x", []byte(strings.Join(broken, "\n")))
		found := false
		for _, f := range faults {
			found = found || f.Line == i+1 && strings.HasSuffix(f.Pointer, name+"zz") && strings.Contains(f.Text, "write "+name)
		}
		if !found {
			t.Errorf("%s in line %d is told as\n%v", name+"zz", i+1, faults)
		}
		told++
	}
	if told < 40 {
		t.Fatalf("only %d lines were tried", told)
	}
}

func TestAllFaultsAreToldAtOnce(t *testing.T) {
	text := "version: 3\nshot: x\nbackdrop:\n  colour: mauve\nlights:\n  - role: chief\n    group: ABCD\n    power: loud\n    zoom: far\ntargets:\n  white_peak: white\n"
	_, faults := Parse("x", []byte(text))
	if len(faults) != 8 {
		t.Errorf("%d faults, want 8:\n%v", len(faults), faults)
	}
	for i := 1; i < len(faults); i++ {
		if faults[i].Line < faults[i-1].Line {
			t.Errorf("faults are out of order:\n%v", faults)
		}
	}
}

func TestAPlanFullOfFaultsIsCutShort(t *testing.T) {
	text := smallest
	for i := range 200 {
		text += fmt.Sprintf("nothing%d: 1\n", i)
	}
	if _, faults := Parse("x", []byte(text)); len(faults) != mostFaults+1 || !strings.Contains(faults[mostFaults].Text, "more faults") {
		t.Errorf("%d faults, want %d and a word that there are more", len(faults), mostFaults)
	}
}

func FuzzParse(f *testing.F) {
	f.Add(Annotated())
	f.Add([]byte(smallest))
	for _, s := range []string{"{version: 1, lights: [{power: 1/8 + 0.3}]}", "a: &x [1]\nb: *x", "- - - -", "? x\n: y", "lights:\n  -\n  - ~\n", "version: 010", "%YAML 1.2\n---\nversion: 1", "'a': \"b\\x41\"", "a: |\n  x\n", "a: >-\n", "<<: {}", "[[[[[[[[[[", "\t", "a:\n    - b:\n  c"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		p, faults, unusual := Check("fuzz", text)
		if len(faults) > 0 {
			for _, x := range faults {
				if x.Text == "" || x.Line < 0 || x.File != "fuzz" {
					t.Fatalf("a fault that says nothing: %+v", x)
				}
			}
			return
		}
		for _, u := range unusual {
			if u.Line < 1 {
				t.Fatalf("a remark without its line: %+v", u)
			}
		}
		back, faults := Parse("back", p.Marshal())
		if faults != nil || !reflect.DeepEqual(back, p) {
			t.Fatalf("%v\nread back as %+v\nfrom\n%s", faults, back, p.Marshal())
		}
	})
}
