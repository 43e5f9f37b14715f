package assess

import (
	"fmt"
	"math"
	"sort"

	"thirdstop/assess/aside"
	"thirdstop/assess/faces"
	"thirdstop/assess/scene"
)

const (
	sureFace  = 0.5   // how sure a face must be to be listed
	faceUpper = 0.65  // of the sitter's height, from the top, in which the middles of faces are looked for
	eyesOver  = 0.075 // of a box, from its middle up to the eyes, by eye, on the portraits of the tests
	faceWide  = 0.36  // half axes of the oval that is measured as face, in sizes of its box:
	faceTall  = 0.42  // skin, eyes and mouth, and little of hair and backdrop
	faceLower = 0.03  // by which the oval lies lower than the box
)

// facePlaces is where the middles of faces may lie: on the upper part of the sitter, or in the box that a person drew.
func facePlaces(sc *scene.Scene, drawn *Box) faces.Places {
	p := faces.Places{Cols: sc.Cols, Rows: sc.Rows, In: make([]bool, sc.Cols*sc.Rows)}
	var b scene.Box
	if sc.Sitter.Found() {
		b = sc.BoxOf(sc.Sitter.Mask)
	}
	lowest := b.Y0 + faceUpper*(b.Y1-b.Y0)
	for i := range p.In {
		x, y := (float64(i%sc.Cols)+0.5)/float64(sc.Cols), (float64(i/sc.Cols)+0.5)/float64(sc.Rows)
		if drawn != nil && drawn.ok() {
			p.In[i] = x >= drawn.X0 && x < drawn.X1 && y >= drawn.Y0 && y < drawn.Y1
		} else {
			p.In[i] = sc.Sitter.Found() && sc.Sitter.Mask[i] && y < lowest
		}
	}
	return p
}

// lookForFaces begins to look for faces while the scene is found, goes on with the scene while the regions are measured, and ends with a
// list: an idle core does it, so that a frame's advice hardly waits for it.
func (m *meter) lookForFaces(h Hints) (with func(*scene.Scene) (found func() []placed)) {
	none := func() []placed { return nil }
	if h.Provisional { // it is about the light, and shown for a moment
		return func(*scene.Scene) func() []placed { return none }
	}
	drawn := aside.Begin(func() *faces.Map { return faces.MapOf(m.s) })
	return func(sc *scene.Scene) func() []placed {
		if !sc.Sitter.Found() {
			return none
		}
		return aside.Begin(func() []placed { return m.closely(drawn().In(facePlaces(sc, h.Face))) })
	}
}

// placed is a face with what is measured of it from blocks alone.
type placed struct {
	f    faces.Face
	wide float64 // edge of its box as a fraction of the frame's width

	keyFill          *KeyFill
	glare            *Glare
	noKeyFill, clear string // why there is none
}

// closely lists the sure ones of faces from the left to the right of the frame. It asks no cell for its light, and so
// may run beside what does.
func (m *meter) closely(found []faces.Face) []placed {
	var out []placed
	for _, f := range found {
		if f.Sure >= sureFace {
			p := placed{f: f, wide: f.Size * float64(m.s.Height) / float64(m.s.Width)}
			p.keyFill, p.noKeyFill = m.keyFill(&p)
			p.glare, p.clear = m.glare(&p)
			out = append(out, p)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].f.X < out[j].f.X })
	return out
}

