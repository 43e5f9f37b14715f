package shoot

import (
	"errors"
	"time"

	"thirdstop/advise"
	"thirdstop/assess"
	"thirdstop/assess/tone"
)

// Snapshot is what anybody may see of the shoot at one moment. It is never
// changed once it was handed out.
type Snapshot struct {
	ID        string    // the shoot's id, made once, also its folder's name in the data folder
	Began     time.Time // UTC
	State     advise.State
	At        time.Time     // UTC, when State came to be, by its input
	LastEvent uint64        // number of the newest event, 0 for none
	Recording string        // "" while everything is recorded; else the sentence that says why not
	Troubles  []Trouble     // standing troubles: folder gone, files unreadable, writes lost
	Measuring int           // frames that arrived and are not measured yet
	Latency   time.Duration // last byte written to advice published, newest frame; 0 unknown

	// Unrecorded is the newest frame that was measured and could not be stored, nil while
	// there is none. It is in no state, and no advice was drawn from it.
	Unrecorded *advise.FrameState

	// Provisional is what the preview inside the newest file tells while the file is being
	// measured, nil at all other times. It is in no state and in no record.
	Provisional *Provisional
}

// Provisional is what is shown of a frame until it is measured.
type Provisional struct {
	Frame  advise.FrameState // with the number it is going to have
	Advice advise.Advice     // what would be advised if the full reading came to the same
}

// Trouble is something standing in the way that a person should know of.
type Trouble struct {
	Code string `json:"code"`
	Text string `json:"text"` // a sentence: what, where, what to do
}

// Event is one line of the shoot log, numbered.
type Event struct {
	Number uint64       `json:"number"`
	At     time.Time    `json:"at"`
	By     advise.Actor `json:"by"`
	State  uint64       `json:"state"` // the state number it belongs to
	advise.Event
	Words string `json:"words,omitempty"` // text out of the side file (a note, a name), "" where erased
}

// Request is one action of a person. Exactly one of the pointers is set.
type Request struct {
	Client string // id that the client makes for this action; a repeat returns the first receipt
	Seen   uint64 // the state number the client saw; 0 waives the check. A plan is stale only if the plan changed since
	By     advise.Actor

	Adjusted  *advise.Adjusted
	Reference *advise.Reference
	Marked    *advise.Marked
	Answer    *advise.Answer
	NotNow    *advise.NotNow
	Baseline  *advise.Baseline
	Plan      *advise.PlanText
	Metered   *advise.Metered
	Earlier   *advise.Earlier // the light to be built again; hand its plan over first
	Note      *string         // text; kept in the side file
	Walk      *advise.WalkInput
	Swap      *advise.Swap
	Bracket   *advise.BracketInput
	Sitter    *string // name or number; kept in the side file
	End       bool    // ends the shoot
}

// Receipt says that a request is on disk and has taken effect.
type Receipt struct {
	State  uint64    `json:"state"` // the state number that came of it
	Event  uint64    `json:"event"` // newest event number
	At     time.Time `json:"at"`
	Repeat bool      `json:"repeat"` // the request had been done before; this is its first receipt
}

// The refusals of Submit a caller decides by. The error's text is a sentence for people.
var (
	ErrStale       = errors.New("the state has moved on") // show the current state and let the person decide again
	ErrRefused     = errors.New("refused")                // the request makes no sense: unknown light, setting out of range ...
	ErrNotRecorded = errors.New("not recorded")           // the trail could not be written; nothing changed
	ErrNoFrame     = errors.New("no such frame")
)

// Measurer turns a file's bytes into a reading; assess/photo and assess supply it.
type Measurer interface {
	// Measure reads a camera file. The returned Measured is used for thumbnails
	// and for measuring again under new hints, and may be dropped at any time.
	Measure(name string, data []byte, h assess.Hints) (*assess.Reading, Measured, error)
}

// Previewer is a [Measurer] that can also measure the preview inside a file, which takes a
// few milliseconds. nil is no preview.
type Previewer interface {
	Preview(name string, data []byte, h assess.Hints) *assess.Reading
}

// Curves are the tone curves of cameras, kept across shoots. Measuring takes them up at once.
type Curves interface {
	For(k tone.Key) *tone.Curve
	Entry(k tone.Key) (tone.Entry, bool)
	Save(e tone.Entry) (path string, err error)
}

// Bracketed is a [Measured] that can serve as a frame of a tone curve's bracket. The error says why one can't.
type Bracketed interface {
	Shot() (assess.Shot, tone.Key, error)
}

// Measured is a frame that can be measured again without its file.
type Measured interface {
	Again(h assess.Hints) *assess.Reading
	// Thumbnail is a JPEG, upright; edge is its longest in pixels. It calls yield between pieces of
	// a millisecond or so, perhaps from several goroutines: there it waits while there is something better to do.
	Thumbnail(edge int, yield func()) ([]byte, error)
	Release() // drops the decoded picture; Again still works
}
