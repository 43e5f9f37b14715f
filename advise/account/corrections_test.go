package account

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thirdstop/advise/plan"
	"thirdstop/advise/trail"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// corrected is a shoot whose baseline is its first frame.
func corrected(frames ...Frame) *Account {
	a := &Account{ID: "20261125-090000-ALDERQ", Head: trail.Head{Seq: 9, Hash: strings.Repeat("a", 64)}, Header: trail.Header{Program: "test & <more>"}}
	a.Final.Baseline = 1
	for i, f := range frames {
		f.Number, f.Revision, f.Stands, f.Kind = i+1, 1, true, assess.Full
		f.Hash, f.Content = strings.Repeat("b", 64), strings.Repeat("c", 64)
		a.Frames = append(a.Frames, f)
	}
	return a
}

func at(v float64) *Region { return &Region{Value: exposure.Stops(v), Sigma: 0.05} }

func TestCorrectionsBringFramesToTheBaseline(t *testing.T) {
	clipped := at(0)
	clipped.AtLeast = true
	a := corrected(
		Frame{White: at(-0.2), Backdrop: at(-1), Cast: &Colour{0.02, -0.03}, CastOf: "white reference"},
		Frame{White: at(-0.5), Cast: &Colour{-0.08, 0.07}, CastOf: "white reference"},
		Frame{White: clipped, Cast: &Colour{0, 0}, CastOf: "backdrop"},
		Frame{Backdrop: at(-1.4)},
		Frame{Sitting: at(-3)},
	)
	got, err := a.Corrections()
	if err != nil || len(got) != 5 {
		t.Fatalf("%d corrections, %v", len(got), err)
	}
	if c := got[0]; c.Exposure.Value != 0 || *c.White != (Colour{}) || c.Why != "" {
		t.Errorf("the baseline itself: %+v", c)
	}
	// What develops it by this much brings it to the baseline: level and colour added give those of the baseline.
	if c := got[1]; c.Exposure.Value != 0.3 || c.From != "white reference" || *c.White != (Colour{Red: 0.1, Blue: -0.1}) ||
		math.Abs(float64(c.Exposure.Sigma)-0.071) > 1e-9 { // hypot(0.05, 0.05), to three decimals
		t.Errorf("a darker frame: %+v %+v", c, c.Exposure)
	}
	if c := got[2]; c.Exposure != nil || c.White != nil || !strings.Contains(c.Why, "exposure: ") || !strings.Contains(c.Why, "white balance: ") {
		t.Errorf("a clipped frame: %+v", c)
	}
	if c := got[3]; c.Exposure == nil || c.Exposure.Value != 0.4 || c.From != "backdrop" {
		t.Errorf("without a background light the backdrop tells: %+v", c)
	}
	if c := got[4]; c.Exposure != nil {
		t.Errorf("a sitter alone tells an exposure: %+v", c)
	}
	a.Final.Plan = &plan.Plan{Lights: []plan.Light{{Role: plan.Background}}}
	if got, _ := a.Corrections(); got[3].Exposure != nil {
		t.Error("the backdrop tells of the key although a light of its own makes it")
	}
	a.Final.Baseline = 0
	if _, err := a.Corrections(); !errors.Is(err, ErrNoBaseline) {
		t.Errorf("without a baseline: %v", err)
	}
}

// A median between codes: ten blocks at 100 and thirty at 101 have their middle a third of the way into code 101 (derived here).
func TestTheMedianLiesBetweenCodes(t *testing.T) {
	counts := make([]int32, 102)
	counts[100], counts[101] = 10, 30
	if m, ok := median(counts); !ok || math.Abs(m-(100.5+1.0/3)) > 1e-12 {
		t.Errorf("median = %v, %v", m, ok)
	}
	if _, ok := median(make([]int32, 5)); ok {
		t.Error("nothing has a median")
	}
}

// plainXML reads the packet's properties with the standard library's reader.
func plainXML(t *testing.T, packet []byte) map[string]string {
	t.Helper()
	out := map[string]string{}
	d := xml.NewDecoder(bytes.NewReader(packet))
	name := ""
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return out
		}
		if err != nil {
			t.Fatalf("the packet is no XML: %v\n%s", err, packet)
		}
		switch x := tok.(type) {
		case xml.StartElement:
			name = x.Name.Space + x.Name.Local
		case xml.EndElement:
			name = ""
		case xml.CharData:
			if name != "" && strings.TrimSpace(string(x)) != "" {
				out[name] += string(x)
			}
		}
	}
}

