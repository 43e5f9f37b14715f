package studio

import (
	"math"
	"testing"
)

// Camera-like curves rise, end at 255, and show code 118 where they say: from sRGB's own 2.46 stops under the edge (IEC
// 61966-2-1) to the 3.4 of a real camera's bracket. A stop just under the edge, read as plain sRGB, is squeezed,
// as cameras do.
func TestCameraLikeCurvesLieWithinTheSpanOfCameras(t *testing.T) {
	all := Cameras()
	if len(all) != shapes*places {
		t.Fatalf("%d curves, want %d", len(all), shapes*places)
	}
	for _, k := range all {
		if grey := -math.Log2(k.Light(118)); math.Abs(grey-k.room()) > 0.01 || grey < 2.46 || grey > 3.48 {
			t.Errorf("%v shows code 118 %.3f stops under the edge, want %.2f", k, grey, k.room())
		}
		last := -1.0
		for x := 0.0005; x < 1; x += 0.0005 {
			c := k.Code(x)
			if !(c > last) || c > 255 {
				t.Errorf("%v does not rise at light %.4f: %v after %v", k, x, c, last)
				break
			}
			last = c
		}
		if c := k.Code(0.99999); math.Abs(c-255) > 0.1 {
			t.Errorf("%v ends at %v, want 255", k, c)
		}
		if read := math.Log2(1 / unsrgb(k.Code(0.5)/255)); read > 1.05 {
			t.Errorf("%v shows the last stop as %.2f when read as plain sRGB, want no more than it is", k, read)
		}
	}
}

// A studio's camera can have one.
func TestAStudioTakesACameraLikeCurve(t *testing.T) {
	s := Random(1, RandomOptions{Curves: Cameras()})
	if !s.Camera.Curve.isCamera() {
		t.Fatalf("the camera's curve is %v", s.Camera.Curve)
	}
	if _, err := s.Expected(); err != nil {
		t.Error(err)
	}
	if survey, _ := s.RenderSurvey(); survey == nil {
		t.Error("nothing is rendered")
	}
	s.Camera.Curve = firstCamera + CurveKind(len(Cameras()))
	if _, err := s.Expected(); err == nil {
		t.Error("a curve that doesn't exist is taken")
	}
}
