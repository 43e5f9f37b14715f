package studio

import (
	"image"
	"math"
	"math/rand/v2"
	"sync"

	"thirdstop/assess/exposure"
)

// Region is what a place in the picture shows.
type Region uint8

// The regions.
const (
	Mixed          Region = iota // the border between two others
	BackdropRegion               // the paper
	WhiteReference               // the card, or the white shirt where there is no card
	Face                         // skin: face, neck, hands
	HairRegion
	Clothes
	Glint            // mirrors the key
	Surround         // the wall beyond a narrow backdrop
	WhiteShirtRegion // of somebody who holds a card
	regions
)

// String names the region.
func (r Region) String() string {
	names := [regions]string{"mixed", "backdrop", "white reference", "face", "hair", "clothes", "glint", "surround", "white shirt"}
	if r < regions {
		return names[r]
	}
	return "unknown"
}

// scene is one frame in linear light, on a grid that is coarser than the
// picture: sample (i, j) lies on the upright picture's pixel (i*step, j*step).
type scene struct {
	width, height int // upright picture, pixels
	step          int
	w, h          int // samples
	sources       int // lights and the ambient
	stride        int // values per sample: red, green, blue, then green by source
	pix           []float32
	region        []Region
	flashes       []Flash
	moved         Offset
}

// Pictures of finePixels and less are rendered pixel by pixel. Others are at half
// the density, and coarser still so that no more than gridLimit samples are
// needed: a figure without fine texture loses nothing but time.
const (
	finePixels = 90_000
	gridLimit  = 700_000
)

func (s *Studio) draw(width, height int, flashes []Flash, moved Offset, turn float64) *scene {
	g := &scene{width: width, height: height, step: 1, flashes: flashes, moved: moved, sources: len(s.Lights) + 1}
	if width*height > finePixels || s.Coarse {
		g.step = 2
	}
	for (width/g.step+2)*(height/g.step+2) > gridLimit {
		g.step++
	}
	g.w, g.h = (width-1)/g.step+2, (height-1)/g.step+2
	g.stride = 3 + g.sources
	g.pix = make([]float32, g.w*g.h*g.stride)
	g.region = make([]Region, g.w*g.h)

	v := s.view(width, height)
	lamps := s.lamps(flashes)
	s.drawBackdrop(g, v, lamps)
	if !s.Empty {
		s.drawSitter(g, v, lamps, turn)
	}
	s.curtain(g)
	s.throughLens(g)
	return g
}

// view turns pixels of the upright picture into metres at the sitter.
type view struct {
	left, top, metre float64 // metres per pixel
	far              float64 // how much more of the backdrop is seen than of the sitter's plane
	middleY          float64
}

func (s *Studio) view(width, height int) view {
	m := float64(s.Camera.Height) / float64(height)
	// From the head's middle to the picture's upper border: some air over the hair.
	overHead := 0.165 + 0.09*float64(s.Camera.Height)
	dc, db := float64(s.Camera.Distance), float64(s.Backdrop.Distance)
	return view{
		left: -m * float64(width) / 2, top: overHead, metre: m,
		far: (dc + db) / dc, middleY: overHead - float64(s.Camera.Height)/2,
	}
}

// drawBackdrop fills the grid. The light on a plane changes slowly, so it is
// computed at nodes 1/48 of the height apart and drawn straight between them.
func (s *Studio) drawBackdrop(g *scene, v view, lamps []lamp) {
	pitch := max(1, g.h/48)
	cols, rows := g.w/pitch+2, g.h/pitch+2
	n := len(lamps)
	node := make([]float64, cols*rows*n)
	mottle := make([]float64, cols*rows)
	place := func(i, j int) vec {
		x := (v.left + (float64(i*g.step)+0.5)*v.metre) * v.far
		y := v.middleY + (v.top-(float64(j*g.step)+0.5)*v.metre-v.middleY)*v.far
		return vec{x, y, -float64(s.Backdrop.Distance)}
	}
	for r := range rows {
		for c := range cols {
			p := place(c*pitch, r*pitch)
			for l := range lamps {
				if lamps[l].on {
					node[(r*cols+c)*n+l] = lamps[l].onBackdrop(p)
				}
			}
			ph := float64(s.Seed % 97)
			mottle[r*cols+c] = exposure.Stops(float64(s.Backdrop.Mottle) / 3 * (math.Sin(5*p.x+ph) + math.Sin(4*p.y+1.7*ph) + math.Sin(7*p.x-6*p.y+ph))).Factor()
		}
	}
	amb := s.ambient()
	e := make([]float64, n)
	for j := range g.h {
		fy := float64(j%pitch) / float64(pitch)
		for i := range g.w {
			fx := float64(i%pitch) / float64(pitch)
			a := (j/pitch)*cols + i/pitch
			lerp := func(t []float64, n, l int) float64 {
				return (t[a*n+l]*(1-fx)+t[(a+1)*n+l]*fx)*(1-fy) + (t[(a+cols)*n+l]*(1-fx)+t[(a+cols+1)*n+l]*fx)*fy
			}
			colour, region := s.Backdrop.Colour, BackdropRegion
			if hw := float64(s.Backdrop.HalfWidth); hw > 0 {
				x := (v.left + (float64(i*g.step)+0.5)*v.metre) * v.far
				if d := (math.Abs(x) - hw) / (v.metre * v.far * float64(g.step)); d > -0.5 {
					colour, region = mix(colour, timber(x), clamp(d+0.5, 0, 1)), Mixed
					if d > 0.5 {
						region = Surround
					}
				}
			}
			for l := range lamps {
				if lamps[l].on {
					e[l] = lerp(node, n, l)
				}
			}
			m := lerp(mottle, 1, 0)
			k := j*g.w + i
			g.region[k] = region
			px := g.pix[k*g.stride : (k+1)*g.stride]
			for c := range 3 {
				light := amb[c]
				for l := range lamps {
					if lamps[l].on {
						light += e[l] * lamps[l].power[c]
					}
				}
				px[c] = float32(light * colour[c] * m)
			}
			for l := range lamps {
				if lamps[l].on {
					px[3+l] = float32(e[l] * lamps[l].power[1] * colour[1] * m)
				}
			}
			px[3+n] = float32(amb[1] * colour[1] * m)
		}
	}
}

