package studio

import (
	"bytes"
	"encoding/json"
	"image"
	"image/jpeg"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/rwcarlsen/goexif/exif"

	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
	"thirdstop/testdata"
)

var noon = time.Date(2026, 11, 25, 12, 0, 3, 250e6, time.FixedZone("", -5*3600-1800))

func small(seed uint64) *Studio {
	s := new(Studio)
	*s = *house()
	s.Lights = slices.Clone(s.Lights)
	s.Seed = seed
	s.Camera.Width, s.Camera.PictureHeight = 450, 300
	return s
}

func TestSameSeedSameBytes(t *testing.T) {
	a, b, c := small(7), small(7), small(8)
	for range 3 {
		x, y, z := a.Shoot(noon), b.Shoot(noon), c.Shoot(noon)
		if !bytes.Equal(x.JPEG, y.JPEG) {
			t.Errorf("frame %d of two studios with one seed differs", x.Truth.Frame)
		}
		if bytes.Equal(x.JPEG, z.JPEG) {
			t.Errorf("frame %d is the same with another seed", x.Truth.Frame)
		}
	}
	if a.Frame() != 3 {
		t.Errorf("Frame() = %d after three frames", a.Frame())
	}
}

func TestFramesAreNumbered(t *testing.T) {
	s := small(1)
	for _, want := range []string{"AQ_0001.JPG", "AQ_0002.JPG"} {
		if got := s.Shoot(noon).Name; got != want {
			t.Errorf("the frame is called %s, want %s", got, want)
		}
	}
	s.frame = 9999
	if got := s.Shoot(noon).Name; got != "AQ_0001.JPG" {
		t.Errorf("after 9999 the frame is called %s, want AQ_0001.JPG", got)
	}
}

// upright turns a stored picture the way Exif's orientation says, plainly.
func upright(img image.Image, orientation int) *image.RGBA {
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	uw, uh := w, h
	if orientation >= 5 {
		uw, uh = h, w
	}
	out := image.NewRGBA(image.Rect(0, 0, uw, uh))
	for y := range h {
		for x := range w {
			c := img.At(img.Bounds().Min.X+x, img.Bounds().Min.Y+y)
			switch orientation {
			case 3:
				out.Set(w-1-x, h-1-y, c)
			case 6:
				out.Set(h-1-y, x, c)
			case 8:
				out.Set(y, w-1-x, c)
			default:
				out.Set(x, y, c)
			}
		}
	}
	return out
}

