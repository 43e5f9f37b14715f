package colour

import (
	"errors"
	"fmt"
	"math"

	"thirdstop/assess/photo"
)

// The reasons for which there is no chart; errors wrap one of them.
var (
	ErrNoChart  = errors.New("no 24-patch chart found")
	ErrTooSmall = errors.New("the chart is too small in the frame")
	ErrGrey     = errors.New("a greyscale picture has no colours to find a chart by")
)

// leastPitch is how many blocks apart patches must be: under this a patch, which is some 0.85 of it,
// is narrower than three blocks, and turned by 45 degrees it holds no block that shows it alone.
const leastPitch = 3.5

// smallText says how large a chart must be, in pixels of the file that was read.
var smallText = fmt.Sprintf("patches must lie at least %.0f pixels apart, which takes a chart some %.0f pixels long",
	leastPitch*photo.BlockSize, 6*leastPitch*photo.BlockSize)

// leastMatch is how well the 24 colours must fit the chart's: the share of their variance in code values,
// about each channel's mean, that the published colours explain with one offset and one gain per channel.
// On real charts it is 0.92 and more, in grids found in pictures of other things at most 0.4 (the tests print both).
const leastMatch = 0.80

// Spot is a place in fractions of the upright frame: 0, 0 is its top left corner.
type Spot struct {
	X float64 `json:"x"`
	Y float64 `json:"y"`
}

// Sighting is a chart that was found in a frame.
type Sighting struct {
	// Corners of the block of patches (half a pitch outside the centres of the corner patches), clockwise from
	// dark skin's: dark skin, bluish green, black, white.
	Corners [4]Spot
	// Turn is by how much the chart is turned clockwise, in degrees, 0 up to 360: 0 has dark
	// skin at the top left.
	Turn float64
	// Pitch is the smallest distance between neighbouring patches, in pixels of the file that was read.
	Pitch float64
	// Match is the share of the colours' variance that the chart explains, 0 to 1.
	Match float64
	// Support is how many of the 24 patches were seen as patches, and not only expected.
	Support int
	// Confidence is how sure it is that this is the chart, 0 to 1, from match and support.
	Confidence float64

	plane homography // from chart to blocks; a patch's centre is at (col-2.5, row-1.5)
}

// chartPoint is where a patch lies on the chart, with the origin in the chart's middle.
func chartPoint(patch int) point {
	return point{float64(patch%ChartCols) - 2.5, float64(patch/ChartCols) - 1.5}
}

// Find looks for a 24-patch chart at any rotation and moderate perspective. It goes by
// patches: surfaces of even colour are cut out, grown into rows and columns, and every place
// of 6 by 4 in these, at four rotations, is held against the chart's colours. Exposure and white
// balance don't matter, as long as the colours can still be told apart. A mirrored chart is not found.
//
// It looks at the blocks of the survey, of 8x8 pixels, so patches must be large enough:
// see [ErrTooSmall]. Otherwise the error wraps [ErrNoChart] or [ErrGrey]. If there are several
// charts, the one with the largest patches that is good enough is found.
func Find(s *photo.Survey) (*Sighting, error) {
	if s.Grey {
		return nil, ErrGrey
	}
	if s.BlockCols < 8 || s.BlockRows < 8 {
		return nil, fmt.Errorf("%w: the picture has only %d x %d pixels; %s", ErrNoChart, s.Width, s.Height, smallText)
	}
	best, near := search(s)
	if best == nil || best.match < leastMatch {
		if best != nil && best.pitch < leastPitch && best.match > leastMatch-0.15 {
			return nil, fmt.Errorf("%w: something like one has patches %.0f pixels apart; %s", ErrTooSmall, best.pitch*photo.BlockSize, smallText)
		}
		return nil, fmt.Errorf("%w; to be found, all of it must be in the frame, and its %s", ErrNoChart, smallText)
	}
	return best.sighting(s, near)
}

// search gives the place that looks most like the chart, good enough or not; nil if there is no grid at all.
func search(s *photo.Survey) (*candidate, *nearby) {
	blobs := blobsOf(s)
	g := &grower{near: newNearby(blobs, extent(s.BlockColEdges), extent(s.BlockRowEdges))}
	done := make([]bool, len(blobs))
	var best *candidate
	for i := range blobs {
		if done[i] || g.looks > budget {
			continue
		}
		g.from(int32(i), func(l *lattice) bool {
			c := judge(s, blobs, l)
			if c == nil {
				return false
			}
			if best == nil || c.quality() > best.quality() {
				best = c
			}
			if c.match < leastMatch || c.support < wellSeen {
				return false
			}
			for _, n := range l.order {
				done[l.blob(n)] = true
			}
			return true
		})
		if best != nil && best.match > 0.9 && best.support >= wellSeen {
			break
		}
	}
	return best, g.near
}

