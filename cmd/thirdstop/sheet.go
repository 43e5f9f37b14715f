package main

import (
	"io"
	"time"

	"thirdstop/advise/account"
	"thirdstop/advise/shoot"
	"thirdstop/assess/colour"
	"thirdstop/assess/tone"
	"thirdstop/dashboard/sheet"
)

// trailSheet writes the sheet of the shoot in dir, with what a file shows of a colour chart, if one is named.
func trailSheet(dir, chartFile, data string, stdout io.Writer) error {
	a, err := account.Read(dir)
	if err != nil {
		return err
	}
	o := sheet.Options{Pictures: picturesOf(dir), Zone: time.Local}
	if chartFile != "" {
		store, _ := tone.OpenStore(curvesPath(data)) // a curve that can't be read is left out; "curve" tells which
		if o.Chart, _, err = chartIn(chartFile, measurer{store}, colour.Options{Headroom: colour.DefaultHeadroom}); err != nil {
			return err
		}
	}
	return sheet.Write(stdout, a, o)
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