// The truth is what the picture shows: with the tone curve undone, the backdrop
// of the decoded JPEG is at its true level within 0.02 stop, for every curve and
// every way to hold the camera.
func TestTruthIsWhatTheJPEGShows(t *testing.T) {
	for i, curve := range Curves() {
		orientation := []int{8, 6, 1, 3}[i%4]
		s := small(uint64(i))
		s.Camera.Curve, s.Camera.Orientation = curve, orientation
		s.Camera.Width, s.Camera.PictureHeight = 606, 402 // partial cells at the borders
		var decode [256]float64
		for v := range decode {
			decode[v] = curve.Light(float64(v))
		}
		// Even light, so that the backdrop is flat and its median cell is any cell.
		s.Lights, s.Camera.Vignette = nil, 0
		s.Ambient = Ambient{Value: 12}
		flat, _ := s.Exposure(BackdropRegion)
		s.Ambient.Value += exposure.Stops([]float64{-0.5, -1.5, -3}[i%3]) - flat.Level
		shot := s.Shoot(noon)
		img, err := jpeg.Decode(bytes.NewReader(shot.JPEG))
		if err != nil {
			t.Fatalf("%v curve: image/jpeg does not decode the frame: %v", curve, err)
		}
		if img.Bounds().Dx() != 606 || img.Bounds().Dy() != 402 {
			t.Fatalf("the stored picture is %v, want 606x402", img.Bounds())
		}
		if y, ok := img.(*image.YCbCr); !ok || y.SubsampleRatio != image.YCbCrSubsampleRatio420 {
			t.Errorf("the JPEG is not 4:2:0")
		}
		up := upright(img, orientation)
		cols, rows := edgesOf(606, 402, orientation, photo.CellSize)
		cells := shot.Truth.Cells
		if up.Rect.Dx() != cols[len(cols)-1] || up.Rect.Dy() != rows[len(rows)-1] {
			t.Fatalf("edges end at %d, %d in a picture of %v", cols[len(cols)-1], rows[len(rows)-1], up.Rect)
		}
		var worst float64
		var measured []float64
		for k, r := range cells.Region {
			if r != BackdropRegion {
				continue
			}
			col, row := k%cells.Cols, k/cells.Cols
			var sum, n float64
			for y := rows[row]; y < rows[row+1]; y++ {
				for x := cols[col]; x < cols[col+1]; x++ {
					sum += decode[up.RGBAAt(x, y).G]
					n++
				}
			}
			got, want := math.Log2(sum/n), math.Log2(float64(cells.Light[k][1]))
			measured = append(measured, got)
			if n > 100 {
				worst = math.Max(worst, math.Abs(got-want))
			}
		}
		if len(measured) < 50 {
			t.Fatalf("%v curve: only %d cells of backdrop", curve, len(measured))
		}
		if worst > 0.03 {
			t.Errorf("%v curve, orientation %d: a cell is %.4f stop from its truth", curve, orientation, worst)
		}
		slices.Sort(measured)
		e, _ := shot.Truth.Region(BackdropRegion)
		if d := measured[len(measured)/2] - float64(e.Channel[1]); math.Abs(d) > 0.02 {
			t.Errorf("%v curve, orientation %d: the backdrop reads %.4f stop from its truth %.3f", curve, orientation, d, e.Channel[1])
		}
	}
}

// The survey of a frame against sums over its upright pixels, the plain way.
func TestSurveyIsTheSumOfThePixels(t *testing.T) {
	for _, orientation := range []int{1, 3, 6, 8} {
		a, b := small(2), small(2)
		for _, s := range []*Studio{a, b} {
			s.Camera.Orientation, s.Camera.Width, s.Camera.PictureHeight = orientation, 203, 141
		}
		sv, truth := a.RenderSurvey()
		img, _ := b.Picture()
		up := upright(img, orientation)
		if sv.Width != up.Rect.Dx() || sv.Height != up.Rect.Dy() || len(sv.Cells) != sv.Cols*sv.Rows || len(truth.Cells.Region) != len(sv.Cells) {
			t.Fatalf("survey of %dx%d with %d cells for a picture of %v", sv.Width, sv.Height, len(sv.Cells), up.Rect)
		}
		for row := range sv.Rows {
			for col := range sv.Cols {
				c := sv.At(col, row)
				var n, clipped, any int
				var sum, square float64
				low, high := uint8(255), uint8(0)
				for y := sv.RowEdges[row]; y < sv.RowEdges[row+1]; y++ {
					for x := sv.ColEdges[col]; x < sv.ColEdges[col+1]; x++ {
						p := up.RGBAAt(x, y)
						v := float64(p.R)
						sum, square, n = sum+v, square+v*v, n+1
						low, high = min(low, p.R), max(high, p.R)
						if p.R >= photo.ClipCode {
							clipped++
						}
						if max(p.R, p.G, p.B) >= photo.ClipCode {
							any++
						}
					}
				}
				mean := sum / float64(n)
				if int(c.Pixels) != n || int(c.Clipped[0]) != clipped || int(c.ClippedAny) != any || c.Min[0] != low || c.Max[0] != high ||
					math.Abs(float64(c.Mean[0])-mean) > 1e-3 || math.Abs(float64(c.Var[0])-(square/float64(n)-mean*mean)) > 0.02 {
					t.Fatalf("orientation %d, cell %d,%d is %+v, want %d pixels, mean %.3f, %d clipped (%d any), %d to %d", orientation, col, row, *c, n, mean, clipped, any, low, high)
				}
			}
		}
		for row := range sv.BlockRows {
			for col := range sv.BlockCols {
				var sum, n int
				for y := sv.BlockRowEdges[row]; y < sv.BlockRowEdges[row+1]; y++ {
					for x := sv.BlockColEdges[col]; x < sv.BlockColEdges[col+1]; x++ {
						sum, n = sum+int(up.RGBAAt(x, y).B), n+1
					}
				}
				want := float64(sum) * 256 / float64(n)
				if got := float64(sv.Blocks[row*sv.BlockCols+col][photo.Blue]); math.Abs(got-want) > 0.51 {
					t.Fatalf("orientation %d, block %d,%d is %v, want %.1f", orientation, col, row, got, want)
				}
			}
		}
	}
}

