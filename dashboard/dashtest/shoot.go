// Package dashtest is a shoot without a camera for the tests of the dashboard: a
// state of known content, which takes requests under the same terms as the real
// one (durable first receipt, stale requests refused) and keeps them in memory.
//
// It knows how a state looks. It makes no advice: what it shows was written down here. Tests of the
// whole way of a frame use the real shoot instead.
package dashtest

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"slices"
	"sync"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/plan"
	"thirdstop/advise/shoot"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// PlanText is the plan of the pretended shoot.
const PlanText = `version: 1
shoot: Alder Quay Rowing Club, committee
camera:
  aperture: f/8
  shutter: 1/125
  iso: 100
backdrop:
  colour: white
lights:
  - role: background
    group: A
    power: 1/4
    clicks: thirds
  - role: key
    group: B
    power: 1/4
    clicks: thirds
`

// Shoot pretends to be a shoot. Its methods may be called from many goroutines.
type Shoot struct {
	mu       sync.Mutex
	snap     *shoot.Snapshot
	events   []shoot.Event
	receipts map[string]shoot.Receipt
	requests []shoot.Request // that took effect, oldest first
	words    map[string]string
	watchers map[chan struct{}]bool
	fail     error
	thumbs   int
}

// Began is when the pretended shoot began.
var Began = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)

// New is a shoot with a plan, two lights, three frames, an advice and a question.
func New() *Shoot {
	s := &Shoot{
		receipts: map[string]shoot.Receipt{},
		words:    map[string]string{},
		watchers: map[chan struct{}]bool{},
	}
	p, faults := plan.Parse("boathouse.yaml", []byte(PlanText))
	if faults != nil {
		panic(faults) // our own text
	}
	st := advise.State{
		Phase:    advise.Begun,
		PlanName: "boathouse.yaml",
		PlanText: PlanText,
		Plan:     &p,
		FNumber:  8, ISO: 100, Shutter: exposure.Shutter(1.0 / 125),
	}
	for _, l := range p.Lights {
		ls := advise.LightState{Group: l.Group, Role: string(l.Role), Name: l.Name(), Power: l.Power, PowerText: l.Setting(),
			Click: l.Scale.Click, Least: l.Least, Most: l.Most, Distance: l.Distance, Modifier: l.Modifier}
		for d := l.Least; d <= l.Most; d += l.Scale.Click {
			ls.Settings = append(ls.Settings, l.Scale.Format(d))
		}
		st.Lights = append(st.Lights, ls)
	}
	s.snap = &shoot.Snapshot{ID: "2026-11-25-alder-quay", Began: Began, State: st, At: Began}
	s.say(advise.Event{Kind: "session", Text: "the shoot began"})
	for range 3 {
		s.AddFrame()
	}
	s.Change(func(snap *shoot.Snapshot) {
		snap.Latency = 84500 * time.Microsecond
		snap.State.Advice = advise.Advice{
			Number: 3, Frame: 3, Revision: 1, Status: advise.Adjust,
			Headline: "Key (B): power down 2/3 stop, set 1/8 + 1/3",
			Reason:   "white reference is 0.70 stop over its aim",
			Adjustments: []advise.Adjustment{{Group: "B", Light: "Key (B)", From: -2 * exposure.Stop, To: -3*exposure.Stop + exposure.Third,
				FromText: "1/4", ToText: "1/8 + 1/3", ChangeText: "power down 2/3 stop", Text: "Key (B): power down 2/3 stop, set 1/8 + 1/3",
				Reason: "white reference is 0.70 stop over its aim"}},
		}
		snap.State.Question = &advise.Question{Number: 1, Frame: 3, Group: "B", To: -3*exposure.Stop + exposure.Third, Expires: 6, No: "No, as recorded",
			Text: "Key (B) fell by 0.65 stop between frames 2 and 3. Turned to 1/8 + 1/3?"}
	})
	return s
}

// Change makes the next state. f gets a copy that it may change, but not what hangs on it.
func (s *Shoot) Change(f func(*shoot.Snapshot)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.change(f)
}

func (s *Shoot) change(f func(*shoot.Snapshot)) {
	next := *s.snap
	next.State.Seq++
	next.At = next.At.Add(time.Second)
	next.State.Lights = slices.Clone(next.State.Lights)
	next.State.Frames = slices.Clone(next.State.Frames)
	f(&next)
	s.snap = &next
	for w := range s.watchers {
		select {
		case w <- struct{}{}:
		default:
		}
	}
}

