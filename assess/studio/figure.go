package studio

import "math"

// Sitter is somebody's looks, as far as they matter to the light. The figure is
// a stylised one, built of ellipsoids; nobody real sat for it.
type Sitter struct {
	Role       string  // in the committee, such as "captain"
	Skin       float64 // 0 the lightest human skin to 1 the darkest
	Hair       RGB
	Style      HairStyle
	Beard      bool
	Wear       Wear
	Cloth      RGB // of blazer, jumper or boiler suit
	Trim       RGB // piping, tie, scarf
	Tie        bool
	Spectacles bool
	Card       bool    // holds a white card in front of the chest
	Build      float64 // width of shoulders, 1 is average
	Glare      float64 // of each lens of the spectacles, the share over which the key mirrors, 0 to 0.5; at 0 it is a small glint
	Sockets    float64 // how dark the hollows of the eyes are, 0 to 1. At 0 a face detector, which goes by them, sees a drawing
}

// HairStyle is a way to wear one's hair, or to cover it.
type HairStyle int

// The styles.
const (
	ShortHair HairStyle = iota
	LongHair
	CurlyHair
	BunHair
	NoHair
	Scarf // a headscarf in the trim's colour
)

// Wear is what a sitter wears.
type Wear int

// The clothes.
const (
	Blazer     Wear = iota // over a white shirt
	Jumper                 // round neck, no white anywhere
	WhiteShirt             // nothing over it
)

// Reflectances of white things and of the card (common practice, no source; the
// white patch of the 1976 colour chart, density 0.05, reflects 0.89).
var (
	whiteCotton = RGB{0.71, 0.72, 0.73}
	whiteCard   = RGB{0.89, 0.89, 0.89}
)

// skin is the reflectance of a skin. It is a line in stops through the colour
// chart's dark and light skin (printed sRGB 115,82,68 and 194,150,130; McCamy,
// Marcus and Davidson 1976), drawn out by a third at either end.
func skin(tone float64) RGB {
	light := [3]float64{194, 150, 130}
	dark := [3]float64{115, 82, 68}
	t := -0.3 + 1.75*tone
	var out RGB
	for c := range out {
		l, d := math.Log(unsrgb(light[c]/255)), math.Log(unsrgb(dark[c]/255))
		out[c] = math.Min(math.Exp(l+(d-l)*t), 0.75)
	}
	return out
}

// surface is what a part shows at one point.
type surface struct {
	cover  float64 // 0 to 1, how much of the sample the part covers
	z      float64
	n      vec // unit normal
	albedo RGB
	region Region
	dim    float64 // 1, or less where other parts keep light away
	gloss  float64 // strength of the shine
}

// part is a piece of the figure, painted from back to front. Its function fills
// in the surface at a place and reports whether there is any.
type part struct {
	x0, y0, x1, y1 float64
	at             func(x, y float64, s *surface) bool
}

// ellipsoid fills in a surface of an ellipsoid; feather is half the width of its soft edge.
func ellipsoid(c, r vec, x, y, feather float64, s *surface) bool {
	u, v := (x-c.x)/r.x, (y-c.y)/r.y
	q := math.Sqrt(u*u + v*v)
	s.cover = edge((1-q)*math.Min(r.x, r.y), feather)
	if s.cover <= 0 {
		return false
	}
	w := math.Sqrt(math.Max(1-q*q, 0.0025))
	s.z = c.z + r.z*w
	s.n = vec{u / r.x, v / r.y, w / r.z}.unit()
	return true
}

// edge is the share of a sample inside a border at a distance (positive is inside).
func edge(distance, feather float64) float64 {
	t := distance/feather/2 + 0.5
	if t <= 0 {
		return 0
	}
	if t >= 1 {
		return 1
	}
	return t * t * (3 - 2*t)
}

func mix(a, b RGB, t float64) RGB {
	return RGB{a[0] + (b[0]-a[0])*t, a[1] + (b[1]-a[1])*t, a[2] + (b[2]-a[2])*t}
}

func (a RGB) times(f float64) RGB { return RGB{a[0] * f, a[1] * f, a[2] * f} }

// Sizes of the figure in metres (rough anthropometry, common practice, no source).
const (
	headW, headH, headD = 0.077, 0.112, 0.095 // half axes
	headScale           = 1.09
	chestTop            = -0.158 // where the collar meets the neck
)

