package studio

import "math"

func head(st *Sitter, sk RGB, turn, f float64, add adder) {
	shift := math.Sin(turn) * 0.06 // how far the features move
	for _, side := range []float64{-1, 1} {
		add(side*0.08-0.02, -0.04, side*0.08+0.02, 0.035, func(x, y float64, s *surface) bool {
			if !ellipsoid(vec{side*0.0745 - shift*0.4, -0.006, -0.01}, vec{0.0115, 0.025, 0.02}, x, y, f, s) {
				return false
			}
			s.albedo, s.region, s.dim = mix(sk, RGB{sk[0] * 1.05, sk[1] * 0.85, sk[2] * 0.8}, 0.6), Face, 0.85
			return st.Style != Scarf && st.Style != LongHair
		})
	}
	lip := RGB{sk[0] * 0.82, sk[1] * 0.52, sk[2] * 0.5}
	blush := RGB{sk[0] * 1.04, sk[1] * 0.86, sk[2] * 0.84}
	brow := mix(st.Hair.times(0.6), sk.times(0.3), 0.35)
	white := mix(RGB{0.5, 0.49, 0.48}, sk, 0.25)
	add(-headW, -headH, headW, headH, func(x, y float64, s *surface) bool {
		w := headW
		if y < 0 { // the jaw
			t := -y / headH
			w *= 1 - 0.20*t*t
		}
		if !ellipsoid(vec{0, 0, 0}, vec{w, headH, headD}, x, y, f, s) {
			return false
		}
		s.albedo, s.region, s.gloss = sk, Face, 0.035
		fx := x - shift // features
		ax := math.Abs(fx)
		// Eye sockets, nose and mouth are gently modelled by turning the normal.
		nose := edge(0.012-math.Abs(fx), 0.012) * edge(y+0.045, 0.03) * edge(0.02-y, 0.03)
		s.n.x += nose * clamp(fx*50, -0.6, 0.6)
		tip := math.Exp(-(fx*fx)/(2*0.010*0.010) - (y+0.036)*(y+0.036)/(2*0.009*0.009))
		s.n.y += tip*clamp((y+0.034)*60, -0.7, 0.4) - 0.25*math.Exp(-sq((ax-0.031)/0.017)-sq((y-0.017)/0.010))
		chin := math.Exp(-sq(fx/0.022) - sq((y+0.088)/0.012))
		s.n.y += 0.25 * chin * clamp((y+0.088)*90, -1, 1)
		s.n = s.n.unit()
		s.dim *= 1 - 0.30*math.Exp(-sq(fx/0.011)-sq((y+0.050)/0.0035)) // under the nose
		s.dim *= 1 - 0.16*math.Exp(-sq(fx/0.020)-sq((y+0.078)/0.005))  // under the lip
		s.albedo = mix(s.albedo, blush, 0.8*math.Exp(-sq((ax-0.042)/0.018)-sq((y+0.028)/0.018)))
		if st.Beard {
			line := edge(-0.030-0.30*math.Max(0.055-ax, 0)-y, 0.012) // higher at the sides
			round := edge(math.Hypot(fx/1.5, y+0.0635)-0.0125, 0.004)
			s.albedo = mix(s.albedo, st.Hair, 0.9*line*round)
			s.albedo = mix(s.albedo, st.Hair, 0.8*edge(0.030-ax, 0.01)*edge(0.006-math.Abs(y+0.0525+0.06*ax), 0.004))
			if line > 0.9 {
				s.gloss = 0
			}
		}
		if st.Sockets > 0 {
			hollow := math.Exp(-sq((ax-0.032)/0.021)-sq((y-0.014)/0.013)) + 0.5*math.Exp(-sq((ax-0.013)/0.007)-sq((y-0.012)/0.018))
			s.dim *= 1 - 0.6*st.Sockets*math.Min(hollow, 1)
		}
		// Brows, lids, eyes.
		s.albedo = mix(s.albedo, brow, 0.85*edge(0.0024+0.0010*edge(0.034-ax, 0.01)-math.Abs(y-0.0285+3.2*sq(ax-0.030)), 0.0016)*edge(0.0185-math.Abs(ax-0.0325), 0.004))
		ex, ey := ax-0.0315, y-0.0075
		open := 0.0062 - 26*ex*ex // half height of the opening at ex
		eye := edge(math.Min(open-math.Abs(ey), 0.0142-math.Abs(ex)), 0.0009)
		side := math.Copysign(1, fx)
		ix := fx - side*0.0315 - shift*0.03
		iris := edge(0.0054-math.Hypot(ix, ey-0.0006), 0.0009)
		s.albedo = mix(s.albedo, mix(white, RGB{0.035, 0.025, 0.02}, iris), eye)
		s.albedo = mix(s.albedo, brow.times(0.7), 0.85*edge(0.0012-math.Abs(ey-open), 0.0010)*edge(0.0150-math.Abs(ex), 0.002))
		s.albedo = mix(s.albedo, sk.times(0.62), 0.45*edge(0.0009-math.Abs(ey-open-0.0048), 0.0012)*edge(0.0140-math.Abs(ex), 0.003))
		// A mouth with the beginning of a smile.
		my := y + 0.0645 - 4.2*fx*fx
		mw := 1 - sq(fx/0.0245)
		if mw > 0 {
			s.albedo = mix(s.albedo, lip, 0.75*edge(0.0052*mw-math.Abs(my+0.0008), 0.0016))
			s.albedo = mix(s.albedo, lip.times(0.3), 0.8*edge(0.0008*math.Sqrt(mw)-math.Abs(my), 0.0008))
		}
		return true
	})
}

