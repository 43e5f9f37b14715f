package evaluate

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"sort"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
	"thirdstop/assess/tone"
)

// FaceFrame is what was said of the face in one frame, and what is true of it.
type FaceFrame struct {
	Sitter bool    // somebody was found at all
	Found  bool    // the face, within a quarter of the head's height
	False  int     // faces that are none
	Size   float64 // height of its box over that of the head
	X, Y   float64 // middle of its box less that of the head, in heights of the head

	Truth   exposure.Stops    // between the cheeks, right less left
	Told    bool              // the sides were compared
	Off     [2]exposure.Stops // read less true, under the default curve and under the camera's own
	Sigma   [2]exposure.Stops // as stated
	Why     string            // why they were not
	Glasses bool
	Mirror  float64 // of each lens, that mirrors the key
	Glare   bool    // said
}

// Faces is what was found of faces on many scenes.
type Faces struct {
	Seed   uint64
	Frames []FaceFrame
}

// MeasureFaces looks for the faces of random scenes, of sitters whose eyes lie in hollows as a detector expects them. Half
// wear spectacles, half of which mirror the key over 5 to 45 % of their lenses. An end of ctx ends it early with its error.
func MeasureFaces(ctx context.Context, scenes int, seed uint64) (*Faces, error) {
	frames, err := each(ctx, scenes, seed, faceFrame)
	return &Faces{Seed: seed, Frames: frames}, err
}

func faceFrame(seed uint64, viaJPEG bool) (f FaceFrame, err error) {
	r := rand.New(rand.NewPCG(seed, 0xface))
	st := studio.Random(seed, studio.RandomOptions{Off: 1.2, Width: 1500, PictureHeight: 1000, Orientations: []int{8}, Lights: 3 + r.IntN(2)})
	st.Sitter.Sockets = 1
	if st.Sitter.Spectacles = r.IntN(2) == 0; st.Sitter.Spectacles && r.IntN(2) == 0 {
		st.Sitter.Glare = 0.05 + 0.4*r.Float64()
	}
	f.Glasses, f.Mirror = st.Sitter.Spectacles, st.Sitter.Glare
	s, truth, err := take(st, viaJPEG)
	if err != nil {
		return f, err
	}
	f.Truth = exposure.Stops(math.Log2(truth.Cheeks[1].Light / truth.Cheeks[0].Light))
	exact, err := own(st.Camera.Curve)
	if err != nil {
		return f, err
	}
	head := truth.Head
	for k, c := range []*tone.Curve{nil, exact} {
		reading := assess.MeasureSurvey(s, assess.Facts{}, c, assess.Hints{})
		f.Sitter = reading.Regions.Sitter != nil
		told := false
		for i, q := range reading.Regions.Faces {
			tall := head.Y1 - head.Y0
			x := ((q.Box.X0+q.Box.X1)/2 - (head.X0+head.X1)/2) * float64(s.Width) / float64(s.Height) / tall
			y := ((q.Box.Y0+q.Box.Y1)/2 - (head.Y0+head.Y1)/2) / tall
			if math.Hypot(x, y) > 0.25 {
				if k == 0 {
					f.False++
				}
				continue
			}
			f.Found, f.X, f.Y, f.Size = true, x, y, q.Size/tall
			f.Glare = f.Glare || q.Glare != nil
			f.Why = reading.Missing[fmt.Sprintf("regions.faces[%d].key_to_fill", i)]
			if q.KeyFill == nil {
				continue
			}
			told = true
			read := q.KeyFill.Difference
			if q.KeyFill.Lit == "left" || q.KeyFill.Lit == "even" && f.Truth < 0 { // even has no side: the nearer one is the kinder
				read = -read
			}
			f.Off[k], f.Sigma[k] = read-f.Truth, q.KeyFill.Sigma
		}
		f.Told = told && (k == 0 || f.Told)
	}
	return f, nil
}

// sizes are the median and the 95th percentile of the sizes of values, with intervals.
func (s *Faces) sizes(of func(FaceFrame) (float64, bool)) (median, most Figure, n int) {
	var v [][]float64
	for _, f := range s.Frames {
		if x, ok := of(f); ok {
			v = append(v, []float64{math.Abs(x)})
		}
	}
	if len(v) == 0 {
		return Figure{}, Figure{}, 0
	}
	median, most = Bootstrap(v, rand.New(rand.NewPCG(s.Seed, 0xface5)))
	return median, most, len(v)
}

// middle is the median of values.
func (s *Faces) middle(of func(FaceFrame) (float64, bool)) float64 {
	var v []float64
	for _, f := range s.Frames {
		if x, ok := of(f); ok {
			v = append(v, x)
		}
	}
	if len(v) == 0 {
		return 0
	}
	sort.Float64s(v)
	return v[len(v)/2]
}

