package advise

import (
	"fmt"
	"math"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// PastFace is how large and where the one face of a past frame was, in fractions of the upright frame.
type PastFace struct {
	X    float64 `json:"x"`        // its middle, from the left
	Eyes float64 `json:"eye_line"` // from the top
	Size float64 `json:"size_share"`
}

// faceOf is the one face of a frame; nil where there is none or several.
func faceOf(r *assess.Reading) *PastFace {
	if r == nil || len(r.Regions.Faces) != 1 {
		return nil
	}
	f := &r.Regions.Faces[0]
	return &PastFace{X: (f.Box.X0 + f.Box.X1) / 2, Eyes: f.EyeLine, Size: f.Size}
}

// From what a head counts as standing otherwise than in the baseline. Its size is read with a scatter of 2 to 5 % within one sitter
// and its middle with 0.01 of the frame's height (derived here, on the virtual studio).
const (
	headSize   = 0.15 // of its size
	headHigher = 0.04 // of the frame's height
	headAside  = 0.06 // of the frame's height
)

// FaceNotes says what is to be known of the faces of a frame: how they are lit, and whether the head stands as in the
// baseline, so that the set matches. They are notes: no light is ever turned for one.
func (s State) FaceNotes(f FrameState) []string {
	r := f.Reading
	if r == nil || len(r.Regions.Faces) == 0 {
		return nil
	}
	var out []string
	if faces := r.Regions.Faces; len(faces) == 1 {
		out = append(out, sayFace(&faces[0]))
		if k := faces[0].KeyFill; k != nil {
			out = append(out, saySides(k))
		}
	} else {
		out = append(out, fmt.Sprintf("%d faces.", len(faces)))
		if d := r.Balance.Faces; d != nil {
			out = append(out, fmt.Sprintf("The lightest face lies %s over the darkest, skins and light together.", sayDifference(d, d.Value)))
		}
	}
	if d := r.Balance.Face; d != nil {
		word := "lighter"
		if d.Value < 0 {
			word = "darker"
		}
		out = append(out, fmt.Sprintf("The backdrop is %s %s than the face.", sayDifference(d, exposure.Stops(math.Abs(float64(d.Value)))), word))
	}
	for i := range r.Regions.Faces {
		if r.Regions.Faces[i].Glare != nil {
			out = append(out, "Spectacles mirror a lamp over the eyes: put the key higher, or have the frames tilted a little down. Power does not help.")
			break
		}
	}
	return append(out, s.againstBaseline(f)...)
}

func sayFace(f *assess.Face) string {
	if f.ClippedShare >= 0.005 {
		return fmt.Sprintf("%.1f %% of the face clips.", 100*f.ClippedShare)
	}
	return fmt.Sprintf("The face has %s of headroom.", tenths(f.Headroom))
}

// saySides names both conventions, for people mean either by "ratio".
func saySides(k *assess.KeyFill) string {
	if k.Source == nil {
		return fmt.Sprintf("The sides of the face are lit alike, to %s.", tenths(2*k.Sigma))
	}
	return fmt.Sprintf("Lighting ratio %.1f:1 (key and fill to fill), %.1f:1 (key to fill): the %s side is lighter by %.1f ± %s.",
		k.Additive, *k.Source, k.Lit, float64(k.Difference), tenths(k.Sigma))
}

func sayDifference(d *assess.Difference, v exposure.Stops) string {
	switch {
	case d.AtLeast && d.Value >= 0 || d.AtMost && d.Value < 0:
		return "at least " + tenths(v)
	case d.AtLeast || d.AtMost:
		return "at most " + tenths(v)
	}
	return tenths(v)
}

func tenths(v exposure.Stops) string {
	text := fmt.Sprintf("%.1f stop", float64(v))
	if v >= 1.05 {
		text += "s"
	}
	return text
}

// againstBaseline holds the one head of a frame against that of the baseline.
func (s State) againstBaseline(f FrameState) []string {
	now, was := faceOf(f.Reading), s.pastFace(s.Baseline)
	if now == nil || was == nil || s.Baseline == f.Number || !(was.Size > 0) || f.Reading.Height == 0 {
		return nil
	}
	var out []string
	if d := now.Size/was.Size - 1; math.Abs(d) >= headSize {
		word := "larger"
		if d < 0 {
			word = "smaller"
		}
		out = append(out, fmt.Sprintf("The head is %.0f %% %s than in the baseline.", 100*math.Abs(d), word))
	}
	if d := was.Eyes - now.Eyes; math.Abs(d) >= headHigher {
		word := "higher"
		if d < 0 {
			word = "lower"
		}
		out = append(out, fmt.Sprintf("The eyes are %.0f %% of the frame's height %s than in the baseline.", 100*math.Abs(d), word))
	}
	if d := (now.X - was.X) * float64(f.Reading.Width) / float64(f.Reading.Height); math.Abs(d) >= headAside {
		word := "right"
		if d < 0 {
			word = "left"
		}
		out = append(out, fmt.Sprintf("The head is %.0f %% of the frame's height further to the %s than in the baseline.", 100*math.Abs(d), word))
	}
	return out
}

// pastFace is the one face of a past frame, nil where it is not known.
func (s State) pastFace(number int) *PastFace {
	if number < 1 {
		return nil
	}
	frames, _ := s.PastAfter(number-1, 1)
	if len(frames) == 0 || frames[0].Number != number {
		return nil
	}
	return frames[0].Face
}