// An overexposed backdrop is clipped on the sensor whatever the curve makes of
// it, one under the edge is not, and at the edge half of it is.
func TestSensorClipsBeforeTheCurve(t *testing.T) {
	for _, c := range []struct {
		level       exposure.Stops
		least, most float64
	}{{0.2, 0.999, 1}, {-0.2, 0, 0.001}, {0, 0.4, 0.6}} {
		s := bare()
		s.Empty = true
		s.Camera.Width, s.Camera.PictureHeight = 300, 200
		s.Lights = nil // ambient alone is the same everywhere
		s.Ambient = Ambient{Value: 12}
		e, _ := s.Exposure(BackdropRegion)
		s.Ambient.Value += c.level - e.Level
		_, truth := s.RenderSurvey()
		got, _ := truth.Region(BackdropRegion)
		if math.Abs(float64(got.Level-c.level)) > 1e-3 {
			t.Fatalf("the backdrop is at %v, want %v", got.Level, c.level)
		}
		if truth.Clip.G < c.least || truth.Clip.G > c.most || got.Clipped < c.least {
			t.Errorf("at %v the sensor clips %.4f of green (%.4f of the backdrop), want %v to %v", c.level, truth.Clip.G, got.Clipped, c.least, c.most)
		}
	}
}

// Shot noise is the root of the electrons: 40000 at clipping and half of it in
// the backdrop vary by sqrt(0.5/40000) of full scale (derived here from Poisson's law).
func TestNoiseHasItsSize(t *testing.T) {
	s := bare()
	s.Empty, s.Lights = true, nil
	s.Camera.Width, s.Camera.PictureHeight, s.Camera.Curve = 400, 400, PlainCurve
	s.Camera.FullWell, s.Camera.Read = 4000, 0
	s.Ambient = Ambient{Value: 12}
	e, _ := s.Exposure(BackdropRegion)
	s.Ambient.Value += -1 - e.Level
	img, _ := s.Picture()
	var decode [256]float64
	for v := range decode {
		decode[v] = PlainCurve.Light(float64(v))
	}
	var sum, square, n float64
	for i := 1; i < len(img.Pix); i += 4 {
		l := decode[img.Pix[i]]
		sum, square, n = sum+l, square+l*l, n+1
	}
	mean := sum / n
	got, want := math.Sqrt(square/n-mean*mean), math.Sqrt(0.5/4000)
	if math.Abs(got/want-1) > 0.03 || math.Abs(mean-0.5) > 0.001 {
		t.Errorf("noise is %.5f about %.4f, want %.5f about 0.5", got, mean, want)
	}
}

