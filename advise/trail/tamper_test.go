package trail_test

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"thirdstop/advise/trail"
	"thirdstop/advise/trail/trailtest"
)

const memChain = memDir + "/trail.jsonl"

// goodTrail makes a trail of n records in memory and returns its lines, line feeds included.
func goodTrail(t *testing.T, n int) (d *trailtest.Disk, lines [][]byte, head string) {
	t.Helper()
	d = &trailtest.Disk{}
	tr := create(t, memDir, trail.Options{Disk: d})
	for i := 1; i < n; i++ {
		add(t, tr, map[string]any{"frame": i, "white": -0.31, "note": "held"})
	}
	head = tr.Head().String()
	tr.Close()
	b, _ := d.Content(memChain)
	lines = bytes.SplitAfter(b, []byte("\n"))
	return d, lines[:len(lines)-1], head
}

func TestEveryOneOfManyRandomEditsIsFound(t *testing.T) {
	const n = 12
	d, lines, head := goodTrail(t, n)
	if rep, err := trail.VerifyOn(d, memDir, head); err != nil || rep.Records != n || !rep.HeadFound {
		t.Fatalf("the untouched trail: %+v, %v", rep, err)
	}
	all := bytes.Join(lines, nil)
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 1))
	edits := []struct {
		name string
		do   func() []byte
	}{
		{"a flipped bit", func() []byte {
			b := bytes.Clone(all)
			b[r.IntN(len(b))] ^= 1 << r.IntN(8)
			return b
		}},
		{"another byte", func() []byte {
			b := bytes.Clone(all)
			i := r.IntN(len(b))
			b[i] += byte(1 + r.IntN(255))
			return b
		}},
		{"a removed byte", func() []byte {
			i := r.IntN(len(all))
			return append(bytes.Clone(all[:i]), all[i+1:]...)
		}},
		{"a byte put in", func() []byte {
			i := r.IntN(len(all))
			return append(append(bytes.Clone(all[:i]), byte(r.IntN(256))), all[i:]...)
		}},
		{"a removed line", func() []byte {
			i := r.IntN(n)
			return join(lines[:i], lines[i+1:])
		}},
		{"a doubled line", func() []byte {
			i := r.IntN(n)
			return join(lines[:i+1], lines[i:])
		}},
		{"swapped lines", func() []byte {
			i := r.IntN(n)
			j := (i + 1 + r.IntN(n-1)) % n
			s := append([][]byte(nil), lines...)
			s[i], s[j] = s[j], s[i]
			return join(s)
		}},
		{"an edited number", func() []byte {
			i := 1 + r.IntN(n-1)
			s := append([][]byte(nil), lines...)
			s[i] = bytes.Replace(s[i], fmt.Appendf(nil, `"frame":%d,`, i), fmt.Appendf(nil, `"frame":%d,`, i+1+r.IntN(50)), 1)
			return join(s)
		}},
		{"a changed seq", func() []byte {
			i := r.IntN(n)
			s := append([][]byte(nil), lines...)
			s[i] = bytes.Replace(s[i], fmt.Appendf(nil, `{"seq":%d,`, i+1), fmt.Appendf(nil, `{"seq":%d,`, i+2+r.IntN(5)), 1)
			return join(s)
		}},
		{"a removed end", func() []byte {
			return bytes.Clone(all[:r.IntN(len(all))])
		}},
		{"carriage returns", func() []byte {
			return bytes.ReplaceAll(all, []byte("\n"), []byte("\r\n"))
		}},
	}
	found := 0
	for range 400 {
		for _, e := range edits {
			b := e.do()
			if bytes.Equal(b, all) {
				continue
			}
			d.SetContent(memChain, b)
			rep, err := trail.VerifyOn(d, memDir, head)
			if err == nil {
				t.Fatalf("%s (seed %d) was not found: %+v\n%s", e.name, seed, rep, b)
			}
			if rep.HeadFound && len(rep.Damage) == 0 {
				t.Fatalf("%s (seed %d): %v, but the report shows nothing", e.name, seed, err)
			}
			found++
		}
	}
	t.Logf("%d edits, all found", found)
}

func join(parts ...[][]byte) []byte {
	var b []byte
	for _, p := range parts {
		b = append(b, bytes.Join(p, nil)...)
	}
	return b
}