// strand makes hair look combed, or curled, not painted.
func (h HairStyle) strand(x, y float64) float64 {
	if h == CurlyHair {
		a, b := 230*x+3*math.Sin(75*y), 230*y+3*math.Sin(83*x)
		return 1 + 0.30*math.Sin(a)*math.Sin(b) + 0.12*math.Sin(2.3*a+1)*math.Sin(2.1*b)
	}
	return 1 + 0.22*math.Sin(420*x+60*y+4*math.Sin(70*y+30*x)) + 0.10*math.Sin(910*x-45*y)
}

// The mass of curly hair.
var curlyAt, curlySize = vec{0, 0.045, -0.02}, vec{0.128, 0.125, 0.10}

func hairBehind(st *Sitter, f float64, add adder) {
	var c, r vec
	switch st.Style {
	case LongHair:
		c, r = vec{0, -0.055, -0.03}, vec{0.107, 0.188, 0.09}
	case CurlyHair:
		c, r = curlyAt, curlySize
	case ShortHair, BunHair:
		c, r = vec{0, 0.018, -0.015}, vec{0.086, 0.113, 0.10}
	case Scarf:
		c, r = vec{0, -0.010, -0.02}, vec{0.099, 0.142, 0.10}
	default:
		return
	}
	colour, shine, region := st.Hair, 0.02, HairRegion
	if st.Style == Scarf {
		colour, shine, region = st.Trim, 0, Clothes
	}
	if st.Style == BunHair {
		add(-0.05, 0.1, 0.05, 0.18, func(x, y float64, s *surface) bool {
			if !ellipsoid(vec{0, 0.132, -0.03}, vec{0.042, 0.034, 0.04}, x, y, f*2, s) {
				return false
			}
			s.albedo, s.region, s.gloss = colour.times(st.Style.strand(y, x)), region, shine
			return true
		})
	}
	add(c.x-r.x*1.15, c.y-r.y*1.15, c.x+r.x*1.15, c.y+r.y*1.15, func(x, y float64, s *surface) bool {
		rr := r
		switch st.Style {
		case CurlyHair:
			a := math.Atan2(y-c.y, x)
			k := 1 + 0.035*math.Sin(17*a) + 0.025*math.Sin(29*a+1)
			rr.x, rr.y = r.x*k, r.y*k
		case LongHair:
			if y < c.y { // falls straight
				rr.x *= 1 + 0.05*(c.y-y)/r.y
				u := x / rr.x
				s.cover = math.Min(edge((1-math.Abs(u))*rr.x, f*2), edge(y-c.y+r.y+0.02*u*u, 0.02))
				if s.cover <= 0 {
					return false
				}
				w := math.Sqrt(math.Max(1-u*u, 0.02))
				s.z, s.n = c.z+r.z*w, vec{u / rr.x, 0, w / r.z}.unit()
				s.albedo, s.region, s.gloss, s.dim = colour.times(st.Style.strand(x, y*0.3)), region, shine, 0.85
				return true
			}
		}
		if !ellipsoid(c, rr, x, y, f*2, s) {
			return false
		}
		s.albedo, s.region, s.gloss, s.dim = colour.times(st.Style.strand(x, y)), region, shine, 0.85
		switch st.Style {
		case Scarf:
			s.albedo = colour.times(1 + 0.06*math.Sin(60*y+25*math.Abs(x)))
		case LongHair:
			s.albedo = colour.times(st.Style.strand(x, y*0.3))
		}
		return true
	})
}

