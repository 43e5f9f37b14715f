package advise

import (
	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
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
	FNumber    exposure.FNumber `json:"f_number"` // of the newest frame, else of the plan; 0 unknown
	ISO        exposure.ISO     `json:"iso"`
	Shutter    exposure.Shutter `json:"shutter_s"`
	Reference  *assess.Box      `json:"reference"` // declared white reference
	Sitter     string           `json:"sitter"`    // reference into the side file
	Baseline   int              `json:"baseline"`  // frame number, 0 none
	Frames     []FrameState     `json:"frames"`    // the newest, oldest first, at most KeepFrames
	FrameCount int              `json:"frame_count"`
	Advice     Advice           `json:"advice"`
	Question   *Question        `json:"question"`

	model    rig.Model
	pending  []Adjustment // advised and neither seen nor recorded yet
	asked    int
	heldHere bool // this sitter has had a frame on target
	putAside bool // the current advice was put aside
	offset   exposure.Stops
}

// KeepFrames is how many frames a state carries for looking back.
const KeepFrames = 120
