package studio

import (
	"math"
	"sync"
	"testing"

	"thirdstop/assess/exposure"
)

// bare is a studio with one light straight from the camera's side on a sitter with a
// card, and nothing that would blur a check: no ambient light, veil, vignetting, scatter.
func bare() *Studio {
	s := new(Studio)
	*s = *house() // its lights are replaced below, so nothing is shared
	s.Ambient.None = true
	s.Camera.Flare, s.Camera.Vignette = 0, 0
	s.Camera.ISO = 100
	s.Sway, s.Scatter = 0, 0
	key := *s.Light("B")
	key.Power, key.Least = -2*exposure.Stop, -8*exposure.Stop
	s.Lights = []Light{key}
	return s
}

var house = sync.OnceValue(func() *Studio { return BoatHouse(1) })

func levelOf(t *testing.T, s *Studio, r Region) exposure.Stops {
	t.Helper()
	e, ok := s.Exposure(r)
	if !ok {
		t.Fatalf("the picture shows no %v", r)
	}
	return e.Level
}

// Published examples of the guide number's rule (openphotographicsociety.org,
// idigitalphoto.com's dictionary, sciencezero's page on flash): a flash of guide
// number GN at d metres is right at f-number N. A perfect diffuser then has the
// camera's level of white.
func TestGuideNumbersGiveTheirAperture(t *testing.T) {
	for _, c := range []struct {
		guide exposure.GuideNumber
		d     exposure.Metres
		n     exposure.FNumber
		tol   float64
	}{
		{32, 4, 8, 1e-9},
		{45, 5, 9, 0.04},      // f/9 is exactly 8.98
		{30, 1.875, 16, 1e-9}, // printed as 1.875 m
	} {
		s := bare()
		l := &s.Lights[0]
		l.Guide, l.Distance, l.Loss, l.Power = c.guide, c.d, 0, 0
		s.Camera.FNumber = c.n
		m := s.lamps([]Flash{{Fired: true}})[0]
		facing := m.axis.times(-1)
		got := math.Log2(m.onSurface(vec{}, facing) * m.power[1])
		if math.Abs(got-float64(s.Camera.White)) > c.tol {
			t.Errorf("guide number %v at %v and %v puts a white diffuser at %.4f, want %v", c.guide, c.d, c.n, got, s.Camera.White)
		}
	}
}

// The inverse square: x2 in distance is -2 stops, x3 -3.170, x1.5 -1.170, 1.0 m to
// 1.4 m -0.971 (arithmetic of the law, 3 decimals; the law as in cornicello.com's
// measured figures).
func TestInverseSquare(t *testing.T) {
	for _, c := range []struct{ from, to, stops float64 }{{1, 2, -2}, {1, 3, -3.170}, {1, 1.5, -1.170}, {1, 1.4, -0.971}} {
		at := func(d float64) float64 {
			s := bare()
			s.Lights[0].Distance = exposure.Metres(d)
			m := s.lamps([]Flash{{Fired: true}})[0]
			return math.Log2(m.onSurface(vec{}, m.axis.times(-1)) * m.power[1])
		}
		if got := at(c.to) - at(c.from); math.Abs(got-c.stops) > 0.0006 {
			t.Errorf("from %v m to %v m the light changes by %.4f stops, want %.3f", c.from, c.to, got, c.stops)
		}
		on := func(d float64) float64 { // the backdrop, straight in front of its lamp
			s := bare()
			s.Lights[0].Role, s.Lights[0].Azimuth, s.Lights[0].Elevation = Background, 0, 0
			s.Lights[0].Distance = exposure.Metres(d)
			m := s.lamps([]Flash{{Fired: true}})[0]
			return math.Log2(m.onBackdrop(s.aim(&s.Lights[0])))
		}
		if got := on(c.to) - on(c.from); math.Abs(got-c.stops) > 0.0006 {
			t.Errorf("on the backdrop from %v m to %v m the light changes by %.4f stops, want %.3f", c.from, c.to, got, c.stops)
		}
	}
}