func TestDamageNamesTheRecordAndWhatIsWrong(t *testing.T) {
	d, lines, head := goodTrail(t, 8)
	edit := func(i int, old, new string) []byte {
		s := append([][]byte(nil), lines...)
		s[i-1] = bytes.Replace(s[i-1], []byte(old), []byte(new), 1)
		if bytes.Equal(s[i-1], lines[i-1]) {
			t.Fatalf("record %d holds no %s", i, old)
		}
		return join(s)
	}
	for _, c := range []struct {
		name    string
		content []byte
		record  uint64
		what    string
		all     int // damages Verify lists
	}{
		{"body of record 4", edit(4, "-0.31", "-0.13"), 4, "it was changed after it was written: record 5 holds another hash of it", 1},
		{"time of record 4", edit(4, "2026", "2025"), 4, "it was changed after it was written", 1},
		{"prev of record 4", edit(4, `"prev":"`+string(lines[3][17:19]), `"prev":"`+flip(lines[3][17:19])), 4, "it fits neither neighbour", 1},
		{"form of record 4", edit(4, `"v":1`, `"v": 1`), 4, "its version is no number", 1},
		{"body of the header", edit(1, `"test"`, `"tess"`), 1, "it was changed after it was written", 1},
		{"prev of the header", edit(1, `"prev":"0`, `"prev":"1`), 1, "its prev is not 64 zeros", 1},
		{"body of record 7", edit(7, "held", "hell"), 7, "it and record 8 do not fit together", 1},
		{"record 4 removed", join(lines[:3], lines[4:]), 4, "it is missing: record 5 follows record 3", 1},
		{"records 1 to 3 removed", join(lines[3:]), 1, "it is missing: the file begins with record 4", 1},
		{"record 4 doubled", join(lines[:4], lines[3:]), 5, "record 4 stands in its place", 1},
		{"4 and 5 swapped", join(lines[:3], [][]byte{lines[4], lines[3]}, lines[5:]), 4, "it is missing", 2},
		{"record 3 too long", join(lines[:2], [][]byte{bytes.Repeat([]byte("x"), trail.MaxLine), []byte("\n")}, lines[3:]), 3, "longer than 4 MiB", 1},
		{"nothing left", nil, 1, "the file holds no whole record", 1},
		{"only half a header", lines[0][:40], 1, "the file holds no whole record", 1},
	} {
		d.SetContent(memChain, c.content)
		rep, err := trail.VerifyOn(d, memDir, head)
		dmg, ok := errors.AsType[*trail.DamageError](err)
		if !ok || dmg.Record != c.record || !strings.Contains(dmg.What, c.what) || len(rep.Damage) != c.all {
			t.Errorf("%s: Verify says %v (%d damages), want record %d, %q, %d", c.name, err, len(rep.Damage), c.record, c.what, c.all)
		}
		_, _, err = trail.Open(memDir, trail.Options{Disk: d})
		dmg, ok = errors.AsType[*trail.DamageError](err)
		if !ok || dmg.Record != c.record || !strings.Contains(dmg.What, c.what) {
			t.Errorf("%s: Open says %v, want record %d, %q", c.name, err, c.record, c.what)
			continue
		}
		// The named line and byte hold that record, if it is there.
		if i := int(dmg.Offset); i > len(c.content) || i > 0 && c.content[i-1] != '\n' || bytes.Count(c.content[:i], []byte("\n")) != dmg.Line-1 {
			t.Errorf("%s: line %d does not begin at byte %d", c.name, dmg.Line, i)
		}
		if now, _ := d.Content(memChain); !bytes.Equal(now, c.content) {
			t.Errorf("%s: Open changed the damaged file", c.name)
		}
	}
}

func flip(b []byte) string {
	s := []byte{b[0], 'a'}
	if b[1] == 'a' {
		s[1] = 'b'
	}
	return string(s)
}

