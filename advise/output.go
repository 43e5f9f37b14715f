package advise

import (
	"thirdstop/advise/plan"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// Output is one thing that came of an input. Exactly one of the pointers is set.
type Output struct {
	Advice   *Advice   `json:"advice,omitempty"`
	Event    *Event    `json:"event,omitempty"`
	Question *Question `json:"question,omitempty"`
}

// Status says in one word what the person at the lights has to do.
type Status string

// The statuses.
const (
	NoPlan  Status = "no_plan" // nothing to hold frames against yet
	Waiting Status = "waiting" // take a frame: there is none yet, or something was just changed
	Adjust  Status = "adjust"  // turn what Adjustments say
	Hold    Status = "hold"    // nothing to do
	Aside   Status = "aside"   // what there is to do was put aside; Reason says what
	Look    Status = "look"    // something must be put right or told before advice is possible: Warnings say what
)

// Advice is what to do before the next frame. Texts are ready to be shown.
type Advice struct {
	Number      int          `json:"number"` // counts up whenever the advice changes
	Frame       int          `json:"frame"`  // the frame it is drawn from; 0 where there is none
	Revision    int          `json:"revision"`
	Status      Status       `json:"status"`
	Headline    string       `json:"headline"` // "Key (B): power down 2/3 stop, set 1/8 + 1/3", "Hold"
	Reason      string       `json:"reason"`   // one sentence
	Guess       bool         `json:"guess"`    // rests on assumptions about which light does what: "first guess"
	AtLeast     bool         `json:"at_least"` // rests on a clipped region
	Adjustments []Adjustment `json:"adjustments"`
	Expected    []Expected   `json:"expected"` // every judged region: now, and after the adjustments
	Ways        []Way        `json:"ways"`     // when power alone can't: what else would, cheapest first
	Warnings    []Warning    `json:"warnings"`
}

// Adjustment is one concrete thing a person does to a light.
type Adjustment struct {
	Group      string        `json:"group"`
	Light      string        `json:"light"` // "Key (B)"
	From       exposure.Dial `json:"from"`
	To         exposure.Dial `json:"to"`
	FromText   string        `json:"from_text"` // as the flash shows it
	ToText     string        `json:"to_text"`
	ChangeText string        `json:"change_text"` // "power down 2/3 stop"
	Text       string        `json:"text"`        // "Key (B): power down 2/3 stop, set 1/8 + 1/3"
	Reason     string        `json:"reason"`      // "white reference is at least 0.3 stop over its aim"
}

// RegionName names a judged quantity of a frame.
type RegionName string

// The judged quantities.
const (
	BackdropFloor RegionName = "backdrop_floor"  // white backdrop: weakest channel, darkest area around the head
	BackdropLevel RegionName = "backdrop_level"  // grey, black or coloured backdrop
	WhitePeak     RegionName = "white_reference" // declared white reference: brightest channel, 98th percentile
	Crown         RegionName = "crown"           // top of the head and hair: an upper limit only
)

// Expected is one judged region against its target, now and as predicted.
type Expected struct {
	Region     RegionName     `json:"region"`
	Name       string         `json:"name"` // for people: "backdrop", "white reference", "hair"
	Now        exposure.Stops `json:"now_stops"`
	NowSigma   exposure.Stops `json:"now_sigma_stops"`
	AtLeast    bool           `json:"at_least"`
	Then       exposure.Stops `json:"then_stops"`
	ThenSigma  exposure.Stops `json:"then_sigma_stops"`
	Low        exposure.Stops `json:"low_stops"`
	High       exposure.Stops `json:"high_stops"`
	UpperOnly  bool           `json:"upper_only"` // Low does not count
	InTarget   bool           `json:"in_target"`  // now
	Unknown    bool           `json:"unknown"`    // it clips, and how far over can't be told: neither on target nor off
	NowText    string         `json:"now_text"`   // "at least 0.00", "-0.42"
	ThenText   string         `json:"then_text"`
	TargetText string         `json:"target_text"` // "0 to +1/2"
}

// Way is one way out where power alone can't reach the targets.
type Way struct {
	Text        string            `json:"text"`  // "open to f/5.6, then Key (B): ..."
	Price       string            `json:"price"` // "less depth of field"
	Adjustments []Adjustment      `json:"adjustments"`
	FNumber     *exposure.FNumber `json:"f_number,omitempty"`
	ISO         *exposure.ISO     `json:"iso,omitempty"`
	Distance    *exposure.Metres  `json:"distance_m,omitempty"` // with Group: new distance of that light
	Group       string            `json:"group,omitempty"`
	Turned      *Degrees          `json:"turned_deg,omitempty"` // of the reflector Group: how far to turn it away in all
}

// Warning is something a person should put right or know.
type Warning struct {
	Code   string `json:"code"`   // stable
	Text   string `json:"text"`   // what, where, what to do
	Blocks bool   `json:"blocks"` // no advice is possible until it is put right
}

// Event is one line of the shoot log.
type Event struct {
	Kind  string `json:"kind"` // "frame", "adjusted", "followed", "plan", "reference", "marked", "session", "exposure", "note", "baseline", "sitter", "damaged", "unexplained", "curve"
	Frame int    `json:"frame,omitempty"`
	Group string `json:"group,omitempty"`
	Ref   string `json:"ref,omitempty"` // into the side file, where the line speaks of a name or note
	Text  string `json:"text"`          // a sentence without names of people or files
}

// Question waits for an answer; at most one does, and it expires.
type Question struct {
	Number  int           `json:"number"`
	Frame   int           `json:"frame"`
	Text    string        `json:"text"`  // "Key (B) fell by 0.65 stop between frames 41 and 42. Turned to 1/8 + 1/3?"
	Group   string        `json:"group"` // the light it is about; "" where it is about all
	To      exposure.Dial `json:"to"`
	Advised bool          `json:"advised"` // it asks whether advice was followed; else whether something changed that nobody recorded
	No      string        `json:"no"`      // what "no" means, in words for a button: "No, as recorded"
	Off     bool          `json:"off"`     // whether the light is off or does not fire; To says nothing then
	Expires int           `json:"expires"` // last frame number at which it still stands
}

// LightState is a light of the plan as it stands now.
type LightState struct {
	Group     string           `json:"group"`
	Role      string           `json:"role"`
	Name      string           `json:"name"` // "Key (B)"
	Power     exposure.Dial    `json:"power"`
	PowerText string           `json:"power_text"` // as the flash shows it
	Off       bool             `json:"off"`
	Distance  exposure.Metres  `json:"distance_m"` // 0 where not known
	Click     exposure.Dial    `json:"click"`
	Least     exposure.Dial    `json:"least"`
	Most      exposure.Dial    `json:"most"`
	Modifier  string           `json:"modifier"`
	Zoom      plan.Millimetres `json:"zoom_mm"`     // 0 where not known
	Bearing   *Degrees         `json:"bearing_deg"` // nil where not told
	Settings  []string         `json:"settings"`    // every setting as the flash shows it, from Least to Most in clicks
}

// FrameState is the newest state of one frame, for the page and for looking back.
type FrameState struct {
	Number   int             `json:"number"`
	Revision int             `json:"revision"`
	File     string          `json:"file"` // reference into the side file
	Folder   string          `json:"folder,omitempty"`
	At       string          `json:"at"`              // RFC 3339, when it was measured
	Taken    string          `json:"taken,omitempty"` // the camera's own time, as recorded
	Damaged  string          `json:"damaged,omitempty"`
	Reading  *assess.Reading `json:"reading,omitempty"`
	Expected []Expected      `json:"expected"` // against the targets at the time; Then fields are zero
	OnTarget bool            `json:"on_target"`
	Aside    string          `json:"aside,omitempty"` // why it is left out of advice: it shows no part of the set
	Off      string          `json:"off,omitempty"`   // why it was off against the baseline: the kind of a [Drift]
	Walk     string          `json:"walk,omitempty"`  // id of the step of the set-up walk that it answered
}