// A lean towards the key changes the light by the inverse square of the new
// distance (derived here), and the picture shows it.
func TestLeaningTowardsTheKeyIsSeen(t *testing.T) {
	s := bare()
	s.Lights[0].Azimuth, s.Lights[0].Elevation = 0, 0
	s.Sitter.Card = true
	flashes := []Flash{{Group: "B", Fired: true}}
	at := func(z exposure.Metres) Exposed {
		tr := s.truth(s.draw(200, 300, flashes, Offset{Z: z}, 0), nil)
		e, _ := tr.Region(WhiteReference)
		return e
	}
	still, lean := at(0), at(0.10)
	// The card is 0.20 m in front and 0.35 m below the head's middle.
	d0, d1 := math.Hypot(1.2-0.20, 0.35), math.Hypot(1.2-0.30, 0.35)
	cos := func(z float64) float64 {
		n := vec{0, 0.12, 1}.unit()
		return (n.dot(vec{0, 0.35, 1.2 - z}.unit()) + s.Lights[0].Softness)
	}
	want := 2*math.Log2(d0/d1) + math.Log2(cos(0.30)/cos(0.20))
	if got := float64(lean.Level - still.Level); math.Abs(got-want) > 0.01 {
		t.Errorf("a lean of 10 cm changes the card by %.3f stop, want %.3f", got, want)
	}
}

// A flat target turned by 30, 45 and 60 degrees gets 0.2075, 0.5 and 1 stop less (Lambert's cosine law).
func TestCosineLaw(t *testing.T) {
	m := lamp{at: vec{0, 0, 1}, axis: vec{0, 0, -1}, reaches: 1}
	for _, c := range []struct{ degrees, stops float64 }{{30, -0.2075}, {45, -0.5}, {60, -1}} {
		got := math.Log2(m.onSurface(vec{}, direction(Degrees(c.degrees), 0)))
		if math.Abs(got-c.stops) > 5e-5 {
			t.Errorf("turned by %v degrees a surface gets %.4f stops, want %v", c.degrees, got, c.stops)
		}
	}
}

// A flat Lambertian source lights a plane with the fourth power of the cosine,
// and a point source with the third (the photometric laws): at 45 degrees 2 and 1.5
// stops less than straight ahead.
func TestLightFallsOffAcrossTheBackdrop(t *testing.T) {
	for _, c := range []struct{ beam, stops float64 }{{1, -2}, {0, -1.5}} {
		m := lamp{at: vec{0, 0, 1}, axis: vec{0, 0, -1}, beam: c.beam}
		got := math.Log2(m.onBackdrop(vec{1, 0, 0}) / m.onBackdrop(vec{}))
		if math.Abs(got-c.stops) > 1e-9 {
			t.Errorf("with beam %v the backdrop at 45 degrees is %.4f stops down, want %v", c.beam, got, c.stops)
		}
	}
}

// One stop of aperture, of power and of ISO are the same thing to a flash: 1/16
// at f/4 equals 1/4 at f/8, and half the power at twice the ISO (trade
// equivalences; P/N² is 1/256 both times).
func TestPowerApertureAndISOAreEquivalent(t *testing.T) {
	set := func(n exposure.FNumber, iso exposure.ISO, power exposure.Dial) *Studio {
		s := bare()
		s.Camera.FNumber, s.Camera.ISO, s.Lights[0].Power = n, iso, power
		return s
	}
	for _, c := range []struct {
		name string
		a, b *Studio
	}{
		{"1/16 at f/4 and 1/4 at f/8", set(4, 100, -4*exposure.Stop), set(8, 100, -2*exposure.Stop)},
		{"1/2 at ISO 100 and 1/4 at ISO 200", set(8, 100, -exposure.Stop), set(8, 200, -2*exposure.Stop)},
		{"f/8 and f/10 with 2/3 stop more power", set(8, 100, -2*exposure.Stop), set(10, 100, -2*exposure.Stop+2*exposure.Third)},
		{"f/11 and f/8 with a stop less power", set(11, 100, -2*exposure.Stop), set(8, 100, -3*exposure.Stop)},
	} {
		for _, r := range []Region{BackdropRegion, WhiteReference, Face} {
			if a, b := levelOf(t, c.a, r), levelOf(t, c.b, r); math.Abs(float64(a-b)) > 1e-4 {
				t.Errorf("%s: %v at %.4f and %.4f, want the same", c.name, r, a, b)
			}
		}
	}
}