// wellSeen is how many of the patches must have been seen for the search to end there. Blocks that lie half on
// a patch and half on the gap make grids that look like the chart as well, but not as whole.
const wellSeen = 20

// quality ranks candidates: how well the colours fit, and how many of the patches were seen.
func (c *candidate) quality() float64 { return c.match * float64(ChartPatches+c.support) }

// candidate is a place of 6 by 4 in a lattice.
type candidate struct {
	match   float64
	pitch   float64 // blocks, the smallest
	support int
	plane   homography // chart to blocks
	blobs   [ChartPatches]int32
}

// referenceCodes are the chart's colours as sRGB codes, for recognising only.
var referenceCodes = func() (codes [ChartPatches][3]float64) {
	for i := range Patches {
		c := SRGB.RGB(Patches[i].d65(After2014))
		for ch := range c {
			codes[i][ch] = SRGB.Encode(c[ch])
		}
	}
	return codes
}()

// judge finds the place in a lattice that looks most like the chart; nil if there is none at all.
func judge(s *photo.Survey, blobs []blob, l *lattice) *candidate {
	m, ok := l.plane(blobs)
	if !ok {
		return nil
	}
	lo, hi := node{reach, reach}, node{-reach, -reach}
	for _, n := range l.order {
		for k := range n {
			lo[k], hi[k] = min(lo[k], n[k]), max(hi[k], n[k])
		}
	}
	// Patches that hardly differ from the chart's ground aren't seen: a line of places more either side.
	const size = 2*reach + 3
	var codes [size][size][3]float64
	var seen [size][size]bool
	cols, rows := int(hi[0]-lo[0])+3, int(hi[1]-lo[1])+3
	for j := range rows {
		for i := range cols {
			codes[j][i], seen[j][i] = look(s, &m, float64(int(lo[0])-1+i), float64(int(lo[1])-1+j))
		}
	}
	turns := [4][2]node{{{1, 0}, {0, 1}}, {{0, 1}, {-1, 0}}, {{-1, 0}, {0, -1}}, {{0, -1}, {1, 0}}} // where a column and a row on lead
	best := &candidate{}
	var origin node
	var way [2]node
	for j := range rows {
		for i := range cols {
			for _, t := range turns {
				endC, endR := i+5*int(t[0][0])+3*int(t[1][0]), j+5*int(t[0][1])+3*int(t[1][1])
				if endC < 0 || endC >= cols || endR < 0 || endR >= rows {
					continue
				}
				var got [ChartPatches][3]float64
				all := true
				for p := range got {
					c, r := int8(p%ChartCols), int8(p/ChartCols)
					x, y := i+int(c*t[0][0]+r*t[1][0]), j+int(c*t[0][1]+r*t[1][1])
					if !seen[y][x] {
						all = false
						break
					}
					got[p] = codes[y][x]
				}
				if !all {
					continue
				}
				if match := matchOf(&got); match > best.match {
					best.match = match
					origin, way = node{int8(i) + lo[0] - 1, int8(j) + lo[1] - 1}, t
				}
			}
		}
	}
	if best.match == 0 {
		return nil
	}
	var from, to []point
	for p := range best.blobs {
		c, r := int8(p%ChartCols), int8(p/ChartCols)
		n := node{origin[0] + c*way[0][0] + r*way[1][0], origin[1] + c*way[0][1] + r*way[1][1]}
		best.blobs[p] = -1
		q, ok := m.at(float64(n[0]), float64(n[1]))
		if i := l.blob(n); i >= 0 && ok && blobs[i].at.distance(q) < 0.5*blobs[i].side+0.5 {
			best.blobs[p] = i
			best.support++
			q = blobs[i].at
		}
		if ok {
			from, to = append(from, chartPoint(p)), append(to, q)
		}
	}
	if best.plane, ok = fitHomography(from, to); !ok || best.support < fewestInChart {
		return nil
	}
	best.pitch = pitchOf(&best.plane)
	if !(best.pitch > 1) {
		return nil
	}
	return best
}

// look is the mean of the nine blocks around the middle of a place of the lattice;
// false outside the frame.
func look(s *photo.Survey, m *homography, u, v float64) (code [3]float64, ok bool) {
	const n = 3
	for dv := -1; dv <= 1; dv++ {
		for du := -1; du <= 1; du++ {
			p, ok := m.at(u+0.2*float64(du), v+0.2*float64(dv))
			if !ok || p.x < 0 || p.y < 0 {
				return code, false
			}
			c, r := blockAt(s, p)
			if c < 0 {
				return code, false
			}
			b := s.BlockAt(c, r)
			for ch := range code {
				code[ch] += float64(b[ch]) / (256 * n * n)
			}
		}
	}
	return code, true
}

