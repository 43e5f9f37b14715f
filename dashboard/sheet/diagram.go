package sheet

import (
	"fmt"
	"html/template"
	"math"
	"slices"

	"thirdstop/advise/plan"
	"thirdstop/assess/exposure"
)

// Where the plan does not say where something stands, it is drawn at a usual place and marked as not known
// (common practice, no source).
const (
	usualDistance = 1.5 // m, of a light to the sitter
	usualBackdrop = 2.0 // m, of the backdrop to the sitter
	usualCamera   = 2.0 // m, of the camera to the sitter
	paperWidth    = 2.7 // m, the usual roll
)

func usualDirection(r plan.Role, k int) float64 {
	side := 1.0
	if k%2 == 1 {
		side = -1
	}
	switch r {
	case plan.Key:
		return 45
	case plan.Fill:
		return -45
	case plan.Hair:
		return 155
	}
	return -150 * side // background lights left and right in turn
}

// scales are those of the drawing: a millimetre on paper is so many in the room.
var scales = []float64{20, 25, 30, 40, 50, 60, 75, 100, 125, 150, 200, 300, 400, 500}

// place is a light seen from above, in metres from the sitter: x to the right as the camera sees it, y
// towards the backdrop.
type place struct {
	plan.Light
	x, y         float64
	toX, toY     float64 // what its distance is measured to
	far, turning bool    // its distance, its direction are known
}

// places works out where the lights of a plan stand.
func places(p *plan.Plan) (lights []place, backdrop float64, known bool) {
	backdrop, known = float64(p.Backdrop.Distance), p.Backdrop.Distance > 0
	if !known {
		backdrop = usualBackdrop
		for _, l := range p.Lights {
			if l.Role == plan.Background {
				backdrop = max(backdrop, float64(l.Distance)+0.5)
			}
		}
	}
	backgrounds := 0
	for _, l := range p.Lights {
		at := place{Light: l, far: l.Distance > 0, turning: l.Direction.Known}
		k := 0
		if l.Role == plan.Background {
			k = backgrounds
			backgrounds++
		}
		deg := usualDirection(l.Role, k)
		if at.turning {
			deg = l.Direction.Degrees
		}
		sin, cos := math.Sincos(deg * math.Pi / 180)
		d := float64(l.Distance)
		if l.Role == plan.Background {
			if !at.far {
				d = min(1, backdrop/2)
			}
			// Its distance is to the backdrop, so the direction only tells how far to the side.
			at.y = backdrop - d
			at.x = at.y * sin / max(-cos, 0.2)
			if !at.turning {
				at.x = math.Copysign(0.9, sin)
			} else if at.y < 0.2 || math.Abs(at.x) > 4 { // a direction that can't be: beside or before the sitter
				at.x, at.turning = math.Copysign(0.9, sin), false
			}
			at.toX, at.toY = at.x*0.6, backdrop
			if dx := at.toX - at.x; math.Abs(dx) > d/2 {
				at.toX = at.x + math.Copysign(d/2, dx)
			}
		} else {
			if !at.far {
				d = usualDistance
			}
			at.x, at.y = d*sin, -d*cos
		}
		lights = append(lights, at)
	}
	return lights, backdrop, known
}

