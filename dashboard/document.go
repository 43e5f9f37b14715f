package dashboard

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// document is everything a page shows at one moment: what GET /api/v1/state answers
// and the websocket sends. It is written once per snapshot; [greeting] goes
// before it, and differs from device to device.
type document struct {
	State      uint64                  `json:"state"` // the state's number, for "seen"
	Demo       bool                    `json:"demo"`  // the controls of a virtual studio are there
	Shoot      shootPart               `json:"shoot"`
	Advice     advise.Advice           `json:"advice"`
	AdviceOld  string                  `json:"advice_old"` // "" while the advice is current, else the sentence that says why it is not
	Question   *advise.Question        `json:"question"`
	Drift      advise.Drifting         `json:"drift"`
	Lights     []advise.LightState     `json:"lights"`
	Reflectors []advise.ReflectorState `json:"reflectors"` // what sends a light's light on: no dial
	Camera     cameraPart              `json:"camera"`
	Frame      *framePart              `json:"frame"` // the newest; null before the first
	FrameCount int                     `json:"frame_count"`
	Reference  *assess.Box             `json:"reference"` // declared white reference
	Marks      marksPart               `json:"marks"`     // what else persons have shown on frames
	Baseline   *int                    `json:"baseline"`  // frame number
	Sitter     string                  `json:"sitter"`    // who sits, in words; "" not told or erased
	Walk       *advise.Walk            `json:"walk"`      // the guided set-up; null: none was begun
	Match      *advise.Match           `json:"match"`     // something was swapped, and pictures shall come out as before; null: nothing was
	Bracket    *advise.Bracket         `json:"bracket"`   // the guide to the tone curve; null: none was begun
	Plan       planPart                `json:"plan"`
	Rebuild    *rebuildPart            `json:"rebuild"`    // null: no earlier light is built again
	Recording  string                  `json:"recording"`  // "" while all is recorded, else why not
	Unrecorded *framePart              `json:"unrecorded"` // a frame that was measured and could not be recorded: it is in no state
	Troubles   []shoot.Trouble         `json:"troubles"`
	Measuring  int                     `json:"measuring"`  // frames that arrived and are not measured yet
	LatencyMS  *float64                `json:"latency_ms"` // newest frame, last byte written to advice; null unknown
	LastEvent  uint64                  `json:"last_event"`

	// The newest file by its preview, while it is being measured: it is in no state.
	Provisional *provisionalPart `json:"provisional"`
}

type shootPart struct {
	ID    string       `json:"id"`
	Began string       `json:"began"` // RFC 3339
	Phase advise.Phase `json:"phase"`
}

type cameraPart struct {
	FNumber *exposure.FNumber `json:"f_number"` // null not known
	ISO     *exposure.ISO     `json:"iso"`
	Shutter *exposure.Shutter `json:"shutter_s"`
	Text    string            `json:"text"` // "f/8, ISO 100, 1/125 s"; "" nothing known
}

type planPart struct {
	Name    string `json:"name"`
	Present bool   `json:"present"`
}

// marksPart is where persons have shown parts of the frame; null: they are looked for.
type marksPart struct {
	Backdrop *assess.Box `json:"backdrop"`
	Face     *assess.Box `json:"face"`
	Witness  *assess.Box `json:"witness"`
	Empty    *int        `json:"empty"` // number of the frame that shows the backdrop alone
}

func marks(m advise.Marks) marksPart {
	p := marksPart{Backdrop: m.Backdrop, Face: m.Face, Witness: m.Witness}
	if m.Empty != nil {
		p.Empty = &m.Empty.Frame
	}
	return p
}

// provisionalPart is what the preview inside a file tells until the file is measured.
type provisionalPart struct {
	Number  int             `json:"number"` // of the frame
	Advice  advise.Advice   `json:"advice"` // can't be put aside: it is in no state
	Reading *assess.Reading `json:"reading"`
}

// rebuildPart says how far this shoot is from the earlier one whose light is built again.
type rebuildPart struct {
	Shoot  string            `json:"shoot"`
	Name   string            `json:"name"`
	Frame  int               `json:"frame"` // its baseline
	Lights []advise.FromThen `json:"lights"`
}

