package shoot

import (
	"path"
	"regexp"
	"slices"

	"thirdstop/advise"
	"thirdstop/advise/trail"
	"thirdstop/watcher"
)

// cardFolder is how cameras call the folders on their cards: three digits and five characters (the DCF standard,
// JEITA CP-3461; from memory). They change after so many pictures, not with the sitter.
var cardFolder = regexp.MustCompile(`^[1-9][0-9]{2}[0-9A-Za-z_]{5}$`)

// newFolder takes another sub-folder for another sitter, as photographers sort who they photograph. It
// is recorded as an input of its own, before the frame that showed it. The caller holds mu, and shows it.
func (s *Shoot) newFolder(v watcher.Version) error {
	dir := path.Dir(v.Rel)
	if dir == "." || cardFolder.MatchString(path.Base(dir)) || s.numbers[stem(v.Rel)] != 0 {
		return nil
	}
	last := slices.IndexFunc(s.state.Frames, func(f advise.FrameState) bool { return f.Number == s.state.FrameCount })
	switch {
	case s.state.FrameCount > 0 && last < 0:
		return nil
	case last >= 0:
		before := s.state.Frames[last].Folder
		if now := s.Words(before); before != "" && (now == "" || now == dir) { // erased: nobody can tell
			return nil
		}
	}
	if s.state.Sitter != "" && s.Words(s.state.Sitter) == path.Base(dir) { // named on the page already
		return nil
	}
	ref, err := s.keep(path.Base(dir))
	if err != nil {
		return err
	}
	_, err = s.take(inputBody{Input: advise.Input{Sitter: &advise.Sitter{Ref: ref.ID}}, Kept: []trail.Ref{ref}})
	return err
}
