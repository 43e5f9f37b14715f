package assess

import (
	"math"

	"thirdstop/assess/scene"
)

func (m *meter) sitter(sc *scene.Scene) *Sitter {
	cells := m.cellsOf(sc.Grid, sc.Sitter.Mask)
	t := m.tally(cells)
	inner := sc.Inner(sc.Sitter.Mask)
	clipped := m.sitterClipped(sc, inner)
	deep := sc.Inner(inner) // curls let the backdrop through further in than an outline does
	return &Sitter{
		Level:        m.median(cells, brightest),
		Headroom:     m.headroom(cells),
		ClippedShare: clipped.likely,
		ClippedLeast: clipped.least,
		ClippedMost:  clipped.most,
		Darkest:      m.darkest(m.cellsOf(sc.Grid, inner)),
		Crown:        m.crown(sc, deep),
		Share:        float64(t.pixels) / float64(m.s.Width*m.s.Height),
		Confidence:   sc.Sitter.Confidence,
		Box:          Box(sc.BoxOf(sc.Sitter.Mask)),
		Mask:         maskOf(sc.Grid, sc.Sitter.Mask),
		Codes:        m.codes(cells),
	}
}

// crownHeight is how far down from its top a head counts as crown, as a share of the
// frame's height, and crownWidth how far to the sides of the top.
const (
	crownHeight = 0.12
	crownWidth  = 0.15
)

// crown reads the top of the head inside its outline. inner is the sitter without
// the cells near the outline.
func (m *meter) crown(sc *scene.Scene, inner []bool) *Crown {
	top := make([]bool, len(inner))
	some := false
	for i, in := range inner {
		x, y := (float64(i%sc.Cols)+0.5)/float64(sc.Cols), (float64(i/sc.Cols)+0.5)/float64(sc.Rows)
		top[i] = in && y < sc.HeadY+crownHeight && math.Abs(x-sc.HeadX) < crownWidth
		some = some || top[i]
	}
	if !some {
		return nil
	}
	peak, atLeast := m.peak(m.cellsOf(sc.Grid, top), Box{0, 0, 1, 1})
	return &Crown{Peak: peak, AtLeast: atLeast, Box: Box(sc.BoxOf(top))}
}

// clipShares is what share of the sitter is clipped, and the bounds between which it lies.
type clipShares struct{ least, likely, most float64 }

// outlineSlack is what part of the surely clipped share is left if the outline is off by half a
// cell all round (derived here).
const outlineSlack = 0.85

// sitterClipped tells the sitter's clipped pixels from those of a white backdrop behind. Cells that are
// surely sitter count as they are. Along the outline a cell shows both: its sitter's part is taken for half of it, clipped as
// the cells further in beside it, and at most as much as those that clip most. Cells that may be backdrop count for the upper bound alone.
func (m *meter) sitterClipped(sc *scene.Scene, inner []bool) clipShares {
	var sure, likely, most, pixels float64
	of := make([]float64, len(inner)) // clipped share by cell of the grid, of those surely sitter
	sized := make([]float64, len(inner))
	for i, in := range sc.Sitter.Mask {
		if !in {
			continue
		}
		t := m.tally(m.gridCell(sc.Grid, i))
		sized[i], of[i] = float64(t.pixels), float64(t.anyClipped)
	}
	for i, in := range sc.Sitter.Mask {
		switch {
		case !in:
		case inner[i] && !sc.Doubtful[i]:
			pixels += sized[i]
			sure += of[i]
			likely += of[i]
			most += of[i]
		case inner[i]:
			pixels += sized[i]
			most += of[i]
		default:
			pixels += sized[i] / 2
			var sum, top float64
			n := 0
			sc.Beside(i, func(j int) {
				if !inner[j] || sized[j] == 0 {
					return
				}
				top = max(top, of[j]/sized[j])
				if !sc.Doubtful[j] {
					sum += of[j] / sized[j]
					n++
				}
			})
			if n > 0 {
				likely += min(sized[i]/2*sum/float64(n), of[i])
			}
			most += min(sized[i]*top, of[i])
		}
	}
	if pixels == 0 {
		return clipShares{}
	}
	more := pixels
	for i, in := range sc.Perhaps {
		if in {
			t := m.tally(m.gridCell(sc.Grid, i))
			more += float64(t.pixels)
			most += float64(t.anyClipped)
		}
	}
	return clipShares{outlineSlack * sure / more, likely / pixels, min(most/pixels, 1)}
}

// gridCell lists the survey cells of one cell of the grid.
func (m *meter) gridCell(g scene.Grid, i int) []int32 {
	cells := make([]int32, 0, g.Step*g.Step)
	g.CellsOf(i, func(c, r int) { cells = append(cells, int32(r*m.s.Cols+c)) })
	return cells
}
