package watcher

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// The writers here are the real ones. Where one isn't installed its test says so and skips;
// under CI=true it fails instead, so that it can't go missing unnoticed.
func tool(t *testing.T, names ...string) []string {
	t.Helper()
	var paths []string
	for _, name := range names {
		p, err := exec.LookPath(name)
		if err != nil { // Debian keeps servers where ordinary users don't look
			p, err = exec.LookPath("/usr/sbin/" + name)
		}
		if err != nil {
			if os.Getenv("CI") == "true" {
				t.Fatalf("%s isn't installed, and under CI=true it must be", name)
			}
			t.Skipf("%s isn't installed: this writer isn't tested here", name)
		}
		paths = append(paths, p)
	}
	return paths
}

func do(t *testing.T, name string, args ...string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), deadline)
	defer cancel()
	if out, err := exec.CommandContext(ctx, name, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
}

// aside writes a picture of the given size outside the capture folder.
func (l *live) aside(pic string, size int) string {
	l.t.Helper()
	b := picture(l.t, pic, size)
	l.pics.get(l.t, pic)
	l.pics.mu.Lock()
	l.pics.byHash[sum(b)] = pic
	l.pics.mu.Unlock()
	p := filepath.Join(filepath.Dir(l.folder), pic+".jpg")
	if err := os.WriteFile(p, b, 0o644); err != nil {
		l.t.Fatal(err)
	}
	return p
}

const bigPicture = 6 << 20

func eachMode(t *testing.T, f func(t *testing.T, l *live)) {
	t.Run("events", func(t *testing.T) { f(t, runLive(t, nil)) })
	t.Run("polling", func(t *testing.T) {
		f(t, runLive(t, func(c *Config) { c.PollOnly, c.Poll = true, 100*time.Millisecond }))
	})
}

func TestCopiedByCp(t *testing.T) {
	cp := tool(t, "cp", "mv")
	eachMode(t, func(t *testing.T, l *live) {
		a, b := l.aside("A", bigPicture), l.aside("B", 0)
		old := time.Date(2019, 5, 6, 7, 8, 9, 0, time.UTC)
		if err := os.Chtimes(a, old, old); err != nil {
			t.Fatal(err)
		}
		do(t, cp[0], "-p", a, l.path("a.jpg"))
		if v := l.want("a.jpg", "A"); !v.ModTime.Equal(old) {
			t.Errorf("its time is %v, want %v", v.ModTime, old)
		}
		do(t, cp[0], b, l.path("a.jpg")) // over it
		l.want("a.jpg", "B")
		do(t, cp[1], a, l.path("moved.jpg"))
		l.want("moved.jpg", "A")
		l.quiet()
	})
}

func TestCopiedByRsync(t *testing.T) {
	rsync := tool(t, "rsync")[0]
	eachMode(t, func(t *testing.T, l *live) {
		a := l.aside("A", bigPicture)
		do(t, rsync, "-t", a, l.path("a.jpg"))
		l.want("a.jpg", "A")
		do(t, rsync, "-t", a, l.path("a.jpg")) // nothing to do
		b := l.aside("B", bigPicture)
		do(t, rsync, "--bwlimit=20000", b, l.path("b.jpg")) // a third of a second, in a dot-file
		l.want("b.jpg", "B")
		do(t, rsync, "--inplace", "--ignore-times", a, l.path("b.jpg"))
		l.want("b.jpg", "A")
		// A tree with a folder in it, as from a camera's card.
		tree := filepath.Join(filepath.Dir(l.folder), "card")
		if err := os.MkdirAll(filepath.Join(tree, "bow"), 0o755); err != nil {
			t.Fatal(err)
		}
		do(t, "cp", b, filepath.Join(tree, "bow", "c.jpg"))
		do(t, rsync, "-a", tree, l.folder)
		l.want("card/bow/c.jpg", "B")
		l.quiet()
	})
}

// TestReservedAndFilled writes as downloaders do that reserve the space first. What is at
// rest between two writes is as large as the whole.
func TestReservedAndFilled(t *testing.T) {
	eachMode(t, func(t *testing.T, l *live) {
		body, err := os.ReadFile(l.aside("A", 1<<20))
		if err != nil {
			t.Fatal(err)
		}
		f, err := os.Create(l.path("a.jpg"))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if err := f.Truncate(int64(len(body))); err != nil {
			t.Fatal(err)
		}
		half := int64(len(body) / 2)
		if _, err := f.WriteAt(body[half:], half); err != nil { // the end comes first
			t.Fatal(err)
		}
		l.put("marker.jpg", "marker") // at rest for as long as another file takes
		l.want("marker.jpg", "marker")
		if _, err := f.WriteAt(body[:half], 0); err != nil {
			t.Fatal(err)
		}
		l.want("a.jpg", "A")
		l.quiet()
	})
}

