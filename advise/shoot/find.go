package shoot

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/trail"
)

// find looks for a shoot of this capture folder that can be gone on with: the
// newest, unless it was ended. The contents of all others are remembered, so that their
// files, which still lie in the folder, are not taken for frames of this shoot.
func (s *Shoot) find(start *Start) (found string, past []pastShoot, err error) {
	entries, err := os.ReadDir(s.c.Shoots)
	if err != nil {
		return "", nil, fmt.Errorf("the shoots in %s can't be listed: %w", s.c.Shoots, err)
	}
	type candidate struct {
		dir string
		at  time.Time
	}
	var all []candidate
	followed := map[string]bool{} // ids of shoots after which another was begun
	for _, e := range entries {
		if !e.IsDir() {
			continue
		}
		dir := filepath.Join(s.c.Shoots, e.Name())
		h, err := trail.ReadHeader(dir)
		if errors.Is(err, fs.ErrNotExist) {
			continue // a crash while it was made
		}
		var a about
		if err != nil || json.Unmarshal(h.About, &a) != nil {
			start.Passed = append(start.Passed, e.Name()) // whose it is can't be told
			continue
		}
		if hashFolder(a.Salt, s.c.Folder) == a.Folder {
			all = append(all, candidate{dir, h.At})
			followed[a.After] = true
		}
	}
	slices.SortFunc(all, func(a, b candidate) int {
		if fa, fb := followed[filepath.Base(a.dir)], followed[filepath.Base(b.dir)]; fa != fb {
			if fb {
				return -1
			}
			return 1
		}
		if c := b.at.Compare(a.at); c != 0 {
			return c
		}
		return strings.Compare(b.dir, a.dir)
	})
	if len(all) > 0 {
		s.after = filepath.Base(all[0].dir)
	}
	for i, c := range all {
		p, err := recall(c.dir, s.c.Version)
		if i == 0 && !p.ended && !s.c.Fresh {
			if err != nil {
				return "", nil, cantGoOn(c.dir, err)
			}
			found = c.dir
			continue
		}
		for _, h := range p.contents {
			s.orphans[h] = true
		}
		past = append(past, p)
		if err != nil {
			start.Passed = append(start.Passed, filepath.Base(c.dir))
		}
	}
	return found, past, nil
}

func cantGoOn(dir string, err error) error {
	return fmt.Errorf("the shoot in %s can't be gone on with: %w; `thirdstop trail verify` tells more, and --fresh begins a new one beside it", dir, err)
}

// recall reads through a shoot: whether it was ended, and which contents it holds.
// What it gives beside an error is what was found until then.
func recall(dir, program string) (pastShoot, error) {
	if h, _ := readBookmark(dir, program, false); h != nil {
		p, err := recalled(trail.ReadFrom(dir, h.Place), pastShoot{dir, h.Ended, h.Baseline, slices.Clip(h.Contents)})
		if !errors.Is(err, trail.ErrPlace) {
			return p, err
		}
	}
	return recalled(trail.Read(dir), pastShoot{dir: dir})
}

// pastShoot is what a later shoot in the same folder must know of one.
type pastShoot struct {
	dir      string
	ended    bool
	baseline int // frame number, 0 none
	contents [][32]byte
}

// hashed is an input about a file, as far as a later shoot must know it.
type hashed struct {
	Hash string `json:"hash"`
}

// recalled goes on from what is known with the records that follow.
func recalled(records iter.Seq2[trail.Record, error], p pastShoot) (pastShoot, error) {
	for r, err := range records {
		if errors.Is(err, trail.ErrUnfinished) {
			break // a crash's last line; opening repairs it
		}
		if err != nil {
			return p, err
		}
		if r.Kind != inputKind {
			continue
		}
		var b struct { // no reading is taken apart for this
			Input struct {
				Session  *advise.Session  `json:"session"`
				Baseline *advise.Baseline `json:"baseline"`
				Frame    *hashed          `json:"frame"`
				Broken   *hashed          `json:"broken"`
			} `json:"input"`
		}
		if err := decodeBody(r, &b); err != nil {
			return p, err
		}
		if s := b.Input.Session; s != nil {
			p.ended = s.Phase == advise.Ended
		}
		if x := b.Input.Baseline; x != nil {
			p.baseline = x.Frame
		}
		for _, f := range []*hashed{b.Input.Frame, b.Input.Broken} {
			if f == nil {
				continue
			}
			if h, ok := parseHash(f.Hash); ok && h != emptyHash {
				p.contents = append(p.contents, h)
			}
		}
	}
	return p, nil
}

func hashFolder(salt, folder string) string {
	sum := sha256.Sum256([]byte(salt + folder))
	return hex.EncodeToString(sum[:])
}

func parseHash(text string) (h [32]byte, ok bool) {
	b, err := hex.DecodeString(text)
	if err != nil || len(b) != len(h) {
		return h, false
	}
	return [32]byte(b), true
}
