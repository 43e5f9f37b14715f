// Package legible makes texts that came from elsewhere safe to show: names of files, devices
// and sitters, notes, what a camera wrote into its files, sentences that quote any of these.
//
// It knows which characters obey nobody on a page or a terminal; it must never know what a
// text is about. What is recorded stays as it was given: this is for the way out, and, by
// [Fault], for refusing on the way in what could never be shown.
package legible

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Line is a text as it can be shown on one line. Control characters (among them line ends, and
// the escape that terminals obey), bytes that are no UTF-8, and code points that stand for
// nothing become U+FFFD; format characters, which show nothing themselves and only change the
// text around them (the bidirectional controls of UAX #9, soft hyphens, byte order marks, tags),
// are left out. The joiners U+200C and U+200D stay: several scripts are spelled with them.
func Line(text string) string { return show(text, false) }

// Lines is the same for a text of several lines: line feeds and tabs stay, and the other line
// ends (CR, CR LF, U+0085, U+2028, U+2029) become line feeds.
func Lines(text string) string { return show(text, true) }

func show(text string, lines bool) string {
	clean := true
	for i := 0; i < len(text) && clean; i++ {
		clean = text[i] >= ' ' && text[i] < 0x7F || lines && (text[i] == '\n' || text[i] == '\t')
	}
	if clean {
		return text
	}
	if lines {
		text = strings.ReplaceAll(text, "\r\n", "\n")
	}
	var b strings.Builder
	b.Grow(len(text))
	for _, r := range text { // bytes that are no UTF-8 come as U+FFFD
		switch {
		case lines && (r == '\n' || r == '\t'):
			b.WriteRune(r)
		case lines && lineEnd(r):
			b.WriteByte('\n')
		case shown(r):
			b.WriteRune(r)
		case !unicode.Is(unicode.Cf, r):
			b.WriteRune(utf8.RuneError)
		}
	}
	return b.String()
}

func lineEnd(r rune) bool { return r == '\r' || r == 0x85 || r == 0x2028 || r == 0x2029 }

// shown says that a character is one a person can see, a space, or a joiner.
func shown(r rune) bool {
	return unicode.IsGraphic(r) || r == 0x200C || r == 0x200D
}

// Fault says what in a text that somebody writes can't be kept, as a clause that follows the
// text's name, or "" if nothing: control characters (in one of several lines, line ends and tabs
// are none) and bytes that are no UTF-8. Format characters are no fault: they come along
// unseen when a name is pasted, and [Line] leaves them out.
func Fault(text string, severalLines bool) string {
	if !utf8.ValidString(text) {
		return "is not valid UTF-8"
	}
	for _, r := range text {
		switch {
		case severalLines && (r == '\n' || r == '\t' || r == '\r'):
		case unicode.IsControl(r):
			return fmt.Sprintf("holds the control character %U, which can't be shown; take it out", r)
		}
	}
	return ""
}

// JSON is a text in JSON with everything escaped that [Lines] would change, so that it can go
// to a terminal and still means the same. (Outside its strings JSON is ASCII.)
func JSON(text []byte) []byte {
	out := make([]byte, 0, len(text))
	for len(text) > 0 {
		r, n := utf8.DecodeRune(text)
		switch {
		case r == utf8.RuneError && n == 1: // no JSON; whoever writes it has replaced these
			out = append(out, `\ufffd`...)
		case r == '\n' || r == '\t' || shown(r):
			out = append(out, text[:n]...)
		case r < 0x10000:
			out = fmt.Appendf(out, `\u%04x`, r)
		default: // RFC 8259, section 7: a surrogate pair
			r -= 0x10000
			out = fmt.Appendf(out, `\u%04x\u%04x`, 0xD800+(r>>10), 0xDC00+(r&0x3FF))
		}
		text = text[n:]
	}
	return out
}