// diagram draws the plan from above, to a scale that fits the width and height, in millimetres.
func diagram(p *plan.Plan, width, height float64) (svg template.HTML, scale float64, notes []string) {
	lights, backdrop, backdropKnown := places(p)
	left, right, low, high := -paperWidth/2, paperWidth/2, -usualCamera-0.3, backdrop+0.25
	for _, l := range lights {
		left, right, low, high = min(left, l.x-0.4), max(right, l.x+0.4), min(low, l.y-0.3), max(high, l.y+0.3)
	}
	scale = scales[len(scales)-1]
	for _, s := range scales {
		if (right-left)*1000/s <= width && (high-low)*1000/s <= height {
			scale = s
			break
		}
	}
	mm := 1000 / scale // millimetres on paper a metre
	w := width
	h := (high - low) * mm
	midX := (left + right) / 2
	X := func(x float64) float64 { return w/2 + (x-midX)*mm }
	Y := func(y float64) float64 { return (high - y) * mm }
	var d drawing

	for g := math.Ceil((midX-w/2/mm)*2) / 2; g <= midX+w/2/mm; g += 0.5 {
		d.line(X(g), 0, X(g), h, "grid")
	}
	for g := math.Ceil(low*2) / 2; g <= high; g += 0.5 {
		d.line(0, Y(g), w, Y(g), "grid")
	}
	class := "backdrop"
	if !backdropKnown {
		class += " unknown"
		notes = append(notes, "The distance of the backdrop is not in the plan.")
	}
	d.line(X(-paperWidth/2), Y(backdrop), X(paperWidth/2), Y(backdrop), class)
	d.text(X(-paperWidth/2)+1, Y(backdrop)-1.5, "small", string(p.Backdrop.Colour)+" backdrop")
	if backdropKnown {
		d.line(X(0), Y(0), X(0), Y(backdrop), "measure")
		d.text(X(0)+1, Y(backdrop/2), "small", p.Backdrop.Distance.String())
	}
	d.line(X(0), Y(0), X(0), Y(-usualCamera), "measure unknown")
	d.el("rect", "x", X(0)-3, "y", Y(-usualCamera)-2, "width", 6.0, "height", 4.0, "class", "camera")
	d.el("rect", "x", X(0)-1.2, "y", Y(-usualCamera)-3.6, "width", 2.4, "height", 1.8, "class", "camera")
	d.text(X(0)+4.5, Y(-usualCamera)+1, "small", "camera (its distance is not kept)")

	for _, l := range lights {
		class := "ray"
		if !l.far || !l.turning {
			class += " unknown"
		}
		d.line(X(l.x), Y(l.y), X(l.toX), Y(l.toY), class)
		if l.turning && l.Role != plan.Background && math.Abs(l.Direction.Degrees) > 4 {
			arc(&d, X(0), Y(0), l.Direction.Degrees, 0.45*mm*math.Min(1, math.Hypot(l.x, l.y)))
		}
	}
	d.el("circle", "cx", X(0), "cy", Y(0), "r", max(0.16*mm, 2), "class", "sitter")
	d.text(X(0)+max(0.16*mm, 2)+1, Y(0)+4, "small", "sitter")
	for _, l := range lights {
		lamp(&d, l, X, Y)
		if !l.far {
			notes = append(notes, fmt.Sprintf("The distance of %s is not in the plan.", l.Name()))
		}
		if !l.turning {
			notes = append(notes, fmt.Sprintf("The direction of %s is not in the plan; it is drawn at a usual place.", l.Name()))
		}
	}
	// A metre, to hold a ruler against.
	d.line(3, h-3, 3+mm, h-3, "bar")
	d.line(3, h-4, 3, h-2, "bar")
	d.line(3+mm, h-4, 3+mm, h-2, "bar")
	d.text(3, h-4.6, "small", fmt.Sprintf("1 m (1 : %.0f when printed at full size)", scale))
	return d.in(w, h, "The lights seen from above"), scale, notes
}

// arc marks the angle of a light from the camera's axis.
func arc(d *drawing, x, y, degrees, r float64) {
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	sweep := 0
	if degrees < 0 {
		sweep = 1
	}
	d.el("path", "d", fmt.Sprintf("M %s %s A %s %s 0 0 %d %s %s", plain(x), plain(y+r), plain(r), plain(r), sweep, plain(x+r*sin), plain(y+r*cos)), "class", "arc")
	halfSin, halfCos := math.Sincos(degrees * math.Pi / 360)
	d.text(x+(r+2.5)*halfSin-2, y+(r+2.5)*halfCos+1, "small", fmt.Sprintf("%.0f°", math.Abs(degrees)))
}

// lamp draws a light, turned to what it lights, with its group, and its distance on the way there.
func lamp(d *drawing, l place, X, Y func(float64) float64) {
	turn := math.Atan2(Y(l.toY)-Y(l.y), X(l.toX)-X(l.x)) * 180 / math.Pi
	class := "lamp"
	if !l.far || !l.turning {
		class += " unknown"
	}
	d.open("g", "transform", fmt.Sprintf("translate(%s %s) rotate(%s)", plain(X(l.x)), plain(Y(l.y)), plain(turn)))
	d.el("path", "d", "M -4 -1.6 L -1 -1.6 L 1.6 -3.4 L 1.6 3.4 L -1 1.6 L -4 1.6 Z", "class", class)
	d.WriteString("</g>")
	side := 1.0
	if l.x < 0 {
		side = -1
	}
	anchor := "label"
	if side < 0 {
		anchor += " end"
	}
	d.text(X(l.x)+side*5, Y(l.y)+1, anchor, l.Group)
	if l.far {
		s := l.Distance.String()
		d.text((X(l.x)+X(l.toX))/2+side*1.2, (Y(l.y)+Y(l.toY))/2-0.8, slices.MaxFunc([]string{"small", "small" + anchor[len("label"):]}, func(a, b string) int { return len(a) - len(b) }), s)
	}
}

// distance writes a distance or that it is not known.
func distance(m exposure.Metres) string {
	if m > 0 {
		return m.String()
	}
	return "not known"
}
