package main

import (
	"bytes"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"thirdstop/testdata"
)

// asDaemon is set in the environment of a test binary that is to be the program.
const asDaemon = "THIRDSTOP_TEST_MAIN"

func TestMain(m *testing.M) {
	if os.Getenv(asDaemon) != "" {
		os.Unsetenv(asDaemon)
		main()
	}
	os.Exit(m.Run())
}

// program is thirdstop as a process of its own: this binary, which then runs main.
func program(t *testing.T, env []string, args ...string) (*exec.Cmd, *pipe) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	out := &pipe{}
	cmd := exec.Command(self, args...)
	cmd.Env = append(append(os.Environ(), asDaemon+"=1"), env...)
	cmd.Stdout, cmd.Stderr = out, out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	return cmd, out
}

func TestTheProgramEndsInOrderOnSIGTERM(t *testing.T) {
	home := lonely(t)
	for _, sig := range []os.Signal{syscall.SIGTERM, os.Interrupt} {
		cmd, out := program(t, nil, "run", "--data", home, "--listen", "127.0.0.1:0", filepath.Join(home, "captures"))
		until(t, "the page is served", func() bool { return strings.Contains(out.String(), "The page: ") })
		if err := cmd.Process.Signal(sig); err != nil {
			t.Fatal(err)
		}
		if err := cmd.Wait(); err != nil || !strings.Contains(out.String(), "rests after 0 frames") {
			t.Errorf("on %v the program ends with %v: %s", sig, err, out)
		}
	}
	list, err := os.ReadDir(filepath.Join(home, "shoots"))
	if err != nil || len(list) != 1 {
		t.Fatalf("%d shoots, want the one that was gone on with (%v)", len(list), err)
	}
	if code, out, errs := ran(t, "trail", "verify", "--data", home, list[0].Name()); code != 0 {
		t.Errorf("its record: %s%s", out, errs)
	}
	chain, err := os.ReadFile(filepath.Join(home, "shoots", list[0].Name(), "trail.jsonl"))
	if err != nil || bytes.Count(chain, []byte(`"phase":"paused"`)) != 2 {
		t.Errorf("the record tells of %d rests, want 2 (%v)", bytes.Count(chain, []byte(`"phase":"paused"`)), err)
	}
	// And nothing of it is locked any more.
	if cmd, out := program(t, nil, "no-such-command"); cmd.Wait() == nil || cmd.ProcessState.ExitCode() != 2 {
		t.Errorf("wrong use exits %d: %s", cmd.ProcessState.ExitCode(), out)
	}
}

// A process that was killed holds its lock and its port until the system has taken it apart, and nobody waits for that here.
func TestADaemonThatWasKilledIsStartedAgainAtOnce(t *testing.T) {
	home := lonely(t)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	args := []string{"run", "--data", home, "--listen", address, filepath.Join(home, "captures")}
	cmd, out := program(t, nil, args...)
	for range 4 {
		until(t, "the page is served", func() bool {
			if strings.Contains(out.String(), "thirdstop run:") {
				t.Fatalf("a daemon after one that was killed is refused: %s", out)
			}
			return strings.Contains(out.String(), "The page: ")
		})
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		cmd, out = program(t, nil, args...)
	}
	until(t, "the page is served", func() bool { return strings.Contains(out.String(), "The page: ") })
	if !strings.Contains(out.String(), " goes on; ") {
		t.Errorf("the shoot is not gone on with: %s", out)
	}
	// One that lives is not waited for for ever, and named once.
	code, _, errs := ran(t, args...)
	want := fmt.Sprintf("thirdstop run: %s: another thirdstop (process %d) uses this data folder; stop that one, or give this one a folder of its own with --data\n", home, cmd.Process.Pid)
	if code != 1 || errs != want {
		t.Errorf("beside one that runs: exit %d, %q, want 1 and %q", code, errs, want)
	}
}

