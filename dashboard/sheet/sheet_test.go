package sheet_test

import (
	"bytes"
	"encoding/xml"
	"fmt"
	entities "html"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"thirdstop/advise/account"
	"thirdstop/advise/plan"
	"thirdstop/dashboard/sheet"
	"thirdstop/dashboard/sheet/sheettest"
)

func written(t *testing.T, a *account.Account, o sheet.Options) string {
	t.Helper()
	var b bytes.Buffer
	if err := sheet.Write(&b, a, o); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func picture(frame, revision int, large bool) []byte {
	img := image.NewRGBA(image.Rect(0, 0, 320, 400))
	for i := range img.Pix {
		img.Pix[i] = 0xf4
	}
	for y := 140; y < 400; y++ {
		for x := 110; x < 210; x++ {
			img.Set(x, y, color.RGBA{0x30, 0x40, 0x58, 0xff})
		}
	}
	var b bytes.Buffer
	jpeg.Encode(&b, img, nil)
	return b.Bytes()
}

func TestASheetNeedsNothingBesideIt(t *testing.T) {
	html := written(t, sheettest.Shoot(48), sheet.Options{Pictures: picture})
	if name := os.Getenv("THIRDSTOP_SHEET"); name != "" { // to look at it
		if err := os.WriteFile(name, []byte(html), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, bad := range []string{"<script", "<link", "<iframe", "src=\"http", "href=", "url(", "@import", "javascript:"} {
		if at := strings.Index(html, bad); at >= 0 {
			t.Errorf("the sheet holds %q: ...%s", bad, html[at:min(at+60, len(html))])
		}
	}
	if m := regexp.MustCompile(`(?i)<[^>]*\son[a-z]+=`).FindString(html); m != "" {
		t.Errorf("an element with a handler: %s", m)
	}
	if m := regexp.MustCompile(`(?i)<[^>]*\sstyle=`).FindString(html); m != "" {
		t.Errorf("an element with a style of its own, which the policy forbids: %s", m)
	}
	if strings.Contains(html, "<of the") || !strings.Contains(html, "&lt;of the") {
		t.Error("a sitter's name is not taken as text")
	}
	shown := entities.UnescapeString(html)
	if n := strings.Count(html, "<figure>"); n != 3 {
		t.Errorf("%d pictures of three sitters", n)
	}
	for _, want := range []string{"Alder Quay Rowing Club, committee portraits", "f/8", "1/125 s", "ISO 100", "Key (B)", "1/8 + 1/3", "shoot-through umbrella, 1 m",
		"1.2 m", "45° right", "150° left", "1.9 m", "Frame 12", "data:image/jpeg;base64,", "a light did not fire", "Background (A) did not fire.", "committee/AQ_0024.jpg",
		strings.Repeat("5f8a", 16), "maker's manual", "--head"} {
		if !strings.Contains(shown, want) {
			t.Errorf("the sheet does not show %q", want)
		}
	}
}

func TestEveryDrawingOfASheetIsWellFormed(t *testing.T) {
	for _, n := range []int{1, 2, 48, 250, 3000} {
		html := written(t, sheettest.Shoot(n), sheet.Options{})
		all := regexp.MustCompile(`(?s)<svg.*?</svg>`).FindAllString(html, -1)
		if len(all) < 2 {
			t.Fatalf("%d frames: %d drawings", n, len(all))
		}
		for _, svg := range all {
			d := xml.NewDecoder(strings.NewReader(svg))
			for {
				if _, err := d.Token(); err == io.EOF {
					break
				} else if err != nil {
					t.Fatalf("%d frames: %v in %.200s", n, err, svg)
				}
			}
			if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
				t.Errorf("%d frames: a drawing holds what is no number", n)
			}
		}
		if len(html) > 600_000 {
			t.Errorf("%d frames make a sheet of %d bytes", n, len(html))
		}
	}
}

// The distances in the drawing, measured with a ruler, are those of the plan (1.2 m and 1.9 m to the sitter, 2.4 m from there to the
// backdrop), at the scale that it states; and the key stands 45 degrees to the right of the camera, which is down on the paper.
func TestTheDiagramIsToScale(t *testing.T) {
	html := written(t, sheettest.Shoot(12), sheet.Options{})
	scale, err := strconv.ParseFloat(regexp.MustCompile(`1 : (\d+) when printed`).FindStringSubmatch(html)[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	num := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	c := regexp.MustCompile(`<circle cx="([\d.]+)" cy="([\d.]+)" r="[\d.]+" class="sitter"`).FindStringSubmatch(html)
	sx, sy := num(c[1]), num(c[2])
	metres := func(x, y float64) float64 { return math.Hypot(x-sx, y-sy) * scale / 1000 }
	lamps := regexp.MustCompile(`translate\(([\d.]+) ([\d.]+)\)`).FindAllStringSubmatch(html, -1)
	if len(lamps) != 3 {
		t.Fatalf("%d lamps", len(lamps))
	}
	for i, want := range []float64{0, 1.2, 1.9} {
		x, y := num(lamps[i][1]), num(lamps[i][2])
		if got := metres(x, y); want > 0 && math.Abs(got-want) > 0.002 {
			t.Errorf("light %d stands %.3f m from the sitter, the plan says %v", i, got, want)
		}
		if want == 1.2 {
			if deg := math.Atan2(x-sx, y-sy) * 180 / math.Pi; math.Abs(deg-45) > 0.2 {
				t.Errorf("the key stands at %.1f degrees, the plan says 45 right", deg)
			}
		}
	}
	b := regexp.MustCompile(`<line x1="[\d.]+" y1="([\d.]+)" x2="[\d.]+" y2="[\d.]+" class="backdrop"`).FindStringSubmatch(html)
	if got := metres(sx, num(b[1])); math.Abs(got-2.4) > 0.002 {
		t.Errorf("the backdrop hangs %.3f m behind the sitter, the plan says 2.4", got)
	}
	// The background light's distance is to the backdrop.
	if got := (num(lamps[0][2]) - num(b[1])) * scale / 1000; math.Abs(got-1.1) > 0.002 {
		t.Errorf("the background light stands %.3f m from the backdrop, the plan says 1.1", got)
	}
}

func TestASheetSaysWhatIsNotKnown(t *testing.T) {
	a := sheettest.Shoot(5)
	p := *a.Final.Plan
	p.Backdrop.Distance = 0
	p.Lights = append([]plan.Light(nil), p.Lights...)
	for i := range p.Lights {
		p.Lights[i].Distance, p.Lights[i].Direction = 0, plan.Direction{}
	}
	for i := range a.Final.Lights {
		a.Final.Lights[i].Distance = 0
	}
	a.Final.Plan, a.AtBaseline.Plan = &p, nil
	a.Final.Baseline = 0
	html := written(t, a, sheet.Options{})
	for _, want := range []string{"The distance of the backdrop is not in the plan", "The direction of Key (B) is not in the plan", "The distance of Fill (C)", "as they stood at the end",
		"No baseline was accepted"} {
		if !strings.Contains(html, want) {
			t.Errorf("the sheet does not say %q", want)
		}
	}
	a.Final.Plan, a.Frames, a.Sitters, a.Turns = nil, nil, nil, nil
	if html := written(t, a, sheet.Options{}); !strings.Contains(html, "There was no light plan") {
		t.Error("a shoot without plan and frames says nothing of it")
	}
}

func TestALongListIsCutAndCounted(t *testing.T) {
	a := sheettest.Shoot(400)
	off := 0
	for i := range a.Frames {
		a.Frames[i].Marks = []string{"absent"}
		off++
	}
	html := written(t, a, sheet.Options{})
	if want := fmt.Sprintf("And %d more", off-60); !strings.Contains(html, want) {
		t.Errorf("the sheet does not say %q", want)
	}
}
