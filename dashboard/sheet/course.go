package sheet

import (
	"fmt"
	"html/template"
	"math"
	"slices"

	"thirdstop/advise"
	"thirdstop/advise/account"
)

// mostColumns is how many columns the drawing of a shoot has; where there are more frames, each holds several.
const mostColumns = 560

// series is one judged region over the shoot.
type series struct {
	name   advise.RegionName
	words  string
	class  string
	low    float64 // of its target at the end
	high   float64
	upper  bool
	points []point
}

type point struct {
	frame   int
	level   float64
	atLeast bool
}

// gather takes the judged levels out of the frames, region by region.
func gather(frames []account.Frame) []series {
	var out []series
	for _, f := range frames {
		for _, e := range f.Judged {
			i := slices.IndexFunc(out, func(s series) bool { return s.name == e.Region })
			if i < 0 {
				out = append(out, series{name: e.Region, class: fmt.Sprintf("level%d", len(out)%4)})
				i = len(out) - 1
			}
			s := &out[i]
			s.words, s.low, s.high, s.upper = e.Name, float64(e.Low), float64(e.High), e.UpperOnly
			s.points = append(s.points, point{f.Number, float64(e.Now), e.AtLeast})
		}
	}
	return out
}

// course draws the stops to clipping of every judged region over the frames, with what was turned and what was off.
func course(a *account.Account, frames []account.Frame, width, height float64) template.HTML {
	all := gather(frames)
	if len(all) == 0 {
		return ""
	}
	first, last := frames[0].Number, frames[len(frames)-1].Number
	low, high := 0.0, 0.5
	for _, s := range all {
		if !s.upper {
			low = min(low, s.low)
		}
		high = max(high, s.high)
		for _, p := range s.points {
			low, high = min(low, p.level), max(high, p.level)
		}
	}
	low, high = math.Floor(max(low, -8)*2)/2-0.25, min(math.Ceil(high*2)/2, 2)
	const left, right, top, bottom = 11.0, 3.0, 9.0, 7.0
	X := func(frame float64) float64 {
		if last == first {
			return left + (width-left-right)/2
		}
		return left + (frame-float64(first))/float64(last-first)*(width-left-right)
	}
	Y := func(level float64) float64 {
		return top + (high-min(max(level, low), high))/(high-low)*(height-top-bottom)
	}
	var d drawing
	step := 0.5
	if high-low > 5 {
		step = 1
	}
	for v := math.Ceil(low/step) * step; v <= high; v += step {
		class := "grid"
		if v == 0 {
			class = "edge"
		}
		d.line(left, Y(v), width-right, Y(v), class)
		words := fmt.Sprintf("%+.1f", v)
		if v == 0 {
			words = "0"
		}
		d.text(left-1.5, Y(v)+1, "small end", words)
	}
	for _, s := range all {
		if bottomOf := s.low; s.high > bottomOf && !s.upper {
			d.el("rect", "x", left, "y", Y(s.high), "width", width-left-right, "height", max(Y(bottomOf)-Y(s.high), 0.2), "class", "band "+s.class)
		} else if s.upper {
			d.line(left, Y(s.high), width-right, Y(s.high), "limit "+s.class)
		}
	}
	events(&d, a, X, top, height-bottom)
	for k, s := range all {
		s.draw(&d, k, X, Y, first, last)
	}
	ticks(&d, first, last, X, height-bottom)
	return d.in(width, height, "Stops to clipping over the shoot")
}