func TestScatterAndFaultsReachTheTruth(t *testing.T) {
	s := small(5)
	s.Camera.Width, s.Camera.PictureHeight = 48, 32
	s.Fault = func(frame int, l *Light) (exposure.Stops, bool) {
		if l.Group == "C" {
			return -0.5, frame%10 == 0
		}
		return 0, false
	}
	var sum, square, low float64
	const n = 300
	for i := 1; i <= n; i++ {
		_, tr := s.RenderSurvey()
		v := float64(tr.Flashes[1].Off)
		sum, square = sum+v, square+v*v
		c := tr.Flashes[2]
		if c.Fired == (i%10 == 0) {
			t.Fatalf("frame %d: the fill fired: %v", i, c.Fired)
		}
		if c.Fired {
			low += float64(c.Off)
		}
	}
	if sd := math.Sqrt(square/n - sq(sum/n)); math.Abs(sd-0.03) > 0.0043 { // 3.5 standard errors
		t.Errorf("the key scatters by %.4f stop, want 0.03", sd)
	}
	if m := low / (n * 0.9); math.Abs(m+0.5) > 0.01 {
		t.Errorf("the dim fill is %.3f stop off, want -0.5", m)
	}
}

// Switching one light changes what no other light does.
func TestSwitchingALightLeavesTheOthersAlone(t *testing.T) {
	a, b := small(4), small(4)
	b.Only("B")
	x, y := a.Shoot(noon).Truth, b.Shoot(noon).Truth
	if x.Flashes[1] != y.Flashes[1] || x.Moved != y.Moved {
		t.Errorf("key %+v became %+v, sitter %+v became %+v", x.Flashes[1], y.Flashes[1], x.Moved, y.Moved)
	}
	if y.Flashes[0].Fired || y.Flashes[2].Fired || !y.Flashes[1].Fired {
		t.Errorf("Only(B) fired %+v", y.Flashes)
	}
}

func TestBoatHouseStartsOffAndCanBeBalanced(t *testing.T) {
	for seed := range uint64(8) {
		s := BoatHouse(seed)
		if err := s.Check(); err != nil {
			t.Fatal(err)
		}
		before, _ := s.Expected()
		off := math.Abs(float64(before.WhiteFloor - 0.25))
		if off < 0.4 || off > 1.7 {
			t.Errorf("seed %d starts with a white floor of %v, want it well off +0.25", seed, before.WhiteFloor)
		}
		s.Balance(0.25, -0.35)
		after, _ := s.Expected()
		ref, _ := after.Region(WhiteReference)
		// Half a third of a stop, and what the other light's last click moved.
		if math.Abs(float64(after.WhiteFloor-0.25)) > 0.19 || math.Abs(float64(ref.Peak+0.35)) > 0.19 {
			t.Errorf("seed %d balances at floor %v and peak %v, want +0.25 and -0.35 within half a click", seed, after.WhiteFloor, ref.Peak)
		}
		for i := range s.Lights {
			if l := &s.Lights[i]; l.Turn(l.Power) != nil {
				t.Errorf("seed %d leaves light %s at %v, which it has not", seed, l.Group, l.Power)
			}
		}
	}
}

func TestRandomScenesAreSound(t *testing.T) {
	var white, far, present int
	const scenes = 36
	for seed := range uint64(scenes) {
		opt := RandomOptions{Width: 180, PictureHeight: 120}
		a := Random(seed, opt)
		sa, ta := a.RenderSurvey()
		if seed%6 == 0 {
			if sb, _ := Random(seed, opt).RenderSurvey(); !slices.Equal(sa.Cells, sb.Cells) {
				t.Fatalf("seed %d gives two different scenes", seed)
			}
		}
		e, ok := ta.Region(BackdropRegion)
		if !ok || e.Level < -12 || e.Level > 5 || e.Floor > e.Level || e.Peak < e.Level {
			t.Errorf("seed %d: backdrop %+v", seed, e)
		}
		if a.Backdrop.Colour[1] > 0.75 {
			white++
			if math.Abs(float64(ta.WhiteFloor-0.25)) > 0.5 {
				far++
			}
		}
		var sum float64
		for _, sh := range e.Shares {
			sum += sh.Part
		}
		if math.Abs(sum-1) > 1e-6 {
			t.Errorf("seed %d: shares add up to %v", seed, sum)
		}
		if _, ok := ta.Region(WhiteReference); ok {
			present++
		}
	}
	if white < scenes/2 || far < white/3 || present < scenes/3 {
		t.Errorf("of 36 scenes %d are white, %d of them well off target, %d have a white reference", white, far, present)
	}
}

