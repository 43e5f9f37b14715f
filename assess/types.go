package assess

import (
	"thirdstop/assess/exposure"
)

// FormatVersion is the version of the reading's JSON form. Fields are only ever
// added under one version; a change of meaning makes a new one.
const FormatVersion = 1

// Reading is everything measured on one frame. Its JSON form is what
// `thirdstop assess --json` prints and what the trail keeps, so names, units and ranges are stable.
//
// Levels are in stops relative to the edge of clipping in linear light: 0 is
// the edge, -1 one stop under it. All stops are rounded to 0.001. A region
// that could not be measured is null, and Missing says why.
type Reading struct {
	Version      int               `json:"version"`
	Width        int               `json:"width"`       // pixels, upright
	Height       int               `json:"height"`      // pixels, upright
	Orientation  int               `json:"orientation"` // Exif 1 to 8 as recorded; 1 where nothing is recorded
	Kind         Kind              `json:"kind"`
	Exif         Exif              `json:"exif"`
	ClippedShare Shares            `json:"clipped_share"`
	Regions      Regions           `json:"regions"`
	Tone         Tone              `json:"tone"`
	Labels       []Label           `json:"labels"`  // what this file cannot show, or what makes it hard to compare
	Missing      map[string]string `json:"missing"` // path of a null field -> why it is null
}

// Kind says what the reading was taken from.
type Kind string

// The kinds of reading.
const (
	Full        Kind = "full"        // the picture file itself, at its full size
	Approximate Kind = "approximate" // the preview inside a raw file, or a reduced copy
	Provisional Kind = "provisional" // the preview inside a picture whose full reading follows
)

// Exif is what the camera recorded and thirdstop uses. A nil field was not recorded.
type Exif struct {
	ExposureTime *exposure.Shutter `json:"exposure_time_s"`
	FNumber      *exposure.FNumber `json:"f_number"`
	ISO          *exposure.ISO     `json:"iso"`
	FocalLength  *float64          `json:"focal_length_mm"`
	Flash        *Flash            `json:"flash"`
	Program      *int              `json:"exposure_program"` // Exif ExposureProgram, 1 is manual
	ExposureMode *int              `json:"exposure_mode"`    // Exif ExposureMode, 0 auto, 1 manual, 2 bracket
	WhiteBalance *int              `json:"white_balance"`    // Exif WhiteBalance, 0 auto, 1 manual
	TakenAt      *string           `json:"taken_at"`         // RFC 3339; without offset where none was recorded
	Make         *string           `json:"make"`
	Model        *string           `json:"model"`
	Lens         *string           `json:"lens"`
	Serial       *string           `json:"serial"`
}

// Flash is the Exif flash tag taken apart. Plain radio triggers record "did not
// fire", so Fired false never means that a flash failed.
type Flash struct {
	Raw   int    `json:"raw"`   // the tag's value, 0 to 65535
	Fired bool   `json:"fired"` // bit 0
	Mode  string `json:"mode"`  // "unknown", "on", "off" or "auto" (bits 3 and 4)
}

// Shares are parts of a frame or region, 0 to 1, exact over every pixel.
type Shares struct {
	R   float64 `json:"r"`
	G   float64 `json:"g"`
	B   float64 `json:"b"`
	Any float64 `json:"any"` // pixels with at least one clipped channel
}

// Box is a rectangle in fractions of the upright frame: 0 is left or top, 1 right or bottom.
type Box struct {
	X0 float64 `json:"x0"`
	Y0 float64 `json:"y0"`
	X1 float64 `json:"x1"`
	Y1 float64 `json:"y1"`
}

// Level is the exposure of a region, relative to the edge of clipping.
type Level struct {
	Value   exposure.Stops `json:"level_stops"` // median cell, in its brightest channel; 0 is the edge of clipping
	Sigma   exposure.Stops `json:"sigma_stops"` // one standard deviation of Value, from noise and curve
	AtLeast bool           `json:"at_least"`    // over 1 % of the deciding cell's samples are clipped: Value or more
}

// Regions are the parts of a frame that have a meaning.
type Regions struct {
	Backdrop       *Backdrop       `json:"backdrop"`
	Sitter         *Sitter         `json:"sitter"`
	WhiteReference *WhiteReference `json:"white_reference"`
}