// timber is the boathouse wall: upright planks.
func timber(x float64) RGB {
	plank := math.Floor(x / 0.14)
	shade := 0.85 + 0.3*math.Mod(math.Abs(math.Sin(plank*12.9898))*43758.5, 1)
	if math.Abs(math.Mod(math.Abs(x), 0.14)-0.07) > 0.067 {
		shade *= 0.35
	}
	return RGB{0.16, 0.10, 0.06}.times(shade)
}

// drawSitter paints the figure over the backdrop, part by part.
func (s *Studio) drawSitter(g *scene, v view, lamps []lamp, turn float64) {
	amb := s.ambient()
	sample := v.metre * float64(g.step)
	at := vec{float64(g.moved.X), float64(g.moved.Y), float64(g.moved.Z)}
	var sf surface
	light := make([]float64, g.stride)
	for _, p := range figure(&s.Sitter, at, turn, sample) {
		i0 := max(0, int((p.x0-v.left)/sample))
		i1 := min(g.w-1, int((p.x1-v.left)/sample)+1)
		j0 := max(0, int((v.top-p.y1)/sample))
		j1 := min(g.h-1, int((v.top-p.y0)/sample)+1)
		for j := j0; j <= j1; j++ {
			y := v.top - (float64(j*g.step)+0.5)*v.metre
			for i := i0; i <= i1; i++ {
				x := v.left + (float64(i*g.step)+0.5)*v.metre
				if !p.at(x, y, &sf) {
					continue
				}
				shade(&sf, vec{x, y, sf.z}, lamps, amb, light)
				k := j*g.w + i
				px := g.pix[k*g.stride : (k+1)*g.stride]
				if sf.cover >= 0.999 {
					g.region[k] = sf.region
					for c := range px {
						px[c] = float32(light[c])
					}
					continue
				}
				if g.region[k] != sf.region && sf.cover > 0.002 {
					g.region[k] = Mixed
				}
				t := float32(sf.cover)
				for c := range px {
					px[c] += t * (float32(light[c]) - px[c])
				}
			}
		}
	}
}

// shade gives the light that a surface sends to the camera: red, green and
// blue, then green by source.
func shade(sf *surface, p vec, lamps []lamp, amb [3]float64, out []float64) {
	n := len(lamps)
	out[0], out[1], out[2] = 0, 0, 0
	back := (1 - sf.n.z) / 2
	for l := range lamps {
		m := &lamps[l]
		out[3+l] = 0
		if !m.on {
			continue
		}
		e := 0.0
		shine := 0.0
		if m.reaches > 0 {
			e = m.onSurface(p, sf.n) * sf.dim
			if sf.gloss > 0 && e > 0 {
				// Blinn's highlight, broad: half-way between lamp and camera.
				v := m.at.sub(p)
				h := v.times(1 / v.length()).add(vec{0, 0, 1}).unit()
				c := math.Max(h.dot(sf.n), 0)
				c *= c
				c *= c
				c *= c
				c *= c
				shine = e * sf.gloss * c * c
			}
		}
		for c := range 3 {
			out[c] += (e*m.power[c]+back*m.bounce[c])*sf.albedo[c] + shine*m.power[c]
		}
		out[3+l] = (e*m.power[1]+back*m.bounce[1])*sf.albedo[1] + shine*m.power[1]
	}
	a := (0.75 + 0.25*sf.n.z) * sf.dim
	for c := range 3 {
		out[c] += amb[c] * a * sf.albedo[c]
	}
	out[3+n] = amb[1] * a * sf.albedo[1]
}