func TestCheckNamesWhatIsWrong(t *testing.T) {
	for want, spoil := range map[string]func(*Studio){
		"orientation": func(s *Studio) { s.Camera.Orientation = 5 },
		"stored":      func(s *Studio) { s.Camera.Width = 0 },
		"aperture":    func(s *Studio) { s.Camera.FNumber = 0 },
		"distance":    func(s *Studio) { s.Backdrop.Distance = 0 },
		"tone curve":  func(s *Studio) { s.Camera.Curve = 99 },
		"guide":       func(s *Studio) { s.Lights[1].Guide = 0 },
	} {
		s := small(1)
		spoil(s)
		if err := s.Check(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("Check() = %v, want it to speak of %q", err, want)
		}
	}
}

func TestSaveAsATetherDoes(t *testing.T) {
	dir := t.TempDir()
	shot := small(1).Shoot(noon)
	chunks := 0
	var seen []string
	path, err := shot.Save(dir, Tether{Chunk: len(shot.JPEG)/4 + 1, Pause: func() {
		chunks++
		files, _ := os.ReadDir(dir)
		seen = append(seen, files[0].Name())
	}})
	if err != nil || path != filepath.Join(dir, "AQ_0001.JPG") {
		t.Fatalf("Save gave %s, %v", path, err)
	}
	if chunks != 3 || slices.Contains(seen, "AQ_0001.JPG") {
		t.Errorf("%d pauses, and while writing the folder held %v; want 3 and never the final name", chunks, seen)
	}
	files, _ := os.ReadDir(dir)
	got, _ := os.ReadFile(path)
	if len(files) != 1 || !bytes.Equal(got, shot.JPEG) {
		t.Errorf("the folder holds %v, and the file %d bytes, want one of %d", files, len(got), len(shot.JPEG))
	}
	shot.Name = "AQ_0002.JPG"
	shot.Save(dir, Tether{Direct: true, Chunk: len(shot.JPEG)/2 + 1, Pause: func() {
		if part, err := os.ReadFile(filepath.Join(dir, "AQ_0002.JPG")); err != nil || len(part) != len(shot.JPEG)/2+1 {
			t.Errorf("half-way the file holds %d bytes (%v), want %d", len(part), err, len(shot.JPEG)/2+1)
		}
	}})
	if _, err := shot.Save(filepath.Join(dir, "nowhere"), Tether{}); err == nil || !strings.Contains(err.Error(), "AQ_0002.JPG") {
		t.Errorf("saving into a folder that is not there gave %v", err)
	}
}

