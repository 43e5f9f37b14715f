//go:build unix

package watcher

import (
	"errors"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A pipe with a camera file's name would hold up whoever opens it; a folder can have such a
// name too.
func TestPipesAndFoldersNamedLikePictures(t *testing.T) {
	for _, mode := range []string{"linux", "none"} {
		st := newStage(t, mode, filepath.Join(t.TempDir(), "capture"))
		st.start()
		st.rest()
		st.check(errors.Join(syscall.Mkfifo(st.path("pipe.jpg"), 0o644), syscall.Mkfifo(st.path("other.jpg"), 0o644)))
		st.tell("pipe.jpg", Created)
		st.tell("pipe.jpg", Closed)
		st.command(strings.Fields("mkdir folder.jpg"))
		st.command(strings.Fields("put folder.jpg/a.jpg A"))
		st.wait(30 * time.Second)
		if got, want := st.trace.String(), "complete folder.jpg/a.jpg A\n"; got != want {
			t.Errorf("events %s: got:\n%swant:\n%s", mode, got, want)
		}
	}
}

// asNobody runs a command as the user that owns nothing.
func asNobody(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
}
