package assess

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"thirdstop/assess/colour"
	"thirdstop/assess/exposure"
	"thirdstop/assess/scene"
	"thirdstop/assess/tone"
)

const (
	leastFall   = 0.15 // stops of falloff that are worth a word
	hotFrom     = 1.0 / 3
	leastHot    = 0.01 // of the backdrop, under which a lighter spot is none
	sideLeast   = 0.02 // of the frame that must be backdrop in a third of it
	rimAt       = 2    // cells of the grid from the outline at which the rim is read: nearer ones are mixed
	rimAgainst  = 5    // and at which what it is held against
	leastOfRims = 8    // places along the outline, under which a rim says nothing
)

// quality looks a backdrop over. cells are its survey cells, parts the same by area.
func (m *meter) quality(sc *scene.Scene, cells []int32, parts [9][]int32, whole Level) Quality {
	var q Quality
	var thirdsOf [2][3][]int32 // columns, rows
	for k := range 3 {
		thirdsOf[0][k] = slices.Concat(parts[k], parts[k+3], parts[k+6])
		thirdsOf[1][k] = slices.Concat(parts[3*k], parts[3*k+1], parts[3*k+2])
	}
	least := int(sideLeast * float64(len(m.s.Cells)))
	fall := func(t *[3][]int32) (exposure.Stops, bool) {
		if len(t[0]) < least || len(t[2]) < least {
			return 0, false
		}
		a, b := m.median(t[0], brightest), m.median(t[2], brightest)
		if a.AtLeast && b.AtLeast {
			return 0, false
		}
		return (b.Value - a.Value).Round(), a.AtLeast || b.AtLeast
	}
	var atLeast [2]bool
	q.Across, atLeast[0] = fall(&thirdsOf[0])
	q.Down, atLeast[1] = fall(&thirdsOf[1])
	q.Falloff = fallWords(q.Across, q.Down, atLeast)
	q.HotSpot = m.hotSpot(sc, len(cells), whole)
	q.Cast = m.cast(cells)
	return q
}

func fallWords(across, down exposure.Stops, atLeast [2]bool) string {
	d, side, least := across, "left side", atLeast[0]
	if across < 0 {
		side = "right side"
	}
	if math.Abs(float64(down)) > math.Abs(float64(across)) {
		d, side, least = down, "upper part", atLeast[1]
		if down < 0 {
			side = "lower part"
		}
	}
	size := math.Abs(float64(d))
	if size < leastFall {
		return ""
	}
	by := fmt.Sprintf("%.1f stop", size)
	if size >= 1.05 {
		by += "s"
	}
	if least {
		by = "at least " + by
	}
	return side + " " + by + " darker"
}

// hotSpot finds the largest part of the backdrop over a third of a stop lighter than its median.
func (m *meter) hotSpot(sc *scene.Scene, all int, whole Level) *HotSpot {
	if whole.AtLeast {
		return nil
	}
	hot := make([]bool, len(sc.Backdrop.Mask))
	limit := (whole.Value + hotFrom).Factor()
	for i, in := range sc.Backdrop.Mask {
		if !in {
			continue
		}
		var light float64
		n := 0
		sc.CellsOf(i, func(c, r int) {
			l, _ := m.light(int32(r*m.s.Cols+c), brightest)
			light += l
			n++
		})
		hot[i] = n > 0 && light/float64(n) > limit
	}
	part := sc.Largest(hot)
	cells := m.cellsOf(sc.Grid, part)
	if float64(len(cells)) < leastHot*float64(all) || len(cells) == 0 {
		return nil
	}
	l := m.median(cells, brightest)
	return &HotSpot{Over: (l.Value - whole.Value).Round(), AtLeast: l.AtLeast, Share: float64(len(cells)) / float64(all), Box: Box(sc.BoxOf(part))}
}

// cast is the colour of cells of which none clips; nil where most do.
func (m *meter) cast(cells []int32) *Cast {
	var sum [3]float64
	n := 0.0
	for _, i := range cells {
		if q := &m.s.Cells[i]; q.ClippedAny == 0 {
			for ch := range sum {
				sum[ch] += float64(q.Mean[ch])
			}
			n++
		}
	}
	if n < 4 || n < 0.05*float64(len(cells)) {
		return nil
	}
	for ch := range sum {
		sum[ch] /= n
	}
	space := colour.SRGB
	if m.adobe {
		space = colour.AdobeRGB
	}
	c := colour.CastOf(sum, [3]float64{}, space)
	round := func(v float64) float64 { return math.Round(v*10) / 10 }
	return &Cast{A: round(c.Lab.A), B: round(c.Lab.B), Chroma: round(c.Chroma), Word: c.Word}
}

// darkest is the 2nd-percentile cell.
func (m *meter) darkest(cells []int32) exposure.Stops {
	if len(cells) == 0 {
		return tone.Floor
	}
	l, _ := m.light(m.nthOf(cells, percentile(2, len(cells)), brightest), brightest)
	v, ok := exposure.FromFactor(l)
	if !ok {
		v = tone.Floor
	}
	return min(max(v, tone.Floor), 0).Round()
}

// rim compares the sitter just inside its outline with what lies some cells further in, row by row
// below the head.
func (m *meter) rim(sc *scene.Scene) exposure.Stops {
	level := func(i int) (exposure.Stops, bool) {
		var light float64
		n := 0
		sc.CellsOf(i, func(c, r int) {
			l, _ := m.light(int32(r*m.s.Cols+c), brightest)
			light += l
			n++
		})
		return exposure.FromFactor(light / float64(max(n, 1)))
	}
	var lifts []float64
	from := int((sc.HeadY + 0.3) * float64(sc.Rows))
	for y := from; y < sc.Rows; y++ {
		row := sc.Sitter.Mask[y*sc.Cols : (y+1)*sc.Cols]
		first, last := -1, -1
		for x, in := range row {
			if in && first < 0 {
				first = x
			}
			if in {
				last = x
			}
		}
		if first <= 0 || last >= sc.Cols-1 || last-first < 3*rimAgainst {
			continue
		}
		for _, side := range [2][2]int{{first, 1}, {last, -1}} {
			rim, ok1 := level(y*sc.Cols + side[0] + side[1]*rimAt)
			in, ok2 := level(y*sc.Cols + side[0] + side[1]*rimAgainst)
			if ok1 && ok2 {
				lifts = append(lifts, float64(rim-in))
			}
		}
	}
	if len(lifts) < leastOfRims {
		return 0
	}
	sort.Float64s(lifts)
	return exposure.Stops(lifts[len(lifts)/2]).Round()
}
