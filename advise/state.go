package advise

import (
	"time"

	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/tone"
)

// State is all that is known of a shoot. It is a value: [Apply] never changes
// the one it was given, so a state can be read by anyone while the next is made.
type State struct {
	Seq        uint64           `json:"seq"` // inputs applied so far: the state's number
	Phase      Phase            `json:"phase"`
	PlanName   string           `json:"plan_name"`
	PlanText   string           `json:"plan_text"`
	Plan       *plan.Plan       `json:"-"`
	Lights     []LightState     `json:"lights"`
	Reflectors []ReflectorState `json:"reflectors,omitempty"` // what sends a light's light on
	FNumber    exposure.FNumber `json:"f_number"`             // as marked; of the newest frame, else of the plan; 0 unknown
	TStops     bool             `json:"t_stops,omitempty"`    // FNumber is a T-stop out of the plan; no frame records one
	ISO        exposure.ISO     `json:"iso"`
	Shutter    exposure.Shutter `json:"shutter_s"`
	Reference  *assess.Box      `json:"reference"` // declared white reference
	Marks      Marks            `json:"marks,omitzero"`
	Sitter     string           `json:"sitter"`          // reference into the side file
	Baseline   int              `json:"baseline"`        // frame number, 0 none
	Chart      *ChartReference  `json:"chart,omitempty"` // the shoot's reference for colour; null until a chart was read
	Frames     []FrameState     `json:"frames"`          // the newest, oldest first, at most KeepFrames
	FrameCount int              `json:"frame_count"`
	Advice     Advice           `json:"advice"`
	Question   *Question        `json:"question"`
	Drift      Drifting         `json:"drift"`
	Walk       *Walk            `json:"walk,omitempty"`        // the guided set-up; nil: none was begun
	Earlier    *Earlier         `json:"earlier,omitempty"`     // the shoot whose light is built again, nil where none is
	Match      *Match           `json:"match,omitempty"`       // something was swapped, and pictures shall come out as before
	Bracket    *Bracket         `json:"bracket,omitempty"`     // the guide to the tone curve; nil: none was begun
	Known      []tone.Known     `json:"known,omitempty"`       // changes of light of known size that were seen, the newest, for learning the tone curve
	Unfixed    bool             `json:"unfixed,omitempty"`     // such changes contradict each other: no curve is learned from them
	KnownCount int              `json:"known_count,omitempty"` // of all that were seen

	model       rig.Model    // learned, without the newest frame
	taught      rig.Model    // learned, with the newest frame
	lastSet     rig.Setting  // how camera and lights stood for the newest frame
	advisedAt   time.Time    // when the pending adjustments were given out
	pending     []Adjustment // advised, and neither seen nor recorded yet
	recent      []change     // recorded since the frame before the newest, newest last
	asked       int          // questions asked so far
	tentative   *tentative   // what the open question is about
	heldHere    bool         // this sitter has had a frame on target
	putAside    []Adjustment // advice that was put aside: until other advice, or the plan or a light, takes its place
	absent      []string     // groups of the lights that did not light the newest frame
	missed      []string     // groups of those that did not light the frame before it
	unlit       *unlit       // a light that has not lit the frames of late, as it seems; nil: none
	unseen      int          // frames in a row that did not show the pending adjustments, though there was time to turn
	bumped      string       // group of a light whose dial may have been turned up unseen: its region clips
	doubt       *doubtful    // a change that the newest frame showed and that may be scatter; nil: none
	presumed    string       // group of a light that counts as turned though clipping hides it: nobody said no
	restore     *change      // a turn that nobody had meant to record, and that was told when asked: it may be taken back
	slept       []slept      // lights that somebody found off or asleep: they are to be woken
	firm        *firm        // the light model before lights were put in doubt; nil: none are
	recheck     bool         // somebody said that lights don't stand as recorded; how they stand is not recorded yet
	apart       *apart       // what was seen when it was asked whether all lights stand as recorded; nil: it was not, or they were recorded since
	lastAt      time.Time    // when the newest frame that is learned from arrived
	passed      []Adjustment // advised, and plainly not followed by a frame: of lights that stand as they did then
	offered     []Adjustment // advised since the newest frame, and taken back for other advice: they may have been turned
	overSince   int          // newest frame under the present setting in which the white reference clipped; 0: none
	blownBefore bool         // too much of the sitter clipped in the frame before the newest
	untaught    bool         // the newest frame taught nothing: it could lie on either side of an adjustment
	watch       watching     // the baseline and the detectors of drift
	guides      []KnownGuide // of the plan's lights, from earlier shoots
	references  []distance   // where lights stood when the model began, by group

	past [][]PastFrame // every frame that was measured, by number, in chunks
}

// distance is where a light stood when the model began, 0 unknown: the model's coefficients hold for there.
type distance struct {
	group string
	at    exposure.Metres
}

// change is a recorded adjustment that frames under way may not show yet.
type change struct {
	group    string
	from, to exposure.Dial
	at       time.Time
}

// slept is a light that was found off or asleep, in which frame.
type slept struct {
	group string
	frame int
}

// tentative is the explanation an open question offers.
type tentative struct {
	light  int
	to     exposure.Dial
	off    bool          // it is off or did not fire
	on     bool          // it is on, though recorded as off
	others []explanation // to be asked about if it is not that
	denied []int         // lights that were asked about before, and it was not that
	asked  bool          // it was advised, and no frame showed it: until it is answered the light counts as not turned
}

// KeepFrames is how many frames a state carries for looking back.
const KeepFrames = 120