// ftpServer runs a real FTP server on the loopback, which writes into the capture folder,
// and returns its address.
func ftpServer(t *testing.T, server, folder string) string {
	t.Helper()
	probe, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := probe.Addr().String()
	port := probe.Addr().(*net.TCPAddr).Port
	probe.Close()

	conf := filepath.Join(t.TempDir(), "vsftpd.conf")
	// vsftpd.conf(5). It runs as whoever runs the tests; the anonymous user may write.
	text := fmt.Sprintf(`listen=YES
listen_ipv6=NO
listen_address=127.0.0.1
listen_port=%d
background=NO
run_as_launching_user=YES
anonymous_enable=YES
no_anon_password=YES
local_enable=NO
write_enable=YES
anon_upload_enable=YES
anon_mkdir_write_enable=YES
anon_other_write_enable=YES
anon_world_readable_only=NO
anon_umask=022
anon_root=%s
pasv_address=127.0.0.1
port_enable=NO
seccomp_sandbox=NO
xferlog_enable=NO
`, port, folder)
	if err := os.WriteFile(conf, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	cmd := exec.Command(server, conf)
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cmd.Process.Kill()
		cmd.Wait() // killed: its error says no more than that
	})
	for end := time.Now().Add(deadline); ; {
		c, err := net.DialTimeout("tcp", address, time.Second)
		if err == nil {
			greeting := make([]byte, 3)
			c.SetReadDeadline(time.Now().Add(5 * time.Second))
			_, err = io.ReadFull(c, greeting)
			c.Close()
			if err == nil && string(greeting) == "220" { // RFC 959, 4.2: service ready
				return "ftp://" + address + "/"
			}
		}
		if time.Now().After(end) {
			t.Fatalf("the FTP server doesn't answer: %v\n%s", err, out.String())
		}
		time.Sleep(10 * time.Millisecond) // another process: no clock of ours to wait for
	}
}

func TestUploadedByFTP(t *testing.T) {
	tools := tool(t, "vsftpd", "curl")
	eachMode(t, func(t *testing.T, l *live) {
		url := ftpServer(t, tools[0], l.folder)
		curl := func(args ...string) { do(t, tools[1], append([]string{"-sS"}, args...)...) }
		a, b := l.aside("A", bigPicture), l.aside("B", 2<<20)
		curl("-T", a, url+"a.jpg")
		l.want("a.jpg", "A")
		curl("-T", b, "--limit-rate", "4M", url+"slow.jpg") // half a second, in chunks
		l.want("slow.jpg", "B")
		curl("-T", b, url+"a.jpg") // over it
		l.want("a.jpg", "B")
		curl("-T", a, "--ftp-create-dirs", url+"bow/retakes/c.jpg")
		l.want("bow/retakes/c.jpg", "A")
		curl("-T", b, url+"hidden.part", "-Q", "-RNFR hidden.part", "-Q", "-RNTO shown.jpg")
		l.want("shown.jpg", "B")
		l.quiet()
	})
}

// TestFTPUploadThatBreaksOff cuts the connection in the middle, and resumes as cameras do.
func TestFTPUploadThatBreaksOff(t *testing.T) {
	tools := tool(t, "vsftpd", "curl")
	l := runLive(t, func(c *Config) {
		c.Settle, c.Poll, c.IncompleteAfter = 60*time.Millisecond, 500*time.Millisecond, 300*time.Millisecond
	})
	url := ftpServer(t, tools[0], l.folder)
	a := l.aside("A", bigPicture)
	up := exec.Command(tools[1], "-sS", "-T", a, "--limit-rate", "1M", url+"a.jpg")
	if err := up.Start(); err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(deadline); ; {
		if fi, err := os.Stat(l.path("a.jpg")); err == nil && fi.Size() > 1<<20 {
			break
		}
		if time.Now().After(end) {
			t.Fatal("the upload doesn't get going")
		}
		time.Sleep(10 * time.Millisecond) // another process: no clock of ours to wait for
	}
	up.Process.Kill()
	up.Wait() // killed: its error says no more than that
	p := l.wantProblem(Incomplete)
	if p.Rel != "a.jpg" {
		t.Errorf("%s is incomplete, want a.jpg", p.Rel)
	}
	do(t, tools[1], "-sS", "-C", "-", "-T", a, url+"a.jpg")
	l.want("a.jpg", "A")
	l.quiet()
}