var awkward = Correction{Number: 7, Revision: 2, Record: 40, Hash: strings.Repeat("b", 64), Content: strings.Repeat("c", 64), File: "stroke/AQ \"7\" <é&>.JPG",
	Exposure: &Region{Value: -0.3333, Sigma: 0.07}, From: "white reference", White: &Colour{Red: 0.1, Blue: -0.05}, WhiteFrom: "backdrop"}

func TestAPacketHoldsItsCorrection(t *testing.T) {
	a := corrected()
	packet := a.XMP(awkward, time.Date(2026, 11, 25, 15, 0, 0, 0, time.UTC))
	// ISO 16684-1 (from memory; ExifTool is the outside check below): the wrapper's begin is U+FEFF, its id this one, its end r or w.
	if !bytes.HasPrefix(packet, []byte("<?xpacket begin=\"\xef\xbb\xbf\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n")) || !bytes.HasSuffix(packet, []byte("<?xpacket end=\"w\"?>\n")) {
		t.Errorf("the wrapper is %.80q ... %q", packet, packet[max(0, len(packet)-30):])
	}
	got := plainXML(t, packet)
	for name, want := range map[string]string{
		"http://ns.adobe.com/xap/1.0/CreatorTool": "thirdstop test & <more>", "http://ns.adobe.com/xap/1.0/MetadataDate": "2026-11-25T15:00:00Z",
		"http://purl.org/dc/elements/1.1/source": "AQ \"7\" <é&>.JPG", "http://purl.org/dc/elements/1.1/identifier": "sha256:" + strings.Repeat("c", 64),
		XMPNamespace + "ExposureStops": "-0.333", XMPNamespace + "ExposureSigmaStops": "0.070", XMPNamespace + "RedGreenStops": "0.100",
		XMPNamespace + "BlueGreenStops": "-0.050", XMPNamespace + "Frame": "7", XMPNamespace + "Head": a.Head.String(),
	} {
		if got[name] != want {
			t.Errorf("%s = %q, want %q", name, got[name], want)
		}
	}
}

// ExifTool is the other reader: it must find all properties where the standard puts them, and nothing to warn of.
func TestExifToolReadsThePackets(t *testing.T) {
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("exiftool is missing, and under CI the packets must be read by another program")
		}
		t.Skip("skipped: exiftool is not installed")
	}
	name := filepath.Join(t.TempDir(), "7.xmp")
	if err := os.WriteFile(name, corrected().XMP(awkward, time.Date(2026, 11, 25, 15, 0, 0, 0, time.UTC)), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(tool, "-j", "-G1", "-a", "-validate", "-warning", "-XMP:all", name).Output()
	if err != nil {
		t.Fatal(err)
	}
	var got []map[string]any
	if err := json.Unmarshal(out, &got); err != nil || len(got) != 1 {
		t.Fatalf("%v: %s", err, out)
	}
	for tag, want := range map[string]any{"XMP-xmp:CreatorTool": "thirdstop test & <more>", "XMP-dc:Source": "AQ \"7\" <é&>.JPG", "XMP-light:ExposureStops": -0.333,
		"XMP-light:RedGreenStops": 0.1, "XMP-light:BlueGreenStops": -0.05, "XMP-light:Frame": float64(7), "XMP-light:RecordSHA256": strings.Repeat("b", 64)} {
		if got[0][tag] != want {
			t.Errorf("exiftool reads %s as %v (%T), want %v", tag, got[0][tag], got[0][tag], want)
		}
	}
	if w, warned := got[0]["ExifTool:Warning"]; warned {
		t.Errorf("exiftool warns: %v", w)
	}
}

func TestPacketsLieUnderTheirFolderWhateverAFileIsCalled(t *testing.T) {
	for file, want := range map[string]string{
		"AQ_1.JPG": "AQ_1.xmp", "stroke/AQ_1.cr3": filepath.Join("stroke", "AQ_1.xmp"), "": "frame-0000007.xmp", "../../etc/passwd.jpg": "frame-0000007.xmp",
		"/etc/x.jpg": "frame-0000007.xmp", "a\\..\\b.jpg": "frame-0000007.xmp", "c:x.jpg": "frame-0000007.xmp", ".jpg": "frame-0000007.xmp",
	} {
		if got := (Correction{Number: 7, File: file}).XMPName(); got != want {
			t.Errorf("the packet of %q is called %q, want %q", file, got, want)
		}
	}
}

func FuzzPacketsAreXML(f *testing.F) {
	f.Add("stroke/Q.jpg", "why")
	f.Fuzz(func(t *testing.T, file, why string) {
		c := awkward
		c.File, c.Why = file, why
		plainXML(t, corrected().XMP(c, time.Unix(0, 0)))
		if name := c.XMPName(); !filepath.IsLocal(name) {
			t.Errorf("the packet of %q would lie at %q", file, name)
		}
	})
}
