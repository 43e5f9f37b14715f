package assess

import (
	"encoding/base64"
	"math"

	"thirdstop/assess/scene"
)

// follows says that a white reference that was declared by a box is to be followed from an earlier reading.
func (h Hints) follows() (*WhiteReference, bool) {
	if h.WhiteReference == nil || h.Before == nil {
		return nil, false
	}
	w := h.Before.Regions.WhiteReference
	if w == nil || !w.Declared || w.DeclaredBox == nil || w.Look == nil || *w.DeclaredBox != *h.WhiteReference {
		return nil, false
	}
	return w, true
}

// follow moves a scene's declared white reference to where it is found now, or lets it lapse with a reason.
func follow(sc *scene.Scene, was *WhiteReference) (score float64, found bool) {
	look, ok := was.Look.scene()
	if !ok {
		return 0, false
	}
	box, score, reason := sc.Follow(look, scene.Box(was.Box))
	if reason != "" {
		sc.White = scene.White{Region: scene.Region{Reason: reason}}
		return score, false
	}
	sc.Declare(box)
	sc.White.Confidence = math.Round(score*1000) / 1000
	return score, true
}

func lookOf(l scene.Look) *Look {
	round := func(v float64) float64 { return math.Round(v*1e4) / 1e4 }
	return &Look{
		Patch: base64.StdEncoding.EncodeToString(l.Patch), Head: base64.StdEncoding.EncodeToString(l.Head),
		Wide: l.Wide, Red: round(l.Tint[0]), Blue: round(l.Tint[1]), Frame: math.Round(l.Frame*100) / 100,
	}
}

// scene unpacks a look; false where it is damaged.
func (l *Look) scene() (out scene.Look, ok bool) {
	var err error
	if out.Patch, err = base64.StdEncoding.DecodeString(l.Patch); err != nil || len(out.Patch) != scene.PatchSamples {
		return out, false
	}
	if out.Head, err = base64.StdEncoding.DecodeString(l.Head); err != nil || len(out.Head) != 0 && len(out.Head) != scene.HeadSamples {
		return out, false
	}
	out.Wide, out.Tint, out.Frame = l.Wide, [2]float64{l.Red, l.Blue}, l.Frame
	return out, true
}
