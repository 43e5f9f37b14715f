//go:build unix

package watcher

import (
	"os/exec"
	"syscall"
)

// asNobody runs a command as the user that owns nothing.
func asNobody(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
}