// Lights add in linear light: equal + equal +1.000, main + (-1) +0.585, + (-2)
// +0.322, + (-3) +0.170, + (-1/3) +0.843, +2.000 for four equal heads
// (arithmetic, 3 decimals).
func TestLightsAdd(t *testing.T) {
	for _, c := range []struct {
		others []exposure.Dial
		stops  float64
	}{
		{[]exposure.Dial{0}, 1.000},
		{[]exposure.Dial{-exposure.Stop}, 0.585},
		{[]exposure.Dial{-2 * exposure.Stop}, 0.322},
		{[]exposure.Dial{-3 * exposure.Stop}, 0.170},
		{[]exposure.Dial{-exposure.Third}, 0.843},
		{[]exposure.Dial{0, 0, 0}, 2.000}, // four equal heads
	} {
		s := bare()
		s.Camera.Flare, s.Camera.Vignette = 0.02, 0.2 // neither disturbs sums
		main := levelOf(t, s, WhiteReference)
		face := levelOf(t, s, Face)
		for _, d := range c.others {
			l := s.Lights[0]
			l.Power += d
			s.Lights = append(s.Lights, l)
		}
		if got := float64(levelOf(t, s, WhiteReference) - main); math.Abs(got-c.stops) > 0.0006 {
			t.Errorf("main and %v: the white reference rises by %.4f, want %.3f", c.others, got, c.stops)
		}
		if got := float64(levelOf(t, s, Face) - face); math.Abs(got-c.stops) > 0.0006 {
			t.Errorf("main and %v: the face rises by %.4f, want %.3f", c.others, got, c.stops)
		}
	}
}

// With all lights on, every place gets the sum of what each light gives alone.
func TestFramesOfSingleLightsAddUp(t *testing.T) {
	s := BoatHouse(3)
	light := func(on ...int) []float32 {
		f := make([]Flash, len(s.Lights))
		for _, i := range on {
			f[i].Fired = true
		}
		g := s.draw(96, 144, f, Offset{}, 0)
		var out []float32
		for k := 0; k < len(g.pix); k += g.stride {
			out = append(out, g.pix[k:k+3]...)
		}
		return out
	}
	all, dark := light(0, 1, 2, 3), light()
	single := [][]float32{light(0), light(1), light(2), light(3)}
	for k := range all {
		sum := float64(dark[k])
		for _, one := range single {
			sum += float64(one[k] - dark[k])
		}
		if math.Abs(sum-float64(all[k])) > 1e-4*math.Max(1, float64(all[k])) {
			t.Fatalf("value %d: all lights give %v, the single frames add up to %v", k, all[k], sum)
		}
	}
}

// Flash power leaves the ambient light alone; the shutter changes only the
// ambient (scantips.com, basics of flash). Room at EV 5, f/8, 1/160 s, ISO 100: 8.32
// stops under a right exposure (arithmetic on nominal values: EV 13.32; 13.33 on the exact ones).
func TestAmbientIsTheShuttersFlashIsNot(t *testing.T) {
	s := bare()
	s.Ambient = Ambient{Value: 5}
	s.Camera.Shutter = 1.0 / 160
	if got := math.Log2(s.ambient()[1]) - float64(s.Camera.White); math.Abs(got+8.3333) > 1e-3 {
		t.Errorf("the room is %.4f stops against a right exposure, want -8.333", got)
	}
	part := func() (ambient, flash float64) {
		e, _ := s.Exposure(WhiteReference)
		light := e.Channel[1].Factor()
		return e.Shares[1].Part * light, e.Shares[0].Part * light
	}
	a0, f0 := part()
	s.Lights[0].Power -= exposure.Stop
	a1, f1 := part()
	if math.Abs(a1/a0-1) > 0.01 || math.Abs(f1/f0-0.5) > 0.005 {
		t.Errorf("half the power leaves %.4f of the ambient and %.4f of the flash light, want 1 and 0.5", a1/a0, f1/f0)
	}
	s.Camera.Shutter = 1.0 / 80
	a2, f2 := part()
	if math.Abs(a2/a1-2) > 0.02 || math.Abs(f2/f1-1) > 0.005 {
		t.Errorf("twice the time gives %.4f times the ambient and %.4f times the flash light, want 2 and 1", a2/a1, f2/f1)
	}
}

