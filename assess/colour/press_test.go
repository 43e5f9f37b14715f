package colour

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"testing"

	"thirdstop/assess/photo"
)

// print is a synthetic picture of a chart, whose truth is known: derived here.
type print struct {
	w, h    int
	pitch   float64 // pixels, at the chart's middle
	turn    float64 // degrees clockwise
	tilt    float64 // degrees, away from the camera
	lean    float64 // degrees: which way it is tilted
	x, y    float64 // pixels: where its middle lies off the picture's
	edition Edition
	space   Space
	light   RGB     // what a perfect white shows, linear; the zero value is 0.8 in all channels
	slope   float64 // stops by which the light falls from the chart's left to its right edge
	noise   float64 // one standard deviation, code values
	clutter bool    // things of other colours around
	seed    uint64
	quality int
}

// at carries a place of the chart into the picture: turned, tilted, and seen from 14 pitches away.
func (p print) at(u, v float64) point {
	rad := math.Pi / 180
	turned := func(x, y, deg float64) (float64, float64) {
		s, c := math.Sincos(deg * rad)
		return c*x - s*y, s*x + c*y
	}
	x, y := turned(u, v, p.turn-p.lean)
	const distance = 14 // pitches
	y, z := y*math.Cos(p.tilt*rad), y*math.Sin(p.tilt*rad)
	x, y = x*distance/(distance+z), y*distance/(distance+z)
	x, y = turned(x, y, p.lean)
	return point{float64(p.w)/2 + p.x + x*p.pitch, float64(p.h)/2 + p.y + y*p.pitch}
}

func (p print) image() *image.RGBA {
	if p.light == (RGB{}) {
		p.light = RGB{0.8, 0.8, 0.8}
	}
	rng := rand.New(rand.NewPCG(p.seed, 17))
	img := image.NewRGBA(image.Rect(0, 0, p.w, p.h))
	var from, to []point
	for _, c := range []point{{-3, -2}, {3, -2}, {3, 2}, {-3, 2}, {0, 0}} {
		from, to = append(from, c), append(to, p.at(c.x, c.y))
	}
	plane, ok := fitHomography(from, to)
	back, ok2 := plane.inverse()
	if !ok || !ok2 {
		panic("a print with no plane")
	}
	type box struct {
		x0, y0, x1, y1 float64
		c              RGB
	}
	var boxes []box
	if p.clutter {
		for range 40 {
			x, y, s := rng.Float64()*float64(p.w), rng.Float64()*float64(p.h), 10+40*rng.Float64()
			boxes = append(boxes, box{x, y, x + s, y + s*(0.5+rng.Float64()), RGB{rng.Float64(), rng.Float64(), rng.Float64()}})
		}
	}
	var colours [ChartPatches]RGB
	for i := range colours {
		colours[i] = p.space.RGB(Patches[i].d65(p.edition))
	}
	surface := func(x, y float64) (RGB, float64) {
		c, ok := back.at(x, y)
		if !ok || math.Abs(c.x) > 3.2 || math.Abs(c.y) > 2.2 {
			for _, b := range boxes {
				if x > b.x0 && x < b.x1 && y > b.y0 && y < b.y1 {
					return b.c, 0
				}
			}
			g := 0.35 + 0.15*x/float64(p.w)
			return RGB{g, g * 0.9, g * 0.8}, 0
		}
		col, row := math.Floor(c.x+3), math.Floor(c.y+2)
		fall := -p.slope * (c.x + 3) / 6
		if du, dv := c.x+3-col-0.5, c.y+2-row-0.5; col < 0 || row < 0 || col > 5 || row > 3 || math.Abs(du) > 0.42 || math.Abs(dv) > 0.42 {
			return RGB{0.035, 0.035, 0.035}, fall
		}
		return colours[int(row)*ChartCols+int(col)], fall
	}
	// The transfer function as a table, for speed: a tenth of a code at black is the worst of it.
	const fine = 8192
	var encode [fine + 1]float64
	for i := range encode {
		encode[i] = p.space.Encode(squared(float64(i) / fine))
	}
	for y := range p.h {
		for x := range p.w {
			var sum RGB
			for k := range 4 {
				c, fall := surface(float64(x)+0.25+0.5*float64(k%2), float64(y)+0.25+0.5*float64(k/2))
				f := math.Exp2(fall) / 4
				for ch := range sum {
					sum[ch] += c[ch] * f
				}
			}
			o := img.PixOffset(x, y)
			for ch := range sum {
				v := encode[int(math.Sqrt(min(max(sum[ch]*p.light[ch], 0), 1))*fine+0.5)]
				if p.noise > 0 {
					v += rng.NormFloat64() * p.noise
				}
				img.Pix[o+ch] = uint8(min(max(v+0.5, 0), 255))
			}
			img.Pix[o+3] = 255
		}
	}
	return img
}

// survey takes the picture through a JPEG file.
func (p print) survey(t testing.TB) *photo.Survey {
	t.Helper()
	q := p.quality
	if q == 0 {
		q = 92
	}
	return asJPEG(t, p.image(), q)
}

func asJPEG(t testing.TB, img image.Image, quality int) *photo.Survey {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}); err != nil {
		t.Fatal(err)
	}
	pic, err := photo.Read("chart.jpg", b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	return pic.Survey
}

// misplaced says how far a sighting is off the print, empty if it isn't.
func (p print) misplaced(f *Sighting) string {
	turn := math.Mod(math.Abs(f.Turn-math.Mod(p.turn+360, 360))+360, 360)
	if turn = min(turn, 360-turn); turn > 3+p.tilt/2 { // a tilted line runs at another angle
		return fmt.Sprintf("turned by %.1f degrees, is %.1f", f.Turn, p.turn)
	}
	for k, c := range [4]point{{-3, -2}, {3, -2}, {3, 2}, {-3, 2}} {
		want := p.at(c.x, c.y)
		got := point{f.Corners[k].X * float64(p.w), f.Corners[k].Y * float64(p.h)}
		if d := got.distance(want); d > 0.2*p.pitch {
			return fmt.Sprintf("corner %d lies %.2f pitches off", k, d/p.pitch)
		}
	}
	return ""
}