// ExifTool must find the file valid, and read what was set.
func TestExifToolAgrees(t *testing.T) {
	tool := testdata.Tool(t, "exiftool")
	for _, c := range []struct {
		shutter exposure.Shutter
		n       exposure.FNumber
		iso     exposure.ISO
		rotate  int
	}{{1.0 / 125, 8, 200, 8}, {1.0 / 200, 5.6, 100, 6}, {0.5, 11, 1600, 1}} {
		s := small(1)
		s.Camera.Shutter, s.Camera.FNumber, s.Camera.ISO, s.Camera.Orientation = c.shutter, c.n, c.iso, c.rotate
		path, err := s.Shoot(noon).Save(t.TempDir(), Tether{})
		if err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(tool, "-json", "-n", "-validate", "-warning", "-a", path).Output()
		if err != nil {
			t.Fatalf("exiftool: %v\n%s", err, out)
		}
		var all []map[string]any
		if err := json.Unmarshal(out, &all); err != nil || len(all) != 1 {
			t.Fatalf("exiftool printed %s (%v)", out, err)
		}
		got := all[0]
		if got["Validate"] != "0 0 0" || got["Warning"] != nil {
			t.Errorf("exiftool finds the file not valid: %v, %v", got["Validate"], got["Warning"])
		}
		if out, err = exec.Command(tool, "-json", "-n", path).Output(); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(out, &all); err != nil {
			t.Fatal(err)
		}
		got = all[0]
		for tag, want := range map[string]any{
			"Make": "Quayside", "Model": "Quayside One", "LensModel": "Quayside 85mm F1.8", "SerialNumber": "AQ000117",
			"Flash": 16.0, "ExposureProgram": 1.0, "ExposureMode": 1.0, "WhiteBalance": 1.0, "FocalLength": 85.0,
			"ISO": float64(c.iso), "FNumber": float64(c.n), "Orientation": float64(c.rotate), "ExposureTime": float64(c.shutter),
			"DateTimeOriginal": "2026:11:25 12:00:03", "SubSecTimeOriginal": 250.0, "OffsetTimeOriginal": "-05:30",
			"ImageWidth": 450.0, "ImageHeight": 300.0, "ExifImageWidth": 450.0, "ColorSpace": 1.0, "YCbCrSubSampling": "2 2",
		} {
			if f, ok := got[tag].(float64); ok && tag == "ExposureTime" && math.Abs(f-want.(float64)) < 1e-8 {
				continue
			}
			if got[tag] != want {
				t.Errorf("exiftool reads %s as %v (%T), want %v", tag, got[tag], got[tag], want)
			}
		}
	}
}

// The goexif module reads the frame too, and finds a small picture in it.
func TestGoexifAgrees(t *testing.T) {
	x, err := exif.Decode(bytes.NewReader(small(1).Shoot(noon).JPEG))
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[exif.FieldName]string{
		exif.Model: `"Quayside One"`, exif.ExposureTime: `"1/125"`, exif.FNumber: `"80/10"`, exif.ISOSpeedRatings: "200",
		exif.Flash: "16", exif.Orientation: "8", exif.DateTimeOriginal: `"2026:11:25 12:00:03"`, exif.PixelXDimension: "450",
	} {
		f, err := x.Get(name)
		if err != nil || f.String() != want {
			t.Errorf("goexif reads %s as %v (%v), want %s", name, f, err, want)
		}
	}
	b, err := x.JpegThumbnail()
	if err != nil {
		t.Fatalf("goexif finds no thumbnail: %v", err)
	}
	if img, err := jpeg.Decode(bytes.NewReader(b)); err != nil || img.Bounds().Dx() != 160 || img.Bounds().Dy() != 106 {
		t.Errorf("the thumbnail is %v (%v), want 160 x 106", img, err)
	}
}

func BenchmarkShoot(b *testing.B) {
	for _, c := range []struct {
		name string
		w, h int
	}{{"1.5MP", 1500, 1000}, {"0.3MP", 720, 480}, {"24MP", 6000, 4000}} {
		b.Run(c.name, func(b *testing.B) {
			s := BoatHouse(1)
			s.Camera.Width, s.Camera.PictureHeight = c.w, c.h
			b.ReportAllocs()
			for b.Loop() {
				s.Shoot(noon)
			}
		})
	}
}

func BenchmarkRenderSurvey(b *testing.B) {
	for _, c := range []struct {
		name string
		w, h int
	}{{"1.5MP", 1500, 1000}, {"0.3MP", 720, 480}} {
		b.Run(c.name, func(b *testing.B) {
			s := BoatHouse(1)
			s.Camera.Width, s.Camera.PictureHeight = c.w, c.h
			b.ReportAllocs()
			for b.Loop() {
				s.RenderSurvey()
			}
		})
	}
}
