package advise

import (
	"fmt"
	"math"

	"thirdstop/assess/exposure"
)

// Metered is a reading of a hand-held meter that a person wrote down. It is for the record: advice is drawn
// from frames alone.
type Metered struct {
	Group   string           `json:"group,omitempty"` // of the light that was metered alone; "" all together
	FNumber exposure.FNumber `json:"f_number"`
	ISO     exposure.ISO     `json:"iso"` // that the meter was set to
}

// metered notes a hand meter's reading, and how far the camera is from it.
func (s State) metered(in Metered) []Output {
	what := "all lights"
	if i, ok := s.light(in.Group); ok {
		what = s.Lights[i].Name + " alone"
	}
	text := fmt.Sprintf("Hand meter, %s: %v at %v", what, in.FNumber, in.ISO)
	meter, ok := exposure.Gain(in.ISO, in.FNumber)
	camera, known := exposure.Gain(s.ISO, s.FNumber)
	if ok && known {
		// The camera takes more light in than the meter asks for: the picture is over by that.
		switch d := (camera - meter).Round(); {
		case math.Abs(float64(d)) < 0.05:
			text += "; the camera is set to it"
		case d > 0:
			text += "; the camera is set " + stopsWords(d) + " more open"
		default:
			text += "; the camera is set " + stopsWords(d) + " less open"
		}
	}
	return []Output{event("meter", Event{Group: in.Group, Text: text + "."})}
}