// AddFrame lets another frame arrive.
func (s *Shoot) AddFrame() {
	s.mu.Lock()
	defer s.mu.Unlock()
	n := s.snap.State.FrameCount + 1
	ref := fmt.Sprintf("f%d", n)
	s.words[ref] = fmt.Sprintf("AQ_%04d.jpg", n)
	s.change(func(snap *shoot.Snapshot) {
		snap.State.FrameCount = n
		snap.State.Frames = append(snap.State.Frames, advise.FrameState{Number: n, Revision: 1, File: ref, At: snap.At.Format(time.RFC3339), Reading: reading()})
		if extra := len(snap.State.Frames) - advise.KeepFrames; extra > 0 {
			snap.State.Frames = snap.State.Frames[extra:]
		}
	})
	s.say(advise.Event{Kind: "frame", Frame: n, Ref: ref, Text: fmt.Sprintf("frame %d was measured", n)})
}

// Revise gives a frame another revision, as a rewrite of its file does.
func (s *Shoot) Revise(frame int) {
	s.Change(func(snap *shoot.Snapshot) {
		for i := range snap.State.Frames {
			if snap.State.Frames[i].Number == frame {
				snap.State.Frames[i].Revision++
			}
		}
	})
}

func reading() *assess.Reading {
	codes := assess.Codes{R: make([]int32, 256), G: make([]int32, 256), B: make([]int32, 256)}
	for i := range 256 {
		codes.R[i], codes.G[i], codes.B[i] = int32(100+i), int32(100+i), int32(100+i)
	}
	one := 1
	mask := assess.Mask{Cols: 8, Rows: 2, Bits: "//8="}
	return &assess.Reading{
		Version: assess.FormatVersion, Width: 6000, Height: 4000, Orientation: 1, Kind: assess.Full,
		Exif: assess.Exif{Program: &one},
		Regions: assess.Regions{
			Backdrop: &assess.Backdrop{Level: assess.Level{Value: 0, AtLeast: true}, WhiteFloor: 0.1, Codes: codes, Mask: mask, Box: assess.Box{X1: 1, Y1: 1}},
			Sitter:   &assess.Sitter{Level: assess.Level{Value: -1.2, Sigma: 0.1}, Codes: codes, Mask: mask, Box: assess.Box{X0: .3, Y0: .2, X1: .7, Y1: 1}},
		},
	}
}

func (s *Shoot) say(e advise.Event) {
	s.events = append(s.events, shoot.Event{Number: uint64(len(s.events) + 1), At: s.snap.At, State: s.snap.State.Seq, Event: e, Words: s.words[e.Ref]})
	next := *s.snap
	next.LastEvent = uint64(len(s.events))
	s.snap = &next
}

// Snapshot is the newest state.
func (s *Shoot) Snapshot() *shoot.Snapshot {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.snap
}

// Watch signals new states.
func (s *Shoot) Watch() (<-chan struct{}, func()) {
	w := make(chan struct{}, 1)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.watchers[w] = true
	return w, func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		delete(s.watchers, w)
	}
}

// Watchers is how many watch.
func (s *Shoot) Watchers() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.watchers)
}

// Events lists events after one.
func (s *Shoot) Events(after uint64, limit int) ([]shoot.Event, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	from := min(after, uint64(len(s.events)))
	return slices.Clone(s.events[from:min(from+uint64(limit), uint64(len(s.events)))]), nil
}

// Fail makes every further Submit return an error; nil ends that.
func (s *Shoot) Fail(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.fail = err
}

// Requests are those that took effect.
func (s *Shoot) Requests() []shoot.Request {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.requests)
}

