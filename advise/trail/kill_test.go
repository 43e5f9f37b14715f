package trail_test

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"thirdstop/advise/trail"
)

// childOf is set in the environment of a test binary that is to play a part in a test of another one.
const childOf = "THIRDSTOP_TRAIL_CHILD"

func TestMain(m *testing.M) {
	if part := os.Getenv(childOf); part != "" {
		if err := parts[part](os.Args[len(os.Args)-1]); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(gaveUp)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// gaveUp is the exit code of a child that failed; a killed one has 1 on some systems.
const gaveUp = 3

var parts = map[string]func(dir string) error{
	"busy": busyShoot,
	"lock": holdLock,
}

func child(t *testing.T, part, dir string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, dir)
	cmd.Env = append(os.Environ(), childOf+"="+part)
	cmd.Stderr = os.Stderr
	return cmd
}

// busyShoot appends without end, and prints what it was told is on disk: "synced <seq> <hash>",
// "written <seq> <hash>" and "erased <id>".
func busyShoot(dir string) error {
	t, repairs, err := trail.Open(dir, trail.Options{})
	if err != nil {
		return err
	}
	for _, r := range repairs {
		fmt.Println("repair", r.Bytes)
	}
	var kept []string
	for i := 0; ; i++ {
		ref, err := t.Keep(fmt.Sprintf("committee/sitter-%d.jpg", i))
		if err != nil {
			return err
		}
		kept = append(kept, ref.ID)
		// Bodies of several pages, so that a kill can fall into the middle of a write.
		body := map[string]any{"path": ref, "cells": strings.Repeat("0.123 ", rand.IntN(20_000))}
		r, err := t.Append("input", 1, "r1", time.Now(), body)
		if err != nil {
			return err
		}
		fmt.Println("synced", r.Seq, r.Hash())
		for range rand.IntN(3) {
			r, err := t.AppendUnsynced("output", 1, "r1", time.Now(), body)
			if err != nil {
				return err
			}
			fmt.Println("written", r.Seq, r.Hash())
		}
		if i%5 == 4 {
			if err := t.Erase(kept[0]); err != nil {
				return err
			}
			fmt.Println("erased", kept[0])
			kept = kept[1:]
		}
	}
}

// Killing a process keeps what it wrote, synced or not: the system has it. What a loss of power leaves is played
// in TestPowerLossBetweenAnyTwoOperationsLosesNothingAcknowledged. THIRDSTOP_TRAIL_KILLS asks for more kills.
func TestNothingAcknowledgedIsLostWhenTheProgramIsKilled(t *testing.T) {
	kills := 40
	if s := os.Getenv("THIRDSTOP_TRAIL_KILLS"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil {
			t.Fatalf("THIRDSTOP_TRAIL_KILLS is %q, want a number", s)
		}
		kills = n
	}
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 0))
	var dir string
	var acknowledged map[uint64]string
	var erased map[string]bool
	records, texts, cut := 0, 0, 0
	for kill := range kills {
		if kill%10 == 0 { // a new shoot now and then, or checking all of it after every kill takes longer and longer
			dir = filepath.Join(t.TempDir(), "shoot")
			create(t, dir, trail.Options{}).Close()
			acknowledged, erased = make(map[uint64]string), make(map[string]bool)
		}
		cmd := child(t, "busy", dir)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		// After a random number of lines, and then a random moment: time is what is tested here.
		left := r.IntN(12)
		wait := time.Duration(r.IntN(3000)) * time.Microsecond
		var killer *time.Timer
		sc := bufio.NewScanner(out)
		if left == 0 {
			killer = time.AfterFunc(wait*10, func() { cmd.Process.Kill() })
		}
		for sc.Scan() {
			word, rest, _ := strings.Cut(sc.Text(), " ")
			switch word {
			case "synced", "written":
				var seq uint64
				var hash string
				if _, err := fmt.Sscan(rest, &seq, &hash); err != nil {
					continue // the kill fell into this line
				}
				if len(hash) == 64 {
					records++
					acknowledged[seq] = hash
				}
			case "erased":
				if len(rest) == 32 {
					texts++
					erased[rest] = true
				}
			case "repair":
				cut++
			}
			if left--; left == 0 {
				killer = time.AfterFunc(wait, func() { cmd.Process.Kill() })
			}
		}
		err = cmd.Wait()
		if killer != nil {
			killer.Stop()
		}
		if ee, ok := err.(*exec.ExitError); !ok || ee.ExitCode() == gaveUp {
			t.Fatalf("kill %d (seed %d): the child ended by itself: %v", kill, seed, err)
		}
		// Before anyone repairs: all that was acknowledged is there.
		seen := make(map[uint64]string)
		for rec, err := range trail.Read(dir) {
			if err == trail.ErrUnfinished {
				break
			}
			if err != nil {
				t.Fatalf("kill %d (seed %d): %v", kill, seed, err)
			}
			seen[rec.Seq] = rec.Hash()
		}
		for seq, hash := range acknowledged {
			if seen[seq] != hash {
				t.Fatalf("kill %d (seed %d): record %d was acknowledged and is lost", kill, seed, seq)
			}
		}
		rep, err := trail.Verify(dir, "")
		if err != nil {
			t.Fatalf("kill %d (seed %d): %v", kill, seed, err)
		}
		if len(rep.Missing) > 0 || rep.Erased < len(erased) {
			t.Fatalf("kill %d (seed %d): %d texts are missing, %d are erased of %d", kill, seed, len(rep.Missing), rep.Erased, len(erased))
		}
	}
	if records < kills {
		t.Errorf("%d kills met only %d acknowledged records", kills, records)
	}
	t.Logf("%d kills, %d acknowledged records, %d erased texts, %d repairs; none lost", kills, records, texts, cut)
}
