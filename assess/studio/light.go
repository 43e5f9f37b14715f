package studio

import (
	"math"

	"thirdstop/assess/exposure"
)

// vec is a place or direction in metres: x to the picture's right, y up, z
// towards the camera. The head's middle, at rest, is the origin.
type vec struct{ x, y, z float64 }

func (a vec) add(b vec) vec       { return vec{a.x + b.x, a.y + b.y, a.z + b.z} }
func (a vec) sub(b vec) vec       { return vec{a.x - b.x, a.y - b.y, a.z - b.z} }
func (a vec) times(f float64) vec { return vec{a.x * f, a.y * f, a.z * f} }
func (a vec) dot(b vec) float64   { return a.x*b.x + a.y*b.y + a.z*b.z }
func (a vec) length() float64     { return math.Sqrt(a.dot(a)) }
func (a vec) unit() vec           { return a.times(1 / a.length()) }
func direction(az, el Degrees) vec {
	return directionRad(float64(az)*math.Pi/180, float64(el)*math.Pi/180)
}
func directionRad(az, el float64) vec {
	return vec{math.Sin(az) * math.Cos(el), math.Sin(el), math.Cos(az) * math.Cos(el)}
}

// lamp is a light as one frame sees it.
type lamp struct {
	on      bool
	at      vec
	axis    vec        // unit vector the lamp shines along
	power   [3]float64 // level at one metre on axis as a factor, per channel, of a perfect diffuser
	beam    float64
	soft    float64
	reaches float64    // share of the axial intensity that goes towards the sitter
	bounce  [3]float64 // what the backdrop sends back from this light on a surface that faces it
}

// aim is the point a light is pointed at.
func (s *Studio) aim(l *Light) vec {
	if l.Role == Background {
		return vec{0, 0, -float64(s.Backdrop.Distance)}
	}
	return vec{}
}

// lamps sets up every light for a frame; off is what scatter and faults add to each.
//
// The level on axis is the guide number's: 2 log2(GN/(N d)) + dial + log2(S/100)
// less the modifier's loss (ISO 1230's constancy of the product of f-number and
// distance), counted from an exact incident reading.
func (s *Studio) lamps(flashes []Flash) []lamp {
	gain, _ := exposure.Gain(s.Camera.ISO, s.Camera.FNumber)
	all := make([]lamp, len(s.Lights))
	for i := range s.Lights {
		l := &s.Lights[i]
		m := &all[i]
		if m.on = flashes[i].Fired; !m.on {
			continue
		}
		aim := s.aim(l)
		m.axis = direction(l.Azimuth, l.Elevation).times(-1)
		m.at = aim.sub(m.axis.times(float64(l.Distance)))
		m.beam, m.soft = l.Beam, l.Softness
		k := (gain + l.Power.Stops() - l.Loss + flashes[i].Off + s.Camera.White).Factor() * float64(l.Guide) * float64(l.Guide)
		tint := l.Warmth.tint()
		for c := range m.power {
			m.power[c] = k * tint[c] * s.Camera.Cast[c].Factor()
		}
		m.reaches = m.towards(vec{})
		if l.Role != Background {
			m.reaches = math.Max(m.reaches, 0)
		}
	}
	// A disc of radius a seen from distance d sends its radiosity times a²/(a²+d²)
	// on a surface that faces it (view factor of a coaxial disc; derived here from Lambert's law).
	a, d := 1.35, float64(s.Backdrop.Distance)
	if hw := float64(s.Backdrop.HalfWidth); hw > 0 {
		a = math.Min(hw, 2)
	}
	view := a * a / (a*a + d*d)
	for i := range all {
		m := &all[i]
		if !m.on {
			continue
		}
		var e float64
		const n = 5
		for j := range n * n {
			e += m.onBackdrop(vec{a * (float64(j%n) - 2) / 2.5, a * (float64(j/n) - 2) / 2.5, -d}) / (n * n)
		}
		for c := range m.bounce {
			m.bounce[c] = e * m.power[c] * s.Backdrop.Colour[c] * view
		}
	}
	return all
}

// towards is the share of the axial intensity that a lamp sends to a place.
func (m *lamp) towards(p vec) float64 {
	c := m.axis.dot(p.sub(m.at).unit())
	if c <= 0 {
		return 0
	}
	if m.beam == 0 {
		return 1
	}
	// A reflector that evens out the sides (beam under 0) still ends somewhere.
	return math.Min(math.Pow(c, m.beam), 4)
}

// onBackdrop is the irradiance of a point of the backdrop, against that of a
// surface one metre off on axis: intensity, inverse square and cosine.
func (m *lamp) onBackdrop(p vec) float64 {
	v := m.at.sub(p)
	if v.z <= 0.02 {
		return 0 // level with the paper or behind it
	}
	d2 := v.dot(v)
	return m.towards(p) / d2 * v.z / math.Sqrt(d2)
}

// onSurface is the same on a point of the sitter with the unit normal n. Soft
// sources reach around the curve, a head-on surface stays as it was.
func (m *lamp) onSurface(p, n vec) float64 {
	v := m.at.sub(p)
	d2 := v.dot(v)
	inv := 1 / math.Sqrt(d2)
	cos := (n.dot(v)*inv + m.soft) / (1 + m.soft)
	if cos <= 0 {
		return 0
	}
	return m.reaches * cos / d2
}

// ambient is the room's light on a surface that faces the camera, as level
// factors per channel: its light value against the EV set, plus ISO.
func (s *Studio) ambient() [3]float64 {
	var out [3]float64
	if s.Ambient.None {
		return out
	}
	av, _ := s.Camera.FNumber.Av()
	tv, _ := s.Camera.Shutter.Tv()
	sv, _ := s.Camera.ISO.Sv()
	e := (s.Ambient.Value - (av + tv) + (sv - 5) + s.Camera.White).Factor()
	tint := s.Ambient.Warmth.tint()
	for c := range out {
		out[c] = e * tint[c] * s.Camera.Cast[c].Factor()
	}
	return out
}

// tint is what a shift in mired does to red, green and blue, green held:
// exp(-c2/λ x shift), by Wien's approximation with c2 = 0.014388 m K, at 600,
// 540 and 450 nm (derived here).
func (m Mired) tint() [3]float64 {
	const c2, red, green, blue = 0.014388, 600e-9, 540e-9, 450e-9
	shift := float64(m) * 1e-6
	g := -c2 / green * shift
	return [3]float64{math.Exp(-c2/red*shift - g), 1, math.Exp(-c2/blue*shift - g)}
}
