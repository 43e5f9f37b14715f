package faces

import (
	"math"
	"runtime"
	"sort"
	"sync/atomic"

	"thirdstop/assess/aside"
	"thirdstop/assess/photo"
)

// Face is one face. Places are fractions of the upright frame, 0 is left or top.
type Face struct {
	X, Y  float64 // middle of its window, between eyes and mouth
	Size  float64 // edge of its window, a fraction of the frame's height: from mid-forehead to chin, and as wide
	Score float64 // mean strength of the windows about it, 0 and up
	Sure  float64 // 0 to 1
}

const (
	mapEdge               = 288        // pixels along the longer edge of the map at most
	leastFace             = 22         // pixels: a smaller window doesn't tell a face from foliage
	shift                 = 0.13       // of the window's size, from one to the next
	leastScore, sureScore = 0.05, 0.25 // between which a face is unsure (derived here, on the portraits the tests name)

	nearly    = 120  // trees of 468: a window that passes them is looked at more closely
	mostFaces = 16   // places that are looked at more closely
	growth    = 1.17 // from one size to the next
)

// Map is a survey's lightness, code values after ITU-T T.871, as a small picture. It is for one goroutine at a time.
type Map struct {
	w, h int
	pix  []uint8
	step int // blocks along the edge of a pixel
	s    *photo.Survey
	laid map[int]*sized // by size, while one goroutine looks closer
}

// sized is the cascade for windows of one size, laid out once.
func (l *Map) sized(size int) *sized {
	z := l.laid[size]
	if z == nil {
		z = faceCascade().of(size, l.w)
		if l.laid == nil {
			l.laid = map[int]*sized{}
		}
		l.laid[size] = z
	}
	return z
}

// done gives back what a search laid out.
func (l *Map) done() {
	for _, z := range l.laid {
		z.done()
	}
	l.laid = nil
}

// MapOf draws the map of a survey, which takes a millisecond or two; nil for one too small to show a face.
func MapOf(s *photo.Survey) *Map {
	if s == nil || s.BlockCols < leastFace || s.BlockRows < leastFace {
		return nil
	}
	step := max(1, (max(s.BlockCols, s.BlockRows)+mapEdge-1)/mapEdge)
	l := &Map{w: s.BlockCols / step, h: s.BlockRows / step, step: step, s: s}
	l.pix = make([]uint8, l.w*l.h)
	sums := make([]uint32, l.w)
	for y := range l.h {
		clear(sums)
		for j := y * step; j < (y+1)*step; j++ {
			row := s.Blocks[j*s.BlockCols:]
			for x := range sums {
				for _, b := range row[x*step : (x+1)*step] {
					sums[x] += (77*uint32(b[0]) + 150*uint32(b[1]) + 29*uint32(b[2])) >> 8
				}
			}
		}
		for x, v := range sums {
			l.pix[y*l.w+x] = uint8(v / uint32(step*step) >> 8)
		}
	}
	return l
}

// place is a pixel of the map in fractions of the frame.
func (l *Map) place(x, y float64) (float64, float64) {
	at := func(v float64, edges []int, size int) float64 {
		b := min(max(v*float64(l.step), 0), float64(len(edges)-1))
		i := min(int(b), len(edges)-2)
		return (float64(edges[i]) + (b-float64(i))*float64(edges[i+1]-edges[i])) / float64(size)
	}
	return at(x, l.s.BlockColEdges, l.s.Width), at(y, l.s.BlockRowEdges, l.s.Height)
}

// hit is a window that passed, or nearly.
type hit struct {
	x, y, size int
	score      float32
	trees      int // passed
}

func (h hit) over(o hit) bool { return h.score > o.score || h.score == o.score && h.trees > o.trees }

// Find lists a survey's faces wherever they are, the surest first. It is deterministic, and takes some 8 ms of one core.
func Find(s *photo.Survey) []Face {
	l := MapOf(s)
	if l == nil {
		return nil
	}
	defer l.done()
	var out []Face
	for _, c := range cluster(l.scan()) {
		if f, ok := l.closer(c); ok {
			out = append(out, f)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Score > out[j].Score })
	return apart(out)
}

// Places says where in a frame the middles of faces may lie: cells of a grid over it, row by row.
type Places struct {
	Cols, Rows int
	In         []bool
}

func (p *Places) ok() bool { return p.Cols > 0 && p.Rows > 0 && len(p.In) == p.Cols*p.Rows }

// In lists the faces of which the middles lie at some places, the surest first: those of one group, of which no
// face is less than half as large as another. It is deterministic, and takes some 3 ms of one core for a portrait: large windows are
// tried first, and what they find spares the many small ones.
func (l *Map) In(p Places) []Face {
	if l == nil || !p.ok() {
		return nil
	}
	defer l.done()
	var out []Face
	for _, c := range cluster(l.scanIn(p)) {
		if f, ok := l.closer(c); ok {
			out = append(out, f)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Score > out[j].Score })
	return apart(out)
}

