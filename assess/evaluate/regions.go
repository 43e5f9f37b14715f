package evaluate

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"sort"

	"thirdstop/assess"
	"thirdstop/assess/studio"
)

// Frame is how well one frame's regions were found.
type Frame struct {
	Found    bool    // a backdrop, surely
	Backdrop Overlap // of cells that show one thing only
	Sitter   Overlap
	Clipped  float64 // the sitter's clipped share, read less true
	Held     bool    // the stated bounds hold it, with 0.3 % for the border itself
	White    int     // a white that was merely found: 1 wholly on white, -1 not, 0 none or none there
}

// Overlap compares a mask with the truth.
type Overlap struct{ Union, Precision, Recall float64 }

// Found is what was found on many scenes.
type Found struct {
	Seed   uint64
	Frames []Frame
}

// Regions finds the regions of random scenes: clothes of all kinds, white, grey and coloured backdrops, narrow ones
// too. An end of ctx ends it early with its error.
func Regions(ctx context.Context, scenes int, seed uint64) (*Found, error) {
	frames, err := each(ctx, scenes, seed, frameOf)
	return &Found{Seed: seed, Frames: frames}, err
}

// each measures random scenes one after the other, every tenth through a JPEG file.
func each[F any](ctx context.Context, scenes int, seed uint64, measure func(seed uint64, viaJPEG bool) (F, error)) (all []F, err error) {
	for n := range scenes {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		f, err := measure(Base+seed*1_000_003+uint64(n), n%everyJPEG == 0)
		if err != nil {
			return nil, err
		}
		all = append(all, f)
	}
	return all, nil
}

func frameOf(seed uint64, viaJPEG bool) (f Frame, err error) {
	st := studio.Random(seed, studio.RandomOptions{Off: 1.2, Width: 900, PictureHeight: 600})
	s, truth, err := take(st, viaJPEG)
	if err != nil {
		return f, err
	}
	r := assess.MeasureSurvey(s, assess.Facts{}, nil, assess.Hints{})
	if r.Regions.Backdrop == nil {
		return f, nil
	}
	f.Found = true
	p := place{s, &truth.Cells}
	f.Backdrop = p.overlap(r.Regions.Backdrop.Mask, func(g studio.Region) bool { return g == studio.BackdropRegion })
	if q := r.Regions.Sitter; q != nil {
		f.Sitter = p.overlap(q.Mask, func(g studio.Region) bool { return g != studio.BackdropRegion && g != studio.Surround })
		var clipped, size float64
		for _, g := range []studio.Region{studio.WhiteReference, studio.Face, studio.HairRegion, studio.Clothes, studio.Glint, studio.WhiteShirtRegion} {
			if e, ok := truth.Region(g); ok {
				clipped, size = clipped+e.Clipped*e.Size, size+e.Size
			}
		}
		want := clipped / max(size, 1e-9)
		f.Clipped = q.ClippedShare - want
		f.Held = want >= q.ClippedLeast-0.003 && want <= q.ClippedMost+0.003
	}
	if w := r.Regions.WhiteReference; w != nil {
		if _, ok := truth.Region(studio.WhiteReference); ok {
			f.White = -1
			if p.white(w.Box) {
				f.White = 1
			}
		}
	}
	return f, nil
}

func (p place) overlap(m assess.Mask, is func(studio.Region) bool) Overlap {
	in := make([]bool, len(p.t.Region))
	for _, i := range p.masked(m) {
		in[i] = true
	}
	var both, either, taken, there float64
	for i, g := range p.t.Region {
		if g == studio.Mixed {
			continue
		}
		if in[i] {
			taken++
		}
		if is(g) {
			there++
		}
		if in[i] && is(g) {
			both++
		}
		if in[i] || is(g) {
			either++
		}
	}
	return Overlap{both / max(either, 1), both / max(taken, 1), both / max(there, 1)}
}

// white says that a box lies on card or shirt, ties and the lines between them apart.
func (p place) white(b assess.Box) bool {
	on, line, all := 0, 0, 0
	for i, g := range p.t.Region {
		x0, y0, x1, y1 := p.s.CellBox(i%p.s.Cols, i/p.s.Cols)
		if x, y := (x0+x1)/2, (y0+y1)/2; x < b.X0 || x >= b.X1 || y < b.Y0 || y >= b.Y1 {
			continue
		}
		all++
		switch g {
		case studio.WhiteReference, studio.WhiteShirtRegion:
			on++
		case studio.Mixed:
			line++
		}
	}
	return all > 0 && on*2 >= all && on+line >= all*95/100
}