// draw draws one region: single frames as marks of their own shape joined by a line, or, of many, the span of each column.
func (s series) draw(d *drawing, k int, X, Y func(float64) float64, first, last int) {
	if last-first < mostColumns {
		line := ""
		for i, p := range s.points {
			cmd := "L"
			if i == 0 {
				cmd = "M"
			}
			line += fmt.Sprintf("%s %s %s ", cmd, plain(X(float64(p.frame))), plain(Y(p.level)))
		}
		d.el("path", "d", line, "class", "course "+s.class)
		for _, p := range s.points {
			mark(d, k, X(float64(p.frame)), Y(p.level), p.atLeast, s.class, last-first)
		}
		return
	}
	type span struct{ low, high float64 }
	spans := map[int]span{}
	for _, p := range s.points {
		c := (p.frame - first) * mostColumns / (last - first + 1)
		v, ok := spans[c]
		if !ok {
			v = span{p.level, p.level}
		}
		spans[c] = span{min(v.low, p.level), max(v.high, p.level)}
	}
	for c := range mostColumns {
		if v, ok := spans[c]; ok {
			x := X(float64(first) + (float64(c)+0.5)/mostColumns*float64(last-first))
			d.line(x, Y(v.low)+0.15, x, Y(v.high)-0.15, "span "+s.class)
		}
	}
}

// mark is one frame's level. Regions differ in shape, so that they can be told apart without colour; a level
// that clips is drawn hollow.
func mark(d *drawing, k int, x, y float64, hollow bool, class string, frames int) {
	if frames > 200 {
		return // the line alone
	}
	class = "mark " + class
	if hollow {
		class += " hollow"
	}
	const r = 0.8
	switch k % 3 {
	case 0:
		d.el("circle", "cx", x, "cy", y, "r", r, "class", class)
	case 1:
		d.el("rect", "x", x-r*0.9, "y", y-r*0.9, "width", 1.8*r, "height", 1.8*r, "class", class)
	default:
		d.el("path", "d", fmt.Sprintf("M %s %s l %s %s l %s 0 Z", plain(x), plain(y-r*1.2), plain(r*1.1), plain(r*2), plain(-r*2.2)), "class", class)
	}
}

// events marks what was turned, who sat down and what was noted of frames.
func events(d *drawing, a *account.Account, X func(float64) float64, top, bottom float64) {
	lastLabel, row := math.Inf(-1), 0
	for _, t := range a.Turns {
		x := X(float64(t.Frame) + 0.5)
		d.line(x, top-1, x, bottom, "turn")
		if x-lastLabel < 3 {
			row = (row + 1) % 2
		} else {
			row = 0
		}
		d.text(x, top-2-float64(row)*3, "small middle", t.Group)
		lastLabel = x
	}
	for _, s := range a.Sitters {
		x := X(float64(s.Frame) + 0.5)
		d.line(x, bottom-4, x, bottom, "sitting")
	}
	lights := map[int]string{} // that what was noted of a frame is about
	for _, l := range a.Log {
		if l.Frame > 0 && l.Group != "" && drifted(l.Kind) && !ordinary(l.Kind) {
			lights[l.Frame] = l.Group
		}
	}
	for _, f := range a.Frames {
		if f.Stands && slices.ContainsFunc(f.Marks, drifted) {
			x := X(float64(f.Number))
			d.el("path", "d", fmt.Sprintf("M %s %s l 1.2 -2 l -2.4 0 Z", plain(x), plain(top+2)), "class", "drift")
			if g := lights[f.Number]; g != "" {
				if x+2 > X(float64(a.Frames[len(a.Frames)-1].Number)) { // on the other side it would stick out
					d.text(x-1.6, top+2, "small end", g)
				} else {
					d.text(x+1.6, top+2, "small", g)
				}
			}
		}
	}
}

// drifted tells the marks that speak of the light having changed by itself.
func drifted(kind string) bool {
	return kind != "late" && kind != "damaged" && kind != "baseline"
}

// ordinary tells what is noted of good frames, too.
func ordinary(kind string) bool {
	return slices.Contains([]string{"advice", "question", "adjusted", "followed", "exposure"}, kind)
}

func ticks(d *drawing, first, last int, X func(float64) float64, bottom float64) {
	step := 1
	for _, s := range []int{1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000, 50000} {
		if step = s; (last-first)/s <= 16 {
			break
		}
	}
	for n := max((first+step-1)/step*step, first+step/2); n <= last; n += step {
		d.line(X(float64(n)), bottom, X(float64(n)), bottom+1, "axis")
		d.text(X(float64(n)), bottom+4, "small middle", fmt.Sprint(n))
	}
	d.text(X(float64(first))-3, bottom+4, "small end", "frame")
}