// scanIn tries windows at some places, from the largest to half as large as one that several windows found.
func (l *Map) scanIn(p Places) []hit {
	cols, rows := make([]int, l.w), make([]int, l.h)
	for x := range cols {
		cols[x] = min((2*x+1)*p.Cols/(2*l.w), p.Cols-1)
	}
	for y := range rows {
		rows[y] = min((2*y+1)*p.Rows/(2*l.h), p.Rows-1) * p.Cols
	}
	var out []hit
	least := leastFace
	for z := float64(min(l.w, l.h) - 2); int(z) >= least; z /= growth {
		size := int(z)
		c, edge := l.sized(size), size/2+1
		by := max(int(shift*z), 1)
		passed := 0
		for y := edge; y <= l.h-edge; y += by {
			for x := edge; x <= l.w-edge; x += by {
				if !p.In[rows[y]+cols[x]] {
					continue
				}
				if q, trees := c.score(l.pix, y*l.w+x); trees >= nearly {
					out = append(out, hit{x, y, size, q, trees})
					if q > 0 {
						passed++
					}
				}
			}
		}
		if passed >= enough {
			least = max(least, size/2)
		}
	}
	return out
}

// enough windows of one size that pass are no chance.
const enough = 2

// scan tries windows of all sizes all over the map.
func (l *Map) scan() []hit {
	var sizes []int
	for z := float64(leastFace); int(z) <= min(l.w, l.h)-2; z *= growth {
		sizes = append(sizes, int(z))
	}
	found := make([][]hit, len(sizes))
	var next atomic.Int64
	var all aside.Work
	for range min(runtime.GOMAXPROCS(0), 4) {
		all.Go(func() {
			for n := int(next.Add(1)) - 1; n < len(sizes); n = int(next.Add(1)) - 1 {
				size := sizes[n]
				c, edge := faceCascade().of(size, l.w), size/2+1
				by := max(int(shift*float64(size)), 1)
				defer c.done() // some twenty, when all are tried
				for y := edge; y <= l.h-edge; y += by {
					for x := edge; x <= l.w-edge; x += by {
						if q, trees := c.score(l.pix, y*l.w+x); trees >= nearly {
							found[n] = append(found[n], hit{x, y, size, q, trees})
						}
					}
				}
			}
		})
	}
	all.Wait()
	var out []hit
	for _, f := range found {
		out = append(out, f...)
	}
	return out
}

// cluster joins hits that overlap by a third and more into one, the strongest of them first.
func cluster(hits []hit) []hit {
	sort.SliceStable(hits, func(i, j int) bool { return hits[i].over(hits[j]) })
	var out []hit
	for _, h := range hits {
		fresh := true
		for _, o := range out {
			fresh = fresh && overlap(float64(h.x), float64(h.y), float64(h.size), float64(o.x), float64(o.y), float64(o.size)) < 1.0/3
		}
		if fresh && len(out) < mostFaces {
			out = append(out, h)
		}
	}
	return out
}

// overlap is intersection over union of two squares given by middle and edge.
func overlap(x1, y1, s1, x2, y2, s2 float64) float64 {
	side := func(a, sa, b, sb float64) float64 { return max(0, min(a+sa/2, b+sb/2)-max(a-sa/2, b-sb/2)) }
	both := side(x1, s1, x2, s2) * side(y1, s1, y2, s2)
	return both / (s1*s1 + s2*s2 - both)
}

// How closely the neighbourhood of a hit is looked at: windows to either side, and their distance.
const (
	around = 2
	nearBy = 0.07 // of the size
	sizes  = 2
	grow   = 1.1
)

// closer tries windows of about the same place and size. A face is passed by many of them, what merely
// looks like one by few. Its place is the mean of those that pass, by their scores.
func (l *Map) closer(h hit) (Face, bool) {
	var x, y, size, sum float64
	tried := 0
	for _, k := range [2*sizes + 1]int{0, -1, 1, -2, 2} {
		if k == -1 && sum == 0 && h.score == 0 {
			return Face{}, false // it never passed, and none of its own size does
		}
		z := int(math.Round(float64(h.size) * math.Pow(grow, float64(k))))
		if z > min(l.w, l.h)-2 || z < leastFace/2 {
			continue
		}
		c, edge := l.sized(z), z/2+1
		for j := -around; j <= around; j++ {
			for i := -around; i <= around; i++ {
				px, py := h.x+int(math.Round(float64(i)*nearBy*float64(z))), h.y+int(math.Round(float64(j)*nearBy*float64(z)))
				tried++
				if px < edge || py < edge || px > l.w-edge || py > l.h-edge {
					continue
				}
				if passed, _ := c.score(l.pix, py*l.w+px); passed > 0 {
					q := float64(passed)
					x, y, size, sum = x+q*float64(px), y+q*float64(py), size+q*float64(z), sum+q
				}
			}
		}
	}
	if sum == 0 {
		return Face{}, false
	}
	f := Face{Score: sum / float64(tried), Size: size / sum / float64(l.h)}
	f.X, f.Y = l.place(x/sum+0.5, y/sum+0.5)
	f.Sure = min(max((f.Score-leastScore)/(sureScore-leastScore), 0), 1)
	return f, true
}

// apart leaves out faces that overlap a surer one.
func apart(faces []Face) []Face {
	var out []Face
	for _, f := range faces {
		free := true
		for _, o := range out {
			free = free && math.Hypot(f.X-o.X, f.Y-o.Y) > 0.4*max(f.Size, o.Size)
		}
		if free {
			out = append(out, f)
		}
	}
	return out
}
