package shoot

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"thirdstop/advise"
	"thirdstop/advise/trail"
	"thirdstop/assess/exposure"
	"thirdstop/watcher"
)

// childOf is set in the environment of a test binary that is to be killed by another one.
const childOf = "THIRDSTOP_SHOOT_CHILD"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childOf); dir != "" {
		fmt.Fprintln(os.Stderr, busyShoot(dir))
		os.Exit(3) // a killed one has 1 on some systems
	}
	os.Exit(m.Run())
}

// busyShoot goes on with a shoot without end, and prints what it was told is recorded.
func busyShoot(dir string) error {
	s, _, err := Open(Config{Shoots: filepath.Join(dir, "shoots"), Folder: filepath.Join(dir, "captures"), Measurer: &given{}, Version: "test", Bookmark: 2, Log: zerolog.Nop()})
	if err != nil {
		return err
	}
	ctx := context.Background()
	for i := s.Snapshot().State.FrameCount; ; i++ {
		text := fmt.Sprintf("backdrop %g white %g kind full", -float64(i%9)/10, -float64(i%7)/10)
		if i%13 == 12 {
			text = fmt.Sprint("torn ", i)
		}
		v := watcher.Version{Rel: fmt.Sprintf("Q_%04d.JPG", i), Data: []byte(text), Hash: sha256.Sum256([]byte(text)), Size: int64(len(text)), Written: time.Now()}
		if err := s.Complete(ctx, v); err != nil {
			return err
		}
		fmt.Println("frame", v.Rel, hex.EncodeToString(v.Hash[:]))
		client := fmt.Sprintf("c%d-%d", os.Getpid(), i)
		r := Request{Client: client}
		switch i % 6 {
		case 0:
			r = withPlan(r)
		case 1, 2:
			r.Reference = &advise.Reference{Frame: s.Snapshot().State.FrameCount, Box: &card}
		case 3:
			r.Adjusted = &advise.Adjusted{Group: "B", To: exposure.Dial(-60 - 10*(i%5))}
		case 4:
			r.Sitter = new(fmt.Sprint("rower ", i))
		default:
			r.Note = new(fmt.Sprint("note ", i))
		}
		got, err := s.Submit(ctx, r)
		if errors.Is(err, ErrRefused) { // a damaged frame can't carry a reference
			continue
		}
		if err != nil {
			return err
		}
		text2, err := json.Marshal(got)
		if err != nil {
			return err
		}
		fmt.Println("done", client, string(text2))
	}
}

func TestNothingAcknowledgedIsLostWhenTheDaemonIsKilled(t *testing.T) {
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	kills := 24
	if testing.Short() {
		kills = 6
	}
	if s := os.Getenv("THIRDSTOP_SHOOT_KILLS"); s != "" {
		var err error
		if kills, err = strconv.Atoi(s); err != nil {
			t.Fatalf("THIRDSTOP_SHOOT_KILLS is %q, want a number", s)
		}
	}
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 0))
	var b *bench
	var acked map[string]Receipt
	var files map[string][32]byte
	total, repaired, reopened, trusted := 0, 0, 0, 0
	for kill := range kills {
		if kill%6 == 0 {
			b = newBench(t)
			b.clock = nil
			acked, files = map[string]Receipt{}, map[string][32]byte{}
		}
		cmd := exec.Command(self)
		cmd.Env = append(os.Environ(), childOf+"="+b.dir)
		cmd.Stderr = os.Stderr
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		left := 1 + r.IntN(25)
		sc := bufio.NewScanner(out)
		for sc.Scan() {
			word, rest, _ := strings.Cut(sc.Text(), " ")
			a, text, ok := strings.Cut(rest, " ")
			var receipt Receipt
			switch {
			case word == "frame" && ok && len(text) == 64:
				h, _ := parseHash(text)
				files[a] = h
			case word == "done" && ok && json.Unmarshal([]byte(text), &receipt) == nil:
				acked[a] = receipt
			}
			if left--; left == 0 {
				// A random moment, and not only the one after a line: time is what is tested here.
				time.AfterFunc(time.Duration(r.IntN(2500))*time.Microsecond, func() { cmd.Process.Kill() })
			}
		}
		cmd.Wait()
		if code := cmd.ProcessState.ExitCode(); code == 3 {
			t.Fatalf("the busy shoot gave up (seed %d)", seed)
		}

		s, start, err := Open(Config{Shoots: b.shoots(), Folder: b.capture, Measurer: b.g, Version: "test", Log: zerolog.Nop()})
		if err != nil {
			t.Fatalf("kill %d, seed %d: opening again: %v", kill, seed, err)
		}
		repaired += len(start.Repairs)
		if start.Resumed {
			reopened++
		}
		if start.Trusted.Head.Seq > 0 {
			trusted++
		}
		if len(start.Differs) > 0 {
			t.Errorf("kill %d, seed %d: %d outputs differ", kill, seed, len(start.Differs))
		}
		for client, want := range acked {
			got, err := s.Submit(context.Background(), Request{Client: client, Note: new("again")})
			if err != nil || !got.Repeat || got.State != want.State || got.Event != want.Event || !got.At.Equal(want.At) {
				t.Errorf("kill %d, seed %d: %s again = %+v, %v; want the first receipt %+v", kill, seed, client, got, err, want)
			}
		}
		for rel, h := range files {
			if !s.Known(rel, h) {
				t.Errorf("kill %d, seed %d: %s was taken and isn't known", kill, seed, rel)
			}
		}
		p := player{}
		for rec, err := range trail.Read(b.trailOf(s)) {
			if err != nil {
				t.Fatalf("kill %d, seed %d: %v", kill, seed, err)
			}
			if _, err := p.play(rec); err != nil {
				t.Fatalf("kill %d, seed %d: %v", kill, seed, err)
			}
		}
		if !reflect.DeepEqual(p.state, s.Snapshot().State) {
			t.Errorf("kill %d, seed %d: the state isn't that of a replay", kill, seed)
		}
		if got := s.Snapshot().State.FrameCount; got < len(files) {
			t.Errorf("kill %d, seed %d: %d frames, and %d files were taken", kill, seed, got, len(files))
		}
		b.close(s)
		if _, err := trail.Verify(b.trailOf(s), s.Head().String()); err != nil {
			t.Errorf("kill %d, seed %d: %v", kill, seed, err)
		}
		if rep, err := Replay(b.trailOf(s)); err != nil || len(rep.Differs) > 0 {
			t.Errorf("kill %d, seed %d: Replay = %d differences, %v", kill, seed, len(rep.Differs), err)
		}
		total += len(acked)
		if t.Failed() {
			break
		}
	}
	if reopened < kills-kills/6 || total == 0 || trusted < kills/2 {
		t.Errorf("only %d of %d kills left something to go on with, %d a bookmark, %d requests acknowledged: the test shows nothing", reopened, kills, trusted, total)
	}
	t.Logf("%d kills, %d receipts held, %d repairs, %d went on from a bookmark", kills, total, repaired, trusted)
}