// Submit takes a request.
func (s *Shoot) Submit(_ context.Context, r shoot.Request) (shoot.Receipt, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fail != nil {
		return shoot.Receipt{}, s.fail
	}
	if first, ok := s.receipts[r.Client]; ok {
		first.Repeat = true
		return first, nil
	}
	st := &s.snap.State
	if r.Seen != 0 && r.Seen != st.Seq {
		return shoot.Receipt{}, fmt.Errorf("%w: it was decided on state %d, and now it is %d; look again", shoot.ErrStale, r.Seen, st.Seq)
	}
	if r.Answer != nil && (st.Question == nil || st.Question.Number != r.Answer.Question) {
		return shoot.Receipt{}, fmt.Errorf("%w: question %d does not wait any more", shoot.ErrRefused, r.Answer.Question)
	}
	e := advise.Event{Kind: "note"}
	s.change(func(snap *shoot.Snapshot) {
		st := &snap.State
		switch {
		case r.Adjusted != nil:
			e = advise.Event{Kind: "adjusted", Group: r.Adjusted.Group, Text: "a light was adjusted"}
			for i := range st.Lights {
				if l := &st.Lights[i]; l.Group == r.Adjusted.Group {
					l.Power = r.Adjusted.To
					l.PowerText = exposure.ThirdFractions.Format(l.Power)
					if r.Adjusted.Off != nil {
						l.Off = *r.Adjusted.Off
					}
				}
			}
			st.Question = nil
		case r.Reference != nil:
			st.Reference = r.Reference.Box
			e = advise.Event{Kind: "reference", Frame: r.Reference.Frame, Text: "the white reference was declared"}
		case r.Marked != nil:
			next, _ := advise.Apply(*st, advise.Input{Marked: r.Marked})
			st.Marks = next.Marks
			e = advise.Event{Kind: "marked", Frame: r.Marked.Frame, Text: "a part was shown by hand"}
		case r.Answer != nil:
			st.Question = nil
		case r.Baseline != nil:
			st.Baseline = r.Baseline.Frame
		case r.Plan != nil:
			st.PlanText, st.PlanName, st.Plan = r.Plan.Text, r.Plan.Name, nil
			if p, faults := plan.Parse(r.Plan.Name, []byte(r.Plan.Text)); faults == nil {
				st.Plan = &p
			}
			e = advise.Event{Kind: "plan", Text: "the plan was replaced"}
		case r.Earlier != nil:
			st.Earlier = r.Earlier
			e = advise.Event{Kind: "rebuild", Text: "an earlier light is built again"}
		case r.Sitter != nil:
			st.Sitter = fmt.Sprintf("s%d", st.Seq)
			s.words[st.Sitter] = *r.Sitter
			e = advise.Event{Kind: "sitter", Ref: st.Sitter, Text: "another person sits"}
		case r.Walk != nil || r.Swap != nil || r.Bracket != nil:
			next, out := advise.Apply(*st, advise.Input{At: snap.At, Walk: r.Walk, Swap: r.Swap, Bracket: r.Bracket})
			st.Walk, st.Match, st.FNumber, st.Bracket = next.Walk, next.Match, next.FNumber, next.Bracket
			for _, o := range out {
				if o.Event != nil {
					e = *o.Event
				}
			}
		case r.Metered != nil:
			e = advise.Event{Kind: "meter", Group: r.Metered.Group, Text: "a hand meter showed " + r.Metered.FNumber.String()}
		case r.Note != nil:
			ref := fmt.Sprintf("n%d", st.Seq)
			s.words[ref] = *r.Note
			e = advise.Event{Kind: "note", Ref: ref, Text: "a note"}
		case r.End:
			st.Phase = advise.Ended
			e = advise.Event{Kind: "session", Text: "the shoot ended"}
		}
	})
	s.say(e)
	s.events[len(s.events)-1].By = r.By
	s.requests = append(s.requests, r)
	receipt := shoot.Receipt{State: s.snap.State.Seq, Event: s.snap.LastEvent, At: s.snap.At}
	s.receipts[r.Client] = receipt
	return receipt, nil
}

// Thumbnail is a plain grey picture.
func (s *Shoot) Thumbnail(_ context.Context, frame, edge int) ([]byte, error) {
	s.mu.Lock()
	s.thumbs++
	known := frame >= 1 && frame <= s.snap.State.FrameCount
	s.mu.Unlock()
	if !known {
		return nil, fmt.Errorf("frame %d: %w", frame, shoot.ErrNoFrame)
	}
	img := image.NewGray(image.Rect(0, 0, edge, edge*2/3))
	for i := range img.Pix {
		img.Pix[i] = color.Gray{Y: uint8(40 * frame)}.Y
	}
	var b bytes.Buffer
	err := jpeg.Encode(&b, img, nil)
	return b.Bytes(), err
}

// Thumbnails is how many pictures were made.
func (s *Shoot) Thumbnails() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.thumbs
}

// Words are the text behind a reference.
func (s *Shoot) Words(ref string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.words[ref]
}

// Erase forgets the text behind a reference.
func (s *Shoot) Erase(ref string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.words, ref)
}
