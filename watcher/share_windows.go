package watcher

import (
	"path/filepath"
	"strings"

	"golang.org/x/sys/windows"
)

// shareKind names the kind of network share a folder is on, or returns "".
func shareKind(folder string) string {
	volume := filepath.VolumeName(folder)
	if strings.HasPrefix(volume, `\\`) {
		return "SMB"
	}
	p, err := windows.UTF16PtrFromString(volume + `\`)
	if err != nil || windows.GetDriveType(p) != windows.DRIVE_REMOTE {
		return ""
	}
	return "network drive"
}

func watchAdvice(error) string { return "" }
