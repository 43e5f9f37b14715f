package shoot

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"thirdstop/advise"
	"thirdstop/advise/trail"
)

// Personal says which personal data of a shoot to erase.
type Personal struct {
	Files    bool // names of files and folders, which often are names of people
	Sitters  bool // who sat
	Notes    bool
	Pictures bool // what the page showed
}

// CorrectionsDir is where corrections lie in the folder of a shoot.
const CorrectionsDir = "corrections"

// InCaptures tells whether a path lies in the capture folder of a shoot, or is it. The shoot's header holds only
// a salted hash of that folder's path.
func InCaptures(h trail.Header, path string) (bool, error) {
	var a about
	if err := json.Unmarshal(h.About, &a); err != nil {
		return false, fmt.Errorf("the header does not say which folder the shoot belongs to: %w", err)
	}
	path, err := filepath.Abs(path)
	if err != nil {
		return false, err
	}
	for p := path; ; p = filepath.Dir(p) {
		if hashFolder(a.Salt, p) == a.Folder {
			return true, nil
		}
		// By another name: what is there of the path may hold links.
		if real, err := filepath.EvalSymlinks(p); err == nil && real != p {
			if in, err := InCaptures(h, real); in || err != nil {
				return in, err
			}
		}
		if filepath.Dir(p) == p {
			return false, nil
		}
	}
}

// Erase takes personal data of a shoot out of its folder for good. The chain stays
// whole: it only ever held random ids and salted hashes. The data folder must be locked
// ([trail.LockDir]). Copies and backups are beyond its reach. It returns how many texts it erased.
func Erase(dir string, what Personal) (int, error) {
	var ids []string
	for r, err := range trail.Read(dir) {
		if errors.Is(err, trail.ErrUnfinished) {
			break
		}
		if err != nil {
			return 0, err
		}
		if r.Kind != inputKind {
			continue
		}
		var b inputBody
		if err := decodeBody(r, &b); err != nil {
			return 0, err
		}
		add := func(wanted bool, refs ...string) {
			for _, ref := range refs {
				if wanted && ref != "" && !slices.Contains(ids, ref) {
					ids = append(ids, ref)
				}
			}
		}
		switch in := b.Input; {
		case in.Frame != nil:
			add(what.Files, in.Frame.File, in.Frame.Folder)
		case in.Broken != nil:
			add(what.Files, in.Broken.File)
		case in.Sitter != nil:
			fromFolder := in.By == (advise.Actor{}) // nobody named them: it is the name of a folder
			add(what.Sitters || what.Files && fromFolder, in.Sitter.Ref)
		case in.Note != nil:
			add(what.Notes, in.Note.Ref)
		}
	}
	// It holds names of files as they were; without it the shoot opens all the same.
	if err := os.Remove(filepath.Join(dir, bookmarkName)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return 0, fmt.Errorf("nothing erased: the bookmark beside the trail holds names and can't be deleted: %w", err)
	}
	// Corrections are named after files, and can be written again.
	if err := os.RemoveAll(filepath.Join(dir, CorrectionsDir)); err != nil {
		return 0, fmt.Errorf("nothing erased: the corrections beside the trail hold names and can't be deleted: %w", err)
	}
	if what.Pictures {
		if err := os.RemoveAll(filepath.Join(dir, picturesDir)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return 0, fmt.Errorf("the pictures can't be deleted: %w", err)
		}
	}
	if len(ids) == 0 {
		return 0, nil
	}
	t, _, err := trail.Open(dir, trail.Options{})
	if err != nil {
		return 0, err
	}
	err = t.Erase(ids...)
	if err = errors.Join(err, t.Close()); err != nil {
		return 0, err
	}
	return len(ids), nil
}
