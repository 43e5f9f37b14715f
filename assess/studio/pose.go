package studio

import (
	"math/rand/v2"

	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
)

// Pose is one moment of the sitter before the lights as they stand, drawn once. [Studio.Again] takes
// further frames of it, each with flashes and noise of its own, at a fifth of the cost. What a
// pose holds is the picture in linear light, each light's part known apart in green alone: all lights are
// taken to have one colour, so give them one Warmth.
type Pose struct{ drawn *scene }

// Pose has the sitter move, and keeps the moment. It takes no frame. It panics on
// a studio that [Studio.Check] refuses.
func (s *Studio) Pose(number uint64) *Pose {
	if err := s.check(); err != nil {
		panic("studio: " + err.Error())
	}
	r := rand.New(rand.NewPCG(s.Seed, number^0x905e))
	flashes := make([]Flash, len(s.Lights))
	for i := range s.Lights {
		flashes[i] = Flash{Group: s.Lights[i].Group, Fired: s.Lights[i].On}
	}
	w, h := s.Camera.Upright()
	moved, turn := s.sway(r)
	return &Pose{s.draw(w, h, flashes, moved, turn)}
}

// sway is how the sitter moved.
func (s *Studio) sway(r *rand.Rand) (Offset, float64) {
	by := func() exposure.Metres { return s.Sway * exposure.Metres(clamp(r.NormFloat64(), -2.5, 2.5)) }
	moved := Offset{by(), by() * 0.6, by()}
	turn := 0.0
	if s.Sway > 0 {
		turn = 0.09 * clamp(r.NormFloat64(), -2, 2)
	}
	return moved, turn
}

// Again takes a frame of a pose like [Studio.RenderSurvey]: scatter and faults of the lights and the
// camera's noise are new. Lights, camera, room and sitter must be those of the pose.
func (s *Studio) Again(p *Pose) *photo.Survey {
	s.frame++
	r := rand.New(rand.NewPCG(s.Seed, uint64(s.frame)))
	d := p.drawn
	g := *d
	g.pix = make([]float32, len(d.pix))
	by := make([]float32, d.sources)
	for i, f := range s.flash(r) {
		if f.Fired {
			by[i] = float32(f.Off.Factor())
		}
	}
	by[d.sources-1] = 1 // the room
	for k := 0; k < len(d.pix); k += d.stride {
		from, to := d.pix[k:][:d.stride], g.pix[k:][:d.stride]
		var was, now float32
		for i, f := range by {
			was += from[3+i]
			now += from[3+i] * f
		}
		if was > 0 {
			now /= was
		}
		for c := range 3 {
			to[c] = from[c] * now
		}
	}
	img, _ := s.develop(&g, r)
	return surveyOf(img, s.Camera.Orientation)
}