// throughLens takes away light towards the corners, in the way of cos^4 for a
// field angle: (1 + k r²)^-2, and adds the veil, H' = H + g mean(H) per channel.
func (s *Studio) throughLens(g *scene) {
	k := (s.Camera.Vignette / 2).Factor() - 1
	cx, cy := float64(g.width)/2, float64(g.height)/2
	per := 1 / (cx*cx + cy*cy)
	mean := make([]float64, g.stride)
	row := make([]float64, g.stride)
	for j := range g.h {
		y := float64(j*g.step) + 0.5 - cy
		clear(row)
		for i := range g.w {
			x := float64(i*g.step) + 0.5 - cx
			f := 1 / (1 + k*(x*x+y*y)*per)
			f32 := float32(f * f)
			px := g.pix[(j*g.w+i)*g.stride:][:g.stride]
			for c := range px {
				px[c] *= f32
				row[c] += float64(px[c])
			}
		}
		for c := range mean {
			mean[c] += row[c]
		}
	}
	veil := make([]float32, g.stride)
	for c := range veil {
		veil[c] = float32(s.Camera.Flare * mean[c] / float64(g.w*g.h))
	}
	for k := 0; k < len(g.pix); k += g.stride {
		px := g.pix[k:][:g.stride]
		for c := range px {
			px[c] += veil[c]
		}
	}
}

// fine is in how many steps of linear light the code table of a curve knows it.
const fine = 1 << 15

// codes are the tables from linear light to code value of every curve, made when first used.
var codes = func() map[CurveKind]func() []uint8 {
	all := map[CurveKind]func() []uint8{}
	for _, k := range append(Curves(), Cameras()...) {
		all[k] = sync.OnceValue(func() []uint8 {
			t := make([]uint8, fine+1)
			for i := range t {
				t[i] = uint8(math.Round(k.Code(float64(i) / fine)))
			}
			return t
		})
	}
	return all
}()

// noise is a table of standard normal deviates. Frames read it from random
// places; at 65536 entries no eye or statistic here sees it repeat.
var noise = sync.OnceValue(func() []float32 {
	r := rand.New(rand.NewPCG(0x5eed, 0x7ab1e))
	t := make([]float32, 1<<16)
	for i := range t {
		t[i] = float32(r.NormFloat64())
	}
	return t
})

// counts are pixels of the sensor, by what they show.
type counts struct {
	pixels, any, all [regions]int
	channel          [3]int
}

// develop makes the picture as stored: between the samples, noise, clipping,
// the tone curve, eight bits. It counts what the sensor clipped.
func (s *Studio) develop(g *scene, r *rand.Rand) (*image.RGBA, *counts) {
	cam := &s.Camera
	img := image.NewRGBA(image.Rect(0, 0, cam.Width, cam.PictureHeight))
	// Upright pixel (x, y) is stored at base + x*dx + y*dy.
	var base, dx, dy int
	switch cam.Orientation {
	case 1:
		dx, dy = 4, img.Stride
	case 3:
		base, dx, dy = len(img.Pix)-4, -4, -img.Stride
	case 6: // turned clockwise to be seen upright
		base, dx, dy = (cam.PictureHeight-1)*img.Stride, -img.Stride, 4
	case 8:
		base, dx, dy = (cam.Width-1)*4, img.Stride, -4
	}
	const most = 2
	code := codes[cam.Curve]()
	// Shot noise is the root of the electrons, read noise is the same everywhere.
	sigma := make([]float32, most*1024+1)
	if cam.FullWell > 0 {
		well := cam.FullWell * 100 / float64(cam.ISO)
		for i := range sigma {
			sigma[i] = float32(math.Sqrt(float64(i)/1024/well + sq(cam.Read/well)))
		}
	}
	n := &counts{}
	table := noise()
	row := make([]float32, g.w*3)
	weight := make([]float32, g.step)
	for i := range weight {
		weight[i] = float32(i) / float32(g.step)
	}
	for y := range g.height {
		j, fy := y/g.step, weight[y%g.step]
		up, low := g.pix[j*g.w*g.stride:], g.pix[(j+1)*g.w*g.stride:]
		for i := range g.w {
			for c := range 3 {
				a := up[i*g.stride+c]
				row[i*3+c] = a + fy*(low[i*g.stride+c]-a)
			}
		}
		near := g.region[min((y+g.step/2)/g.step, g.h-1)*g.w:]
		at := r.Uint32()
		out := base + y*dy
		i, part := 0, 0
		for x := range g.width {
			w := weight[part]
			two := row[i*3:][:6]
			clipped := 0
			pix := img.Pix[out:][:4]
			for c := range 3 {
				h := two[c] + w*(two[c+3]-two[c])
				h += sigma[min(int(h*1024), most*1024)] * table[at&0xffff]
				at++
				if h >= 1 {
					h = 1
					clipped++
					n.channel[c]++
				} else if h < 0 {
					h = 0
				}
				pix[c] = code[int(h*fine+0.5)]
			}
			pix[3] = 255
			reg := near[(x+g.step/2)/g.step]
			n.pixels[reg]++
			if clipped > 0 {
				n.any[reg]++
				if clipped == 3 {
					n.all[reg]++
				}
			}
			out += dx
			if part++; part == g.step {
				part, i = 0, i+1
			}
		}
	}
	return img, n
}
