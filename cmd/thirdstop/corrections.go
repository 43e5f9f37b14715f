package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"thirdstop/advise/account"
	"thirdstop/advise/shoot"
)

// trailCorrections writes what brings each frame to the baseline: a table, and an XMP packet for each frame. Never beside the captures.
func trailCorrections(dir, to string, stdout io.Writer) error {
	a, err := account.Read(dir)
	if err != nil {
		return err
	}
	all, err := a.Corrections()
	if err != nil {
		return err
	}
	own := to == ""
	if own {
		to = filepath.Join(dir, shoot.CorrectionsDir)
	} else if err := fitForCorrections(a, to); err != nil {
		return err
	}
	// Whole or not at all: a folder beside it takes its place when it is complete.
	if to, err = filepath.Abs(to); err != nil {
		return err
	}
	part := to + ".new"
	if err := os.RemoveAll(part); err != nil {
		return err
	}
	defer os.RemoveAll(part)
	if err := writeCorrections(a, all, part); err != nil {
		return fmt.Errorf("the corrections could not be written, perhaps the disk is full: %w", err)
	}
	if err := os.RemoveAll(to); own && err != nil {
		return err
	}
	if err := os.Remove(to); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.Rename(part, to); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%d corrections towards frame %d in %s\n", len(all), a.Final.Baseline, to)
	return nil
}

// fitForCorrections refuses a folder that holds something, or lies among the captures.
func fitForCorrections(a *account.Account, to string) error {
	in, err := shoot.InCaptures(a.Header, to)
	if err != nil {
		return err
	}
	if in {
		return fmt.Errorf("%s lies in the capture folder, where nothing is ever written; name another with --to", to)
	}
	entries, err := os.ReadDir(to)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err == nil && len(entries) > 0 {
		err = fmt.Errorf("%s is not empty; name an empty or a new folder with --to", to)
	}
	return err
}

func writeCorrections(a *account.Account, all []account.Correction, dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(filepath.Join(dir, "corrections.csv"), os.O_CREATE|os.O_WRONLY|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	if err := errors.Join(a.Write(f, account.CorrectionsTable, account.CSV), f.Close()); err != nil {
		return err
	}
	now := time.Now()
	for _, c := range all {
		name := filepath.Join(dir, c.XMPName())
		if err := os.MkdirAll(filepath.Dir(name), 0o700); err != nil {
			return err
		}
		if err := os.WriteFile(name, a.XMP(c, now), 0o600); err != nil {
			return err
		}
	}
	return nil
}