// WriteTable prints Markdown.
func (s *Faces) WriteTable(w io.Writer) error {
	var sitters, found, wrong, told, mirrors, seen, clear, falsely int
	var within [2]int
	for _, f := range s.Frames {
		wrong += f.False
		if f.Sitter {
			sitters++
		}
		if !f.Found {
			continue
		}
		found++
		if f.Told {
			told++
			for k := range within {
				if math.Abs(float64(f.Off[k])) <= 2*float64(f.Sigma[k]) {
					within[k]++
				}
			}
		}
		switch {
		case f.Mirror >= 0.1:
			mirrors++
			if f.Glare {
				seen++
			}
		case f.Mirror == 0:
			clear++
			if f.Glare {
				falsely++
			}
		}
	}
	fmt.Fprintf(w, "%d random scenes of the virtual studio (seed %d), measured without being told anything; every tenth through JPEG files. 95 %% confidence intervals in brackets. %d faces were found that are none.\n\n", len(s.Frames), s.Seed, wrong)
	size := s.middle(func(f FaceFrame) (float64, bool) { return f.Size, f.Found })
	x := s.middle(func(f FaceFrame) (float64, bool) { return f.X, f.Found })
	y := s.middle(func(f FaceFrame) (float64, bool) { return f.Y, f.Found })
	fmt.Fprintln(w, "| error | faces | median | 95 % under |")
	fmt.Fprintln(w, "| --- | --- | --- | --- |")
	for _, row := range []struct {
		what string
		of   func(FaceFrame) (float64, bool)
	}{
		{"size of the face, of itself", func(f FaceFrame) (float64, bool) { return f.Size/size - 1, f.Found }},
		{"place of the face, in heights of the head", func(f FaceFrame) (float64, bool) { return math.Hypot(f.X-x, f.Y-y), f.Found }},
		{"between the sides of the face, stops, default curve", func(f FaceFrame) (float64, bool) { return float64(f.Off[0]), f.Told }},
		{"the same, the camera's own curve", func(f FaceFrame) (float64, bool) { return float64(f.Off[1]), f.Told }},
		{"the same, sides over a stop apart", func(f FaceFrame) (float64, bool) {
			return float64(f.Off[1]), f.Told && math.Abs(float64(f.Truth)) > 1
		}},
	} {
		m, q, n := s.sizes(row.of)
		fmt.Fprintf(w, "| %s | %d | %v | %v |\n", row.what, n, m, q)
	}
	fmt.Fprintln(w, "\n| share | of | share |")
	fmt.Fprintln(w, "| --- | --- | --- |")
	for _, row := range []struct {
		what      string
		part, all int
	}{
		{"faces found, of frames in which a sitter was", found, sitters},
		{"sides compared, of faces found", told, found},
		{"the difference within twice its stated sigma, default curve", within[0], told},
		{"the same, the camera's own curve", within[1], told},
		{"glare told, of spectacles that mirror over a tenth of their lenses or more", seen, mirrors},
		{"glare told where nothing but a small glint is mirrored", falsely, clear},
	} {
		fmt.Fprintf(w, "| %s | %d | %v |\n", row.what, row.all, proportion(row.part, row.all))
	}
	_, err := fmt.Fprintln(w)
	return err
}

// Portrait is a real picture's reading.
type Portrait struct {
	Name    string
	Reading assess.Reading
}

// WritePortraits prints Markdown: what is read of the faces of real pictures, to be looked at by eye.
func WritePortraits(w io.Writer, all []Portrait) error {
	found, told, glare := 0, 0, 0
	fmt.Fprintln(w, "| picture | faces | box: left, top, right, bottom | sides of the face | glare |")
	fmt.Fprintln(w, "| --- | --- | --- | --- | --- |")
	for _, p := range all {
		r := &p.Reading
		if len(r.Regions.Faces) == 0 {
			fmt.Fprintf(w, "| %s | none: %s | | | |\n", p.Name, r.Missing["regions.faces"])
			continue
		}
		found++
		for i := range r.Regions.Faces {
			f := &r.Regions.Faces[i]
			path := fmt.Sprintf("regions.faces[%d]", i)
			sides, mirror := r.Missing[path+".key_to_fill"], r.Missing[path+".glare"]
			if f.KeyFill != nil {
				sides = f.KeyFill.String()
				told++
			}
			if f.Glare != nil {
				mirror = "over " + f.Glare.Sides
				glare++
			}
			fmt.Fprintf(w, "| %s | %d of %d | %.2f, %.2f, %.2f, %.2f | %s | %s |\n", p.Name, i+1, len(r.Regions.Faces), f.Box.X0, f.Box.Y0, f.Box.X1, f.Box.Y1, sides, mirror)
		}
	}
	_, err := fmt.Fprintf(w, "\nA face was found in %d of %d pictures (%v), the sides were compared on %d faces, and glare was told on %d.\n\n", found, len(all), proportion(found, len(all)), told, glare)
	return err
}
