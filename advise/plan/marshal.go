package plan

import (
	"bytes"
	_ "embed"
	"fmt"
	"math"
	"strconv"
	"strings"

	"thirdstop/assess/exposure"
)

//go:embed example.yaml
var example string

// Annotated is the documented example: every key of a plan, explained. [Parse]
// reads it without faults.
func Annotated() []byte { return []byte(example) }

// Marshal writes the plan in its canonical form. [Parse] reads back the same plan, for
// every plan that it returned or that [FromAnswers] made. Defaults are written out, so that a later
// version of this program with other defaults aims at the same levels.
func (p Plan) Marshal() []byte {
	var w writer
	w.line("# A light plan. `thirdstop plan new -` shows an example with every key explained.")
	w.pair(0, "version", strconv.Itoa(FormatVersion), "")
	if p.Shoot != "" {
		w.pair(0, "shoot", quoted(p.Shoot), "")
	}
	if c := p.Camera; c != (Camera{}) {
		w.line("")
		w.line("camera:")
		if c.FNumber > 0 {
			letter := "f/"
			if c.TStops {
				letter = "T"
			}
			w.pair(1, "aperture", letter+shortest(float64(c.FNumber)), "")
		}
		if c.Shutter > 0 {
			w.pair(1, "shutter", seconds(c.Shutter), "")
		}
		if c.ISO > 0 {
			w.pair(1, "iso", shortest(float64(c.ISO)), "")
		}
		if c.Sync > 0 {
			w.pair(1, "sync", seconds(c.Sync), "the shortest time that shows no dark band")
		}
	}
	w.line("")
	w.line("backdrop:")
	w.pair(1, "colour", string(p.Backdrop.Colour), "")
	if p.Backdrop.Distance > 0 {
		w.pair(1, "distance", metres(p.Backdrop.Distance), "from the sitter")
	}
	w.line("")
	w.line("lights:")
	for _, l := range p.Lights {
		w.light(l)
	}
	for _, m := range p.Reflectors {
		w.reflector(m)
	}
	w.line("")
	w.line("targets: # levels in stops to clipping: 0 is the edge, -1 one stop under it")
	t := p.Targets
	w.band("white_floor", t.WhiteFloor, "the backdrop's weakest channel in its darkest area around the head")
	w.pair(1, "most_clipped", formatShare(t.MostClipped), "of the sitter, where light wraps round")
	w.band("backdrop_level", t.BackdropLevel, "the backdrop's brightest channel")
	w.band("white_peak", t.WhitePeak, "a declared white card or shirt")
	w.pair(1, "hair_most", formatStops(t.HairMost), "the hair light at its brightest")
	return w.Bytes()
}

type writer struct{ bytes.Buffer }

func (w *writer) line(s string) { w.WriteString(s + "\n") }

func (w *writer) pair(depth int, key, value, why string) {
	w.WriteString(strings.Repeat("  ", depth) + key + ": " + value)
	if why != "" {
		w.WriteString(" # " + why)
	}
	w.WriteByte('\n')
}

func (w *writer) band(key string, b Band, why string) {
	if !b.IsZero() {
		w.pair(1, key, formatStops(b.Low)+" to "+formatStops(b.High), why)
	}
}

func (w *writer) light(l Light) {
	fmt.Fprintf(w, "  - role: %s\n", l.Role)
	w.pair(2, "group", quoted(l.Group), "")
	w.pair(2, "power", l.Scale.Format(l.Power), "as the dial stands")
	w.pair(2, "clicks", clickName(l.Scale.Click), "")
	if l.Scale.Marking == exposure.Numbers {
		w.pair(2, "top", strconv.FormatFloat(float64(l.Scale.Top)/10, 'f', 1, 64), "what the dial shows at full power")
	}
	w.pair(2, "least", l.Scale.Format(l.Least), "")
	w.pair(2, "most", l.Scale.Format(l.Most), "")
	if l.Guide > 0 {
		w.pair(2, "guide_number", shortest(float64(l.Guide)), "m, ISO 100, full power")
	}
	if l.Zoom > 0 {
		w.pair(2, "zoom", shortest(float64(l.Zoom))+" mm", "")
	}
	if l.Modifier != "" {
		w.pair(2, "modifier", quoted(l.Modifier), "")
	}
	if l.Distance > 0 {
		to := "to the sitter"
		if l.Role == Background {
			to = "to the backdrop"
		}
		w.pair(2, "distance", metres(l.Distance), to)
	}
	if l.Direction.Known {
		w.pair(2, "direction", l.Direction.String(), "degrees from the camera, at the sitter")
	}
	if l.Height > 0 {
		w.pair(2, "height", metres(l.Height), "over the floor")
	}
	if l.Limit > 0 {
		w.pair(2, "full_flashes_per_minute", shortest(float64(l.Limit)), "its manual decides")
	}
}

func (w *writer) reflector(m Reflector) {
	fmt.Fprintf(w, "  - role: %s\n", Passive)
	w.pair(2, "group", quoted(m.Group), "")
	w.pair(2, "of", quoted(m.Of), "the light that it reflects")
	if m.Distance > 0 {
		w.pair(2, "distance", metres(m.Distance), "to the sitter")
	}
	if m.Direction.Known {
		w.pair(2, "direction", m.Direction.String(), "degrees from the camera, at the sitter")
	}
	if m.Height > 0 {
		w.pair(2, "height", metres(m.Height), "over the floor")
	}
}

// quoted is a YAML double-quoted scalar of printable text.
func quoted(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}

// shortest is the fewest digits that read back as the same number.
func shortest(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func metres(m exposure.Metres) string { return shortest(float64(m)) + " m" }

// seconds writes 1/125 where that is exactly the time, else a decimal.
func seconds(t exposure.Shutter) string {
	if n := math.Round(1 / float64(t)); t < 1 && exposure.Shutter(1/n) == t {
		return "1/" + shortest(n)
	}
	return shortest(float64(t))
}