// scarfEnd is the end of a headscarf, wound around the neck.
func scarfEnd(st *Sitter, f float64, add adder) {
	add(-0.095, -0.24, 0.095, -0.05, func(x, y float64, s *surface) bool {
		if !ellipsoid(vec{0, -0.145, 0}, vec{0.090, 0.068, 0.075}, x, y, f, s) {
			return false
		}
		s.albedo, s.region, s.dim = st.Trim.times(1+0.10*math.Sin(90*(y+0.25*x)+8*x)), Clothes, 0.7
		return true
	})
}

func hairInFront(st *Sitter, f float64, add adder) {
	if st.Style == NoHair {
		return
	}
	colour, shine, region := st.Hair, 0.03, HairRegion
	if st.Style == Scarf {
		colour, shine, region = st.Trim, 0, Clothes
	}
	c, r := vec{0, 0.012, 0.004}, vec{headW * 1.07, headH * 1.07, headD * 1.03}
	add(-r.x, -0.135, r.x, r.y+c.y, func(x, y float64, s *surface) bool {
		if !ellipsoid(c, r, x, y, f*1.5, s) {
			return false
		}
		var inside float64 // how far above the hairline
		switch st.Style {
		case Scarf:
			inside = math.Hypot(x/0.063, (y+0.006)/0.099) - 1
			inside *= 0.063
		case LongHair:
			inside = y - 0.088 + 15*sq(x-0.012)
			if t := math.Abs(x) - 0.061; t > inside && y > -0.11 {
				inside = t
			}
		case CurlyHair:
			inside = y - 0.068 + 7*x*x + 0.004*math.Sin(160*x)
		case BunHair:
			inside = y - 0.078 + 8.5*x*x
		default: // a side parting
			inside = y - 0.064 + 6*x*x - 0.10*math.Max(x-0.02, 0)
			if y < 0.012 {
				inside -= (0.012 - y) * 3
			}
		}
		cut := edge(inside, 0.004)
		if st.Style == Scarf {
			cut = edge(inside, 0.0015)
		}
		if s.cover = math.Min(s.cover, cut); s.cover <= 0 {
			return false
		}
		s.albedo, s.region, s.gloss = colour.times(st.Style.strand(x*0.95+y*0.3, y*0.5)), region, shine
		if st.Style == Scarf {
			s.albedo = colour.times(1 + 0.07*math.Sin(70*math.Hypot(x, y)))
		}
		if st.Style == CurlyHair { // one mass with the hair behind
			var mass surface
			ellipsoid(curlyAt, curlySize, x, y, f, &mass)
			s.albedo, s.gloss, s.dim, s.n = colour.times(st.Style.strand(x, y)), 0.02, 0.85, mass.n
		}
		return true
	})
}

func spectacles(st *Sitter, turn, f float64, add adder) {
	shift := math.Sin(turn) * 0.06
	add(-0.08, -0.03, 0.08, 0.045, func(x, y float64, s *surface) bool {
		fx := x - shift
		ax := math.Abs(fx)
		ex, ey := ax-0.0335, y-0.004
		cube := func(a float64) float64 { a = math.Abs(a); return a * a * a }
		d := math.Cbrt(cube(ex/0.0265)+cube(ey/0.0205)) - 1
		rim := edge(0.0017-math.Abs(d)*0.022, 0.0010)
		rim = math.Max(rim, edge(0.0013-math.Abs(y-0.009-0.5*math.Max(0.008-ax, 0)), 0.0008)*edge(0.0075-ax, 0.001))
		rim = math.Max(rim, edge(0.0013-math.Abs(y-0.012), 0.0008)*edge(ax-0.0595, 0.001)*edge(headW-0.001-math.Abs(x), 0.001))
		// The key mirrors in the lenses, as it does in life.
		glint := edge(0.0036-math.Hypot((fx-math.Copysign(0.0335, fx)-0.010)*0.8, ey-0.0105), 0.0008)
		if st.Glare > 0 { // a lens is about 53 by 41 mm
			r := math.Sqrt(st.Glare * 0.0265 * 0.0205)
			glint = edge(r-math.Hypot(fx-math.Copysign(0.0335, fx)-0.004, ey-0.003), 0.0008)
		}
		s.z, s.n = headD+0.012, vec{0, 0, 1}
		if glint > rim {
			s.cover, s.albedo, s.region = glint, RGB{2.6, 2.6, 2.6}, Glint
			return true
		}
		s.cover, s.albedo, s.region = rim, RGB{0.02, 0.017, 0.015}, Clothes
		return rim > 0
	})
}
