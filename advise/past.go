package advise

import (
	"slices"

	"thirdstop/assess/exposure"
)

// PastFrame is what is kept of every frame of the shoot: how it stood against its
// targets, and how the lights stood. It is small, so that a whole day can be looked over.
type PastFrame struct {
	Number   int         `json:"number"`
	At       string      `json:"at"` // RFC 3339, when it was measured
	OnTarget bool        `json:"on_target"`
	Judged   bool        `json:"judged"` // there were targets to hold it against
	Levels   []PastLevel `json:"levels"`
	Lights   []PastLight `json:"lights"`
	Face     *PastFace   `json:"face,omitempty"` // of a frame with one face
}

// PastLevel is one judged region of a past frame, in stops to clipping.
type PastLevel struct {
	Region   RegionName     `json:"region"`
	Name     string         `json:"name"`
	Stops    exposure.Stops `json:"stops"`
	AtLeast  bool           `json:"at_least"`
	InTarget bool           `json:"in_target"`
	Low      exposure.Stops `json:"low_stops"`
	High     exposure.Stops `json:"high_stops"`
	Upper    bool           `json:"upper_only"`
}

// PastLight is how a light stood when a past frame was taken, as far as was known then.
type PastLight struct {
	Group string        `json:"group"`
	Power exposure.Dial `json:"power"`
	Text  string        `json:"power_text"`
	Off   bool          `json:"off"`
}

// KeepPast is how many frames of a shoot can be looked over, about; the trail keeps all.
const KeepPast = 4000

// Remembered is the state with one of its frames among the past ones, as it stands now.
func (s State) Remembered(number int) State {
	i := slices.IndexFunc(s.Frames, func(f FrameState) bool { return f.Number == number })
	if i < 0 || s.Frames[i].Reading == nil {
		return s
	}
	f := s.Frames[i]
	p := PastFrame{Number: f.Number, At: f.At, OnTarget: f.OnTarget, Judged: len(f.Expected) > 0, Face: faceOf(f.Reading)}
	for _, e := range f.Expected {
		p.Levels = append(p.Levels, PastLevel{e.Region, e.Name, e.Now, e.AtLeast, e.InTarget, e.Low, e.High, e.UpperOnly})
	}
	for _, l := range s.Lights {
		p.Lights = append(p.Lights, PastLight{l.Group, l.Power, l.PowerText, l.Off})
	}
	c := max(0, len(s.past)-1)
	for c > 0 && s.past[c][0].Number > number {
		c--
	}
	// A state that was handed out stays as it was: only the chunk that changes is copied.
	s.past = slices.Clone(s.past)
	if len(s.past) == 0 || c == len(s.past)-1 && len(s.past[c]) >= pastChunk && s.past[c][len(s.past[c])-1].Number < number {
		s.past = append(s.past, []PastFrame{p})
		if len(s.past) > KeepPast/pastChunk {
			s.past = s.past[1:]
		}
		return s
	}
	at, found := slices.BinarySearchFunc(s.past[c], number, func(p PastFrame, n int) int { return p.Number - n })
	chunk := slices.Clone(s.past[c])
	if found {
		p.Lights = chunk[at].Lights // a revision of an old frame was lit as it was
		chunk[at] = p
	} else {
		chunk = slices.Insert(chunk, at, p)
	}
	s.past[c] = chunk
	return s
}

// pastChunk is how many past frames lie together; what an append costs does not grow with the shoot.
const pastChunk = 32

// PastAfter gives up to limit past frames with numbers over after, in order, and whether there are more.
func (s State) PastAfter(after, limit int) (frames []PastFrame, more bool) {
	for _, chunk := range s.past {
		for _, p := range chunk {
			switch {
			case p.Number <= after:
			case len(frames) == limit:
				return frames, true
			default:
				frames = append(frames, p)
			}
		}
	}
	return frames, false
}