// sd_notify(3) and sd_watchdog_enabled(3), systemd 257: one datagram a message, lines of
// NAME=value; a sign of life at half of WATCHDOG_USEC.
func TestTheServiceManagerIsToldOfReadinessLifeAndEnd(t *testing.T) {
	dir := shortFolder(t)
	home := lonely(t)
	socket, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: filepath.Join(dir, "notify"), Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer socket.Close()
	cmd, out := program(t, []string{"NOTIFY_SOCKET=" + socket.LocalAddr().String(), "WATCHDOG_USEC=100000"},
		"run", "--data", home, "--listen", "127.0.0.1:0", filepath.Join(home, "captures"))
	next := func() string {
		t.Helper()
		b := make([]byte, 4096)
		if err := socket.SetReadDeadline(time.Now().Add(20 * time.Second)); err != nil {
			t.Fatal(err)
		}
		n, err := socket.Read(b)
		if err != nil {
			t.Fatalf("no message to the service manager: %v; %s", err, out)
		}
		return string(b[:n])
	}
	if m := next(); !strings.HasPrefix(m, "READY=1\n") {
		t.Errorf("the first message is %q, want READY=1", m)
	}
	for range 3 {
		if m := next(); m != "WATCHDOG=1\nSTATUS=0 frames, no_plan" {
			t.Errorf("a sign of life is %q", m)
		}
	}
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	for m := next(); m != "STOPPING=1"; m = next() {
		if !strings.HasPrefix(m, "WATCHDOG=1\n") {
			t.Errorf("between is %q", m)
		}
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("it ends with %v", err)
	}
}

func TestTheWatchdogIsOffUnlessItIsMeantForThisProcess(t *testing.T) {
	for _, tc := range []struct {
		usec, pid string
		want      time.Duration
	}{
		{"", "", 0}, {"30000000", "", 15 * time.Second}, {"x", "", 0}, {"-5", "", 0}, {"0", "", 0},
		{"30000000", "1", 0}, {"30000000", strconv.Itoa(os.Getpid()), 15 * time.Second},
	} {
		t.Setenv("WATCHDOG_USEC", tc.usec)
		t.Setenv("WATCHDOG_PID", tc.pid)
		if got := watchdogEvery(); got != tc.want {
			t.Errorf("WATCHDOG_USEC=%q WATCHDOG_PID=%q: every %v, want %v", tc.usec, tc.pid, got, tc.want)
		}
	}
}

// A Go program that crashes, or that the watchdog stops by SIGABRT (systemd.service(5)), exits 2 like one whose
// settings are wrong (package runtime, os/signal): no status may keep the unit from starting it again.
func TestTheUnitStartsAgainWhatCrashedOrHung(t *testing.T) {
	unit, err := os.ReadFile("../../systemd/thirdstop.service")
	if err != nil {
		t.Fatal(err)
	}
	for line, want := range map[string]bool{"Restart=on-failure": true, "RestartPreventExitStatus=": false, "SuccessExitStatus=": false, "StartLimitBurst=5": true, "WatchdogSec=30": true} {
		if has := bytes.Contains(unit, []byte("\n"+line)); has != want {
			t.Errorf("the unit has a line %q: %v, want %v", line, has, want)
		}
	}
	home := lonely(t)
	cmd, out := program(t, nil, "run", "--data", home, "--listen", "127.0.0.1:0", filepath.Join(home, "captures"))
	until(t, "it runs", func() bool { return strings.Contains(out.String(), "The page: ") })
	if err := cmd.Process.Signal(syscall.SIGABRT); err != nil {
		t.Fatal(err)
	}
	if cmd.Wait() == nil || cmd.ProcessState.ExitCode() != 2 {
		t.Errorf("stopped by the watchdog's signal it exits %d; this test expects 2", cmd.ProcessState.ExitCode())
	}
}

// systemd-analyze is the check that systemd brings for its own files.
func TestTheUnitIsOneThatSystemdUnderstands(t *testing.T) {
	analyze := testdata.Tool(t, "systemd-analyze")
	home := t.TempDir()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for _, dir := range []string{"go/bin", "run"} {
		if err := os.MkdirAll(filepath.Join(home, dir), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink(self, filepath.Join(home, "go/bin/thirdstop")); err != nil {
		t.Fatal(err)
	}
	unit, err := filepath.Abs("../../systemd/thirdstop.service")
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(analyze, "--user", "verify", unit)
	cmd.Env = append(os.Environ(), "HOME="+home, "XDG_RUNTIME_DIR="+filepath.Join(home, "run"))
	if out, err := cmd.CombinedOutput(); err != nil || bytes.Contains(out, []byte("thirdstop.service")) {
		t.Errorf("systemd-analyze verify: %v\n%s", err, out)
	}
}
