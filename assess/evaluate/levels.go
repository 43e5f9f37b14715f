package evaluate

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sort"
	"time"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
	"thirdstop/assess/scene"
	"thirdstop/assess/studio"
	"thirdstop/assess/tone"
)

// Base is the first seed of evaluation scenes. Seeds under it are for building and tests.
const Base = 7_000_000

// Quantity is something a reading states.
type Quantity string

// The quantities.
const (
	BackdropLevel Quantity = "backdrop level"
	WhiteFloor    Quantity = "white floor of an area"
	WhitePeak     Quantity = "white peak"
)

// Quantities lists them in the order of the table.
var Quantities = []Quantity{BackdropLevel, WhiteFloor, WhitePeak}

// How a reading was taken: under which curve.
const (
	Before  = iota // the default
	After          // learned from a bracket of the same camera
	Perfect        // the camera's own, from its formula: what measuring alone gets wrong
	stages
)

// Sample is one value read and its truth.
type Sample struct {
	Scene    int
	Curve    studio.CurveKind
	Quantity Quantity
	Truth    exposure.Stops
	Off      [stages]exposure.Stops // read minus true
	Sigma    [stages]exposure.Stops // as the reading stated it
	JPEG     bool                   // through a real file
}

// Scenes is what was found on many scenes.
type Scenes struct {
	Count    int
	Seed     uint64
	Words    string // which curves
	Samples  []Sample
	Brackets int      // taken in all
	Refused  []string // scenes whose brackets were not learned from, and why
	Unseen   int      // scenes whose backdrop was not found
}

// everyJPEG of the scenes goes through JPEG files, bracket and all.
const everyJPEG = 10

// frames of a bracket.
const bracketFrames = 9

