package assess

import (
	"math"
	"math/rand/v2"
	"testing"

	"thirdstop/assess/photo"
)

// Cells of known code and noise, drawn sample by sample as a camera rounds and cuts them off, give their code back (law).
func TestCodesNearTheEdgeComeBack(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 0x70b5))
	for _, noise := range []float64{0.3, 0.6, 1.2} {
		top, told := newTop(noise), 0
		for z := 251.0; z < 256; z += 0.05 {
			q := photo.Cell{Pixels: 4096}
			sum, square := 0.0, 0.0
			for range int(q.Pixels) {
				v := min(math.Round(z+noise*r.NormFloat64()), 255)
				sum, square = sum+v, square+v*v
			}
			mean := sum / float64(q.Pixels)
			q.Mean[1], q.Var[1] = float32(mean), float32(max(square/float64(q.Pixels)-mean*mean, 0))
			got, ok := top.code(&q, 1)
			switch {
			case !ok:
				if z < 254.2 && z < 255.5-2*noise && noise >= 0.6 {
					t.Errorf("code %.2f with a noise of %.1f is not told", z, noise)
				}
			case math.Abs(got-z) > 0.05+4*noise/64:
				t.Errorf("code %.2f with a noise of %.1f comes back as %.2f", z, noise, got)
			default:
				told++
			}
		}
		if told < 40 {
			t.Errorf("with a noise of %.1f %d codes were told", noise, told)
		}
	}
	// Half a cell one tone and half another is no code.
	two := photo.Cell{Pixels: 256, Mean: [3]float32{253, 253, 253}, Var: [3]float32{4, 4, 4}}
	if code, ok := newTop(0.5).code(&two, 0); ok {
		t.Errorf("two tones in a cell read as code %.2f", code)
	}
}

// A place that shows 254.6 may be clipped, for a JPEG's colours are whole codes: it tells no code, and no other channel does there. One that
// shows 254.2 does.
func TestPlacesAtTheEdgeTellNoCode(t *testing.T) {
	for _, x := range []struct {
		mean float32
		told bool
	}{{254.2, true}, {254.6, false}} {
		light, dark := columns(240, 240, 240, 240), columns(200, 200, 200, 200)
		for i := range light.Cells {
			q := &light.Cells[i]
			q.Mean[1], q.Var[1], q.Clipped[1], q.ClippedAny = x.mean, 0.3, 220, 220
		}
		pairs := Pairs(light, dark)
		if len(pairs) == 0 {
			t.Fatalf("code %v: no pairs", x.mean)
		}
		for _, p := range pairs {
			if p.Part[1] == x.told || p.Part[0] == x.told {
				t.Fatalf("code %v: parts are %v, want %v of green and red", x.mean, p.Part, !x.told)
			}
		}
	}
}
