package tone

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"sync"
	"time"

	"thirdstop/assess/exposure"
)

// Key tells cameras and their renderings apart, as far as standard Exif does (tags of Exif 2.32).
// Picture styles are recorded in makers' notes only, which nothing is guessed from: who changes the style learns
// the curve anew. Saturation is in it because it mixes the channels.
type Key struct {
	Make           string `json:"make"`
	Model          string `json:"model"`
	Serial         string `json:"serial"`
	ColorSpace     int    `json:"color_space"`     // 1 sRGB, 2 Adobe RGB, 65535 uncalibrated, 0 not recorded
	CustomRendered int    `json:"custom_rendered"` // 0 normal
	Contrast       int    `json:"contrast"`        // 0 normal, 1 soft, 2 hard
	Saturation     int    `json:"saturation"`      // 0 normal, 1 low, 2 high
}

// Camera is the camera, for people.
func (k Key) Camera() string {
	var parts []string
	for _, p := range []string{k.Model, k.Serial} {
		if p != "" {
			parts = append(parts, p)
		}
	}
	if len(parts) == 0 {
		return "camera unknown"
	}
	return strings.Join(parts, ", ")
}

// Rendering is the camera rendering, for people.
func (k Key) Rendering() string {
	parts := []string{map[int]string{0: "colour space not recorded", 1: "sRGB", 2: "Adobe RGB"}[k.ColorSpace]}
	if parts[0] == "" {
		parts[0] = fmt.Sprintf("colour space %d", k.ColorSpace)
	}
	word := func(what string, v int, names ...string) {
		switch {
		case v == 0:
		case v > 0 && v <= len(names):
			parts = append(parts, what+" "+names[v-1])
		default:
			parts = append(parts, fmt.Sprintf("%s %d", what, v))
		}
	}
	word("contrast", k.Contrast, "soft", "hard")
	word("saturation", k.Saturation, "low", "high")
	word("custom rendering", k.CustomRendered)
	return strings.Join(parts, ", ")
}

// file is the name an entry has in the folder.
func (k Key) file() string {
	slug := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			return r
		case r >= 'A' && r <= 'Z':
			return r - 'A' + 'a'
		}
		return '-'
	}, k.Model)
	if len(slug) > 40 {
		slug = slug[:40]
	}
	text, _ := json.Marshal(k) // strings and numbers: can't fail
	sum := sha256.Sum256(text)
	return slug + "-" + hex.EncodeToString(sum[:4]) + ".json"
}

// EntryVersion is the version of a stored curve's file. Version 1, which kept no brackets, is read as well.
const EntryVersion = 2

// Entry is a learned curve as it is stored.
type Entry struct {
	Version int       `json:"version"`
	Key     Key       `json:"key"`
	Curve   *Curve    `json:"curve"`
	Learned time.Time `json:"learned_at"`
	Frames  int       `json:"frames"`    // that it was learned from
	From    float64   `json:"from_code"` // codes that were seen
	To      float64   `json:"to_code"`
	Edge    bool      `json:"edge_seen"`

	// Known are the single steps that a curve was learned from during shoots; empty for one that a bracket gave.
	Known []Known `json:"known,omitempty"`

	// Brackets are those a curve was learned from, the newest first; empty where single steps gave it.
	Brackets []Bracket `json:"brackets,omitempty"`

	// Errors of a step read leave-one-out, codes 20 to 245; 0 where they could not be taken.
	Median exposure.Stops `json:"off_median_stops"`
	Most   exposure.Stops `json:"off_95_percent_stops"`
}

// ErrEntry is wrapped by refusals of [DecodeEntry].
var ErrEntry = errors.New("not a stored tone curve")

