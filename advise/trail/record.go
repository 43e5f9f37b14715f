package trail

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"time"
	"unicode/utf8"
)

// MaxLine is the longest line of trail.jsonl in bytes, its line feed included.
const MaxLine = 4 << 20

const (
	maxKind  = 40
	maxRules = 100
	maxV     = 999_999_999

	// atLayout has a fixed width, so that equal times are equal bytes.
	atLayout = "2006-01-02T15:04:05.000000Z"
)

// Record is one line of the trail. Its body is opaque here.
type Record struct {
	Seq   uint64          // 1, 2, 3 ...
	Prev  string          // hex SHA-256 of the previous line's exact bytes with its line feed; 64 zeros for the first
	At    time.Time       // UTC, whole microseconds; the caller's clock
	Kind  string          // e.g. "input", "output"; "header" is record 1's
	V     int             // version of the body's format, 0 to 999999999
	Rules string          // version of the rules that wrote it, "" where it does not matter
	Body  json.RawMessage // one JSON value without a line break
}

// Line is the record's exact line in trail.jsonl, line feed included. For every record that this package
// returned it equals the bytes on disk.
func (r Record) Line() []byte {
	b := make([]byte, 0, len(r.Body)+len(r.Kind)+len(r.Rules)+200)
	return appendLine(b, r)
}

// Hash is the hex SHA-256 of [Record.Line]: the Prev of the record after it.
func (r Record) Hash() string {
	sum := sha256.Sum256(r.Line())
	return hex.EncodeToString(sum[:])
}

func appendLine(b []byte, r Record) []byte {
	b = append(b, `{"seq":`...)
	b = strconv.AppendUint(b, r.Seq, 10)
	b = append(b, `,"prev":"`...)
	b = append(b, r.Prev...)
	b = append(b, `","at":"`...)
	b = r.At.AppendFormat(b, atLayout)
	b = append(b, `","kind":"`...)
	b = append(b, r.Kind...)
	b = append(b, `","v":`...)
	b = strconv.AppendInt(b, int64(r.V), 10)
	b = append(b, `,"rules":"`...)
	b = append(b, r.Rules...)
	b = append(b, `","body":`...)
	b = append(b, r.Body...)
	return append(b, '}', '\n')
}

// newRecord checks what a caller wants recorded; nothing has been written when it refuses.
func newRecord(seq uint64, prev string, kind string, v int, rules string, at time.Time, body any) (Record, error) {
	switch {
	case !validKind([]byte(kind)):
		return Record{}, fmt.Errorf("record of kind %q not written: a kind is a lower-case letter, then letters, digits, '.', '_' or '-', %d bytes at most", kind, maxKind)
	case v < 0 || v > maxV:
		return Record{}, fmt.Errorf("record of kind %q not written: version %d is outside 0 to %d", kind, v, maxV)
	case !validRules([]byte(rules)):
		return Record{}, fmt.Errorf("record of kind %q not written: the rules version %q has to be printable ASCII without quote and backslash, %d bytes at most", kind, rules, maxRules)
	case at.IsZero():
		return Record{}, fmt.Errorf("record of kind %q not written: it has no time", kind)
	}
	at = at.UTC().Truncate(time.Microsecond)
	if y := at.Year(); y < 1 || y > 9999 {
		return Record{}, fmt.Errorf("record of kind %q not written: its year is %d", kind, y)
	}
	raw, err := encodeBody(body)
	if err != nil {
		return Record{}, fmt.Errorf("record of kind %q not written: %w", kind, err)
	}
	r := Record{Seq: seq, Prev: prev, At: at, Kind: kind, V: v, Rules: rules, Body: raw}
	return r, nil
}

func encodeBody(body any) (json.RawMessage, error) {
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false) // people read the file: "<" is clearer than its escape
	if err := enc.Encode(body); err != nil {
		return nil, fmt.Errorf("its body can't be written as JSON: %w", err)
	}
	raw := bytes.TrimSuffix(buf.Bytes(), []byte{'\n'})
	// The encoder passes on some things that the reader refuses (raw bytes that are no UTF-8, very deep nesting).
	// What we couldn't read back must not get into the chain.
	if what := faultInBody(raw); what != "" {
		return nil, errors.New(what)
	}
	return raw, nil
}

func faultInBody(raw []byte) string {
	switch {
	case !utf8.Valid(raw):
		return "its body is not valid UTF-8"
	case bytes.IndexByte(raw, '\n') >= 0:
		return "its body holds a line break"
	case !json.Valid(raw):
		return "its body is not valid JSON"
	}
	return ""
}

// view is a parsed line that still lies in the reader's buffer: valid until the next line is read.
type view struct {
	seq   uint64
	prev  []byte // 64 hex characters
	at    time.Time
	kind  []byte
	v     int
	rules []byte
	body  []byte
	line  []byte // exact bytes with the line feed
}

