package trail

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"
	"time"
)

// someTrail is a small valid trail as bytes.
func someTrail() []byte {
	at := time.Date(2026, 11, 25, 9, 0, 0, 1000, time.UTC)
	var all []byte
	prev := string(zeroHash[:])
	for i, body := range []string{`{"format":1,"shoot":"x","program":"","about":null}`, `{"frame":1}`, `[]`, `"é"`} {
		r := Record{Seq: uint64(i + 1), Prev: prev, At: at, Kind: "input", V: 1, Rules: "r1", Body: json.RawMessage(body)}
		if i == 0 {
			r.Kind = headerKind
		}
		all = append(all, r.Line()...)
		prev = r.Hash()
	}
	return all
}

// FuzzTrail: whatever the bytes are, reading ends without a panic; what was read is a beginning of them to the byte;
// and Verify finds fault wherever reading does.
func FuzzTrail(f *testing.F) {
	good := someTrail()
	f.Add(good)
	f.Add(good[:len(good)-1])
	f.Add(good[:len(good)/2])
	f.Add(bytes.ReplaceAll(good, []byte("input"), []byte("header")))
	f.Add([]byte("{\"seq\":1,\"prev\":\"\n"))
	f.Add([]byte("\n\n\n"))
	f.Add([]byte{})
	f.Add(bytes.Replace(good, []byte(`"seq":2`), []byte(`"seq":18446744073709551615`), 1))
	f.Fuzz(func(t *testing.T, b []byte) {
		var same []byte
		var end error
		for r, err := range read("trail.jsonl", bytes.NewReader(b)) {
			if err != nil {
				end = err
				break
			}
			same = append(same, r.Line()...)
		}
		if !bytes.HasPrefix(b, same) {
			t.Fatalf("read %q from %q", same, b)
		}
		if end == nil && len(same) != len(b) {
			t.Fatalf("reading ended well after %d of %d bytes", len(same), len(b))
		}
		if end == ErrUnfinished && bytes.IndexByte(b[len(same):], '\n') >= 0 {
			t.Fatalf("%q is called unfinished", b[len(same):])
		}
		var rep Report
		err := rep.chain("trail.jsonl", bytes.NewReader(b), int64(len(b)), map[nameID]string{})
		bad := end != nil && end != ErrUnfinished
		if found := err != nil || len(rep.Damage) > 0; found != bad && len(same) > 0 {
			t.Fatalf("reading ends with %v, verifying with %v, %v", end, err, rep.Damage)
		}
		if dmg, ok := errors.AsType[*DamageError](end); ok && (dmg.Record == 0 || dmg.Offset > int64(len(b))) {
			t.Fatalf("damage at record %d, byte %d of %d", dmg.Record, dmg.Offset, len(b))
		}
	})
}

// FuzzNames: whatever the bytes of the side file are, a text that is given is one whose hash was asked for.
func FuzzNames(f *testing.F) {
	id, salt := strings.Repeat("0a", 16), strings.Repeat("1b", 16)
	f.Add(writeNameLine(id, salt, "stroke"))
	f.Add(writeNameLine(id, salt, "\xff"))
	f.Add([]byte(`{"id":"` + id + `","erased":true}` + "\n"))
	f.Add([]byte(`{"id":"` + id + `","salt":"` + salt + `","text":"a","base64":"YQ=="}` + "\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		key, _ := parseID(id)
		rep := Report{}
		refs := map[nameID]string{key: textHash(salt, "stroke")}
		if err := rep.sideFile(bytes.NewReader(b), refs); err != nil {
			t.Fatal(err)
		}
		if rep.Kept+rep.Erased+len(rep.Altered)+len(refs) != 1 {
			t.Fatalf("one ref became %+v and %v", rep, refs)
		}
		_, text, hash, err := readNameLine(b)
		if err == nil && hash == textHash(salt, "stroke") && text != "stroke" && !strings.HasSuffix(salt+"stroke", text) {
			t.Fatalf("text %q has the hash of another", text)
		}
	})
}

// FuzzLines: cutting into lines gives every byte once, however the reader delivers them, against bytes.SplitAfter.
func FuzzLines(f *testing.F) {
	f.Add([]byte("a\nbb\n\nccc"), 3)
	f.Add([]byte("aaaaaaaaaaaa\nb\n"), 4)
	f.Add([]byte("aaaaaaaaaaaa"), 4)
	f.Fuzz(func(t *testing.T, b []byte, max int) {
		max = 1 + (max&0x7fffffff)%64
		for _, r := range []io.Reader{bytes.NewReader(b), iotest.OneByteReader(bytes.NewReader(b)), iotest.DataErrReader(iotest.HalfReader(bytes.NewReader(b)))} {
			ls := newLines(r, max)
			want := bytes.SplitAfter(b, []byte("\n"))
			if len(want[len(want)-1]) == 0 {
				want = want[:len(want)-1]
			}
			off := int64(0)
			for i, w := range want {
				line, n, state, err := ls.next()
				ends := bytes.HasSuffix(w, []byte("\n"))
				switch {
				case err != nil, n != int64(len(w)), (state == unfinished) == ends, state == whole && !bytes.Equal(line, w), state == overlong && len(w) <= max, state == whole && len(w) > max:
					t.Fatalf("max %d: line %d is %q, %d, %v, %v; want %q", max, i, line, n, state, err, w)
				}
				if off += n; ls.off != off {
					t.Fatalf("after line %d the offset is %d, want %d", i, ls.off, off)
				}
				if len(ls.buf) > max {
					t.Fatalf("%d bytes are held, want %d at most", len(ls.buf), max)
				}
			}
			if _, _, _, err := ls.next(); err != io.EOF {
				t.Fatalf("after the last line: %v", err)
			}
		}
	})
}

func TestAReaderThatGivesNothingIsAnError(t *testing.T) {
	for _, err := range read("trail.jsonl", iotest.TimeoutReader(iotest.OneByteReader(bytes.NewReader(someTrail())))) {
		if !errors.Is(err, iotest.ErrTimeout) {
			t.Errorf("error is %v", err)
		}
	}
	for _, err := range read("trail.jsonl", nothing{}) {
		if !errors.Is(err, io.ErrNoProgress) {
			t.Errorf("error is %v", err)
		}
	}
}

type nothing struct{}

func (nothing) Read([]byte) (int, error) { return 0, nil }

// FuzzLine: a line that is accepted has one spelling only, the one we write.
func FuzzLine(f *testing.F) {
	for line := range bytes.Lines(someTrail()) {
		f.Add(line)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		v, what := parseLine(b)
		if what != "" || faultInBody(v.body) != "" {
			return
		}
		r := v.record()
		if !bytes.Equal(r.Line(), b) {
			t.Fatalf("%q is written again as %q", b, r.Line())
		}
		if _, err := newRecord(r.Seq, r.Prev, r.Kind, r.V, r.Rules, r.At, r.Body); err != nil {
			t.Fatalf("%q was read, but would not be written: %v", b, err)
		}
	})
}