// Veiling flare H' = H + g mean(H): with g 2 % and a backdrop over 80 % of the
// picture at the key's level, black cloth at 0.03 of it rises 0.62 stop, and 1.65
// stops with the backdrop two stops up (the model of ISO 9358's index; arithmetic).
func TestVeilLiftsTheBlacks(t *testing.T) {
	for _, c := range []struct{ backdrop, rise float64 }{{1, 0.62}, {4, 1.65}} {
		s := bare()
		s.Camera.Flare = 0.02
		g := &scene{width: 100, height: 100, step: 1, w: 100, h: 100, stride: 3}
		g.pix = make([]float32, 100*100*3)
		for i := range g.pix {
			g.pix[i] = 0.03
			if i < 80*100*3 {
				g.pix[i] = float32(c.backdrop)
			}
		}
		s.throughLens(g)
		if got := math.Log2(float64(g.pix[len(g.pix)-1]) / 0.03); math.Abs(got-c.rise) > 0.02 {
			t.Errorf("with the backdrop at %v black rises by %.3f stop, want %.2f", c.backdrop, got, c.rise)
		}
	}
}

func TestVignettingTakesItsShareInTheCorners(t *testing.T) {
	s := bare()
	s.Camera.Vignette = 0.4
	g := &scene{width: 301, height: 201, step: 1, w: 301, h: 201, stride: 3}
	g.pix = make([]float32, g.w*g.h*3)
	for i := range g.pix {
		g.pix[i] = 1
	}
	s.throughLens(g)
	corner, middle := math.Log2(float64(g.pix[0])), math.Log2(float64(g.pix[(100*g.w+150)*3]))
	if math.Abs(corner+0.4) > 0.005 || math.Abs(middle) > 0.001 {
		t.Errorf("vignetting is %.3f in the corner and %.4f in the middle, want -0.400 and 0", corner, middle)
	}
}

// The reflectances run from under the chart's dark skin to over its light skin:
// Y 0.10 and 0.35, 3.3 and 1.5 stops under white (24-patch chart, 1976).
func TestSkinsCoverPeople(t *testing.T) {
	y := func(c RGB) float64 { return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2] }
	if l, d := y(skin(0)), y(skin(1)); l < 0.36 || d > 0.10 || math.Log2(l/d) < 2 {
		t.Errorf("skins reach from %.3f to %.3f, want over 0.36 to under 0.10", l, d)
	}
	for tone := 0.0; tone < 1; tone += 0.1 {
		if y(skin(tone)) <= y(skin(tone+0.1)) {
			t.Errorf("skin %.1f is not lighter than %.1f", tone, tone+0.1)
		}
	}
}

func TestWarmLightIsRedder(t *testing.T) {
	if w := Mired(20).tint(); !(w[0] > 1 && w[1] == 1 && w[2] < 1) {
		t.Errorf("20 mired warmer is %v, want more red and less blue", w)
	}
	// Wien's approximation between 600 and 540 nm at 20 mired (derived here):
	// 0.014388 x 20e-6 x (1/540e-9 - 1/600e-9) / ln 2 = 0.0769 stop.
	if got := math.Log2(Mired(20).tint()[0]); math.Abs(got-0.0769) > 1e-4 {
		t.Errorf("20 mired add %.4f stop of red, want 0.0769", got)
	}
}

func TestTurnRefusesWhatTheFlashHasNot(t *testing.T) {
	l := &Light{Role: Key, Group: "B", Click: exposure.Third, Least: -7 * exposure.Stop}
	for _, bad := range []exposure.Dial{exposure.Third, -7*exposure.Stop - exposure.Third, -exposure.Tenth} {
		if err := l.Turn(bad); err == nil || l.Power != 0 {
			t.Errorf("Turn(%v) was taken by a light with third clicks from 1/128 to 1/1", bad)
		}
	}
	if err := l.Turn(-2 * exposure.Third); err != nil || l.Power != -2*exposure.Third {
		t.Errorf("Turn(-2/3) gave %v and %v", err, l.Power)
	}
}
