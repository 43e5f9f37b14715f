package sheet

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
)

// drawing collects the elements of an SVG. All text that goes in is escaped.
type drawing struct{ strings.Builder }

// el adds an element with attributes given as name, value, name, value ...
func (d *drawing) el(name string, attrs ...any) {
	d.open(name, attrs...)
	d.WriteString("</" + name + ">")
}

func (d *drawing) open(name string, attrs ...any) {
	d.WriteString("<" + name)
	for i := 0; i+1 < len(attrs); i += 2 {
		fmt.Fprintf(d, ` %s="%s"`, attrs[i], template.HTMLEscapeString(plain(attrs[i+1])))
	}
	d.WriteString(">")
}

func (d *drawing) text(x, y float64, class, s string) {
	d.open("text", "x", x, "y", y, "class", class)
	d.WriteString(template.HTMLEscapeString(s))
	d.WriteString("</text>")
}

func (d *drawing) line(x0, y0, x1, y1 float64, class string) {
	d.el("line", "x1", x0, "y1", y0, "x2", x1, "y2", y1, "class", class)
}

// plain writes numbers to a hundredth, which is finer than any printer.
func plain(v any) string {
	switch v := v.(type) {
	case float64:
		v = math.Round(v*100) / 100
		if v == 0 {
			v = 0 // never minus zero
		}
		return strconv.FormatFloat(v, 'f', -1, 64)
	case string:
		return v
	}
	return fmt.Sprint(v)
}

// in wraps what was drawn into an SVG of so many millimetres, one unit each.
func (d *drawing) in(w, h float64, label string) template.HTML {
	var out drawing
	out.open("svg", "xmlns", "http://www.w3.org/2000/svg", "width", plain(w)+"mm", "height", plain(h)+"mm",
		"viewBox", "0 0 "+plain(w)+" "+plain(h), "role", "img", "aria-label", label)
	return template.HTML(out.String() + d.String() + "</svg>")
}
