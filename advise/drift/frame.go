package drift

import (
	"time"

	"thirdstop/assess/exposure"
)

// Setup is what is known before the first frame.
type Setup struct {
	Lights []Light `json:"lights"`
	// Scatter of flashes from frame to frame, one standard deviation, where it is
	// known. 0 learns it from the frames.
	Scatter exposure.Stops `json:"scatter_stops"`
}

// Light is one flash of the plan.
type Light struct {
	Group string           `json:"group"`
	Name  string           `json:"name"`                     // "Key (B)"
	Limit FlashesPerMinute `json:"limit_flashes_per_minute"` // what its manual allows for long; 0 unknown
}

// FlashesPerMinute counts flashes as if each were at full power: two at 1/2
// count as one (energy goes with power; common practice, no source). Zero means not known.
type FlashesPerMinute float64

// Frame is one frame as the drift detectors see it.
type Frame struct {
	Number    int             `json:"number"`            // order of arrival, counting up
	At        time.Time       `json:"at"`                // when it was taken, or else arrived; zero unknown
	Power     []exposure.Dial `json:"power"`             // per light of the setup, as recorded for this frame
	Off       []bool          `json:"off"`               // per light: switched off on purpose
	Unfired   []bool          `json:"unfired,omitempty"` // per light: known not to have fired, so it loaded nothing
	Residuals []Residual      `json:"residuals"`
	Colours   []Colour        `json:"colours,omitempty"`    // of the neutrals that it shows
	Band      *Band           `json:"band,omitempty"`       // a dark band: then Residuals and Colours say nothing
	NewSitter bool            `json:"new_sitter,omitempty"` // the first frame of another sitter, or of other clothes
}

// Residual is what the light model did not predict of one region.
//
// The prediction must come from a model that stays as it was at the baseline, plus recorded
// adjustments: one that learns from every frame follows a drift and hides it.
type Residual struct {
	Region      string         `json:"region"`                 // stable name, such as "white_reference"
	Value       exposure.Stops `json:"residual_stops"`         // measured minus predicted
	Sigma       exposure.Stops `json:"sigma_stops"`            // of this frame's measuring alone, one standard deviation: what differs from frame to frame besides the flashes' scatter
	Doubt       exposure.Stops `json:"doubt_stops"`            // of the prediction, one standard deviation: the same for every frame, so it never averages out
	Witnessed   bool           `json:"witnessed"`              // a declared card, a witness strip or an unclipped backdrop
	AtLeast     bool           `json:"at_least"`               // clipped: says nothing about drift
	Shares      []float64      `json:"shares"`                 // per light of the setup: its predicted part of the region's light, 0 to 1; the rest is the room's. Empty: not known
	ShareSigmas []float64      `json:"share_sigmas,omitempty"` // one standard deviation of each share, and of the room's last; empty: a part of the change itself
}

// Kind says what a finding is.
type Kind string

// The kinds of finding.
const (
	FiredEarly Kind = "fired_early"  // one frame low after a short interval: before the flash had recycled
	Absent     Kind = "light_absent" // a light did not fire at all
	OddFrame   Kind = "odd_frame"    // one frame off for another reason
	Heat       Kind = "heat"         // sags through a run, recovers after a rest; or frames come out low under load
	Battery    Kind = "battery"      // the same without recovery
	Step       Kind = "step"         // one light changed at once: bumped or turned
	Slope      Kind = "slope"        // one light changes slowly: stand or umbrella sagging, someone creeping
	AllLights  Kind = "all_lights"   // everything changed alike: aperture, ISO, lens
	Ambient    Kind = "ambient"      // the room: window or lamp
	ColourOnly Kind = "colour"       // colour without light: another lamp, gel, modifier, daylight, white balance
	DarkBand   Kind = "dark_band"    // a part of the frame that no flash lit: shutter faster than sync
	Unclear    Kind = "unclear"      // changed, and no single cause explains it
	Back       Kind = "back"         // what was off is back where it was
	LoadNear   Kind = "load_near"    // nearly as many flashes a minute as the plan's limit
	LoadOver   Kind = "load_over"    // more than the limit
)

// May says what a finding may lead to.
type May string

// What a finding may lead to.
const (
	OnlyTell    May = "tell"       // something to look at; no dial compensates it
	CardCheck   May = "card_check" // seen on faces and clothes alone: hold a card in, decide then
	ChangeLight May = "light"      // seen by a witness: an adjustment may be offered, once the finding is steady
)

// Cause is one thing that would explain a change.
type Cause struct {
	What  What           `json:"what"`
	Group string         `json:"group,omitempty"` // of [OneLight]
	Name  string         `json:"name"`            // "Key (B)", "camera or lens", "room light"
	Size  exposure.Stops `json:"size_stops"`      // by which it would have changed
	Sigma exposure.Stops `json:"sigma_stops"`     // one standard deviation of Size
	Chi   float64        `json:"chi_square"`      // how badly it explains what was seen; smaller is better
	Gone  bool           `json:"gone,omitempty"`  // fits best, or nearly, as a light that gives nothing
	Index int            `json:"index"`           // of [OneLight]: its place in the setup; else -1
}

// What is the sort of a cause.
type What string

// The sorts of cause.
const (
	OneLight   What = "light"
	Everything What = "everything"
	Room       What = "room"
)

// Finding is one thing that a person should know. A finding is said again, under
// the same ID and with a higher revision, when more frames make it clearer.
type Finding struct {
	ID         int              `json:"id"`
	Revision   int              `json:"revision"` // from 1
	Kind       Kind             `json:"kind"`
	Frame      int              `json:"frame"`           // the frame that brought it
	Since      int              `json:"since"`           // first frame in which it shows, as far as can be told
	Group      string           `json:"group,omitempty"` // the likeliest light, where it is one light
	Candidates []Cause          `json:"candidates"`      // all causes that the frames can't tell apart, likeliest first
	Size       exposure.Stops   `json:"size_stops"`      // of the likeliest cause, against the baseline
	Sigma      exposure.Stops   `json:"sigma_stops"`     // one standard deviation of Size
	PerFrame   exposure.Stops   `json:"per_frame_stops"` // of a [Slope]: Theil-Sen
	SlopeLow   exposure.Stops   `json:"per_frame_low_stops"`
	SlopeHigh  exposure.Stops   `json:"per_frame_high_stops"` // 95 % limits of PerFrame (Sen 1968)
	Tone       Tone             `json:"tone"`                 // of [ColourOnly], and of what came with another colour
	Wait       float64          `json:"wait_s"`               // of [FiredEarly]: seconds to leave between frames; 0 not known
	Load       FlashesPerMinute `json:"load_flashes_per_minute"`
	Sure       bool             `json:"sure"`      // step or slope is decided, and there is one candidate
	Steady     bool             `json:"steady"`    // it has stopped changing: time to offer what would compensate it
	Witnessed  bool             `json:"witnessed"` // rests on a witness
	May        May              `json:"may"`
	Retake     bool             `json:"retake"`  // Frame is off by itself, and can be retaken while the sitter is there
	Text       string           `json:"text"`    // what was seen
	Remedy     string           `json:"remedy"`  // what to do
	Caution    string           `json:"caution"` // where a flash is to be handled: the usual care
}
