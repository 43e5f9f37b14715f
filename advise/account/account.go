package account

import (
	"context"
	"path/filepath"
	"slices"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
	"thirdstop/advise/trail"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// Account is a shoot as its record tells it.
type Account struct {
	ID      string // name of its folder
	Header  trail.Header
	Head    trail.Head // of the newest record that was read
	Last    time.Time  // UTC, time of the newest input
	Rules   []string   // versions of the rules it was recorded under, in order of their first record
	Differs int        // inputs that today's rules advise otherwise; the recorded advice is what is told here
	Final   advise.State

	// AtBaseline is the state in which the newest baseline was accepted; the zero State where none was.
	AtBaseline advise.State

	Frames  []Frame // every revision of every frame, in the order of arrival
	Log     []Line  // everything that happened, in order
	Sitters []Break // where another sitter was named
	Turns   []Turn  // adjustments that were made, recorded or seen, in order
}

// Region is the level of one region of a frame.
type Region struct {
	Value   exposure.Stops
	Sigma   exposure.Stops
	AtLeast bool
}

// Colour is how far red and blue lie from green in linear light, in stops: positive is more.
type Colour struct{ Red, Blue exposure.Stops }

// Frame is one revision of one frame, without what makes readings large.
type Frame struct {
	Record   uint64 // of the input
	Hash     string // of that record
	At       time.Time
	Number   int
	Revision int
	Stands   bool   // it is what counts of the frame at the end
	File     string // relative path; "" where it was erased
	Folder   string // "" where the file lay in the capture folder itself
	Sitter   string // as named on the page, else the folder; "" where nobody was named, or erased
	Picture  int    // revision under which the page's pictures of it are kept; 0 none
	Content  string // hex SHA-256 of the file; "" where the frame was only measured again
	Damaged  string
	Taken    string // by the camera's clock, as recorded

	Kind     assess.Kind
	FNumber  exposure.FNumber // 0 not recorded
	ISO      exposure.ISO
	Shutter  exposure.Shutter
	Camera   string
	Lens     string
	Focal    float64 // mm, 0 not recorded
	Curve    string
	Floor    *Region // white backdrop: weakest channel, darkest area
	Backdrop *Region
	Evenness exposure.Stops // of the backdrop
	White    *Region        // declared white reference, peak
	Found    *Region        // one that was merely found
	Crown    *Region
	Sitting  *Region       // the sitter's median
	Faces    int           // how many were found
	Face     *assess.Face  // where there is one; never changed
	Clipped  float64       // share of the frame with any clipped channel
	Cast     *Colour       // of the declared white reference, else of an unclipped neutral backdrop
	CastOf   string        // "white reference" or "backdrop"
	Chart    *assess.Chart // of the frame that was taken to show a colour chart

	Judged   []advise.Expected // against the targets at the time
	OnTarget bool
	Status   advise.Status // of the advice that stood after it
	Headline string
	Lights   []advise.LightState // how they stood for it, as far as is known; shared, never changed
	Marks    []string            // kinds of what was noted about it besides its levels: "absent", "damaged", "late", "drift" ...
}

// Off tells whether a frame is one to look at again: judged and not on target, unreadable, or with a mark.
func (f Frame) Off() bool {
	return f.Damaged != "" || len(f.Judged) > 0 && !f.OnTarget || len(f.Marks) > 0
}

// Line is one line of what happened.
type Line struct {
	Record uint64 // of the input it came of
	Hash   string
	At     time.Time
	By     advise.Actor
	Kind   string
	Frame  int
	Group  string
	From   *exposure.Dial // of an adjustment advised
	To     *exposure.Dial
	Text   string
	Words  string // name or note out of the side file, "" where erased
}

// Break is where another sitter was named.
type Break struct {
	Frame int    // the newest frame before it
	Name  string // "" where erased
}

// Turn is an adjustment that was made: how a light stood before and after.
type Turn struct {
	At       time.Time
	Frame    int // the newest frame before it; of one that was seen in a frame, the frame before that
	Group    string
	From, To exposure.Dial
	Text     string
}

// Read reads the shoot in dir, beside its writer. Damage is an error.
func Read(dir string) (*Account, error) { return ReadContext(context.Background(), dir) }

// ReadContext is Read that gives up when ctx ends.
func ReadContext(ctx context.Context, dir string) (*Account, error) {
	h, err := trail.ReadHeader(dir)
	if err != nil {
		return nil, err
	}
	texts, err := trail.ReadTexts(dir)
	if err != nil {
		return nil, err
	}
	defer texts.Close()
	a := &Account{ID: filepath.Base(dir), Header: h}
	r := reader{Account: a, texts: texts, refs: map[string]trail.Ref{}, standing: map[int]int{}, picture: map[int]int{}}
	for s, err := range shoot.Steps(dir) {
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return nil, err
		}
		r.step(s)
	}
	if a.Head.Seq == 0 { // only its header was written
		rep, err := trail.Verify(dir, "")
		if err != nil {
			return nil, err
		}
		a.Head, a.Last = rep.Head, h.At
	}
	for _, i := range r.standing {
		a.Frames[i].Stands = true
	}
	a.tellLater()
	return a, nil
}

// tellLater gives the lights of the baseline the directions that somebody told after it was accepted: until then they were
// not told, so the light has not moved since.
func (a *Account) tellLater() {
	was := a.AtBaseline.Lights
	a.AtBaseline.Lights = slices.Clone(was)
	for i, l := range a.AtBaseline.Lights {
		k := slices.IndexFunc(a.Final.Lights, func(f advise.LightState) bool { return f.Group == l.Group })
		if l.Bearing == nil && k >= 0 {
			a.AtBaseline.Lights[i].Bearing = a.Final.Lights[k].Bearing
		}
	}
}

