package legible

import (
	"encoding/json"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"
)

func TestWhatIsShownObeysNobody(t *testing.T) {
	for _, c := range []struct{ what, text, line, lines string }{
		{"plain text", "AQ_0001.jpg", "AQ_0001.jpg", "AQ_0001.jpg"},
		{"letters of many scripts", "Žofie Ærø 艇庫 Ωμέγα", "Žofie Ærø 艇庫 Ωμέγα", "Žofie Ærø 艇庫 Ωμέγα"},
		{"a word spelled with a joiner", "می\u200Cخواهم", "می\u200Cخواهم", "می\u200Cخواهم"},
		{"an emoji of several", "🚣\u200D♀️", "🚣\u200D♀️", "🚣\u200D♀️"},
		{"other spaces", "a\u00A0b\u3000c", "a\u00A0b\u3000c", "a\u00A0b\u3000c"},
		{"no name", "", "", ""},
		{"the zero character", "a\x00b", "a\uFFFDb", "a\uFFFDb"},
		{"a terminal's escape", "a\x1b[2Jb", "a\uFFFD[2Jb", "a\uFFFD[2Jb"},
		{"a terminal's escape in one character", "a\u009B2Jb", "a\uFFFD2Jb", "a\uFFFD2Jb"},
		{"a bell and a rubout", "a\ab\x7f", "a\uFFFDb\uFFFD", "a\uFFFDb\uFFFD"},
		{"a text turned round (UAX #9)", "bow\u202Egpj.exe", "bowgpj.exe", "bowgpj.exe"},
		{"isolates and marks (UAX #9)", "\u2066a\u2069\u200E\u200F\u061Cb", "ab", "ab"},
		{"a byte order mark and a soft hyphen", "\uFEFFoars\u00ADman", "oarsman", "oarsman"},
		{"tags", "x\U000E0041\U000E007F", "x", "x"},
		{"two lines", "one\ntwo\tb", "one\uFFFDtwo\uFFFDb", "one\ntwo\tb"},
		{"lines of another system", "one\r\ntwo\rthree", "one\uFFFD\uFFFDtwo\uFFFDthree", "one\ntwo\nthree"},
		{"rare line ends", "one\u0085two\u2028three\u2029four", "one\uFFFDtwo\uFFFDthree\uFFFDfour", "one\ntwo\nthree\nfour"},
		{"bytes of another encoding", "Ren\xe9", "Ren\uFFFD", "Ren\uFFFD"},
		{"half a surrogate pair in bytes", "a\xed\xa0\x80b", "a\uFFFD\uFFFD\uFFFDb", "a\uFFFD\uFFFD\uFFFDb"},
		{"private use and no character", "a\uE000b\uFFFFc", "a\uFFFDb\uFFFDc", "a\uFFFDb\uFFFDc"},
	} {
		if got := Line(c.text); got != c.line {
			t.Errorf("%s: Line(%+q) = %+q, want %+q", c.what, c.text, got, c.line)
		}
		if got := Lines(c.text); got != c.lines {
			t.Errorf("%s: Lines(%+q) = %+q, want %+q", c.what, c.text, got, c.lines)
		}
	}
}

func TestWhatCantBeShownIsRefusedByName(t *testing.T) {
	for _, c := range []struct {
		text    string
		several bool
		says    string
	}{
		{"Umbrella sags, Žofie turned it", false, ""},
		{"pasted with \u202Amarks\u202C", false, ""},
		{"one\n\ttwo\r\n", true, ""},
		{"one\ntwo", false, "U+000A"},
		{"a\tb", false, "U+0009"},
		{"a\x00b", true, "U+0000"},
		{"a\x1b[2J", true, "U+001B"},
		{"a\u009B", true, "U+009B"},
		{"Ren\xe9", true, "UTF-8"},
	} {
		got := Fault(c.text, c.several)
		if (got == "") != (c.says == "") || !strings.Contains(got, c.says) {
			t.Errorf("Fault(%+q, %v) = %q, want it to say %q", c.text, c.several, got, c.says)
		}
	}
}

func FuzzShown(f *testing.F) {
	for _, s := range []string{"AQ_0001.jpg", "a\x1b[2J\u202Eb\r\n", "\U000E0041\xff\u200D", "\u2028"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, s := range []string{Line(text), Lines(text)} {
			for _, r := range s {
				if (unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r)) && r != '\n' && r != '\t' {
					t.Fatalf("%+q is shown as %+q", text, s)
				}
			}
			if !utf8.ValidString(s) || Lines(s) != s {
				t.Fatalf("%+q: shown as %+q, and that as %+q", text, s, Lines(s))
			}
		}
		if one := Line(text); strings.ContainsAny(one, "\r\n\t") || Line(one) != one {
			t.Fatalf("%+q on one line is %+q", text, one)
		}
		// JSON keeps its meaning, and goes through a terminal as it is.
		plain, err := json.Marshal(text)
		if err != nil {
			t.Fatal(err)
		}
		safe := JSON(plain)
		var before, after string
		if err := json.Unmarshal(safe, &after); err != nil {
			t.Fatalf("%+q: %s: %v", text, safe, err)
		}
		if _ = json.Unmarshal(plain, &before); after != before || Lines(string(safe)) != string(safe) {
			t.Fatalf("%+q became %+q in %s", before, after, safe)
		}
	})
}
