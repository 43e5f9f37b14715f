package photo

import (
	"errors"
	"fmt"
)

// What can be wrong with a file. Every error of [Read] and [Whole] is one of these
// to errors.Is, and its text is a sentence for whoever stands at the camera.
var (
	ErrUnsupported = errors.New("not a picture that can be measured")
	ErrDamaged     = errors.New("the file is damaged")
	ErrUnfinished  = errors.New("the file is not complete yet")
)

// Reasons in the walk of a JPEG, before they have a file's name.
var (
	errNotJPEG    = errors.New("no JPEG start marker")
	errNoScan     = errors.New("a JPEG without picture data")
	errNoFrame    = errors.New("a JPEG without a frame header")
	errBadSegment = errors.New("a JPEG segment that makes no sense")
)

// FileError says what is wrong with which file.
type FileError struct {
	Name string // as it was given
	Kind error  // ErrUnsupported, ErrDamaged or ErrUnfinished
	Text string // what is wrong, and what to do
	Err  error  // what was found underneath; may be nil
}

func (e *FileError) Error() string {
	if e.Err != nil {
		return fmt.Sprintf("%s: %s (%v)", e.Name, e.Text, e.Err)
	}
	return e.Name + ": " + e.Text
}

func (e *FileError) Unwrap() []error {
	if e.Err == nil {
		return []error{e.Kind}
	}
	return []error{e.Kind, e.Err}
}

// Unfinished reports whether bytes may still come: true is wait and look again,
// false is that waiting won't help.
func (e *FileError) Unfinished() bool { return errors.Is(e.Kind, ErrUnfinished) }

// Foreign reports whether the file is of a kind that can't be measured at all: sending it
// again won't help.
func (e *FileError) Foreign() bool { return errors.Is(e.Kind, ErrUnsupported) }

// Sentence is the error without the file's name, for those who name it themselves or must
// be able to forget it.
func (e *FileError) Sentence() string { return e.Text }

func unsupported(name, text string) error {
	return &FileError{Name: name, Kind: ErrUnsupported, Text: text}
}

func damaged(name string, err error) error {
	return &FileError{Name: name, Kind: ErrDamaged, Err: err,
		Text: "the file is damaged; take the frame again, or copy the file from the card once more"}
}

func unfinished(name string, err error) error {
	return &FileError{Name: name, Kind: ErrUnfinished, Err: err,
		Text: "the file ends too early; it is still being written, or the transfer broke off"}
}
