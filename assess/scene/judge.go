package scene

import "sort"

// judge turns labels into regions and says how sure they are.
func (l *look) judge(sc *Scene, labels []label) {
	n := len(labels)
	back, who := make([]bool, n), make([]bool, n)
	for i, lb := range labels {
		back[i] = lb == backdrop
		who[i] = lb == sitter
		if l.empty != nil {
			back[i] = back[i] && l.empty.at(&l.Grid, i, l.mid[i][0], l.mid[i][1])
		}
		if l.hinted != nil {
			back[i] = back[i] && l.hinted.holds(l.bounds(i).middle())
		}
	}
	who = l.keepLarge(who, n/100)
	// Cells on the outline hold both; hair and shadow at the outline are no backdrop.
	pure := l.unmixed(back, labels)
	var texture, light []float64
	for i := range pure {
		pure[i] = pure[i] && (l.off[i] < 1.6 || l.gentle[i])
		if pure[i] {
			texture = append(texture, l.texture[i])
			light = append(light, l.colour[i][0])
		}
	}
	seen := 0
	for _, i := range l.seeds {
		if pure[i] || back[i] && l.off[i] < 1 {
			seen++
		}
	}
	reach := float64(seen) / float64(len(l.seeds))
	share := float64(count(pure)) / float64(n)
	peopled := count(who) > 0
	f := l.figure(back, who)

	// Each doubt has its factor and its reason; the strongest doubt is the one that is named.
	conf, reason, least := 1.0, "", 1.0
	doubt := func(factor float64, text string) {
		conf *= factor
		if factor < least {
			least, reason = factor, text
		}
	}
	doubt(ramp(reach, 0.3, 0.6), "no even area along the upper border")
	doubt(ramp(share, 0.015, 0.05), "no even area along the upper border")
	const rough = "what lies along the upper border is not even enough for a backdrop"
	doubt(1-ramp(l.surface.spread, 6, 18), rough)
	doubt(1-ramp(median(texture), 8, 20), rough)
	doubt(ramp(median(light), 4, 12), "the upper part of the frame is too dark to tell anything in it")
	switch {
	case !peopled && l.hinted == nil:
		doubt(ramp(share, 0.75, 0.9), "an even area along the upper border has nobody before it, and doesn't fill the frame")
	case peopled && l.hinted == nil:
		const sky = "the even area along the upper border doesn't come down beside a head: it may be sky or ceiling"
		// Somebody at the edge of the picture has backdrop on one side only. That is enough where there is much of it.
		doubt(max(ramp(f.beside, 0.45, 0.7), 0.6*ramp(f.beside, 0.35, 0.5)*ramp(share, 0.08, 0.15)), sky)
		doubt(ramp(f.deep-f.head, 0.08, 0.2), sky)
		doubt(ramp(f.single, 0.4, 0.65), "what stands before the even area has not the outline of people")
		doubt(0.3+0.7*ramp(f.foot, 0.05, 0.2), "what stands before the even area doesn't reach the lower border: it may be a thing")
	}
	if l.hinted != nil && share > 0 {
		conf = max(conf, 0.9*ramp(reach, 0.1, 0.4))
	}
	sc.Backdrop = Region{Mask: pure, Confidence: conf}
	if conf < Sure {
		sc.Backdrop = Region{Confidence: conf, Reason: reason}
	}
	switch {
	case !sc.Backdrop.Found():
		sc.Sitter.Reason = "without a backdrop the sitter can't be told apart"
	case !peopled:
		sc.Sitter.Reason = "nothing stands before the backdrop"
	default:
		sc.Sitter = Region{Mask: who, Confidence: conf * ramp(float64(count(who))/float64(n), 0.01, 0.05)}
		sc.HeadX, sc.HeadY = f.headX, f.head
		sc.Doubtful = l.doubtful(who)
		sc.Perhaps = l.perhaps(who)
		if sc.Sitter.Confidence < Sure {
			sc.Doubtful, sc.Perhaps = nil, nil
			sc.Sitter = Region{Confidence: sc.Sitter.Confidence, Reason: "what stands before the backdrop is too small to be a sitter"}
		}
	}
}

// unmixed takes off the backdrop the cells along its outline that show a part of what is beyond: those that are rougher
// than it is further in, or of another tone than the cell next to them there. Beside a wall, whose edge is straight, a touch of
// its shadow may be; beside hair it may not.
func (l *look) unmixed(back []bool, labels []label) []bool {
	out := l.shrink(back)
	inner := append([]bool(nil), out...)
	var rough []float64
	for i, in := range inner {
		if in {
			rough = append(rough, l.texture[i])
		}
	}
	usual := 1.3*median(rough) + 0.5
	faint := l.faint() * 2 / 3
	const shadow, step = 3, 3 // code values more of texture, and from cell to cell
	for i, in := range back {
		if !in || inner[i] {
			continue
		}
		least, most, near := usual, usual+1, faint
		if l.byWall(i, back, labels) {
			least, most, near = usual+shadow, usual+shadow+1, max(faint, step)
		}
		l.neighbours(i, func(j int) {
			out[i] = out[i] || inner[j] && l.texture[i] <= min(max(least, 1.3*l.texture[j]+0.5), most) && l.continues(i, j, inner, near)
		})
	}
	return out
}

