package tone

import (
	"encoding/json"
	"fmt"
)

// wire is a curve's JSON form. Curves made by formula are known by their name
// alone; a learned one carries its knots.
type wire struct {
	Name     string   `json:"name"`
	Source   Source   `json:"source"`
	Channels [][]Knot `json:"channels,omitempty"`
}

// MarshalJSON writes the curve so that [Curve.UnmarshalJSON] gives the same one.
func (c *Curve) MarshalJSON() ([]byte, error) {
	return json.Marshal(wire{Name: c.name, Source: c.source, Channels: c.knots})
}

// UnmarshalJSON reads a curve. It refuses, by [ErrCurve], one that doesn't rise and a formula it doesn't know.
func (c *Curve) UnmarshalJSON(data []byte) error {
	var w wire
	if err := json.Unmarshal(data, &w); err != nil {
		return fmt.Errorf("%w: %w", ErrCurve, err)
	}
	if len(w.Channels) == 0 {
		for _, known := range []*Curve{defaultCurve, srgbCurve} {
			if w.Name == known.name && w.Source == known.source {
				*c = *known
				return nil
			}
		}
		return fmt.Errorf("%w: %q (%s) has no points and is no formula known here", ErrCurve, w.Name, w.Source)
	}
	if w.Source != FromFrames {
		return fmt.Errorf("%w: %q has points, so its source must be %q, not %q", ErrCurve, w.Name, FromFrames, w.Source)
	}
	made, err := Learned(w.Name, w.Channels...)
	if err != nil {
		return err
	}
	*c = *made
	return nil
}