// framePart is a frame as the page shows it.
type framePart struct {
	advise.FrameState
	FileName string   `json:"file_name"` // "" where erased
	Picture  string   `json:"picture"`   // where its picture is; add &edge=N
	Notes    []string `json:"notes"`     // sentences about its faces; [] none. The newest frame's alone
}

// onlooking is all that those see who look on.
type onlooking struct {
	State uint64        `json:"state"`
	Shoot onlookedShoot `json:"shoot"`
	Frame *onlooked     `json:"frame"`
}

type onlookedShoot struct {
	Phase advise.Phase `json:"phase"`
}

type onlooked struct {
	Number   int    `json:"number"`
	Revision int    `json:"revision"`
	Picture  string `json:"picture"`
}

// greeting is the part of a state document that differs between devices and moments.
type greeting struct {
	Type       string  `json:"type"` // "state"
	ServerTime string  `json:"server_time"`
	You        youPart `json:"you"`
}

type youPart struct {
	Device string `json:"device"`
	Name   string `json:"name"`
	Role   Role   `json:"role"`
}

// view is a snapshot written out, for each way of seeing it.
type view struct {
	of    *shoot.Snapshot
	made  time.Time
	whole []byte // a JSON object without its greeting
	looks []byte
}

// viewLife is how long a view of the same snapshot is used again. Words that were
// erased must not live on in it.
const viewLife = time.Second

// current is the newest snapshot written out.
func (s *Server) current() (*view, error) {
	s.viewMu.Lock()
	defer s.viewMu.Unlock()
	snap, now := s.cfg.Shoot.Snapshot(), s.now()
	if v := s.view; v != nil && v.of == snap && now.Sub(v.made) < viewLife {
		return v, nil
	}
	whole, err := marshal(s.document(snap))
	if err != nil {
		return nil, fmt.Errorf("state %d can't be written as JSON: %w", snap.State.Seq, err)
	}
	looks, err := marshal(onlookers(snap))
	if err != nil {
		return nil, fmt.Errorf("state %d can't be written as JSON: %w", snap.State.Seq, err)
	}
	s.view = &view{of: snap, made: now, whole: whole, looks: looks}
	return s.view, nil
}

// documentFor is the state document for one device.
func (s *Server) documentFor(who Device) ([]byte, error) {
	v, err := s.current()
	if err != nil {
		return nil, err
	}
	return s.greet(v, who)
}

// greet puts the greeting before a view: one object of both.
func (s *Server) greet(v *view, who Device) ([]byte, error) {
	rest := v.whole
	if who.Role == Looks {
		rest = v.looks
	}
	head, err := marshal(greeting{"state", timestamp(s.now()), youPart{who.ID, who.Name, who.Role}})
	if err != nil {
		return nil, err
	}
	out := make([]byte, 0, len(head)+len(rest))
	out = append(append(out, head[:len(head)-1]...), ',')
	return append(out, rest[1:]...), nil
}

func (s *Server) document(snap *shoot.Snapshot) document {
	st := &snap.State
	d := document{
		State:      st.Seq,
		Demo:       s.cfg.Demo != nil,
		Shoot:      shootPart{snap.ID, timestamp(snap.Began), st.Phase},
		Advice:     st.Advice,
		Question:   st.Question,
		Drift:      st.Drift,
		Lights:     st.Lights,
		Reflectors: append([]advise.ReflectorState{}, st.Reflectors...),
		Camera:     camera(st),
		FrameCount: st.FrameCount,
		Reference:  st.Reference,
		Marks:      marks(st.Marks),
		Walk:       st.Walk,
		Match:      st.Match,
		Bracket:    st.Bracket,
		Plan:       planPart{Name: st.PlanName, Present: st.PlanText != ""},
		Recording:  snap.Recording,
		Troubles:   snap.Troubles,
		Measuring:  snap.Measuring,
		LastEvent:  snap.LastEvent,
	}
	if n := len(st.Frames); n > 0 {
		f := s.frame(st.Frames[n-1], false)
		f.Notes = append(f.Notes, st.FaceNotes(st.Frames[n-1])...)
		d.Frame = &f
	}
	if u := snap.Unrecorded; u != nil {
		f := s.frame(*u, false)
		d.Unrecorded = &f
		d.Troubles = append(slices.Clone(d.Troubles), shoot.Trouble{Code: "unrecorded", Text: unrecordedText(u)})
	}
	if p := snap.Provisional; p != nil {
		d.Provisional = &provisionalPart{p.Frame.Number, p.Advice, slim(p.Frame.Reading)}
	}
	d.AdviceOld = adviceOld(snap)
	if st.Baseline > 0 {
		d.Baseline = &st.Baseline
	}
	if e := st.Earlier; e != nil {
		d.Rebuild = &rebuildPart{Shoot: e.Shoot, Name: e.Name, Frame: e.Frame, Lights: st.Since()}
	}
	if st.Sitter != "" {
		d.Sitter = s.cfg.Shoot.Words(st.Sitter)
	}
	if snap.Latency > 0 {
		ms := float64(snap.Latency.Microseconds()) / 1000
		d.LatencyMS = &ms
	}
	return d
}

