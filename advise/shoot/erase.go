package shoot

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"thirdstop/advise/trail"
)

// Personal says which personal data of a shoot to erase.
type Personal struct {
	Files    bool // names of files and folders, which often are names of people
	Sitters  bool // who sat
	Notes    bool
	Pictures bool // what the page showed
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
		case in.Sitter != nil:
			add(what.Sitters, in.Sitter.Ref)
		case in.Note != nil:
			add(what.Notes, in.Note.Ref)
		}
	}
	// It holds names of files as they were; without it the shoot opens all the same.
	if err := os.Remove(filepath.Join(dir, bookmarkName)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return 0, fmt.Errorf("nothing erased: the bookmark beside the trail holds names and can't be deleted: %w", err)
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