// figure builds the parts of a sitter whose head's middle is at p; turn is how
// far the head looks to the picture's right, in radians; px is the size of a sample.
func figure(st *Sitter, p vec, turn, px float64) []part {
	f := px * 0.75 // edges just wide enough not to show steps
	sk := skin(st.Skin)
	var parts []part
	add := func(x0, y0, x1, y1 float64, at func(x, y float64, s *surface) bool) {
		// A person sways as a whole, the head a little more than the chest.
		parts = append(parts, part{p.x + x0 - 0.01, p.y + y0 - 0.01, p.x + x1 + 0.01, p.y + y1 + 0.01,
			func(x, y float64, s *surface) bool {
				s.dim, s.gloss = 1, 0
				if !at(x-p.x, y-p.y, s) {
					return false
				}
				s.z += p.z
				return true
			}})
	}

	// The head is drawn at headScale; all else at its size.
	onHead := func(x0, y0, x1, y1 float64, at func(x, y float64, s *surface) bool) {
		const k = headScale
		add(x0*k, y0*k, x1*k, y1*k, func(x, y float64, s *surface) bool { return at(x/k, y/k, s) })
	}
	hairBehind(st, f, onHead)
	neck(sk, f, add)
	if st.Style == Scarf {
		scarfEnd(st, f, add)
	}
	chest(st, f, add)
	head(st, sk, turn, f, onHead)
	hairInFront(st, f, onHead)
	if st.Spectacles {
		spectacles(st, turn, f, onHead)
	}
	if st.Card {
		card(sk, f, add)
	}
	return parts
}

type adder func(x0, y0, x1, y1 float64, at func(x, y float64, s *surface) bool)

func neck(sk RGB, f float64, add adder) {
	add(-0.10, -0.21, 0.10, -0.05, func(x, y float64, s *surface) bool {
		flare := math.Min(0.048+7*sq(math.Max(-0.120-y, 0)), 0.092)
		u := x / flare
		if s.cover = edge((1-math.Abs(u))*flare, f); s.cover <= 0 {
			return false
		}
		w := math.Sqrt(math.Max(1-u*u, 0.01))
		s.z, s.n = -0.02+0.05*w, vec{u, 0.1, w}.unit()
		s.albedo, s.region = sk, Face
		// Under the chin little light arrives.
		s.dim = 0.50 + 0.50*edge(-0.140-y, 0.035)
		return true
	})
}

