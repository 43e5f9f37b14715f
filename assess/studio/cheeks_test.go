package studio

import (
	"math"
	"testing"

	"thirdstop/assess/exposure"
)

// The sides of a face are lit by what reaches them: alike by a light from the camera, the nearer one more by one from
// the side, and by nothing else than the power more when a light gives more.
func TestCheeksFollowTheLights(t *testing.T) {
	s := BoatHouse(1)
	s.Sway, s.Scatter, s.Ambient.None = 0, 0, true
	s.Camera.Width, s.Camera.PictureHeight = 360, 240
	s.Only("B")
	key := s.Light("B")
	key.Softness = 0
	apart := func(azimuth Degrees) float64 {
		key.Azimuth = azimuth
		t, err := s.Expected()
		if err != nil {
			return math.NaN()
		}
		return math.Log2(t.Cheeks[1].Light / t.Cheeks[0].Light)
	}
	if d := apart(0); math.Abs(d) > 1e-9 {
		t.Errorf("a light from the camera lights the cheeks %.3f stop apart", d)
	}
	a, b := apart(30), apart(-30)
	if math.Abs(a+b) > 1e-9 || a < 0.3 {
		t.Errorf("a light from the right lights the right cheek by %.3f more, one from the left by %.3f", a, b)
	}
	// In the middle of a cheek, 4.3 cm to the side and 3 cm down, the head's normal is (±0.598, -0.197, 0.777), and a lamp
	// 1.2 m off at 20 degrees stands 22 to 26 degrees from the camera as seen from there: cosines of 0.926 and 0.469, and
	// distances whose squares are as 1.058, make 1.06 stops (derived here).
	key.Elevation = 0
	if d := apart(20); math.Abs(d-1.06) > 0.08 {
		t.Errorf("a light at 20 degrees lights the cheeks %.2f stops apart, want 1.06 by the cosine law", d)
	}
	one, err := s.Expected()
	if err != nil {
		t.Fatal(err)
	}
	key.Power += exposure.Stop
	two, err := s.Expected()
	if err != nil {
		t.Fatal(err)
	}
	for k := range one.Cheeks {
		if d := math.Log2(two.Cheeks[k].Light / one.Cheeks[k].Light); math.Abs(d-1) > 1e-9 {
			t.Errorf("side %d gains %.4f stop from a stop of power, want 1", k, d)
		}
		if by := one.Cheeks[k].By[1]; math.Abs(by/one.Cheeks[k].Light-1) > 1e-9 {
			t.Errorf("side %d: the only light gives %.4f of %.4f", k, by, one.Cheeks[k].Light)
		}
	}
}

// A sitter whose eyes lie in hollows, and whose spectacles mirror the key, shows it there and nowhere else; without, the
// picture is the one it was.
func TestSocketsAndGlareShowAtTheEyes(t *testing.T) {
	shot := func(sockets, glare float64) (*scene, Truth) {
		s := BoatHouse(1)
		s.Sitter = Committee()[1]
		s.Sitter.Sockets, s.Sitter.Glare = sockets, glare
		w, h := 400, 600
		g := s.draw(w, h, make([]Flash, len(s.Lights)), Offset{}, 0)
		return g, s.truth(g, nil)
	}
	plain, truth := shot(0, 0)
	for _, x := range [][2]float64{{1, 0}, {0, 0.3}} {
		other, _ := shot(x[0], x[1])
		some := false
		for j := range other.h {
			for i := range other.w {
				k := (j*other.w + i) * other.stride
				if math.Abs(float64(other.pix[k]-plain.pix[k])) < 1e-3*float64(plain.pix[k])+1e-5 {
					continue
				}
				some = true
				u, v := float64(i*other.step)/400, float64(j*other.step)/600
				if b := truth.Head; u < b.X0 || u > b.X1 || v < b.Y0+0.2*(b.Y1-b.Y0) || v > b.Y0+0.7*(b.Y1-b.Y0) {
					t.Fatalf("sockets %g, glare %g: the picture changes at %.2f, %.2f, far from the eyes", x[0], x[1], u, v)
				}
			}
		}
		if !some {
			t.Errorf("sockets %g, glare %g change nothing", x[0], x[1])
		}
	}
}
