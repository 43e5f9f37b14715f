package assess

import (
	"math"
	"slices"

	"thirdstop/assess/exposure"
)

// Band is a part of the frame along one of its long edges that lies in the dark, with a straight border: what a
// focal-plane shutter leaves when it is faster than the flash can follow. A wall beside a narrow backdrop looks the same; only
// frames taken at a slower shutter tell them apart.
type Band struct {
	Edge  Edge           `json:"edge" range:"left, right, top, bottom" doc:"of the upright frame, a long one"`
	Share float64        `json:"share" unit:"share" range:"0 to 1" doc:"of the frame's short side, to the middle of the soft border"`
	Fall  exposure.Stops `json:"fall_stops" unit:"stops" range:"1.5 to 12" doc:"how much darker it is than what lies beside it, median along the edge"`
}

// Edge names an edge of the upright frame.
type Edge string

// The edges.
const (
	LeftEdge   Edge = "left"
	RightEdge  Edge = "right"
	TopEdge    Edge = "top"
	BottomEdge Edge = "bottom"
)

const (
	bandPlaces = 32   // along the edge
	bandLines  = 64   // from edge to edge across, at most
	bandFall   = 1.5  // stops that it must fall by: where the room gives so much of the light, nobody minds the band
	bandHits   = 0.9  // of the places along the edge must show the fall,
	bandUsable = 0.6  // and so many must be light enough inside to show one
	bandDark   = -5   // level inside, under which a place shows nothing
	bandSoft   = 0.25 // the widest soft border, of the short side,
	bandMost   = 0.6  // and the most of the short side that lies in full darkness before it
	bandRagged = 0.04 // of the short side: the border of a band is straight, that of a shoulder or a shadow is not
)

// band looks for a dark band along the long edges; nil where there is none, or the frame is too small or too dark to tell.
func (m *meter) band() *Band {
	s := m.s
	upright := s.Height > s.Width
	cols, rows, mean := s.Cols, s.Rows, func(i, ch int) float64 { return float64(s.Cells[i].Mean[ch]) }
	if min(cols, rows) < bandLines {
		cols, rows, mean = s.BlockCols, s.BlockRows, func(i, ch int) float64 { return float64(s.Blocks[i][ch]) / 256 }
	}
	along, across := cols, rows
	if upright {
		along, across = rows, cols
	}
	lines := min(across, bandLines)
	if lines < 12 || along < bandPlaces {
		return nil
	}
	sums := make([][3]float64, bandPlaces*lines)
	count := make([]float64, bandPlaces*lines)
	ofCol, ofRow := make([]int, cols), make([]int, rows) // what each column and row adds to a sum's number
	ofAlong, ofAcross := ofCol, ofRow
	if upright {
		ofAlong, ofAcross = ofRow, ofCol
	}
	for a := range ofAlong {
		ofAlong[a] = a * bandPlaces / along * lines
	}
	for d := range ofAcross {
		ofAcross[d] = d * lines / across
	}
	for r := range rows {
		for c := range cols {
			k := ofRow[r] + ofCol[c]
			for ch := range 3 {
				sums[k][ch] += mean(r*cols+c, ch)
			}
			count[k]++
		}
	}
	level := make([]float64, bandPlaces*lines)
	for k, sum := range sums {
		var light float64
		for ch, v := range sum {
			light = max(light, m.c.Linear(ch, v/count[k]))
		}
		level[k] = max(math.Log2(max(light, 1e-6)), -12)
	}
	near, far := TopEdge, BottomEdge
	if upright {
		near, far = LeftEdge, RightEdge
	}
	best := bandFrom(level, lines)
	edge := near
	for p := range bandPlaces {
		slices.Reverse(level[p*lines : (p+1)*lines])
	}
	if b := bandFrom(level, lines); b != nil && (best == nil || b.Fall > best.Fall) {
		best, edge = b, far
	}
	if best != nil {
		best.Edge = edge
	}
	return best
}

// bandFrom looks for a band from the first line on. The narrowest border that fits is taken, and the widest band with it.
func bandFrom(level []float64, lines int) *Band {
	if !bandMay(level, lines) {
		return nil
	}
	in := max(2, lines/12)
	var falls []float64
	for soft := 0; soft <= int(bandSoft*float64(lines)); soft = max(soft+1, soft*3/2) {
		for dark := int(bandMost * float64(lines)); dark >= 2; dark-- {
			if dark+soft+in > lines {
				continue
			}
			falls = falls[:0]
			hits := 0
			for p := range bandPlaces {
				row := level[p*lines : (p+1)*lines]
				lit := middle(row[dark+soft : dark+soft+in])
				if lit < bandDark {
					continue
				}
				fall := lit - slices.Max(row[:dark])
				if fall >= bandFall {
					hits++
				}
				falls = append(falls, fall)
			}
			if n := len(falls); float64(n) < bandUsable*bandPlaces || float64(hits) < bandHits*float64(n) {
				continue
			}
			if at, ok := border(level, lines, dark, soft, in); ok {
				fall := exposure.Stops(middle(falls)).Round()
				return &Band{Share: math.Round(at/float64(lines)*100) / 100, Fall: min(fall, 12)}
			}
		}
	}
	return nil
}

// bandMay tells whether the outermost lines are so much darker than what is lightest further in: hardly a frame's are, and
// the search can be spared.
func bandMay(level []float64, lines int) bool {
	hits, n := 0, 0
	for p := range bandPlaces {
		row := level[p*lines : (p+1)*lines]
		lit := slices.Max(row)
		if lit < bandDark {
			continue
		}
		n++
		if lit-max(row[0], row[1]) >= bandFall {
			hits++
		}
	}
	return float64(n) >= bandUsable*bandPlaces && 2*hits >= n
}

// border is where the light reaches half of what it is inside, in lines from the edge; false where that place is another
// along the edge: a straight border is one curtain's.
func border(level []float64, lines, dark, soft, in int) (float64, bool) {
	var at []float64
	for p := range bandPlaces {
		row := level[p*lines : (p+1)*lines]
		lit := middle(row[dark+soft : dark+soft+in])
		if lit < bandDark {
			continue
		}
		i := dark - 1
		for i+1 < dark+soft+in && row[i+1] < lit-1 {
			i++
		}
		from, to := row[i], row[min(i+1, lines-1)]
		part := 0.0
		if to > from {
			part = min(max((lit-1-from)/(to-from), 0), 1)
		}
		at = append(at, float64(i)+part+0.5)
	}
	slices.Sort(at)
	low, high := at[len(at)/10], at[len(at)-1-len(at)/10]
	return at[len(at)/2], high-low <= max(1.5, bandRagged*float64(lines))
}

// middle is the median; the slice stays as it was.
func middle(v []float64) float64 {
	w := slices.Clone(v)
	slices.Sort(w)
	if n := len(w); n%2 == 0 {
		return (w[n/2-1] + w[n/2]) / 2
	}
	return w[len(w)/2]
}
