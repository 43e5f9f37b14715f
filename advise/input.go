package advise

import (
	"time"

	"thirdstop/advise/plan"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// Input is one thing that happened. Exactly one of the pointers is set. Its JSON
// form is what the trail keeps.
type Input struct {
	At time.Time `json:"at"` // daemon's UTC clock
	By Actor     `json:"by"` // who, for inputs of people; zero for the daemon's own

	Session   *Session      `json:"session,omitempty"`
	Plan      *PlanText     `json:"plan,omitempty"`
	Frame     *Frame        `json:"frame,omitempty"`
	Adjusted  *Adjusted     `json:"adjusted,omitempty"`
	Reference *Reference    `json:"reference,omitempty"`
	Marked    *Marked       `json:"marked,omitempty"`
	Answer    *Answer       `json:"answer,omitempty"`
	NotNow    *NotNow       `json:"not_now,omitempty"`
	Sitter    *Sitter       `json:"sitter,omitempty"`
	Baseline  *Baseline     `json:"baseline,omitempty"`
	Note      *Note         `json:"note,omitempty"`
	Metered   *Metered      `json:"metered,omitempty"`
	Walk      *WalkInput    `json:"walk,omitempty"`
	Earlier   *Earlier      `json:"earlier,omitempty"`
	Swap      *Swap         `json:"swap,omitempty"`
	Bracket   *BracketInput `json:"bracket,omitempty"`
	Curve     *Curve        `json:"curve,omitempty"`
	Broken    *Broken       `json:"broken,omitempty"`
}

// Actor says who acted, without a name: devices have names in the daemon's own files.
type Actor struct {
	Device string `json:"device,omitempty"` // id of a paired device; "local" for the machine itself
	Role   string `json:"role,omitempty"`   // "shoots", "lights" or "looks"
}

// Session marks where a shoot begins, goes on and ends.
type Session struct {
	Phase   Phase  `json:"phase"`
	Version string `json:"version,omitempty"` // of the program
}

// Phase is where a shoot stands.
type Phase string

// The phases. A shoot that is not ended when the daemon stops is resumed.
const (
	Begun   Phase = "begun"
	Resumed Phase = "resumed"
	Paused  Phase = "paused" // the daemon stopped; the shoot may go on
	Ended   Phase = "ended"
)

// PlanText is a light plan as written, whole. It replaces the one before.
type PlanText struct {
	Text string `json:"text"` // YAML; empty takes the plan away
	Name string `json:"name"` // what to call it in messages, without folders

	// Guides are what earlier shoots taught of its lights, as it was known when the plan was given.
	Guides []KnownGuide `json:"guides,omitempty"`
}

// KnownGuide is a light's effective guide number, with what is in front of it.
type KnownGuide struct {
	Group string               `json:"group"`
	Guide exposure.GuideNumber `json:"guide_number"` // m at ISO 100 and full power
	Sigma exposure.Stops       `json:"sigma_stops"`  // one standard deviation, in stops of light
}

// Frame is one revision of one frame, measured or found unreadable.
type Frame struct {
	Number   int             `json:"number"`           // order of arrival, from 1
	Revision int             `json:"revision"`         // from 1; a rewrite, a late raw or a new measurement counts up
	File     string          `json:"file"`             // reference into the side file, never a name
	Hash     string          `json:"hash"`             // hex SHA-256 of the file's bytes
	Folder   string          `json:"folder,omitempty"` // reference into the side file: the sub-folder, one per sitter
	Reading  *assess.Reading `json:"reading,omitempty"`
	Damaged  string          `json:"damaged,omitempty"` // why there is no reading, a sentence
	Sight    *Sight          `json:"sight,omitempty"`   // while the guide to the tone curve waits: what else was seen of it
}

// Broken is a version of a file that lacks bytes, or whose bytes are damaged. It is no frame, and no advice comes of it.
type Broken struct {
	File  string `json:"file"`            // reference into the side file, never a name
	Hash  string `json:"hash"`            // hex SHA-256 of the bytes that are there
	Frame int    `json:"frame,omitempty"` // that has the file's stem already, 0 none
	Why   string `json:"why"`             // what is wrong and what to do, a sentence about "it"
}

// Adjusted is an adjustment of a light that a person made and recorded.
// From and To are absolute, so that a repeat changes nothing. A reflector has no dial: both are 0.
type Adjusted struct {
	Group    string            `json:"group"` // the light's group letter
	From     exposure.Dial     `json:"from"`
	To       exposure.Dial     `json:"to"`
	Off      *bool             `json:"off,omitempty"`         // set when the light was switched off or on
	Distance *exposure.Metres  `json:"distance_m,omitempty"`  // set when it was moved
	Bearing  *Degrees          `json:"bearing_deg,omitempty"` // set when it was moved around the sitter
	Turned   *Degrees          `json:"turned_deg,omitempty"`  // of a reflector: how far it is turned away from where it gives most, 0 to 90
	Modifier *string           `json:"modifier,omitempty"`    // set when another was put on; "" none
	Zoom     *plan.Millimetres `json:"zoom_mm,omitempty"`     // set when its reflector was zoomed
}

// Reference declares where the white reference is, or takes it back.
type Reference struct {
	Frame int         `json:"frame"` // the frame it was shown on
	Box   *assess.Box `json:"box"`   // nil takes the declaration back
}

// Answer answers the waiting question.
type Answer struct {
	Question int  `json:"question"`
	Yes      bool `json:"yes"`
}

// NotNow puts the current advice aside until the light or the plan changes.
type NotNow struct {
	Advice int `json:"advice"` // its number
}

// Sitter says that another person sits now.
type Sitter struct {
	Ref string `json:"ref"` // reference into the side file
}

// Baseline accepts a frame's reading as right.
type Baseline struct {
	Frame int `json:"frame"`
}

// Note is a remark for the record.
type Note struct {
	Ref string `json:"ref"` // reference into the side file
}
