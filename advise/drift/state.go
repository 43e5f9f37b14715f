package drift

import (
	"math"
	"slices"
	"time"

	"thirdstop/assess/exposure"
)

// State is all that the detectors know. It is a value: [State.Next] leaves the one
// it is called on as it was.
type State struct {
	Setup   Setup     `json:"setup"`
	Last    int       `json:"last"` // newest frame taken in
	LastAt  time.Time `json:"last_at"`
	Streams []Stream  `json:"streams"`
	Hues    []Hue     `json:"hues"`   // of the neutrals
	Cast    *Cast     `json:"cast"`   // the change of colour that stands now
	Seen    []Seen    `json:"seen"`   // the newest frames, oldest first
	Loads   []Load    `json:"loads"`  // per light of the setup
	Held    *Held     `json:"held"`   // an odd frame that waits for the next one
	Open    *Episode  `json:"open"`   // the drift that stands now
	Dark    *Dark     `json:"dark"`   // a light that does not fire
	Band    *Finding  `json:"band"`   // the newest frame's dark band
	Good    []float64 `json:"good_s"` // seconds before frames that came out right, the newest last
	Lows    []Low     `json:"lows"`   // frames that one light left low, the newest last
	RestAt  int       `json:"rest_at"`
	RestFor float64   `json:"rest_s"` // how long the rest before RestAt was
	Fresh   int       `json:"fresh"`  // frame of the newest start: nothing before it counts
	Heated  []bool    `json:"heated"` // per light: it has sagged and recovered before
	Tired   []bool    `json:"tired"`  // per light: too many low frames were told
	Marks   []Mark    `json:"marks"`  // frames that were off, oldest first
	NextID  int       `json:"next_id"`
}

// Seen is a frame as it is remembered.
type Seen struct {
	Number int        `json:"number"`
	Rest   float64    `json:"rest_s"` // seconds since the frame before; 0 unknown
	Off    []bool     `json:"off"`
	All    []Residual `json:"all"` // unclipped ones only
	Odd    bool       `json:"odd"` // stands apart, and was no part of a shift
}

// Held is an odd frame that waits for the next one to say what it was.
type Held struct {
	Seen Seen `json:"seen"`
	Side int  `json:"side"`
	ID   int  `json:"id"` // of the finding that told of it
}

// Dark is a light that does not fire.
type Dark struct {
	ID    int   `json:"id"`
	Since int   `json:"since"`
	Count int   `json:"count"`
	Cause Cause `json:"cause"`
	Said  int   `json:"said"`
}

// Low is a frame that one light left low.
type Low struct {
	Frame int     `json:"frame"`
	Light int     `json:"light"`
	Rest  float64 `json:"rest_s"`
}

// Mark is a run of frames that were off, for the list at the end of a shoot.
type Mark struct {
	From  int            `json:"from"`
	To    int            `json:"to"`
	Kind  Kind           `json:"kind"`
	Group string         `json:"group,omitempty"`
	Size  exposure.Stops `json:"size_stops"` // when it was first marked
}

const (
	keepSeen   = 64
	keepGood   = 30
	keepLows   = 20
	keepMarks  = 500
	markFrom   = 0.15 // a frame that is off by this much is marked (common practice, no source)
	tiredLows  = 3    // this many low frames
	tiredOver  = 20   // in as many frames: not one finger too quick, but a flash that is tired
	restFactor = 4    // a pause this many times the usual one is a rest,
	restLeast  = 20.0 // if it has this many seconds (common practice, no source)
)

// New is the state before the first frame.
func New(setup Setup) State {
	setup.Lights = slices.Clone(setup.Lights)
	n := len(setup.Lights)
	return State{Setup: setup, Loads: make([]Load, n), Heated: make([]bool, n), Tired: make([]bool, n)}
}

// Rebased is the state after a baseline was accepted, or a drift was explained or
// compensated and the predictions follow: every region is held against its prediction again. What was
// learned of scatter, pauses, loads and heat stays.
func (s State) Rebased() State {
	s.Streams = slices.Clone(s.Streams)
	for i := range s.Streams {
		s.Streams[i].forget()
	}
	s.Hues, s.Cast = nil, nil
	s.Tired = make([]bool, len(s.Tired))
	s.Open, s.Held, s.Dark, s.Band, s.Fresh, s.Seen = nil, nil, nil, nil, s.Last, nil
	return s
}

// Recoloured is the state after another frame became the reference for colour.
func (s State) Recoloured() State {
	s.Hues, s.Cast = nil, nil
	return s
}