// byWall says that what is beyond a cell of the outline is clutter, right there or behind the one cell that shows both.
func (l *look) byWall(i int, back []bool, labels []label) bool {
	wall := true
	l.neighbours(i, func(j int) {
		k := 2*j - i
		beyond := k >= 0 && k < len(labels) && labels[k] == clutter && (k/l.Cols == j/l.Cols) == (j/l.Cols == i/l.Cols)
		wall = wall && (back[j] || labels[j] == clutter || beyond)
	})
	return wall
}

// continues says that cell i, at an outline, is of the tone of its inner neighbour j, or of the tone to which the light
// changes from the cell beyond that to j.
func (l *look) continues(i, j int, inner []bool, faint float64) bool {
	if l.colour[i].distance(l.colour[j]) < faint {
		return true
	}
	k := 2*j - i
	if !l.gentle[i] || k < 0 || k >= len(inner) || !inner[k] || (j == i+1 || j == i-1) && k/l.Cols != j/l.Cols {
		return false
	}
	a, b := l.colour[k], l.colour[j]
	return l.colour[i].distance(vec{2*b[0] - a[0], 2*b[1] - a[1], 2*b[2] - a[2]}) < faint
}

// doubtful marks what of the sitter looks just like the backdrop and isn't right under a head: light
// cloth that melts into paper, or paper between arm and body.
func (l *look) doubtful(who []bool) []bool {
	const same = 0.35 // of the limit within which a cell agrees
	out := make([]bool, len(who))
	for i, in := range who {
		out[i] = in && !l.core[i] && (l.agree[i] || l.gentle[i] || l.off[i] < same)
	}
	return out
}

// perhaps marks what may be sitter though it was not taken for it: where a body is to be expected, and
// reached from the sitter without crossing a line. Paper beside a bare neck has lines around it.
func (l *look) perhaps(who []bool) []bool {
	out := make([]bool, len(who))
	faint := l.faint()
	var queue []int
	for i, in := range who {
		if in && l.near[i] {
			queue = append(queue, i)
		}
	}
	for k := 0; k < len(queue); k++ {
		i := queue[k]
		l.neighbours(i, func(j int) {
			if !who[j] && !out[j] && l.body[j] && l.colour[i].distance(l.colour[j]) < faint {
				out[j] = true
				queue = append(queue, j)
			}
		})
	}
	return out
}

// keepLarge drops the parts of a mask that are smaller than least cells or a quarter of the largest:
// in a group people who stand apart are of like size.
func (g Grid) keepLarge(mask []bool, least int) []bool {
	out := make([]bool, len(mask))
	for n, part := range g.components(mask) {
		if n == 0 {
			least = max(least, len(part)/4)
		}
		if len(part) < max(least, 1) {
			break
		}
		for _, i := range part {
			out[i] = true
		}
	}
	return out
}

// figure is what the outline of the sitter looks like.
type figure struct {
	head   float64 // the sitter's top, a fraction of the height; 1 where there is no sitter
	headX  float64 // where it lies across, a fraction of the width
	deep   float64 // how far down the backdrop comes where it does so best, a fraction of the height
	beside float64 // share of the places left and right of the head where backdrop is
	single float64 // share of the upper figure that hangs together across, row by row: 1 for one person
	foot   float64 // share of the lower border that the sitter covers
}

func (l *look) figure(back, who []bool) figure {
	f := figure{head: 1, headX: 0.5, deep: l.deep(back, who)}
	top := l.Rows
	for i, in := range who {
		if in {
			top = min(top, i/l.Cols)
		}
	}
	if top == l.Rows {
		return f
	}
	f.head = float64(top) / float64(l.Rows)
	var sum, cells float64
	for y := top; y < min(top+max(2, l.Rows/12), l.Rows); y++ {
		for x := range l.Cols {
			if who[y*l.Cols+x] {
				sum += float64(x) + 0.5
				cells++
			}
		}
	}
	f.headX = sum / cells / float64(l.Cols)
	for x := range l.Cols {
		if who[(l.Rows-1)*l.Cols+x] {
			f.foot += 1 / float64(l.Cols)
		}
	}
	places, open, all, joined := 0, 0, 0, 0
	for y := top + 1; y < min(top+l.Rows/2, l.Rows); y++ {
		row := who[y*l.Cols : (y+1)*l.Cols]
		from, to, total := longest(row)
		all += total
		joined += to - from
		if y < top+max(3, l.Rows/5) && to > from {
			places += 2
			if from > 0 && back[y*l.Cols+from-1] {
				open++
			}
			if to < l.Cols && back[y*l.Cols+to] {
				open++
			}
		}
	}
	f.beside = float64(open) / float64(max(places, 1))
	f.single = float64(joined) / float64(max(all, 1))
	return f
}

// longest is the longest run in a row, and how many cells are set in all.
func longest(row []bool) (from, to, total int) {
	start := -1
	for x := 0; x <= len(row); x++ {
		if x < len(row) && row[x] {
			total++
			if start < 0 {
				start = x
			}
			continue
		}
		if start >= 0 && x-start > to-from {
			from, to = start, x
		}
		start = -1
	}
	return from, to, total
}

// deep says how far down the backdrop comes where it does so best: the 85th percentile of
// the columns that show any, as a fraction of the height.
func (l *look) deep(back, who []bool) float64 {
	var downs []float64
	for x := range l.Cols {
		last := 0
		for y := range l.Rows {
			if back[y*l.Cols+x] {
				last = y + 1
			} else if who[y*l.Cols+x] {
				break
			}
		}
		if last > 0 {
			downs = append(downs, float64(last)/float64(l.Rows))
		}
	}
	if len(downs) == 0 {
		return 0
	}
	sort.Float64s(downs)
	return downs[len(downs)*85/100]
}