// faces puts the faces that were found into a reading.
func (m *meter) faces(r *Reading, sc *scene.Scene, h Hints, found []placed) {
	round := func(v float64) float64 { return math.Round(min(max(v, 0), 1)*1e4) / 1e4 }
	for i := range found {
		p := &found[i]
		cells := m.oval(sc, p)
		if len(cells) == 0 {
			continue
		}
		path := fmt.Sprintf("regions.faces[%d]", len(r.Regions.Faces))
		if p.keyFill == nil {
			r.Missing[path+".key_to_fill"] = p.noKeyFill
		} else if p.keyFill.Source == nil {
			const even = "the sides are even within what can be told"
			r.Missing[path+".key_to_fill.key_to_fill"], r.Missing[path+".key_to_fill.key_over_fill_stops"] = even, even
		}
		if p.glare == nil {
			r.Missing[path+".glare"] = p.clear
		}
		r.Regions.Faces = append(r.Regions.Faces, Face{
			Level: m.median(cells, brightest), Headroom: m.headroom(cells), ClippedShare: m.tally(cells).any(),
			Box:  Box{round(p.f.X - p.wide/2), round(p.f.Y - p.f.Size/2), round(p.f.X + p.wide/2), round(p.f.Y + p.f.Size/2)},
			Size: round(p.f.Size), EyeLine: round(p.f.Y - eyesOver*p.f.Size), Confidence: round(p.f.Sure),
			KeyFill: p.keyFill, Glare: p.glare,
		})
	}
	switch {
	case len(r.Regions.Faces) > 0:
	case h.Provisional:
		r.Missing["regions.faces"] = "a preview isn't searched for faces"
	case !sc.Sitter.Found():
		r.Missing["regions.faces"] = "no sitter was found to look for faces on"
	default:
		r.Missing["regions.faces"] = "no face that looks about towards the camera was found on the sitter"
	}
}

// oval lists the survey cells of a face inside its outline.
func (m *meter) oval(sc *scene.Scene, p *placed) []int32 {
	half := 0.5 * p.f.Size
	b := Box{max(p.f.X-p.wide/2, 0), max(p.f.Y-half, 0), min(p.f.X+p.wide/2, 1), min(p.f.Y+half, 1)}
	if !b.ok() {
		return nil
	}
	var out []int32
	for _, i := range m.cellsIn(b) {
		c, r := int(i)%m.s.Cols, int(i)/m.s.Cols
		x := float64(m.s.ColEdges[c]+m.s.ColEdges[c+1]) / 2 / float64(m.s.Width)
		y := float64(m.s.RowEdges[r]+m.s.RowEdges[r+1]) / 2 / float64(m.s.Height)
		u, v := (x-p.f.X)/p.wide/faceWide, ((y-p.f.Y)/p.f.Size-faceLower)/faceTall
		if u*u+v*v < 1 && (!sc.Sitter.Found() || sc.Sitter.Mask[r/sc.Step*sc.Cols+c/sc.Step]) {
			out = append(out, i)
		}
	}
	return out
}

// balance compares the regions' levels.
func (r *Reading) balance() Balance {
	var out Balance
	const nothing = "no backdrop was found, or nobody before it"
	between := func(a, b Level, path string) *Difference {
		if a.AtLeast && b.AtLeast {
			r.Missing[path] = "both clip"
			return nil
		}
		d := &Difference{Value: (a.Value - b.Value).Round(), AtLeast: a.AtLeast, AtMost: b.AtLeast}
		d.Sigma = sigmaBetween(a, b).Round()
		return d
	}
	back, who := r.Regions.Backdrop, r.Regions.Sitter
	if back != nil && who != nil {
		out.Sitter = between(back.Level, who.Level, "balance.backdrop_over_sitter")
	} else {
		r.Missing["balance.backdrop_over_sitter"] = nothing
	}
	f := r.Regions.Faces
	if len(f) == 0 || back == nil {
		r.Missing["balance.backdrop_over_face"] = "no backdrop was found, or no face before it"
	} else {
		out.Face = between(back.Level, f[largest(f)].Level, "balance.backdrop_over_face")
	}
	if len(f) < 2 {
		r.Missing["balance.faces_uneven"] = "fewer than two faces were found"
		return out
	}
	low, high := extremes(f)
	out.Faces = between(high, low, "balance.faces_uneven")
	return out
}

// largest is the place in a list of the face that is largest in the frame.
func largest(f []Face) int {
	k := 0
	for i := range f {
		if f[i].Size > f[k].Size {
			k = i
		}
	}
	return k
}

// extremes are the levels of the darkest and the lightest face.
func extremes(f []Face) (low, high Level) {
	low, high = f[0].Level, f[0].Level
	for _, x := range f[1:] {
		if x.Value < low.Value {
			low = x.Level
		}
		if x.Value > high.Value || x.Value == high.Value && x.AtLeast {
			high = x.Level
		}
	}
	return low, high
}