// Next takes a frame in. Frames must come in the order of their numbers; one that
// comes late, or again, changes nothing. What can't be used is left out: clipped regions,
// and values that are not finite or beyond what exposure can be.
func (s State) Next(f Frame) (State, []Finding) {
	if f.Number <= s.Last {
		return s, nil
	}
	s.Streams, s.Seen, s.Marks = slices.Clone(s.Streams), slices.Clone(s.Seen), slices.Clone(s.Marks)
	s, out := s.count(f)
	if f.Band != nil {
		s.Last, s.LastAt = f.Number, f.At.UTC().Round(0)
		s, more := s.banded(f)
		return s, append(out, more...)
	}
	s.Band = nil
	if len(f.Off) > 0 && !slices.Contains(f.Off, false) {
		s.Last, s.LastAt = f.Number, f.At.UTC().Round(0)
		s, more := s.roomAlone(f)
		return s, append(out, more...)
	}
	n := s.take(f)
	s.Last, s.LastAt = f.Number, f.At.UTC().Round(0)
	if f.NewSitter {
		for i := range s.Streams {
			if !s.Streams[i].Witnessed {
				s.Streams[i].forget()
			}
		}
		// Another card or another shirt: its colour starts anew.
		s.Hues = slices.DeleteFunc(slices.Clone(s.Hues), func(h Hue) bool { return h.Neutral == cardName })
	}
	if usual := median(s.Good); len(s.Good) >= 5 && n.Rest >= max(restLeast, restFactor*usual) {
		s.RestAt, s.RestFor = n.Number, n.Rest
	}
	var more []Finding
	if i := slices.Index(f.Unfired, true); i >= 0 && i < len(s.Setup.Lights) {
		s, more = s.dark(&n, i)
	} else {
		s, more = s.judge(&n)
	}
	out = append(out, more...)
	if s.Seen = append(s.Seen, n); len(s.Seen) > keepSeen {
		s.Seen = s.Seen[len(s.Seen)-keepSeen:]
	}
	s, more = s.follow(n)
	out = append(out, more...)
	s, more = s.colour(f)
	return s, append(out, more...)
}

// take keeps what is usable of a frame, and opens streams for regions not met before.
func (s *State) take(f Frame) Seen {
	n := Seen{Number: f.Number, Off: slices.Clone(f.Off)}
	if d := f.At.Sub(s.LastAt); !f.At.IsZero() && !s.LastAt.IsZero() && d > 0 {
		n.Rest = math.Round(d.Seconds()*10) / 10
	}
	for _, r := range f.Residuals {
		ok := func(v exposure.Stops) bool { return v >= -20 && v <= 20 } // false for NaN
		if r.AtLeast || !ok(r.Value) || !ok(r.Sigma) || !ok(r.Doubt) || r.Sigma < 0 || r.Doubt < 0 {
			continue
		}
		if slices.ContainsFunc(n.All, func(x Residual) bool { return x.Region == r.Region }) {
			continue
		}
		r.Value, r.Sigma, r.Doubt = r.Value.Round(), r.Sigma.Round(), r.Doubt.Round()
		bad := func(w float64) bool { return !(w >= 0 && w <= 1) }
		if r.Shares = slices.Clone(r.Shares); len(r.Shares) != len(s.Setup.Lights) || slices.ContainsFunc(r.Shares, bad) {
			r.Shares = nil
		}
		if r.ShareSigmas = slices.Clone(r.ShareSigmas); r.Shares == nil || len(r.ShareSigmas) != len(r.Shares)+1 || slices.ContainsFunc(r.ShareSigmas, bad) {
			r.ShareSigmas = nil
		}
		if i := s.stream(r.Region); i < 0 {
			s.Streams = append(s.Streams, Stream{Region: r.Region, Witnessed: r.Witnessed, Variance: firstScatter * firstScatter, Weight: firstWeight})
		} else if st := &s.Streams[i]; st.Witnessed != r.Witnessed {
			st.forget() // another thing under the same name
			st.Witnessed = r.Witnessed
		}
		n.All = append(n.All, r)
	}
	return n
}

func (s State) stream(region string) int {
	return slices.IndexFunc(s.Streams, func(x Stream) bool { return x.Region == region })
}

// judge runs one frame through the detectors.
func (s State) judge(n *Seen) (State, []Finding) {
	known := s.Setup.Scatter
	ready := make([]bool, len(s.Streams))
	odd, side, witnessed := 0, 0, false
	for _, r := range n.All {
		i := s.stream(r.Region)
		st := &s.Streams[i]
		if ready[i] = st.warm(known, r); !ready[i] {
			continue
		}
		if z := st.off(known, r); math.Abs(z) >= oddAt+st.slack(known, r) && (st.Witnessed || !st.Muted) {
			// A pose is no fault: without a witness, only what no pose does stands apart.
			if !st.Witnessed && math.Abs(float64(r.Value-st.Centre)) < poseMost {
				continue
			}
			odd++
			witnessed = witnessed || st.Witnessed
			side = sign(z)
		}
	}
	if odd > 0 {
		if next, out, ok := s.returned(n); ok {
			return next, out
		}
		if next, out, ok := s.unlit(n); ok {
			return next, out
		}
	} else if s.Dark != nil {
		next, out := s.litAgain(n)
		return next.feedAll(n, nil, ready, out)
	}
	held := s.Held
	s.Held = nil
	switch {
	case odd > 0 && s.Open != nil && s.resting(n, *s.Open): // the frames after a rest say what a sag was
	case odd > 0 && (held == nil || held.Side != side):
		return s.oddFrame(n, side, witnessed)
	case held != nil && (odd > 0 || s.leans(held, n)):
		return s.feedAll(n, held, ready, nil) // two in a row: a shift
	}
	return s.feedAll(n, nil, ready, nil)
}