// Backdrop is the reading of the paper, cloth or wall behind the sitter.
type Backdrop struct {
	Level
	WhiteFloor   exposure.Stops `json:"white_floor_stops"` // weakest channel in the darkest area around the head
	FloorSigma   exposure.Stops `json:"white_floor_sigma_stops"`
	FloorAtLeast bool           `json:"white_floor_at_least"`
	Headroom     exposure.Stops `json:"headroom_stops"`    // stops left at the 99th-percentile cell; 0 when it clips
	Evenness     exposure.Stops `json:"evenness_stops"`    // largest minus smallest median of the areas
	ClippedShare float64        `json:"clipped_share"`     // pixels of the backdrop with any clipped channel, 0 to 1
	ClippedAll   float64        `json:"clipped_all_share"` // pixels whose every channel is clipped are a share of at most this, 0 to 1
	Share        float64        `json:"share"`             // backdrop's part of the frame, 0 to 1
	Confidence   float64        `json:"confidence"`        // 0 to 1: how sure it is that this is the backdrop
	Box          Box            `json:"box"`
	Areas        []Area         `json:"areas"` // 3x3 in upright orientation, row by row; those without backdrop are left out
	Mask         Mask           `json:"mask"`  // which cells
	Codes        Codes          `json:"codes"`
}

// Area is a ninth of the frame, as far as it shows backdrop.
type Area struct {
	Row     int            `json:"row"` // 0 top to 2 bottom
	Col     int            `json:"col"` // 0 left to 2 right
	Level   exposure.Stops `json:"level_stops"`
	Floor   exposure.Stops `json:"white_floor_stops"` // weakest channel
	AtLeast bool           `json:"at_least"`
	Share   float64        `json:"share"` // of the area that is backdrop, 0 to 1
	Box     Box            `json:"box"`
}

// Sitter is the reading of everybody in front of the backdrop.
type Sitter struct {
	Level
	Headroom     exposure.Stops `json:"headroom_stops"`
	ClippedShare float64        `json:"clipped_share"`
	Share        float64        `json:"share"` // of the frame, 0 to 1
	Confidence   float64        `json:"confidence"`
	Box          Box            `json:"box"`
	Mask         Mask           `json:"mask"`
	Codes        Codes          `json:"codes"`
}

// WhiteReference is the reading of a white card or shirt. One that nobody
// declared is shown and never causes an adjustment.
type WhiteReference struct {
	Level
	Peak         exposure.Stops `json:"peak_stops"` // brightest channel at the 98th percentile
	Headroom     exposure.Stops `json:"headroom_stops"`
	ClippedShare float64        `json:"clipped_share"`
	Declared     bool           `json:"declared"`
	Confidence   float64        `json:"confidence"`
	Box          Box            `json:"box"`
	Codes        Codes          `json:"codes"`
}

// Tone says how code values became light.
type Tone struct {
	Source string         `json:"source"` // "default", "learned", "raw"
	Curve  string         `json:"curve"`  // which curve, by its name and version
	Sigma  exposure.Stops `json:"sigma"`  // one standard deviation a stop under clipping, in stops
}

// Label is a remark that a person should see with the reading.
type Label struct {
	Code string `json:"code"` // stable: "reduced", "edited", "adobe_rgb", "greyscale", ...
	Text string `json:"text"` // a sentence
}

// Mask marks cells of a coarse grid over the upright frame, row by row.
type Mask struct {
	Cols int    `json:"cols"`
	Rows int    `json:"rows"`
	Bits string `json:"bits"` // base64 (RFC 4648) of the bits, first cell in the highest bit of the first byte
}

// Codes is a histogram of a region's 8x8 block means in whole code values, enough to
// express the region's level anew under a better curve.
type Codes struct {
	R []int32 `json:"r"` // 256 counts, trailing zeros left out
	G []int32 `json:"g"`
	B []int32 `json:"b"`
}

// Hints is what is known about a frame before it is measured. The zero value
// is a frame of which nothing is known.
type Hints struct {
	WhiteReference *Box // declared by a person
	Backdrop       *Box // drawn by a person
}
