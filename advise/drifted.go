package advise

import "thirdstop/assess/exposure"

// Drifting is what is known of changes that no recorded adjustment explains. Texts are ready to be shown.
type Drifting struct {
	Stands    []Drift     `json:"stands"`     // what stands now, the newest first
	OffFrames []OffFrames `json:"off_frames"` // frames that were off, the oldest first: to retake while the sitter is there, or to correct
}

// Drift is one such change.
type Drift struct {
	ID         int            `json:"id"`
	Kind       string         `json:"kind"`  // "fired_early", "light_absent", "odd_frame", "heat", "battery", "step", "slope", "all_lights", "ambient", "colour", "dark_band", "unclear", "load_near", "load_over"
	Frame      int            `json:"frame"` // that brought the newest word of it
	Since      int            `json:"since"` // the first frame that shows it, as far as can be told
	Group      string         `json:"group"` // the likeliest light; "" where it is not one light
	Light      string         `json:"light"` // "Key (B)"
	Candidates []string       `json:"candidates"`
	Size       exposure.Stops `json:"size_stops"` // against the baseline
	Sure       bool           `json:"sure"`
	Steady     bool           `json:"steady"`    // it has stopped changing
	Witnessed  bool           `json:"witnessed"` // seen on a declared white or an unclipped backdrop; else on face and clothes alone
	May        string         `json:"may"`       // "tell", "card_check" or "light": what it may lead to
	Text       string         `json:"text"`      // what was seen
	Remedy     string         `json:"remedy"`    // what to do
	Caution    string         `json:"caution"`   // where a flash is to be handled
}

// OffFrames is a run of frames that were off.
type OffFrames struct {
	From       int    `json:"from"`
	To         int    `json:"to"`
	Kind       string `json:"kind"` // as of a [Drift], or "off_target"
	Group      string `json:"group"`
	ThisSitter bool   `json:"this_sitter"` // can be retaken now
	Text       string `json:"text"`
}

// Load is how hard a light is worked: flashes counted as if each were at full power.
type Load struct {
	Group     string  `json:"group"`
	Light     string  `json:"light"`
	PerMinute float64 `json:"full_flashes_per_minute"`
	Limit     float64 `json:"limit_flashes_per_minute"` // of the plan, from the maker's manual
	Left      int     `json:"left"`                     // flashes at its present power that still fit
}
