//go:build !linux && !darwin && !windows

package shoot

import "errors"

func freeBytes(string) (uint64, error) { return 0, errors.ErrUnsupported }