// reader builds an account step by step.
type reader struct {
	*Account
	texts    *trail.Texts
	refs     map[string]trail.Ref
	standing map[int]int // index of the standing revision by frame number
	picture  map[int]int // revision that the pictures are of, by frame number
	before   advise.State
}

func (r *reader) step(s shoot.Step) {
	for _, k := range s.Kept {
		r.refs[k.ID] = k
	}
	r.Head, r.Last = s.Head, s.At
	if !slices.Contains(r.Rules, s.Rules) {
		r.Rules = append(r.Rules, s.Rules)
	}
	if s.Differs {
		r.Differs++
	}
	if s.Input.Frame != nil {
		r.frame(s)
	}
	if s.Input.Sitter != nil {
		r.Sitters = append(r.Sitters, Break{s.State.FrameCount, r.words(s.Input.Sitter.Ref)})
	}
	if s.Input.Baseline != nil {
		r.AtBaseline = s.State
	}
	r.log(s)
	r.turns(s)
	r.before, r.Final = s.State, s.State
}

func (r *reader) words(id string) string {
	if id == "" {
		return ""
	}
	text, err := r.texts.Text(r.refs[id])
	if err != nil {
		return ""
	}
	return text
}

func (r *reader) frame(s shoot.Step) {
	in := *s.Input.Frame
	f := Frame{Record: s.Record, Hash: s.Hash, At: s.At, Number: in.Number, Revision: in.Revision, File: r.words(in.File),
		Folder: r.words(in.Folder), Sitter: r.words(s.State.Sitter), Content: in.Hash, Damaged: in.Damaged,
		Status: s.State.Advice.Status, Headline: s.State.Advice.Headline}
	if f.Sitter == "" {
		f.Sitter = f.Folder
	}
	measured(&f, in.Reading)
	for _, o := range s.Outputs {
		switch {
		case o.Advice != nil:
			f.Status, f.Headline = o.Advice.Status, o.Advice.Headline
		case o.Event != nil && o.Event.Frame == in.Number && !slices.Contains(ordinary, o.Event.Kind) && !slices.Contains(f.Marks, o.Event.Kind):
			f.Marks = append(f.Marks, o.Event.Kind)
		}
	}
	if in.Number < r.before.FrameCount {
		f.Marks = append(f.Marks, "late")
	}
	i := slices.IndexFunc(s.State.Frames, func(x advise.FrameState) bool { return x.Number == in.Number })
	if i >= 0 && s.State.Frames[i].Revision == in.Revision {
		st := s.State.Frames[i]
		f.Judged, f.OnTarget, f.Lights = st.Expected, st.OnTarget, s.State.Lights
		if in.Hash != "" && in.Reading != nil {
			r.picture[in.Number] = in.Revision
		}
		f.Picture = r.picture[in.Number]
		r.standing[in.Number] = len(r.Frames)
	}
	r.Frames = append(r.Frames, f)
}

// ordinary are the kinds of event that every good frame may have.
var ordinary = []string{"frame", "exposure", "followed", "adjusted", "reference", "session"}

func (r *reader) log(s shoot.Step) {
	add := func(e advise.Event, from, to *exposure.Dial) {
		r.Log = append(r.Log, Line{Record: s.Record, Hash: s.Hash, At: s.At, By: s.Input.By, Kind: e.Kind, Frame: e.Frame, Group: e.Group,
			From: from, To: to, Text: e.Text, Words: r.words(e.Ref)})
	}
	for _, o := range s.Outputs {
		switch {
		case o.Event != nil:
			add(*o.Event, nil, nil)
		case o.Question != nil:
			add(advise.Event{Kind: "question", Frame: o.Question.Frame, Group: o.Question.Group, Text: o.Question.Text}, nil, &o.Question.To)
		case o.Advice != nil && o.Advice.Status != advise.Adjust:
			add(advise.Event{Kind: "advice", Frame: o.Advice.Frame, Text: o.Advice.Headline + "."}, nil, nil)
		case o.Advice != nil:
			for _, t := range o.Advice.Adjustments {
				add(advise.Event{Kind: "advice", Frame: o.Advice.Frame, Group: t.Group, Text: t.Text + "."}, &t.From, &t.To)
			}
		}
	}
}

// turns notes where a light's dial differs from before.
func (r *reader) turns(s shoot.Step) {
	if s.Input.Plan != nil {
		return // another plan, not a hand at a dial
	}
	for _, l := range s.State.Lights {
		i := slices.IndexFunc(r.before.Lights, func(b advise.LightState) bool { return b.Group == l.Group })
		if i < 0 || r.before.Lights[i].Power == l.Power {
			continue
		}
		b := r.before.Lights[i]
		r.Turns = append(r.Turns, Turn{At: s.At, Frame: r.before.FrameCount, Group: l.Group, From: b.Power, To: l.Power,
			Text: l.Name + ": " + b.PowerText + " to " + l.PowerText})
	}
}

// Standing are the frames as they count at the end, in the order of their numbers.
func (a *Account) Standing() []Frame {
	var out []Frame
	for _, f := range a.Frames {
		if f.Stands {
			out = append(out, f)
		}
	}
	slices.SortStableFunc(out, func(x, y Frame) int { return x.Number - y.Number })
	return out
}

// Baseline is the standing revision of the frame that was accepted as right last; nil where none was.
func (a *Account) Baseline() *Frame {
	for i := range a.Frames {
		if f := &a.Frames[i]; f.Stands && f.Number == a.Final.Baseline {
			return f
		}
	}
	return nil
}
