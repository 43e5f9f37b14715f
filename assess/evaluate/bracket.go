package evaluate

import (
	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
)

// shutters are five marks a third of a stop apart, while the lightest surface passes the edge, and then whole stops.
var shutters = []exposure.Shutter{1.0 / 4, 1.0 / 5, 1.0 / 6, 1.0 / 8, 1.0 / 10, 1.0 / 15, 1.0 / 30, 1.0 / 60, 1.0 / 125}

// bracket takes frames in a studio under its room light, flashes off, in the way that
// is asked of a person: the longest exposure puts the lightest large surface over the edge by so much, where the camera's
// clipping warning shows it. The camera is the studio's own: same curve, vignetting, flare, noise and
// white balance; the sitter stays and keeps moving.
func bracket(st *studio.Studio, frames int, over exposure.Stops, viaJPEG bool) ([]assess.Shot, error) {
	s := *st
	s.Lights = append([]studio.Light(nil), st.Lights...)
	for i := range s.Lights {
		s.Lights[i].On = false
	}
	s.Seed ^= 0xb7ac + uint64(over*1000)
	from := shutters[:min(frames, len(shutters))]
	s.Camera.Shutter = from[0]
	s.Ambient = studio.Ambient{Value: 4}
	truth, err := s.Expected()
	if err != nil {
		return nil, err
	}
	lightest := studio.NoLight
	for r := studio.BackdropRegion; r <= studio.WhiteShirtRegion; r++ {
		if e, ok := truth.Region(r); ok && e.Size > 0.02 && r != studio.Glint {
			lightest = max(lightest, e.Level)
		}
	}
	s.Ambient.Value += over - lightest
	var out []assess.Shot
	for _, t := range from {
		s.Camera.Shutter = t
		survey, _, err := take(&s, viaJPEG)
		if err != nil {
			return nil, err
		}
		tv, _ := t.Tv()
		out = append(out, assess.Shot{Name: t.String(), Survey: survey, Tv: tv})
	}
	return out, nil
}