func (w view) record() Record {
	return Record{
		Seq: w.seq, Prev: string(w.prev), At: w.at, Kind: string(w.kind), V: w.v, Rules: string(w.rules),
		Body: bytes.Clone(w.body),
	}
}

// parseLine reads one whole line. It accepts exactly what appendLine writes, so that a record has one spelling,
// but leaves the body unchecked: see faultInBody. The second result says what is wrong, "" if nothing is.
func parseLine(line []byte) (view, string) {
	w := view{line: line}
	rest := line
	lit := func(s string) bool {
		if len(rest) < len(s) || string(rest[:len(s)]) != s {
			return false
		}
		rest = rest[len(s):]
		return true
	}
	number := func(max uint64) (uint64, bool) {
		n := 0
		for n < len(rest) && n < 20 && rest[n] >= '0' && rest[n] <= '9' {
			n++
		}
		if n == 0 || n > 1 && rest[0] == '0' {
			return 0, false
		}
		var x uint64
		for _, c := range rest[:n] {
			d := uint64(c - '0')
			if x > (max-d)/10 {
				return 0, false
			}
			x = x*10 + d
		}
		rest = rest[n:]
		return x, true
	}
	upTo := func(most int) []byte { // up to the next quote
		i := bytes.IndexByte(rest[:min(len(rest), most+1)], '"')
		if i < 0 {
			return nil
		}
		s := rest[:i:i]
		rest = rest[i:]
		return s
	}

	var ok bool
	if !lit(`{"seq":`) {
		return w, `it does not begin with {"seq":`
	}
	if w.seq, ok = number(1<<64 - 1); !ok {
		return w, "its seq is no number"
	}
	if !lit(`,"prev":"`) || len(rest) < 64 || !isHex(rest[:64]) {
		return w, "its prev is not 64 hexadecimal characters"
	}
	w.prev, rest = rest[:64:64], rest[64:]
	if !lit(`","at":"`) || len(rest) < len(atLayout) {
		return w, "its time is missing"
	}
	if w.at, ok = parseAt(rest[:len(atLayout)]); !ok {
		return w, "its time is not written like " + atLayout
	}
	rest = rest[len(atLayout):]
	if !lit(`","kind":"`) {
		return w, "its kind is missing"
	}
	if w.kind = upTo(maxKind); !validKind(w.kind) {
		return w, "its kind is not one"
	}
	if !lit(`","v":`) {
		return w, "its version is missing"
	}
	v, ok := number(maxV)
	if !ok {
		return w, "its version is no number"
	}
	w.v = int(v)
	if !lit(`,"rules":"`) {
		return w, "its rules version is missing"
	}
	w.rules = upTo(maxRules)
	if w.rules == nil || !validRules(w.rules) {
		return w, "its rules version is not one"
	}
	if !lit(`","body":`) {
		return w, "its body is missing"
	}
	if len(rest) < 3 || rest[len(rest)-1] != '\n' || rest[len(rest)-2] != '}' {
		return w, "it does not end with } and a line feed"
	}
	w.body = rest[: len(rest)-2 : len(rest)-2]
	return w, ""
}

func parseAt(b []byte) (time.Time, bool) {
	num := func(from, to int) int {
		x := 0
		for _, c := range b[from:to] {
			if c < '0' || c > '9' {
				return -1
			}
			x = x*10 + int(c-'0')
		}
		return x
	}
	y, mo, d := num(0, 4), num(5, 7), num(8, 10)
	h, mi, s, us := num(11, 13), num(14, 16), num(17, 19), num(20, 26)
	if y < 1 || mo < 0 || d < 0 || h < 0 || mi < 0 || s < 0 || us < 0 {
		return time.Time{}, false
	}
	t := time.Date(y, time.Month(mo), d, h, mi, s, us*1000, time.UTC)
	// Writing it again refuses the 31st of February and wrong separators at once.
	var again [len(atLayout)]byte
	if string(t.AppendFormat(again[:0], atLayout)) != string(b) || t.IsZero() {
		return time.Time{}, false
	}
	return t, true
}

func isHex(b []byte) bool {
	for _, c := range b {
		if (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return false
		}
	}
	return true
}

func validKind(b []byte) bool {
	if len(b) == 0 || len(b) > maxKind || b[0] < 'a' || b[0] > 'z' {
		return false
	}
	for _, c := range b {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '.' && c != '_' && c != '-' {
			return false
		}
	}
	return true
}

func validRules(b []byte) bool {
	if len(b) > maxRules {
		return false
	}
	for _, c := range b {
		if c < ' ' || c > '~' || c == '"' || c == '\\' {
			return false
		}
	}
	return true
}
