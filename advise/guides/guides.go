// Package guides keeps what shoots taught of flashes: the effective guide number of a flash with what is in
// front of it, per modifier and zoom, each shoot's once, in one JSON file of the data folder.
//
// It knows guide numbers and that file. It must never know frames, fits or how advice is made.
package guides

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"thirdstop/advise/plan"
	"thirdstop/assess/exposure"
)

// formatVersion is the version of the file's form.
const formatVersion = 1

// Key tells one flash with its modifier from another. A plan has no names of flashes, so the guide
// number that it states stands for one.
type Key struct {
	Role     plan.Role            `json:"role"`
	Stated   exposure.GuideNumber `json:"stated_guide_number"` // 0: the plan states none, and nothing is kept
	Modifier string               `json:"modifier"`            // in lower case
	Zoom     plan.Millimetres     `json:"zoom_mm"`
}

// KeyOf is a light's key.
func KeyOf(l plan.Light) Key {
	return Key{l.Role, l.Guide, strings.ToLower(strings.TrimSpace(l.Modifier)), l.Zoom}
}

// light is what the file holds of one key.
type light struct {
	Key
	Shoots map[string]exposure.GuideNumber `json:"shoots"` // by the shoot's id, m at ISO 100 and full power
}

type file struct {
	Version int     `json:"version"`
	Lights  []light `json:"lights"`
}

// Store is the file, read. It is for one goroutine.
type Store struct {
	path string
	all  file
}

// Open reads the file; one that is absent is an empty store. The store of a file that can't be read is empty,
// and must not be saved over it.
func Open(path string) (*Store, error) {
	s := &Store{path: path, all: file{Version: formatVersion}}
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return s, nil
	}
	if err != nil {
		return s, fmt.Errorf("the learned guide numbers can't be read: %w", err)
	}
	all, err := decode(text)
	if err != nil {
		return s, fmt.Errorf("the learned guide numbers in %s can't be used: %w; move the file away to begin anew", filepath.Base(path), err)
	}
	s.all = all
	return s, nil
}

func decode(text []byte) (file, error) {
	var f file
	if err := json.Unmarshal(text, &f); err != nil {
		return file{}, err
	}
	if f.Version != formatVersion {
		return file{}, fmt.Errorf("it is of version %d, and this program reads version %d", f.Version, formatVersion)
	}
	for _, l := range f.Lights {
		for id, g := range l.Shoots {
			if !(g > 0 && g < 1000) {
				return file{}, fmt.Errorf("shoot %q has the guide number %g", id, float64(g))
			}
		}
	}
	return f, nil
}

// Add notes what a shoot taught. The same shoot's earlier word is replaced.
func (s *Store) Add(shoot string, k Key, g exposure.GuideNumber) {
	if !(g > 0 && g < 1000) || k.Stated == 0 {
		return
	}
	i := slices.IndexFunc(s.all.Lights, func(l light) bool { return l.Key == k })
	if i < 0 {
		s.all.Lights = append(s.all.Lights, light{Key: k, Shoots: map[string]exposure.GuideNumber{}})
		i = len(s.all.Lights) - 1
	}
	if s.all.Lights[i].Shoots == nil {
		s.all.Lights[i].Shoots = map[string]exposure.GuideNumber{}
	}
	s.all.Lights[i].Shoots[shoot] = exposure.GuideNumber(math.Round(float64(g)*100) / 100)
}

// spread is what one shoot's number differs from another's by, in stops, before several told (placing and
// tilting a light; common practice, no source). It counts as one shoot.
const spread = 0.4

// Effective is what the shoots taught of a light: the mean of their logarithms, and how far another shoot's may lie
// from it, one standard deviation in stops of light. It is a [plan.Effective].
func (s *Store) Effective(l plan.Light) (exposure.GuideNumber, exposure.Stops, bool) {
	i := slices.IndexFunc(s.all.Lights, func(x light) bool { return x.Key == KeyOf(l) })
	if i < 0 || len(s.all.Lights[i].Shoots) == 0 || l.Guide == 0 {
		return 0, 0, false
	}
	var ids []string
	for id := range s.all.Lights[i].Shoots {
		ids = append(ids, id)
	}
	slices.Sort(ids) // the same sum every time
	var sum, squares float64
	for _, id := range ids {
		sum += 2 * math.Log2(float64(s.all.Lights[i].Shoots[id])) // light goes with the guide number's square
	}
	n := float64(len(ids))
	mean := sum / n
	for _, id := range ids {
		d := 2*math.Log2(float64(s.all.Lights[i].Shoots[id])) - mean
		squares += d * d
	}
	sigma := math.Sqrt((squares + spread*spread) / n * (1 + 1/n))
	return exposure.GuideNumber(math.Exp2(mean / 2)), exposure.Stops(sigma), true
}

// Save writes the file whole, or leaves it as it was.
func (s *Store) Save() error {
	text, err := json.MarshalIndent(s.all, "", "  ")
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(s.path), ".guides-*")
	if err != nil {
		return fmt.Errorf("the learned guide numbers can't be kept: %w", err)
	}
	_, err = f.Write(append(text, '\n'))
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(f.Name(), s.path)
	}
	if err != nil {
		os.Remove(f.Name())
		return fmt.Errorf("the learned guide numbers can't be kept: %w", err)
	}
	return nil
}
