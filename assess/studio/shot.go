package studio

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
)

// Shot is one frame as the camera hands it over.
type Shot struct {
	Name  string // such as AQ_0001.JPG
	JPEG  []byte // with Exif
	Taken time.Time
	Truth Truth
}

// Check says why the studio can't be shot in; nil where it can.
func (s *Studio) Check() error { return s.check() }

// Shoot takes a frame. All that is random in it follows from Seed and the
// frame's number, so the same studio shoots the same bytes again (on one kind
// of processor: fused multiply-add may round another way elsewhere). It panics
// on a studio that [Studio.Check] refuses.
func (s *Studio) Shoot(at time.Time) Shot {
	img, t := s.expose()
	quality := s.Camera.Quality
	if quality == 0 {
		quality = 96
	}
	var pic bytes.Buffer
	if err := jpeg.Encode(&pic, img, &jpeg.Options{Quality: quality}); err != nil {
		panic(fmt.Sprintf("studio: image/jpeg refused a %v picture: %v", img.Rect.Size(), err))
	}
	return Shot{
		Name:  fmt.Sprintf("%s%04d.JPG", s.Camera.Prefix, (s.frame-1)%9999+1),
		JPEG:  withExif(pic.Bytes(), s.exif(at, thumbnail(img))),
		Taken: at,
		Truth: t,
	}
}

// RenderSurvey takes a frame like [Studio.Shoot], and gives the survey of its
// pixels before JPEG coding. It is for evaluations by the thousand: choose a
// small picture.
func (s *Studio) RenderSurvey() (*photo.Survey, Truth) {
	img, t := s.expose()
	return surveyOf(img, s.Camera.Orientation), t
}

// Picture takes a frame like [Studio.Shoot], and gives its pixels as stored.
func (s *Studio) Picture() (*image.RGBA, Truth) { return s.expose() }

func (s *Studio) expose() (*image.RGBA, Truth) {
	if err := s.check(); err != nil {
		panic("studio: " + err.Error())
	}
	s.frame++
	r := rand.New(rand.NewPCG(s.Seed, uint64(s.frame)))
	flashes := s.flash(r)
	moved, turn := s.sway(r)
	w, h := s.Camera.Upright()
	g := s.draw(w, h, flashes, moved, turn)
	img, n := s.develop(g, r)
	t := s.truth(g, n)
	t.Cells = g.cells(edgesOf(s.Camera.Width, s.Camera.PictureHeight, s.Camera.Orientation, photo.CellSize))
	return img, t
}

// flash is what every light did in the frame.
func (s *Studio) flash(r *rand.Rand) []Flash {
	flashes := make([]Flash, len(s.Lights))
	for i := range s.Lights {
		l := &s.Lights[i]
		// Drawn for lights that are off too, so that switching one changes no other.
		off := s.Scatter * exposure.Stops(clamp(r.NormFloat64(), -3.5, 3.5))
		flashes[i] = Flash{Group: l.Group, Fired: l.On, Off: off}
		if l.On && s.Fault != nil {
			more, absent := s.Fault(s.frame, l)
			flashes[i].Off += more
			flashes[i].Fired = !absent
		}
		if !flashes[i].Fired {
			flashes[i].Off = 0
		}
	}
	return flashes
}

// Tether is how a camera's software lays files in a folder. The zero value
// writes under a temporary name and renames.
type Tether struct {
	Direct bool   // write under the final name from the first byte
	Chunk  int    // bytes written at a time; 0 is all at once
	Pause  func() // called between chunks, where set
}

// Save writes the frame into a folder and gives its path.
func (s Shot) Save(dir string, how Tether) (string, error) {
	final := filepath.Join(dir, s.Name)
	path := final
	if !how.Direct {
		path = filepath.Join(dir, "."+s.Name+".part")
	}
	if err := s.write(path, how); err != nil {
		return "", fmt.Errorf("frame %s could not be saved: %w", s.Name, err)
	}
	if path != final {
		if err := os.Rename(path, final); err != nil {
			return "", fmt.Errorf("frame %s could not get its name: %w", s.Name, err)
		}
	}
	return final, nil
}

func (s Shot) write(path string, how Tether) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	rest, chunk := s.JPEG, how.Chunk
	if chunk <= 0 {
		chunk = math.MaxInt
	}
	for len(rest) > 0 {
		n := min(chunk, len(rest))
		if _, err := f.Write(rest[:n]); err != nil {
			f.Close()
			return err
		}
		if rest = rest[n:]; len(rest) > 0 && how.Pause != nil {
			how.Pause()
		}
	}
	return f.Close()
}
