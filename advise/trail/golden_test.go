package trail_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thirdstop/advise/trail"
)

// A trail that format 1's first program wrote is read for good. The files are never written again; a later format
// gets a folder of its own beside this one.
func TestFormat1IsReadForGood(t *testing.T) {
	const dir = "testdata/format1"
	second := func(s int, us int) time.Time { return time.Date(2026, 11, 25, 9, 0, s, us*1000, time.UTC) }
	want := []struct {
		at    time.Time
		kind  string
		v     int
		rules string
		body  string
	}{
		{second(0, 0), "header", 1, "1", `{"format":1,"shoot":"7c46e5727d92dc9a9369f1da196621a5","program":"0.1.0","about":{"backdrop":"white"}}`},
		{second(1, 123456), "input", 1, "1", `{"frame":1,"path":{"kept":"30b0eca984bbc340d5e058bfb5717b20","sha256":"ca74b43c93d96d277ebdefa96bcd84d0f7d532281fdfc2aa01acaf2cf60ff9b9"},"white_stops":-0.31}`},
		{second(1, 200000), "output", 1, "1", `{"frame":1,"text":"Key (B): power down 2/3 stop, set 1/8 + 1/3"}`},
		{second(2, 0), "input", 2, "1", `{"note":[{"kept":"349906fe0823cca40f6641afbcbe1e14","sha256":"a0665a000000189f931a7e75c6faf3b656319ba703c5c16e5c84b2ae63615d9d"},{"kept":"9da521cfe20791f52ecf56b1d497c36e","sha256":"8249107da599c61e6d7c3c447be50c63a5710f09c6c3844e5b028f682fe107a9"},{"kept":"99239e96d3d860ffd006c9c616289de6","sha256":"5c79efa3d0a3d1444651b5bcd0368e1ea239ebffcbd62af35e724c2e5c222138"}],"text":"<b>&\u2028 \"é\" \n ½"}`},
		{time.Date(1, 1, 1, 0, 0, 0, 1000, time.UTC), "input", 999999999, "", `null`},
		{time.Date(9999, 12, 31, 23, 59, 59, 999999000, time.UTC), "a.b_c-9", 0, " !#~", `"` + strings.Repeat("x", 300) + `"`},
	}
	got := readAll(t, dir)
	if len(got) != len(want) {
		t.Fatalf("%d records, want %d", len(got), len(want))
	}
	for i, w := range want {
		r := got[i]
		if r.Seq != uint64(i+1) || !r.At.Equal(w.at) || r.Kind != w.kind || r.V != w.v || r.Rules != w.rules || string(r.Body) != w.body {
			t.Errorf("record %d is %+v, want %+v", i+1, r, w)
		}
	}

	// The head's hash is what sha256sum (GNU coreutils) printed for the last line.
	const head = "6:6fa1ea3390f5716398dbc2bc2b46b8a31cfcf89afe79620fc30feb58f8fe154d"
	rep, err := trail.Verify(dir, head)
	if err != nil || rep.Records != 6 || !rep.HeadFound || rep.Kept != 3 || rep.Erased != 1 || len(rep.Missing) != 0 {
		t.Errorf("Verify: %+v, %v", rep, err)
	}

	// It can be gone on with, too: on a copy.
	copied := t.TempDir()
	for _, name := range []string{"trail.jsonl", "names.jsonl"} {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(copied, name), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	tr, repairs := open(t, copied, trail.Options{})
	if len(repairs) != 0 || tr.Head().String() != head {
		t.Errorf("opened at %v with repairs %v", tr.Head(), repairs)
	}
	for ref, text := range map[trail.Ref]string{
		{ID: "30b0eca984bbc340d5e058bfb5717b20", Hash: "ca74b43c93d96d277ebdefa96bcd84d0f7d532281fdfc2aa01acaf2cf60ff9b9"}: "committee/boat-house-0001.jpg",
		{ID: "99239e96d3d860ffd006c9c616289de6", Hash: "5c79efa3d0a3d1444651b5bcd0368e1ea239ebffcbd62af35e724c2e5c222138"}: "committee/caf\xe9.jpg",
	} {
		if got, err := tr.Text(ref); err != nil || got != text {
			t.Errorf("text %s is %q, %v; want %q", ref.ID, got, err, text)
		}
	}
	if _, err := tr.Text(trail.Ref{ID: "9da521cfe20791f52ecf56b1d497c36e"}); !errors.Is(err, trail.ErrErased) {
		t.Errorf("the erased text: %v", err)
	}
	if r := add(t, tr, "on"); fmt.Sprintf("%d:%s", r.Seq-1, r.Prev) != head {
		t.Errorf("the next record follows %d:%s", r.Seq-1, r.Prev)
	}
}
