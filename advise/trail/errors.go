package trail

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"
)

var (
	// ErrPoisoned is in the chain of every error that a trail returns after one of its writes or syncs failed.
	ErrPoisoned = errors.New("the trail takes no more records")

	// ErrClosed is returned by a trail that was closed.
	ErrClosed = errors.New("the trail is closed")

	// ErrErased is returned for a text that is no longer there.
	ErrErased = errors.New("the text was erased")

	// ErrAltered is returned for a text that does not match the hash in the chain.
	ErrAltered = errors.New("the text was altered after it was kept")

	// ErrUnknownText is returned when asked to erase a text that was never kept here.
	ErrUnknownText = errors.New("no such text is kept here")

	// ErrUnfinished is yielded after the last whole record by readers of a trail whose last line has no end: it
	// is being written at this moment, or its writer died. Open repairs the second.
	ErrUnfinished = errors.New("the last line is unfinished")

	// ErrHead is in Verify's error when the head it was given is not in the trail.
	ErrHead = errors.New("the head that was kept is not in this trail")
)

// PoisonedError says why a trail takes no more records, in a sentence for people. It wraps ErrPoisoned and the cause.
type PoisonedError struct {
	Dir   string // folder of the shoot
	File  string // base name of the file that could not be written
	Cause error
}

func (e *PoisonedError) Error() string {
	if diskFull(e.Cause) {
		return fmt.Sprintf("not recorded: the disk that holds %s is full; free some space and start thirdstop again", e.Dir)
	}
	return fmt.Sprintf("not recorded: %s in %s could not be written (%v); check the disk and start thirdstop again", e.File, e.Dir, e.Cause)
}

// Full says that the disk was full: with some space freed, opening the trail again goes on with it.
func (e *PoisonedError) Full() bool { return diskFull(e.Cause) }

func (e *PoisonedError) Unwrap() []error { return []error{ErrPoisoned, e.Cause} }

// NoShootError says that a folder holds no trail that can be opened. It wraps the cause.
type NoShootError struct {
	Dir   string
	Cause error
}

func noShoot(dir string, cause error) error { return &NoShootError{dir, cause} }

func (e *NoShootError) Error() string {
	var pe *fs.PathError
	switch {
	case errors.Is(e.Cause, fs.ErrNotExist), errors.Is(e.Cause, syscall.ENOTDIR):
		return e.Dir + " holds no shoot; a shoot's folder has a trail.jsonl in it, and `thirdstop trail list` tells which there are"
	case errors.As(e.Cause, &pe):
		return fmt.Sprintf("%s holds no shoot that can be opened (%v); check who may read it", e.Dir, pe.Err)
	}
	return fmt.Sprintf("%s holds no shoot that can be opened: %v", e.Dir, e.Cause)
}

func (e *NoShootError) Unwrap() error { return e.Cause }

// DiskFull says of an error that a disk, or the share of it that a user may fill, is full.
func DiskFull(err error) bool { return diskFull(err) }

// DamageError names a record that is not as it was written.
type DamageError struct {
	File   string // path of the trail
	Record uint64 // number of the damaged record, or of the first one missing
	Line   int    // its line in the file, from 1
	Offset int64  // where that line begins, in bytes
	What   string // what is wrong, as a clause

	link bool // two neighbours don't fit together, and which of them was changed is not settled yet
}

func (e *DamageError) Error() string {
	return fmt.Sprintf("%s: record %d is damaged (line %d, byte %d): %s; nothing was changed: put back an undamaged copy of the folder, or keep it as it is and begin a new shoot", e.File, e.Record, e.Line, e.Offset, e.What)
}

// FormatError says that a trail is of a format newer than this program.
type FormatError struct {
	File   string
	Format int
}

func (e *FormatError) Error() string {
	return fmt.Sprintf("%s was written by a newer thirdstop (format %d, this one reads up to %d); update thirdstop to read it", e.File, e.Format, Format)
}

// Repair tells what Open put right.
type Repair struct {
	File   string // path of the file that was put right
	Record uint64 // number the unfinished record would have had; 0 for the side file
	Bytes  int64  // how much was cut off
	KeptIn string // path of the file that holds what was cut off, "" if it was not kept
	What   string // the sentence for people
}

func (r Repair) String() string { return r.What }