// DecodeEntry reads the text of a stored curve, and refuses what is no learned curve of this version.
func DecodeEntry(text []byte) (Entry, error) {
	var e Entry
	if err := json.Unmarshal(text, &e); err != nil {
		return Entry{}, fmt.Errorf("%w: %w", ErrEntry, err)
	}
	switch {
	case e.Version < 1 || e.Version > EntryVersion:
		return Entry{}, fmt.Errorf("%w: its version is %d, this thirdstop reads 1 to %d", ErrEntry, e.Version, EntryVersion)
	case e.Curve == nil || e.Curve.name == "":
		return Entry{}, fmt.Errorf("%w: it holds no curve", ErrEntry)
	case e.Curve.source != FromFrames:
		return Entry{}, fmt.Errorf("%w: its curve was not learned", ErrEntry)
	}
	return e, nil
}

// Store holds the learned curves of a folder as they were when it was opened, and those that it saved
// since. It may be shared between goroutines. The zero value is an empty one without a folder.
type Store struct {
	dir string

	mu      sync.RWMutex
	entries map[Key]Entry
}

// OpenStore reads a folder of curves. A folder that isn't there is an empty one. Files that can't be
// read are named in the error and left out; the store works without them.
func OpenStore(dir string) (*Store, error) {
	s := &Store{dir: dir, entries: map[Key]Entry{}}
	names, err := filepath.Glob(filepath.Join(dir, "*.json"))
	if err != nil {
		return s, fmt.Errorf("the folder of tone curves %s: %w", dir, err)
	}
	var faults []error
	for _, name := range names {
		text, err := os.ReadFile(name)
		if err == nil {
			var e Entry
			if e, err = DecodeEntry(text); err == nil {
				s.entries[e.Key] = e
				continue
			}
		}
		faults = append(faults, fmt.Errorf("the tone curve %s is left out: %w; learn it anew or delete the file", name, err))
	}
	return s, errors.Join(faults...)
}

// Entry is what is stored of a camera and rendering.
func (s *Store) Entry(k Key) (Entry, bool) {
	if s == nil {
		return Entry{}, false
	}
	s.mu.RLock()
	defer s.mu.RUnlock()
	e, ok := s.entries[k]
	return e, ok
}

// For is the curve of a camera and rendering; [Default] where none was learned. A curve
// learned for one body serves another of the same kind only if neither recorded a serial number.
func (s *Store) For(k Key) *Curve {
	if s == nil {
		return Default()
	}
	s.mu.RLock()
	defer s.mu.RUnlock()
	if e, ok := s.entries[k]; ok {
		return e.Curve
	}
	return Default()
}

// List gives all entries, by camera.
func (s *Store) List() []Entry {
	s.mu.RLock()
	defer s.mu.RUnlock()
	var out []Entry
	for _, e := range s.entries {
		out = append(out, e)
	}
	sort.Slice(out, func(a, b int) bool { return out[a].Key.file() < out[b].Key.file() })
	return out
}

// Save stores an entry in place of the one with its key: whole or not at all. It
// gives the file's path.
func (s *Store) Save(e Entry) (path string, err error) {
	e.Version = EntryVersion
	text, err := json.MarshalIndent(e, "", "  ")
	if err != nil {
		return "", fmt.Errorf("the tone curve can't be written: %w", err)
	}
	if _, err := DecodeEntry(text); err != nil {
		return "", fmt.Errorf("the tone curve can't be written: %w", err)
	}
	if err := os.MkdirAll(s.dir, 0o700); err != nil {
		return "", fmt.Errorf("the folder of tone curves can't be made: %w", err)
	}
	path = filepath.Join(s.dir, e.Key.file())
	f, err := os.CreateTemp(s.dir, ".curve-*")
	if err != nil {
		return "", fmt.Errorf("the tone curve can't be written: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, ignoreAbsent(os.Remove(f.Name())))
		}
	}()
	_, werr := f.Write(append(text, '\n'))
	if err = errors.Join(werr, f.Sync(), f.Close()); err != nil {
		return "", fmt.Errorf("the tone curve can't be written: %w", err)
	}
	if err = os.Rename(f.Name(), path); err != nil {
		return "", fmt.Errorf("the tone curve can't get its name: %w", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.entries[e.Key] = e
	return path, nil
}

func ignoreAbsent(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}
