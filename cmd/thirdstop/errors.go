package main

import (
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"strconv"
	"strings"
	"syscall"
)

// fileTrouble is an error about one file or folder in a sentence: its name once, what is wrong, what
// to do. The cause is kept underneath.
type fileTrouble struct {
	name, what string
	cause      error
}

func (e *fileTrouble) Error() string {
	if e.name == "" {
		return `"": ` + e.what
	}
	return e.name + ": " + e.what
}

func (e *fileTrouble) Unwrap() error { return e.cause }

// beside is what an error says of a file whose name stands beside it.
func beside(name string, err error) string { return strings.TrimPrefix(err.Error(), name+": ") }

// aboutFile makes a sentence of what the system says of a file. The hint is what to do where the
// system's answer alone doesn't tell.
func aboutFile(name string, err error, hint string) error {
	var told *fileTrouble
	if err == nil || errors.As(err, &told) {
		return err
	}
	if hint == "" {
		hint = "check the name"
	}
	what := systemSays(err) + "; " + hint
	switch {
	case errors.Is(err, fs.ErrNotExist):
		what = "there is no such file; " + hint
	case errors.Is(err, fs.ErrPermission):
		what = "access is denied; check who may read and write it"
	case errors.Is(err, syscall.EISDIR):
		what = "this is a folder; name a file"
	case errors.Is(err, syscall.ENOTDIR):
		what = "a part of this path is a file and no folder; " + hint
	}
	return &fileTrouble{name, what, err}
}

// systemSays is an error of the system without the names that stand in the sentence already.
func systemSays(err error) string {
	var pe *fs.PathError
	var le *os.LinkError
	var se *os.SyscallError
	var ne *net.OpError
	switch {
	case errors.As(err, &ne) && ne.Err != nil:
		return systemSays(ne.Err)
	case errors.As(err, &pe):
		return pe.Err.Error()
	case errors.As(err, &le):
		return le.Err.Error()
	case errors.As(err, &se):
		return se.Err.Error()
	}
	return err.Error()
}

// makeFolder makes a folder that thirdstop writes in, or says which can't be made and what to do.
func makeFolder(path, what, hint string) error {
	if err := os.MkdirAll(path, 0o700); err != nil {
		if errors.Is(err, fs.ErrPermission) {
			return fmt.Errorf("%s %s can't be made: access is denied; %s", what, path, hint)
		}
		return fmt.Errorf("%s %s can't be made: %s; %s", what, path, systemSays(err), hint)
	}
	return nil
}

// isPort says whether a text is a port that can be listened on.
func isPort(text string) bool {
	n, err := strconv.Atoi(text)
	return err == nil && n >= 0 && n <= 65535
}