func TestARemovedEndIsFoundByAHeadKeptElsewhereOnly(t *testing.T) {
	d, lines, head := goodTrail(t, 8)
	d.SetContent(memChain, join(lines[:6]))
	if rep, err := trail.VerifyOn(d, memDir, ""); err != nil || rep.Records != 6 {
		t.Errorf("without a head: %+v, %v", rep, err)
	}
	_, err := trail.VerifyOn(d, memDir, head)
	if !errors.Is(err, trail.ErrHead) {
		t.Errorf("with the head: %v", err)
	}
	// An older head stays good while the trail grows.
	d.SetContent(memChain, join(lines))
	_, hash, _ := strings.Cut(head, ":")
	for _, h := range []string{head, hash} {
		tr, _ := open(t, memDir, trail.Options{Disk: d})
		add(t, tr, "later")
		if rep, err := trail.VerifyOn(d, memDir, h); err != nil || !rep.HeadFound || rep.Want.Seq != 8 {
			t.Errorf("the head of record 8 after more records: %+v, %v", rep, err)
		}
		tr.Close()
	}
	if _, err := trail.VerifyOn(d, memDir, "7:"+hash); !errors.Is(err, trail.ErrHead) {
		t.Errorf("the right hash under a wrong number: %v", err)
	}
	if _, err := trail.VerifyOn(d, memDir, "nonsense"); err == nil {
		t.Errorf("a head that is none was accepted")
	}
}

func TestAChainWhoseBodyIsNoJSONIsFound(t *testing.T) {
	// A forger can make the hashes fit; the body still has to be JSON.
	d, lines, _ := goodTrail(t, 3)
	first := bytes.Join(lines, nil)
	r := trail.Record{Seq: 4, Prev: trail.Record{}.Hash(), At: morning, Kind: "input", V: 1}
	tr, _ := open(t, memDir, trail.Options{Disk: d})
	r.Prev = tr.Head().Hash
	tr.Close()
	for _, body := range []string{``, `{`, `1,"x":2`, `1}{`, "\"\xff\"", "\"a\tb\""} {
		r.Body = []byte(body)
		after := trail.Record{Seq: 5, Prev: r.Hash(), At: morning, Kind: "input", V: 1, Body: []byte("1")}
		d.SetContent(memChain, append(append(bytes.Clone(first), r.Line()...), after.Line()...))
		_, err := trail.VerifyOn(d, memDir, "")
		if dmg, ok := errors.AsType[*trail.DamageError](err); !ok || dmg.Record != 4 {
			t.Errorf("body %q: Verify says %v", body, err)
		}
		d.SetContent(memChain, append(bytes.Clone(first), r.Line()...))
		_, _, err = trail.Open(memDir, trail.Options{Disk: d})
		if dmg, ok := errors.AsType[*trail.DamageError](err); !ok || dmg.Record != 4 {
			t.Errorf("body %q as the last one: Open says %v", body, err)
		}
	}
}

// Outside check: the hashes are those of the general tool sha256sum over lines that sed cuts out, as the package
// comment tells people to do it (SHA-256: FIPS 180-4).
func TestTheChainIsVerifiedBySha256sum(t *testing.T) {
	for _, tool := range []string{"sh", "sed", "sha256sum"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("%s is not installed", tool)
		}
	}
	dir := t.TempDir()
	tr := create(t, dir, trail.Options{})
	for i := range 20 {
		add(t, tr, strings.Repeat("é\n", i*i))
	}
	ref, err := tr.Keep("it's the cox's é")
	if err != nil {
		t.Fatal(err)
	}
	add(t, tr, ref)
	run := func(script string, args ...string) string {
		cmd := exec.Command("sh", append([]string{"-c", script, "sh"}, args...)...)
		cmd.Dir = dir
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("%s: %v", script, err)
		}
		return string(out[:64])
	}
	all := readAll(t, dir)
	for i, r := range all {
		got := run(`sed -n "$1"p trail.jsonl | sha256sum`, fmt.Sprint(r.Seq))
		want := tr.Head().Hash
		if i+1 < len(all) {
			want = all[i+1].Prev
		}
		if got != want {
			t.Errorf("sha256sum of line %d is %s, the chain says %s", r.Seq, got, want)
		}
	}
	names, err := os.ReadFile(filepath.Join(dir, "names.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	const before = `{"id":"","salt":"`
	salt := string(names[len(before)+32 : len(before)+64])
	if got := run(`printf '%s%s' "$1" "$2" | sha256sum`, salt, "it's the cox's é"); got != ref.Hash {
		t.Errorf("sha256sum of salt and text is %s, the ref says %s", got, ref.Hash)
	}
}
