package watcher

import (
	"errors"

	"golang.org/x/sys/unix"
)

// shares are file systems on which other machines (or a program, for FUSE) may write without
// the kernel here hearing of it. Numbers: statfs(2) and the kernel's linux/magic.h.
var shares = map[uint32]string{
	0x6969: "NFS", 0x517B: "SMB", 0xFE534D42: "SMB", 0xFF534D42: "SMB", 0x65735546: "FUSE",
	0x01021997: "9P", 0x5346414F: "AFS", 0x00C36400: "Ceph", 0x73757245: "Coda", 0x564C: "NCP",
}

// shareKind names the kind of network share a folder is on, or returns "".
func shareKind(folder string) string {
	var st unix.Statfs_t
	if unix.Statfs(folder, &st) != nil {
		return ""
	}
	return shares[uint32(st.Type)]
}

// watchAdvice says what can be done about a watch that was refused.
func watchAdvice(err error) string {
	switch {
	case errors.Is(err, unix.ENOSPC):
		return " (raise fs.inotify.max_user_watches)"
	case errors.Is(err, unix.EMFILE):
		return " (raise fs.inotify.max_user_instances)"
	}
	return ""
}