// leans tells whether a frame goes some way with the odd one before it.
func (s State) leans(held *Held, n *Seen) bool {
	for _, r := range n.All {
		st := &s.Streams[s.stream(r.Region)]
		was := slices.IndexFunc(held.Seen.All, func(x Residual) bool { return x.Region == r.Region })
		if was >= 0 && math.Abs(st.off(s.Setup.Scatter, held.Seen.All[was])) >= oddAt && st.off(s.Setup.Scatter, r)*float64(held.Side) >= oddAt/2 {
			return true
		}
	}
	return false
}

// feedAll gives the detectors a frame, after the odd one that waited if there is one.
func (s State) feedAll(n *Seen, held *Held, ready []bool, out []Finding) (State, []Finding) {
	known := s.Setup.Scatter
	var alarms []int
	longest := 1
	feed := func(all []Residual, learn bool) {
		for _, r := range all {
			i := s.stream(r.Region)
			st := &s.Streams[i]
			if !ready[i] {
				continue
			}
			if learn {
				st.learn(known, r)
			}
			if side := st.feed(known, r); side != 0 && (st.Witnessed || !st.Muted) && !slices.Contains(alarms, i) {
				alarms = append(alarms, i)
				longest = max(longest, st.since(side))
			}
		}
	}
	id := 0
	if held != nil {
		id = held.ID
		for k := range s.Seen {
			if s.Seen[k].Number == held.Seen.Number {
				s.Seen[k].Odd = false
			}
		}
		feed(held.Seen.All, false)
	}
	feed(n.All, true)
	for _, i := range s.twice(held, n) {
		if !slices.Contains(alarms, i) {
			alarms, longest = append(alarms, i), max(longest, 2)
		}
	}
	if len(alarms) == 0 {
		if s.Open == nil && n.Rest > 0 {
			s.Good = appendKeep(s.Good, n.Rest, keepGood)
		}
		return s, out
	}
	next, more := s.shifted(n, alarms, longest, id)
	return next, append(out, more...)
}

// twice lists the regions that were odd on one side in two frames on end. That is
// a shift, however little is known of the level that they are held against: by chance it
// happens once in 10^11 frames.
func (s State) twice(held *Held, n *Seen) []int {
	if held == nil {
		return nil
	}
	var out []int
	for _, r := range n.All {
		i := s.stream(r.Region)
		st := &s.Streams[i]
		was := slices.IndexFunc(held.Seen.All, func(x Residual) bool { return x.Region == r.Region })
		if was < 0 || st.Muted && !st.Witnessed {
			continue
		}
		far := func(r Residual) bool {
			return st.off(s.Setup.Scatter, r)*float64(held.Side) >= oddAt+st.slack(s.Setup.Scatter, r)
		}
		if far(held.Seen.All[was]) && far(r) {
			out = append(out, i)
		}
	}
	return out
}

// since is how many frames ago the side that signals left zero.
func (s *Stream) since(side int) int {
	n := s.Cusum.UpFor
	if side < 0 {
		n = s.Cusum.DownFor
	}
	return max(1, min(n, keepSeen/2))
}

func sign(v float64) int {
	if v < 0 {
		return -1
	}
	return 1
}

// appendKeep appends without touching the slice that others may hold.
func appendKeep[T any](list []T, v T, most int) []T {
	list = append(slices.Clone(list), v)
	if n := len(list); n > most {
		list = list[n-most:]
	}
	return list
}

// cardName is the neutral that goes with the sitter.
const cardName = "white_reference"

// mark notes that a frame was off.
func (s *State) mark(frame int, kind Kind, group string, size exposure.Stops) {
	s.markAll([]int{frame}, kind, group, size)
}

// markAll notes that frames were off, in order; those that were marked before keep their cause.
func (s *State) markAll(frames []int, kind Kind, group string, size exposure.Stops) {
	s.Marks = slices.Clone(s.Marks)
	for _, f := range frames {
		i := len(s.Marks)
		for i > 0 && s.Marks[i-1].From > f {
			i--
		}
		switch {
		case i > 0 && s.Marks[i-1].To >= f:
		case i > 0 && s.Marks[i-1].To == f-1 && s.Marks[i-1].Kind == kind && s.Marks[i-1].Group == group:
			s.Marks[i-1].To = f
		default:
			s.Marks = slices.Insert(s.Marks, i, Mark{From: f, To: f, Kind: kind, Group: group, Size: size})
		}
	}
	s.Marks = s.Marks[max(0, len(s.Marks)-keepMarks):]
}
