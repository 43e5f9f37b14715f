package main

import (
	"io"
	"time"

	"thirdstop/advise/account"
	"thirdstop/advise/shoot"
	"thirdstop/dashboard/sheet"
)

// trailSheet writes the sheet of the shoot in dir.
func trailSheet(dir string, stdout io.Writer) error {
	a, err := account.Read(dir)
	if err != nil {
		return err
	}
	return sheet.Write(stdout, a, sheet.Options{Pictures: picturesOf(dir), Zone: time.Local})
}

// picturesOf reads the pictures that are still kept of a shoot.
func picturesOf(dir string) sheet.Pictures {
	return func(frame, revision int, large bool) []byte {
		jpeg, err := shoot.Picture(dir, frame, revision, large)
		if err != nil {
			return nil
		}
		return jpeg
	}
}