// Levels measures scenes. Levels are compared with the true light of the same place: the cells that
// the reading took. Only unclipped values count. Cameras have one of the curves that are named, else one of the studio's seven.
// An end of ctx ends it early with its error.
func Levels(ctx context.Context, scenes int, seed uint64, curves ...studio.CurveKind) (*Scenes, error) {
	out := &Scenes{Count: scenes, Seed: seed, Words: "seven tone curves"}
	if len(curves) > 0 {
		out.Words = fmt.Sprintf("%d tone curves within the span of cameras", len(curves))
	}
	for n := range scenes {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		st := studio.Random(Base+seed*1_000_003+uint64(n), studio.RandomOptions{Off: 1.2, Width: 900, PictureHeight: 600, Curves: curves})
		if err := out.scene(n, st); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (out *Scenes) scene(n int, st *studio.Studio) error {
	viaJPEG := n%everyJPEG == 0
	var curves [stages]*tone.Curve
	curves[Before] = tone.Default()
	exact, err := own(st.Camera.Curve)
	if err != nil {
		return err
	}
	curves[Perfect] = exact
	fitted, again, err := learn(st, viaJPEG)
	out.Brackets += again
	if err != nil && fitted == nil && !refusal(err) {
		return err
	}
	if err != nil {
		out.Refused = append(out.Refused, fmt.Sprintf("scene %d (%v): %v", n, st.Camera.Curve, err))
		return nil
	}
	curves[After] = fitted.Curve
	survey, truth, err := take(st, viaJPEG)
	if err != nil {
		return err
	}
	hints := assess.Hints{}
	if w, ok := truth.Region(studio.WhiteReference); ok { // a person draws a box well inside
		cx, cy, dx, dy := (w.Box.X0+w.Box.X1)/2, (w.Box.Y0+w.Box.Y1)/2, (w.Box.X1-w.Box.X0)/5, (w.Box.Y1-w.Box.Y0)/5
		box := assess.Box{X0: cx - dx, Y0: cy - dy, X1: cx + dx, Y1: cy + dy}
		if (place{survey, &truth.Cells}).allWhite(box) { // the middle of a shirt may be a tie, or the edge of a jacket, where nobody draws
			hints.WhiteReference = &box
		}
	}
	var r [stages]assess.Reading
	for k, c := range curves {
		r[k] = assess.MeasureSurvey(survey, assess.Facts{}, c, hints)
	}
	for k := range r {
		if r[k].Regions.Backdrop == nil {
			out.Unseen++
			return nil
		}
	}
	p := place{survey, &truth.Cells}
	add := func(q Quantity, lit exposure.Stops, get func(r *assess.Reading) (v, sigma exposure.Stops, least bool)) {
		s := Sample{Scene: n, Curve: st.Camera.Curve, Quantity: q, Truth: lit, JPEG: viaJPEG}
		if lit > -0.05 {
			return
		}
		for k := range r {
			v, sigma, least := get(&r[k])
			if least {
				return
			}
			s.Off[k], s.Sigma[k] = v-lit, sigma
		}
		out.Samples = append(out.Samples, s)
	}
	mask := r[Before].Regions.Backdrop.Mask
	in := p.masked(mask)
	add(BackdropLevel, p.median(in, brightest), func(r *assess.Reading) (exposure.Stops, exposure.Stops, bool) {
		b := r.Regions.Backdrop
		return b.Value, b.Sigma, b.AtLeast || b.Mask != mask
	})
	for i, a := range r[Before].Regions.Backdrop.Areas {
		if a.Share < 0.1 {
			continue
		}
		add(WhiteFloor, p.median(p.area(in, a.Row, a.Col), weakest), func(r *assess.Reading) (exposure.Stops, exposure.Stops, bool) {
			b := r.Regions.Backdrop
			if b.Mask != mask || i >= len(b.Areas) {
				return 0, 0, true
			}
			return b.Areas[i].Floor, b.FloorSigma, b.Areas[i].AtLeast
		})
	}
	if h := hints.WhiteReference; h != nil {
		if peak, ok := p.peak(*h); ok {
			add(WhitePeak, peak, func(r *assess.Reading) (exposure.Stops, exposure.Stops, bool) {
				w := r.Regions.WhiteReference
				if w == nil {
					return 0, 0, true
				}
				return w.Peak, w.Sigma, w.PeakAtLeast
			})
		}
	}
	return nil
}

// brackets are how far over the edge the lightest surface is in the first, second and third attempt, as somebody
// who was told that the edge is not known well enough moves the lamp a little.
var brackets = []exposure.Stops{0.5, 0.42, 0.6}

// learn takes a bracket and learns from it, and takes another, from which and those before it learns together, while the command would
// ask for one. It gives how many were taken.
func learn(st *studio.Studio, viaJPEG bool) (best *tone.Fitted, taken int, err error) {
	var earlier []tone.Bracket
	for _, over := range brackets {
		shots, failed := bracket(st, bracketFrames, over, viaJPEG)
		if failed != nil {
			return nil, taken, failed
		}
		taken++
		newest, failed := tone.Gathered(assess.BracketSteps(shots))
		if failed != nil {
			err = failed
			continue
		}
		f, used, failed := tone.FitTogether(newest, earlier...)
		if failed != nil {
			err = failed
			continue
		}
		best, earlier = f, append([]tone.Bracket{newest}, used...)
		if best.EdgeSigma() <= tone.EdgeKnown {
			break
		}
	}
	if best != nil {
		err = nil
	}
	return best, taken, err
}

// Bracketed is the curve that a person gets by the guide in a studio: a bracket of nine frames, taken again while its edge is not known.
func Bracketed(st *studio.Studio) (*tone.Curve, error) {
	f, _, err := learn(st, false)
	if err != nil {
		return nil, err
	}
	return f.Curve, nil
}

func refusal(err error) bool {
	return errors.Is(err, tone.ErrNotFixed) || errors.Is(err, tone.ErrTooLittle)
}

// take shoots one frame.
func take(st *studio.Studio, viaJPEG bool) (*photo.Survey, studio.Truth, error) {
	if !viaJPEG {
		s, t := st.RenderSurvey()
		return s, t, nil
	}
	shot := st.Shoot(time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC))
	p, err := photo.Read(shot.Name, shot.JPEG)
	if err != nil {
		return nil, shot.Truth, fmt.Errorf("a frame of the virtual studio can't be read: %w", err)
	}
	p.Release()
	return p.Survey, shot.Truth, nil
}

// own is a studio camera's curve from its formula.
func own(k studio.CurveKind) (*tone.Curve, error) {
	var knots []tone.Knot
	for code := 4.0; code < 255; code += 2 {
		knots = append(knots, tone.Knot{Code: code, Level: exposure.Stops(math.Log2(k.Light(code))), Sigma: 0.01})
	}
	knots = append(knots, tone.Knot{Code: 255, Level: 0, Sigma: 0.01})
	return tone.Learned("studio "+k.String(), knots)
}

// place takes the truth of cells.
type place struct {
	s *photo.Survey
	t *studio.CellMap
}

type which bool

const (
	brightest which = true
	weakest   which = false
)

// masked lists the cells of a mask.
func (p place) masked(m assess.Mask) []int {
	bits, ok := m.Cells()
	if !ok || m.Cols == 0 || m.Rows == 0 {
		return nil
	}
	var out []int
	// By counting, as the grid is laid: at the right and lower border its cells may be smaller.
	step := max(1, (max(p.s.Cols, p.s.Rows)+scene.MaxGrid-1)/scene.MaxGrid)
	for r := range p.s.Rows {
		for c := range p.s.Cols {
			if i := r/step*m.Cols + c/step; i < len(bits) && bits[i] {
				out = append(out, r*p.s.Cols+c)
			}
		}
	}
	return out
}

func (p place) area(cells []int, row, col int) []int {
	var out []int
	for _, i := range cells {
		x0, y0, x1, y1 := p.s.CellBox(i%p.s.Cols, i/p.s.Cols)
		if min(int((x0+x1)*1.5), 2) == col && min(int((y0+y1)*1.5), 2) == row {
			out = append(out, i)
		}
	}
	return out
}

// median is the level of the median cell, as a reading defines it.
func (p place) median(cells []int, w which) exposure.Stops {
	v := make([]float64, 0, len(cells))
	for _, i := range cells {
		l := p.t.Light[i]
		if w == brightest {
			v = append(v, float64(max(l[0], l[1], l[2])))
		} else {
			v = append(v, float64(min(l[0], l[1], l[2])))
		}
	}
	if len(v) == 0 {
		return studio.NoLight
	}
	sort.Float64s(v)
	level, ok := exposure.FromFactor(v[(len(v)-1)/2])
	if !ok {
		return studio.NoLight
	}
	return level
}

// allWhite says that every cell in a box shows card or white shirt alone.
func (p place) allWhite(b assess.Box) bool {
	n := 0
	for i, g := range p.t.Region {
		x0, y0, x1, y1 := p.s.CellBox(i%p.s.Cols, i/p.s.Cols)
		if x, y := (x0+x1)/2, (y0+y1)/2; x >= b.X0 && x < b.X1 && y >= b.Y0 && y < b.Y1 {
			if g != studio.WhiteReference && g != studio.WhiteShirtRegion {
				return false
			}
			n++
		}
	}
	return n > 0
}

// peak is the highest of the channels' 98th percentiles over the cells in a box, if it holds ten.
func (p place) peak(b assess.Box) (exposure.Stops, bool) {
	var v [3][]float64
	for i := range p.t.Light {
		x0, y0, x1, y1 := p.s.CellBox(i%p.s.Cols, i/p.s.Cols)
		if x, y := (x0+x1)/2, (y0+y1)/2; x < b.X0 || x >= b.X1 || y < b.Y0 || y >= b.Y1 {
			continue
		}
		for ch := range v {
			v[ch] = append(v[ch], float64(p.t.Light[i][ch]))
		}
	}
	best := 0.0
	for ch := range v {
		if len(v[ch]) < 10 {
			return 0, false
		}
		sort.Float64s(v[ch])
		best = max(best, v[ch][max(int(math.Ceil(0.98*float64(len(v[ch]))))-1, 0)])
	}
	return exposure.FromFactor(best)
}