// low gives the median, the 5th percentile and the worst of values of which more is better, with intervals.
func (s *Found) low(of func(Frame) (float64, bool)) (median, fifth Figure, worst float64, n int) {
	var v []float64
	for _, f := range s.Frames {
		if x, ok := of(f); ok {
			v = append(v, x)
		}
	}
	if len(v) == 0 {
		return Figure{}, Figure{}, 0, 0
	}
	at := func(v []float64) (float64, float64) {
		sort.Float64s(v)
		return v[len(v)/2], v[len(v)*5/100]
	}
	rng := rand.New(rand.NewPCG(s.Seed, 0xf0d))
	var medians, fifths []float64
	for range draws {
		w := make([]float64, len(v))
		for i := range w {
			w[i] = v[rng.IntN(len(v))]
		}
		m, q := at(w)
		medians, fifths = append(medians, m), append(fifths, q)
	}
	m, q := at(v)
	return interval(m, medians), interval(q, fifths), v[0], len(v)
}

// proportion is part of all with its 95 % interval after Wilson 1927 (J. Am. Stat. Assoc. 22, 209).
func proportion(part, all int) Figure {
	if all == 0 {
		return Figure{}
	}
	const z = 1.96
	n, p := float64(all), float64(part)/float64(all)
	mid, half := (p+z*z/(2*n))/(1+z*z/n), z/(1+z*z/n)*math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return Figure{p, max(mid-half, 0), min(mid+half, 1)}
}

// WriteTable prints Markdown.
func (s *Found) WriteTable(w io.Writer) error {
	found, sitters, held, white, whites, good, poor := 0, 0, 0, 0, 0, 0, 0
	for _, f := range s.Frames {
		if f.Found {
			found++
			if f.Backdrop.Union >= 0.95 {
				good++
			}
			if f.Backdrop.Union < 0.85 {
				poor++
			}
		}
		if f.Sitter.Recall > 0 {
			sitters++
			if f.Held {
				held++
			}
		}
		switch f.White {
		case 1:
			white, whites = white+1, whites+1
		case -1:
			whites++
		}
	}
	fmt.Fprintf(w, "%d random scenes of the virtual studio (seed %d), measured without being told anything; every tenth through JPEG files. 95 %% confidence intervals in brackets. Cells that show two things are not counted in overlaps.\n\n", len(s.Frames), s.Seed)
	fmt.Fprintln(w, "| what | frames | median | 95 % of frames over | worst |")
	fmt.Fprintln(w, "| --- | --- | --- | --- | --- |")
	for _, row := range []struct {
		what string
		of   func(Frame) (float64, bool)
	}{
		{"backdrop, intersection over union", func(f Frame) (float64, bool) { return f.Backdrop.Union, f.Found }},
		{"backdrop, precision", func(f Frame) (float64, bool) { return f.Backdrop.Precision, f.Found }},
		{"backdrop, recall", func(f Frame) (float64, bool) { return f.Backdrop.Recall, f.Found }},
		{"sitter, intersection over union", func(f Frame) (float64, bool) { return f.Sitter.Union, f.Sitter.Recall > 0 }},
		{"sitter, precision", func(f Frame) (float64, bool) { return f.Sitter.Precision, f.Sitter.Recall > 0 }},
		{"sitter, recall", func(f Frame) (float64, bool) { return f.Sitter.Recall, f.Sitter.Recall > 0 }},
		{"sitter's clipped share, error (less is better: read as minus)", func(f Frame) (float64, bool) { return -math.Abs(f.Clipped), f.Sitter.Recall > 0 }},
	} {
		m, q, worst, n := s.low(row.of)
		fmt.Fprintf(w, "| %s | %d | %v | %v | %.3f |\n", row.what, n, m, q, worst)
	}
	fmt.Fprintln(w, "\n| share of frames | frames | share |")
	fmt.Fprintln(w, "| --- | --- | --- |")
	for _, row := range []struct {
		what      string
		part, all int
	}{
		{"backdrop surely found", found, len(s.Frames)},
		{"backdrop's intersection over union 0.95 or more (goal: all)", good, found},
		{"backdrop's intersection over union under 0.85 (goal: none)", poor, found},
		{"the bounds of the sitter's clipped share hold the truth", held, sitters},
		{"a white that was found lies wholly on white cloth or card, where there is any", white, whites},
	} {
		fmt.Fprintf(w, "| %s | %d | %v |\n", row.what, row.all, proportion(row.part, row.all))
	}
	_, err := fmt.Fprintln(w)
	return err
}