// blockAt is the block at a place, -1 outside. Partial blocks lie at the end of an axis, or at its
// start in a picture that was turned round.
func blockAt(s *photo.Survey, p point) (col, row int) {
	at := func(v float64, edges []int) int {
		n := len(edges) - 1
		px := v * photo.BlockSize
		if !(px >= 0) || px >= float64(edges[n]) {
			return -1
		}
		i := min(int((px+float64(photo.BlockSize-edges[1]))/photo.BlockSize), n-1)
		return max(i, 0)
	}
	col, row = at(p.x, s.BlockColEdges), at(p.y, s.BlockRowEdges)
	if row < 0 {
		col = -1
	}
	return col, row
}

// matchOf is the share of the variance that the chart's colours explain; see [leastMatch]. A channel with
// a falling fit explains nothing, nor do colours that hardly differ.
func matchOf(got *[ChartPatches][3]float64) float64 {
	const n = ChartPatches
	var total, explained float64
	var gain [3]float64
	for ch := range 3 {
		var sx, sy, sxx, sxy, syy float64
		for p := range got {
			x, y := referenceCodes[p][ch], got[p][ch]
			sx += x
			sy += y
			sxx += x * x
			sxy += x * y
			syy += y * y
		}
		vx, vy, cov := sxx-sx*sx/n, syy-sy*sy/n, sxy-sx*sy/n
		if cov <= 0 || vy < n*squared(4) {
			return 0
		}
		gain[ch] = cov / vx
		total += vy
		explained += cov * cov / vx
	}
	// A light so coloured that one channel has under a sixth of another's contrast leaves nothing to tell.
	if min(gain[0], gain[1], gain[2])*6 < max(gain[0], gain[1], gain[2]) {
		return 0
	}
	return explained / total
}

// pitchOf is the smallest distance between neighbouring patches, in blocks; 0 where the plane
// doesn't show the whole chart.
func pitchOf(m *homography) float64 {
	least := math.Inf(1)
	for _, u := range [2]float64{-2.5, 1.5} {
		for _, v := range [2]float64{-1.5, 0.5} {
			p, ok0 := m.at(u, v)
			q, ok1 := m.at(u+1, v)
			r, ok2 := m.at(u, v+1)
			if !ok0 || !ok1 || !ok2 || q.sub(p).cross(r.sub(p)) <= 0 {
				return 0
			}
			least = min(least, p.distance(q), p.distance(r))
		}
	}
	return least
}

// sighting makes a candidate that is good enough into a sighting, or refuses it as too small.
func (c *candidate) sighting(s *photo.Survey, near *nearby) (*Sighting, error) {
	c.refine(near)
	if c.pitch < leastPitch {
		return nil, fmt.Errorf("%w: its patches lie %.0f pixels apart; %s", ErrTooSmall, c.pitch*photo.BlockSize, smallText)
	}
	f := &Sighting{plane: c.plane, Pitch: c.pitch * photo.BlockSize, Match: c.match, Support: c.support}
	w, h := extent(s.BlockColEdges), extent(s.BlockRowEdges)
	for k, at := range [4]point{{-3, -2}, {3, -2}, {3, 2}, {-3, 2}} {
		p, ok := f.plane.at(at.x, at.y)
		slack := c.pitch / 2 // gap and border may be cut off, patches not
		if !ok || !p.add(point{slack, slack}).within(w+2*slack, h+2*slack) {
			return nil, fmt.Errorf("%w: one seems to be cut off by the frame's edge", ErrNoChart)
		}
		f.Corners[k] = Spot{p.x / w, p.y / h}
	}
	p, _ := f.plane.at(-1, 0)
	q, _ := f.plane.at(1, 0)
	f.Turn = math.Mod(math.Atan2(q.y-p.y, q.x-p.x)*180/math.Pi+360, 360)
	f.Confidence = min(1, (c.match-leastMatch)/0.15+0.5) * min(1, 0.5+float64(c.support)/(2*18))
	return f, nil
}

// refine takes in the blobs that lie where the plane puts patches, and fits it again to these alone.
func (c *candidate) refine(near *nearby) {
	var from, to []point
	support := 0
	for p := range c.blobs {
		q, ok := c.plane.at(chartPoint(p).x, chartPoint(p).y)
		if !ok {
			return
		}
		if i := c.blobs[p]; i < 0 {
			best := 0.15 * c.pitch
			near.around(q, 0.7*c.pitch, best, func(i int32, d float64) {
				if d < best || d == best && i < c.blobs[p] {
					c.blobs[p], best = i, d
				}
			})
		}
		if i := c.blobs[p]; i >= 0 {
			support++
			from, to = append(from, chartPoint(p)), append(to, near.blobs[i].at)
		}
	}
	if m, ok := fitHomography(from, to); ok && pitchOf(&m) > 0 {
		c.plane, c.support, c.pitch = m, support, pitchOf(&m)
	}
}