// adviceOld says why the advice must not be taken for that of the newest frame.
func adviceOld(snap *shoot.Snapshot) string {
	why := ""
	switch {
	case snap.Unrecorded != nil:
		why = "Newer frames arrive and can't be recorded, so nothing is advised from them."
	case slices.ContainsFunc(snap.Troubles, func(t shoot.Trouble) bool { return t.Code == folderGone }):
		why = "The capture folder is gone, so no newer frame can arrive."
	default:
		return ""
	}
	if n := snap.State.Advice.Frame; n > 0 {
		why += " The last advice was that of frame " + strconv.Itoa(n) + "."
	}
	return why
}

// folderGone is the code of the trouble that the capture folder is not there (watcher.FolderGone).
const folderGone = "folder-gone"

// unrecordedText says what was measured of a frame that could not be recorded. Its
// number is not given: it has none until it is recorded.
func unrecordedText(f *advise.FrameState) string {
	text := "The newest frame is not recorded, and no advice is drawn from it."
	var levels []string
	for _, e := range f.Expected {
		levels = append(levels, e.Name+" "+e.NowText)
	}
	if len(levels) > 0 {
		text += " Measured: " + strings.Join(levels, ", ") + "."
	}
	return text
}

func onlookers(snap *shoot.Snapshot) onlooking {
	o := onlooking{State: snap.State.Seq, Shoot: onlookedShoot{snap.State.Phase}}
	if n := len(snap.State.Frames); n > 0 {
		f := snap.State.Frames[n-1]
		o.Frame = &onlooked{f.Number, f.Revision, picturePath(f.Number, f.Revision)}
	}
	return o
}

// frame is a frame for the page. Unless it is wanted whole, the bulk of its reading
// (masks and histograms of code values, tens of kilobytes) is left out.
func (s *Server) frame(f advise.FrameState, whole bool) framePart {
	if !whole {
		f.Reading = slim(f.Reading)
	}
	p := framePart{FrameState: f, Picture: picturePath(f.Number, f.Revision), Notes: []string{}}
	if f.File != "" {
		p.FileName = s.cfg.Shoot.Words(f.File)
	}
	return p
}

func picturePath(number, revision int) string {
	return fmt.Sprintf("/api/v1/frames/%d/picture?rev=%d", number, revision)
}

// slim is a copy of a reading without its bulk; the reading itself is shared and stays as it is.
func slim(r *assess.Reading) *assess.Reading {
	if r == nil {
		return nil
	}
	c := *r
	if b := c.Regions.Backdrop; b != nil {
		x := *b
		x.Mask.Bits, x.Codes = "", assess.Codes{}
		c.Regions.Backdrop = &x
	}
	if b := c.Regions.Sitter; b != nil {
		x := *b
		x.Mask.Bits, x.Codes = "", assess.Codes{}
		c.Regions.Sitter = &x
	}
	if b := c.Regions.WhiteReference; b != nil {
		x := *b
		x.Codes = assess.Codes{}
		c.Regions.WhiteReference = &x
	}
	return &c
}

func camera(st *advise.State) cameraPart {
	var c cameraPart
	var words []string
	if st.FNumber > 0 {
		c.FNumber = &st.FNumber
		words = append(words, st.Aperture())
	}
	if st.ISO > 0 {
		c.ISO = &st.ISO
		words = append(words, st.ISO.String())
	}
	if st.Shutter > 0 {
		c.Shutter = &st.Shutter
		words = append(words, st.Shutter.String())
	}
	c.Text = strings.Join(words, ", ")
	return c
}

func timestamp(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000Z") }
