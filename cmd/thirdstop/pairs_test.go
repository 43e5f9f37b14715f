package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"thirdstop/assess/photo"
	"thirdstop/testdata"
)

// rawAround is a raw file as TIFF-based cameras write it, in what the daemon looks at: a TIFF header (TIFF 6.0, with the mark
// of a CR2 at byte 8 where asked for) and a directory that leads to a JPEG preview (Exif 2.3 tags 0x0201 and 0x0202).
func rawAround(preview []byte, cr2 bool) []byte {
	var b bytes.Buffer
	b.WriteString("II*\x00\x10\x00\x00\x00")
	if cr2 {
		b.WriteString("CR\x02\x00\x00\x00\x00\x00")
	} else {
		b.Write(make([]byte, 8))
	}
	w := func(v any) { binary.Write(&b, binary.LittleEndian, v) }
	entries := [][2]uint32{{0x0201, 0}, {0x0202, uint32(len(preview))}}
	at := uint32(16 + 2 + 12*len(entries) + 4)
	entries[0][1] = at
	w(uint16(len(entries)))
	for _, e := range entries {
		w(uint16(e[0]))
		w(uint16(4)) // LONG
		w(uint32(1))
		w(e[1])
	}
	w(uint32(0))
	b.Write(preview)
	return b.Bytes()
}

// Cameras set to raw and JPEG send both, seconds apart and in either order. Real raw files come from the collection, two of them
// without a preview that can be measured, and one a JPEG under a raw file's name; the others are built around the JPEG itself, so
// that their preview has all its pixels. A JPEG whose transfer broke off lies beside them all the time.
func TestARawBesideItsJPEGIsALateRevisionInEitherOrder(t *testing.T) {
	read := func(name string) []byte {
		t.Helper()
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	var jpeg []byte
	for _, s := range testdata.Samples(t) { // the largest that is whole and as its camera wrote it
		data := read(s)
		if len(data) <= len(jpeg) || photo.Whole(s, bytes.NewReader(data), int64(len(data))) != nil {
			continue
		}
		if p, err := photo.Read(s, data); err == nil && !p.Labelled(photo.LabelReduced) {
			jpeg = data
		}
	}
	raws := map[string][]byte{"built.nef": rawAround(jpeg, false), "built.arw": rawAround(jpeg, false), "built.cr2": rawAround(jpeg, true)}
	for ending, elem := range map[string]string{"real.cr3": "exiv2/Canon-R6-pruned.CR3", "bare.nef": "exiftool-t-images/Nikon.nef",
		"bare.cr2": "exiftool-t-images/CanonRaw.cr2", "odd.nef": "metadata-extractor-images/Issue_247-1.nef"} {
		if name := testdata.Photos(t, elem); name != "" {
			raws[ending] = read(name)
		}
	}
	home := lonely(t)
	captures := filepath.Join(home, "captures")
	if err := os.Mkdir(captures, 0o755); err != nil {
		t.Fatal(err)
	}
	d := started(t, "--data", home, "--listen", "127.0.0.1:0", captures)
	put := func(name string, data []byte) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(captures, name), data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	put("Q_9999.JPG", jpeg[:2*len(jpeg)/3])
	n, logged := 0, 0
	arrives := func(name string, data []byte) {
		t.Helper()
		put(name, append([]byte{}, data...))
		logged++
		until(t, name+" is taken", func() bool { return strings.Count(d.log.String(), `"message":"frame"`) == logged })
	}
	for name, raw := range raws {
		_, ending, _ := strings.Cut(name, ".")
		for _, jpegFirst := range []bool{true, false} {
			n++
			// A comment behind the start marker makes each another content.
			mine := append([]byte(fmt.Sprintf("\xff\xd8\xff\xfe\x00\x06%04d", n)), jpeg[2:]...)
			first, second := fmt.Sprintf("Q_%04d.JPG", n), fmt.Sprintf("Q_%04d.%s", n, strings.ToUpper(ending))
			one, two := mine, raw
			if !jpegFirst {
				first, second, one, two = second, first, two, one
			}
			arrives(first, one)
			arrives(second, two)
			_, f := d.call(fmt.Sprintf("/api/v1/readings/%d", n), nil)
			r, _ := f["reading"].(map[string]any)
			if r == nil {
				r = f
			}
			if r["kind"] != "full" {
				t.Errorf("%s, the JPEG first: %v: the frame's reading is %v (%vx%v), want that of the JPEG", name, jpegFirst, r["kind"], r["width"], r["height"])
			}
			_, s := d.call("/api/v1/state", nil)
			want := map[bool]float64{true: 1, false: 2}[jpegFirst] // as which the JPEG came
			if got := s["frame"].(map[string]any); s["frame_count"] != float64(n) || got["number"] != float64(n) || got["revision"] != want {
				t.Errorf("%s, the JPEG first: %v: %v frames, the newest is %v as revision %v; want frame %d, revision %v", name, jpegFirst,
					s["frame_count"], got["number"], got["revision"], n, want)
			}
		}
	}
	var broken []any
	until(t, "the broken file is logged", func() bool {
		_, events := d.call("/api/v1/events?after=0&limit=1000", nil)
		broken = nil
		for _, e := range events["events"].([]any) {
			if e := e.(map[string]any); e["words"] == "Q_9999.JPG" {
				broken = append(broken, e)
			}
		}
		return len(broken) > 0
	})
	if e := broken[0].(map[string]any); len(broken) != 1 || e["kind"] != "damaged" || !strings.Contains(e["text"].(string), "ends too early") {
		t.Errorf("of the broken file the log has %v", broken)
	}
	if s := d.state("a state", func(map[string]any) bool { return true }); s["frame_count"] != float64(n) {
		t.Errorf("the broken file makes the frames %v, want %d", s["frame_count"], n)
	}
	id := regexp.MustCompile(`shoot (\S+) begins`).FindStringSubmatch(d.out.String())[1]
	if c := d.stop(); c != 0 {
		t.Errorf("stopped with %d: %s", c, d.out)
	}
	for _, verb := range []string{"verify", "replay"} {
		if code, out, errs := ran(t, "trail", verb, "--data", home, id); code != 0 {
			t.Errorf("trail %s = %d %s %s", verb, code, out, errs)
		}
	}
}
