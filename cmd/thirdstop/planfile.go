package main

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
)

// planFile is the light plan's file, as edits on the page write it.
type planFile struct {
	path string // with links resolved, so that a link to a plan stays one
}

// newPlanFile is nil where the file lies in the capture folder, in which nothing is ever written.
func newPlanFile(path, capture string) *planFile {
	file, err := filepath.EvalSymlinks(path)
	if err != nil {
		return nil
	}
	folder, err := filepath.EvalSymlinks(capture)
	if err != nil {
		return nil
	}
	file, err1 := filepath.Abs(file)
	folder, err2 := filepath.Abs(folder)
	if err1 != nil || err2 != nil {
		return nil
	}
	if rel, err := filepath.Rel(folder, file); err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator)) {
		return nil
	}
	return &planFile{file}
}

func (f *planFile) Read() (string, error) {
	text, err := os.ReadFile(f.path)
	if err != nil {
		return "", aboutFile(filepath.Base(f.path), err, "check its permissions")
	}
	return string(text), nil
}

// Write puts a new file in the place of the old one, with the old one's permissions.
func (f *planFile) Write(text string) (err error) {
	mode := os.FileMode(0o644)
	if info, err := os.Stat(f.path); err == nil {
		mode = info.Mode().Perm()
	}
	part, err := os.CreateTemp(filepath.Dir(f.path), ".thirdstop-plan-*")
	if err != nil {
		return aboutFile(filepath.Base(f.path), err, "check the folder's permissions and the disk")
	}
	defer func() {
		if err != nil {
			os.Remove(part.Name())
			err = aboutFile(filepath.Base(f.path), err, "check the folder's permissions and the disk")
		}
	}()
	_, err = part.WriteString(text)
	err = errors.Join(err, part.Chmod(mode), part.Sync(), part.Close())
	if err != nil {
		return err
	}
	return os.Rename(part.Name(), f.path)
}
