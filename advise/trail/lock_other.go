//go:build !(darwin || dragonfly || freebsd || illumos || linux || netbsd || openbsd || windows)

package trail

import (
	"errors"
	"os"
)

func lockFile(*os.File) error   { return errors.ErrUnsupported }
func unlockFile(*os.File) error { return nil }