func chest(st *Sitter, f float64, add adder) {
	build := st.Build
	if build == 0 {
		build = 1
	}
	c, r := vec{0, -0.405, -0.03}, vec{0.222 * build, 0.250, 0.15}
	const slope = 0.30 // of the shoulders
	shirt := st.Wear == Blazer || st.Wear == WhiteShirt
	white := WhiteReference
	if st.Card {
		white = WhiteShirtRegion
	}
	add(-r.x*1.5, -2, r.x*1.5, chestTop+0.02, func(x, y float64, s *surface) bool {
		wide := r.x * (1 + 2.5*sq(math.Max(-0.31-y, 0))) // the arms hang a little outwards
		u, v := x/wide, (y-c.y)/r.y
		v = (v + math.Sqrt(v*v+0.02)) / 2 // 0 below the shoulders, without a kink
		v += slope * math.Abs(u)
		// An ellipse of power 2.5, squarer than a round one.
		au, av := math.Abs(u), math.Abs(v)
		pu, pv := au*math.Sqrt(au), av*math.Sqrt(av)
		q := pu*au + pv*av
		if s.cover = 1; q > 0.8 {
			if s.cover = edge((1-math.Pow(q, 1/2.5))*r.x, f*1.5); s.cover <= 0 {
				return false
			}
		}
		w := math.Sqrt(math.Max(1-q, 0.01))
		s.z = c.z + r.z*w
		s.n = vec{math.Copysign(pu, u) / r.x * 0.8, math.Copysign(pv, v)/r.y + 0.8, (w + 0.35) / r.z}.unit()
		s.albedo, s.region = st.Cloth, Clothes
		// A seam where the arms begin, and folds so faint that they only keep the cloth alive.
		s.dim = 1 - 0.25*edge(0.006-math.Abs(math.Abs(x)-0.172*build-0.04*(y+0.45)), 0.006)*edge(-0.32-y, 0.03)
		s.dim *= 1 + 0.03*math.Sin(38*x+9*math.Sin(11*y))

		below := chestTop + 0.02 - y // how far under the collar
		ax := math.Abs(x)
		switch {
		case st.Wear == Jumper:
			rib := edge(0.013-math.Abs(math.Hypot(x, (y+0.132)*1.15)-0.066), 0.002)
			s.dim *= 1 - 0.15*rib
			if math.Hypot(x, (y+0.132)*1.15) < 0.055 {
				s.cover = 0
				return false
			}
			s.dim *= 1 - 0.05*(0.5+0.5*math.Cos(2*math.Pi*x/0.008))
		case shirt:
			vee := 0.064 - 0.27*below // half width of the blazer's opening
			if st.Wear == WhiteShirt {
				vee = 1
			}
			open := edge(vee-ax, f)
			if open > 0 {
				s.albedo = mix(s.albedo, whiteCotton, open)
				s.dim = 1 - (1-s.dim)*0.3
				if open > 0.99 {
					s.region = white
				}
				// Collar wings: a crease, and their shadow.
				crease := math.Abs(ax - 0.018 - 0.62*math.Max(0.085-below, 0))
				if below < 0.085 && below > -0.02 {
					s.dim *= 1 - 0.30*edge(0.0022-crease, 0.0018)
				}
				if st.Tie {
					half := 0.017 + 0.05*math.Max(below-0.03, 0)
					if below < 0.035 {
						half = 0.019 // the knot
					}
					if t := edge(half-ax, f); t > 0 && below > 0.012 {
						stripe := edge(0.007-math.Abs(math.Mod(y*1.0+x*0.8+4, 0.032)-0.016), 0.001)
						s.albedo = mix(s.albedo, mix(st.Cloth, st.Trim, stripe), t*open)
						s.region = Clothes
					}
				} else {
					button := math.Hypot(x, math.Mod(below+0.03, 0.075)-0.0375)
					s.dim *= 1 - 0.2*edge(0.0045-button, 0.0012)
					s.dim *= 1 - 0.1*edge(0.001-math.Abs(ax-0.011), 0.0008)
				}
			}
			if st.Wear == Blazer {
				lapel := vee + 0.045 - 0.02*edge(below-0.13, 0.02)
				if ax < lapel && open < 1 {
					s.dim *= 1.12
				}
				// Piping along the lapel, as club blazers have.
				s.albedo = mix(s.albedo, st.Trim, edge(0.0028-math.Abs(ax-lapel), 0.0012)*(1-open)*edge(0.34-below, 0.01))
				if vee < 0.004 && ax < 0.0016 {
					s.dim *= 0.6
				}
				// A blank shield on the pocket.
				bx, by := x-0.112*build, y+0.385
				if d := 0.021 - math.Max(math.Abs(bx), math.Abs(by)*0.8+math.Max(-by, 0)*math.Abs(bx)*18); d > 0 && !st.Card {
					s.albedo = mix(s.albedo, st.Trim, edge(0.003-math.Abs(d-0.003), 0.0012))
				}
			}
		}
		return true
	})
}

func card(sk RGB, f float64, add adder) {
	const w, h, tilt = 0.105, 0.072, 0.03
	cy := -0.350
	add(-0.14, cy-0.1, 0.14, cy+0.1, func(x, y float64, s *surface) bool {
		u, v := x*math.Cos(tilt)+(y-cy)*math.Sin(tilt), (y-cy)*math.Cos(tilt)-x*math.Sin(tilt)
		if s.cover = edge(math.Min(w-math.Abs(u), h-math.Abs(v)), f); s.cover <= 0 {
			return false
		}
		s.z, s.n = 0.20, vec{0, 0.12, 1}.unit()
		s.albedo, s.region = whiteCard, WhiteReference
		return true
	})
	for _, side := range []float64{-1, 1} {
		for i := range 4 { // fingers behind would not show: a thumb in front, and the ball of the hand
			length, r := 0.030, vec{0.030, 0.0115, 0.012}
			c := vec{side * (w + 0.004), cy - 0.012, 0.205}
			if i > 0 {
				c = vec{side * (w + 0.016), cy - 0.012 - float64(i)*0.0165, 0.18}
				r = vec{0.022, 0.0105, 0.012}
			}
			add(c.x-length-0.02, c.y-0.03, c.x+length+0.02, c.y+0.03, func(x, y float64, s *surface) bool {
				t := side * 0.25 * (x - c.x)
				if !ellipsoid(c, r, x, y-t, f, s) {
					return false
				}
				s.albedo, s.region = sk, Face
				return true
			})
		}
	}
}

func sq(x float64) float64 { return x * x }

func clamp(x, low, high float64) float64 { return math.Max(low, math.Min(high, x)) }
