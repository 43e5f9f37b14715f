package advise

import (
	"fmt"
	"math"
	"slices"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// Bracket is the guide to a camera's tone curve: five to nine frames that differ in the shutter alone, under a
// steady light with the flashes off. Each frame is held against what can serve; those of the guide are no part of the
// shoot. Learning itself is done outside of [Apply], and comes in as a [Curve].
type Bracket struct {
	Frames []BracketFrame   `json:"frames"`    // in the order in which they came, refused ones with them
	Good   int              `json:"good"`      // of these serve
	Next   exposure.Shutter `json:"next_s"`    // wanted next; 0: as the first step says, or no more is wanted
	NextAs string           `json:"next_text"` // "1/30 s", "" where Next is 0
	Left   int              `json:"left"`      // frames that are still wanted, about
	Do     []string         `json:"do"`        // what to set before the next frame, one sentence each
	Says   string           `json:"says"`      // of the newest frame, or what came of it all
	Fault  bool             `json:"fault"`     // Says tells why something did not serve
	Enough bool             `json:"enough"`    // the curve can be learned from what is there
	Ready  bool             `json:"ready"`     // no more frames are wanted: it is being learned
	Done   bool             `json:"done"`      // learned
	Curve  string           `json:"curve"`     // its name, once it is learned
	Was    exposure.Stops   `json:"was_stops"` // how well a level one stop under the edge was known before,
	Now    exposure.Stops   `json:"now_stops"` // and is known now, one standard deviation
}

// BracketFrame is a frame of the guide.
type BracketFrame struct {
	Frame   int              `json:"frame"`
	Shutter exposure.Shutter `json:"shutter_s"` // 0: not recorded
	Text    string           `json:"text"`      // "1/30 s"
	FNumber exposure.FNumber `json:"f_number"`
	ISO     exposure.ISO     `json:"iso"`
	Clipped float64          `json:"clipped_share"` // pixels with any channel clipped
	Serves  bool             `json:"serves"`
	Says    string           `json:"says"`
}

// BracketInput is what a person asks of the guide.
type BracketInput struct {
	Do BracketDo `json:"do"`
}

// BracketDo is one of the things that can be asked of the guide.
type BracketDo string

// What can be asked. Begin starts over where a guide is under way.
const (
	BracketBegin BracketDo = "begin"
	BracketLearn BracketDo = "learn" // from the frames that are there, if they are enough
	BracketLeave BracketDo = "leave"
)

// Sight is what was seen of a frame of the guide that its reading does not hold.
type Sight struct {
	Why   string `json:"why,omitempty"`   // why it can't serve: a sentence about "it"
	Moved bool   `json:"moved,omitempty"` // it does not show the scene of the frame before, unmoved and in the same light
}

const (
	// bracketLeast and bracketMost are how many frames a curve is learned from.
	bracketLeast = 5
	bracketMost  = 9
	// bracketStops are the whole stops below the edge, at the most: what is darker is noise.
	bracketStops = 5
	// bracketFar is the clipped part from which the edge is thought to lie more than a third of a stop down.
	bracketFar = 0.03
	// The longest frame clips on this part of its pixels at least, so that the edge is seen, and at most, so that
	// enough is left; under bracketClear only glints do (derived here).
	bracketClips    = 0.005
	bracketClipsAll = 0.75
	bracketClear    = 0.003
	// steadyTv is by how much two exposure times differ that count as two.
	steadyTv = 0.15
)

// bracketAside is why frames of the guide are left out of advice.
const bracketAside = "it belongs to the bracket for the tone curve"

// Bracketing tells whether the guide to the tone curve waits for frames, or its curve is being learned.
func (s State) Bracketing() bool { return s.Bracket != nil && !s.Bracket.Done && s.Phase != Ended }

// Serving are the numbers of the frames that the curve is learned from.
func (b *Bracket) Serving() []int {
	var out []int
	for _, f := range b.Frames {
		if f.Serves {
			out = append(out, f.Frame)
		}
	}
	return out
}

// LastServing is the newest frame that serves, 0 none; number itself is left out.
func (b *Bracket) LastServing(number int) int {
	for i := len(b.Frames) - 1; i >= 0; i-- {
		if b.Frames[i].Serves && b.Frames[i].Frame != number {
			return b.Frames[i].Frame
		}
	}
	return 0
}

func (s State) bracketAsked(in BracketInput) (State, []Output) {
	switch {
	case in.Do == BracketBegin && s.Phase != Ended && !s.Walking():
		b := Bracket{Frames: []BracketFrame{}}
		b.ask()
		s.Bracket = &b
		return s, []Output{event("curve", Event{Text: "The bracket for the tone curve begins. Its frames are left out of advice."})}
	case in.Do == BracketLeave && s.Bracket != nil:
		done := s.Bracket.Done
		s.Bracket = nil
		if done {
			return s, nil
		}
		return s, []Output{event("curve", Event{Text: "The bracket for the tone curve was left; nothing was learned. Set camera and flashes as they were before the next frame."})}
	case in.Do == BracketLearn && s.Bracketing() && s.Bracket.Enough && !s.Bracket.Ready:
		b := *s.Bracket
		b.finish()
		s.Bracket = &b
	}
	return s, nil
}

// finish asks for no more frames.
func (b *Bracket) finish() {
	b.Ready, b.Next, b.NextAs, b.Left, b.Do = true, 0, "", 0, []string{}
	b.Says, b.Fault = fmt.Sprintf("The curve is being learned from %s.", count(b.Good, "frame")), false
}

// bracketOf tells whether a revision of a frame belongs to the guide: the newest frame does while it waits, and one
// that was taken in before does when it is measured again.
func (s State) bracketOf(number int, fresh bool) bool {
	return s.Bracketing() && (fresh || slices.ContainsFunc(s.Bracket.Frames, func(f BracketFrame) bool { return f.Frame == number }))
}

// bracketFrame takes a frame in as the guide's next.
func (s State) bracketFrame(f Frame) (State, []Output) {
	b := *s.Bracket
	again := slices.ContainsFunc(b.Frames, func(x BracketFrame) bool { return x.Frame == f.Number })
	if b.Ready || again && f.Sight == nil {
		return s, nil // no more are wanted; or nothing but its regions was looked at again
	}
	b.Frames = slices.DeleteFunc(slices.Clone(b.Frames), func(x BracketFrame) bool { return x.Frame == f.Number })
	x := BracketFrame{Frame: f.Number, Clipped: f.Reading.ClippedShare.Any}
	if e := f.Reading.Exif; e.ExposureTime != nil {
		x.Shutter, x.Text = *e.ExposureTime, e.ExposureTime.String()
	}
	if n := f.Reading.Exif.FNumber; n != nil {
		x.FNumber = *n
	}
	if v := f.Reading.Exif.ISO; v != nil {
		x.ISO = *v
	}
	next, says := b.judged(x, f)
	x.Serves, x.Says = says == "", says
	if x.Serves {
		x.Says = ""
	}
	b.Frames = append(b.Frames, x)
	b.ask()
	b.Fault = !x.Serves
	if b.Fault {
		b.Says = fmt.Sprintf("Frame %d does not serve: %s", f.Number, says)
		if next > 0 {
			b.Next = next
			b.Do = b.sentences()
		}
	} else if !b.Ready {
		b.Says = fmt.Sprintf("Frame %d serves: %s, %s.", f.Number, x.Text, clipWords(x.Clipped))
	}
	s.Bracket = &b
	return s, []Output{event("curve", Event{Frame: f.Number, Text: "Tone curve: " + lowerFirst(b.Says)})}
}

func clipWords(share float64) string {
	switch {
	case share == 0:
		return "nothing clips"
	case share < 0.001:
		return "under 0.1 % of it clips"
	}
	return fmt.Sprintf("%.1f %% of it clips", 100*share)
}

// judged says why a frame can't serve, "" where it can; next is the shutter that would, 0 the one that was asked for.
func (b *Bracket) judged(x BracketFrame, f Frame) (next exposure.Shutter, why string) {
	r := f.Reading
	var first *BracketFrame
	for i := range b.Frames {
		if b.Frames[i].Serves {
			first = &b.Frames[i]
			break
		}
	}
	shorter := func(thirds int) exposure.Shutter {
		t, _ := x.Shutter.Step(-thirds)
		return t
	}
	switch {
	case r.OwnTones():
		return 0, "its tones may have been set for this picture alone, as phones set them, and no one curve describes that. Use a camera whose tone is fixed."
	case !r.AsWritten():
		return 0, "it is not as a camera wrote it, and only the camera's own files show its curve. Let the camera's own JPEGs arrive, with no edit put on them."
	case r.Kind != assess.Full:
		return 0, "it is the preview out of a raw file. Let the camera save JPEGs as well, at full size."
	case f.Sight != nil && f.Sight.Why != "":
		return 0, f.Sight.Why
	case x.Shutter == 0:
		return 0, "its exposure time was not recorded, so the step to the others is unknown."
	case r.Exif.Program != nil && *r.Exif.Program > 1:
		return 0, "the camera chose the exposure itself. Set it to manual exposure."
	case (r.Exif.Program == nil || *r.Exif.Program == 0) && r.Exif.ExposureMode != nil && *r.Exif.ExposureMode == 0:
		return 0, "the camera's exposure was automatic. Set it to manual exposure, with a fixed ISO."
	case r.Exif.WhiteBalance != nil && *r.Exif.WhiteBalance == 0:
		return 0, "its white balance was automatic, which bends the channels from frame to frame. Set a fixed one, as for the shoot."
	case r.Exif.Flash != nil && r.Exif.Flash.Fired:
		return 0, "a flash fired, and flashes don't follow the shutter. Switch them off."
	case first != nil && x.ISO != first.ISO:
		return 0, fmt.Sprintf("it was taken at %s, the first at %s. Only the shutter may change.", x.ISO, first.ISO)
	case first != nil && x.FNumber != first.FNumber:
		return 0, fmt.Sprintf("it was taken at %s, the first at %s. Only the shutter may change.", x.FNumber, first.FNumber)
	}
	for _, y := range b.Frames {
		if y.Serves && nearTimes(x.Shutter, y.Shutter) {
			return 0, fmt.Sprintf("its shutter is that of frame %d. Set another.", y.Frame)
		}
	}
	switch {
	case x.Clipped > 0.9:
		return shorter(6), "nearly all of it clips. Take a much shorter time."
	case x.Clipped > bracketClipsAll:
		return shorter(2), fmt.Sprintf("%.0f %% of it clips, so too little is left to learn from. Take a shorter time.", 100*x.Clipped)
	case first == nil && x.Clipped < bracketClips:
		return shorter(-2), "nothing clips yet, and the longest frame must show where clipping begins. Take a longer time, until the lightest surface just clips."
	case f.Sight != nil && f.Sight.Moved:
		return 0, "places of equal brightness changed differently since the frame before. The camera or the scene moved, the light changed, or the camera sets shadows or highlights by itself: switch that off, let everything rest, and take it again."
	}
	return 0, ""
}

func nearTimes(a, b exposure.Shutter) bool {
	x, ok1 := a.Tv()
	y, ok2 := b.Tv()
	return ok1 && ok2 && math.Abs(float64(x-y)) < steadyTv
}

// ask works out the next shutter from the frames that serve: down until nothing clips, thirds of a stop about the
// edge, then whole stops.
func (b *Bracket) ask() {
	b.Good, b.Next, b.Left = 0, 0, bracketMost
	var times []float64                       // time values of the frames that serve
	clips, clear := math.Inf(-1), math.Inf(1) // the shortest that clips, the longest that doesn't
	var shortest, longestClear, shortestClip exposure.Shutter
	far := false
	for _, x := range b.Frames {
		tv, ok := x.Shutter.Tv()
		if !x.Serves || !ok {
			continue
		}
		b.Good++
		t := float64(tv)
		times = append(times, t)
		if shortest == 0 || x.Shutter < shortest {
			shortest = x.Shutter
		}
		if x.Clipped > bracketClear && t > clips {
			clips, shortestClip, far = t, x.Shutter, x.Clipped > bracketFar
		}
		if x.Clipped <= bracketClear && t < clear {
			clear, longestClear = t, x.Shutter
		}
	}
	if b.Good == 0 {
		b.Do = b.sentences()
		return
	}
	taken := func(t float64) bool {
		return slices.ContainsFunc(times, func(x float64) bool { return math.Abs(x-t) < steadyTv })
	}
	stops := 0
	for _, t := range times {
		if t > clear+0.6 {
			stops++
		}
	}
	b.Enough = b.Good >= bracketLeast && stops >= 2
	b.Left = bracketMost - b.Good
	ok := false
	switch {
	case longestClear == 0 && far:
		b.Next, ok = shortestClip.Step(-2)
	case longestClear == 0:
		b.Next, ok = shortestClip.Step(-1)
	case clear-clips > 0.5 && !taken(clear-1.0/3):
		b.Next, ok = longestClear.Step(1)
	case !taken(clear + 1.0/3):
		b.Next, ok = longestClear.Step(-1)
	default:
		b.Next, ok = shortest.Step(-3)
		b.Left = min(b.Left, bracketStops-stops)
	}
	if b.Left <= 0 || !ok {
		b.Next, b.Left = 0, 0
		if b.Enough {
			b.finish()
			return
		}
	}
	b.Do = b.sentences()
}

// sentences say what to set and take.
func (b *Bracket) sentences() []string {
	b.NextAs = ""
	if b.Next > 0 {
		b.NextAs = b.Next.String()
	}
	if b.Good == 0 {
		set := "Set the shutter so that the lightest surface just clips in the camera's own warning, and take a frame."
		if b.Next > 0 {
			set = fmt.Sprintf("Set the shutter to %s, and take a frame.", b.Next)
		}
		return []string{
			"Switch every flash off. Light the set with a steady light that doesn't flicker: daylight from a window, or a lamp on the mains that is no dimmed LED; keep a hot lamp clear of cloth and paper.",
			"Put something white, something grey and something dark in front of the camera, nobody in it, and let nothing move. The camera stands on its tripod and is not touched but for the shutter's dial.",
			"Manual exposure, fixed ISO, the aperture of the shoot. White balance, picture style and vignetting correction as for the shoot; automatic tone, shadow and highlight settings off.",
			set,
		}
	}
	if !(b.Next > 0) {
		return []string{"These frames don't reach far enough. Begin again, with the shutter of the first frame nearer to where the lightest surface just clips."}
	}
	return []string{fmt.Sprintf("Set the shutter to %s, leave everything else, and take a frame.", b.Next)}
}

// bracketAdvice is the guide as advice: what the board shows meanwhile.
func (s State) bracketAdvice(a Advice) Advice {
	b := s.Bracket
	a.Status, a.Headline, a.Reason = Waiting, "Tone curve: "+count(b.Good, "frame")+" so far", b.Says
	switch {
	case b.Ready:
		a.Headline = "Tone curve: being learned"
	case b.Next > 0:
		a.Headline = "Tone curve: set the shutter to " + b.Next.String()
	}
	if a.Reason == "" {
		a.Reason = "The guide says what to set. Its frames are left out of advice."
	}
	return a
}
