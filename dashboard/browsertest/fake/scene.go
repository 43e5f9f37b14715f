package fake

import (
	"bytes"
	"context"
	"encoding/base64"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"sync"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// Light is a light of third-stop clicks from 1/1 to 1/128.
func Light(role, group string, power exposure.Dial, distance exposure.Metres, modifier string) advise.LightState {
	l := advise.LightState{Group: group, Role: role, Name: fmt.Sprintf("%s (%s)", role, group), Power: power,
		PowerText: exposure.ThirdFractions.Format(power), Distance: distance, Modifier: modifier,
		Click: exposure.Third, Least: -7 * exposure.Stop, Most: 0}
	for d := l.Least; d <= l.Most; d += l.Click {
		l.Settings = append(l.Settings, exposure.ThirdFractions.Format(d))
	}
	return l
}

// Turn is an adjustment of one of the lights of a state.
func Turn(l advise.LightState, to exposure.Dial, reason string) advise.Adjustment {
	word := "power down "
	if to > l.Power {
		word = "power up "
	}
	change := word + exposure.ThirdFractions.FormatChange(to-l.Power)
	text := exposure.ThirdFractions.Format(to)
	return advise.Adjustment{Group: l.Group, Light: l.Name, From: l.Power, To: to, FromText: l.PowerText, ToText: text,
		ChangeText: change, Text: fmt.Sprintf("%s: %s, set %s", l.Name, change, text), Reason: reason}
}

// Rigged gives the shoot a plan and three lights, without a frame.
func (s *Shoot) Rigged() {
	s.Change(func(st *advise.State) []advise.Event {
		st.PlanName, st.PlanText = "boathouse.plan", planText
		st.Lights = []advise.LightState{
			Light("Background", "A", -2*exposure.Stop-exposure.Third, 1.4, "reflector"),
			Light("Key", "B", -2*exposure.Stop, 1.2, "softbox 60 x 90 cm"),
			Light("Fill", "C", -4*exposure.Stop-2*exposure.Third, 2.1, "white umbrella"),
		}
		st.FNumber, st.ISO, st.Shutter = 8, 100, 1.0/125
		st.Advice = advise.Advice{Number: st.Advice.Number + 1, Status: advise.Waiting, Headline: "Take a frame", Reason: "There is none yet."}
		return []advise.Event{{Kind: "plan", Text: "The light plan is in use."}}
	})
}

const planText = `version: 1
shoot: committee portraits, Alder Quay Rowing Club
backdrop:
  colour: white
lights:
  - role: background
    group: A
    power: 1/8 + 2/3
  - role: key
    group: B
    power: 1/4
  - role: fill
    group: C
    power: 1/32 + 1/3
`

// Shot lets a frame arrive that is off by what two adjustments take back. Without
// lights it is measured, and nothing more.
func (s *Shoot) Shot() {
	s.Change(func(st *advise.State) []advise.Event {
		n := s.frame(st, false)
		if len(st.Lights) < 2 {
			st.Frames[len(st.Frames)-1].Expected = nil
			return []advise.Event{{Kind: "frame", Frame: n, Text: fmt.Sprintf("Frame %d: backdrop −0.10.", n)}}
		}
		a := &st.Advice
		*a = advise.Advice{Number: a.Number + 1, Frame: n, Revision: 1, Status: advise.Adjust, AtLeast: true, Guess: true,
			Reason: "The white reference is at least 0.3 stop over its aim and the backdrop 0.4 stop under.",
			Adjustments: []advise.Adjustment{
				Turn(st.Lights[1], st.Lights[1].Power-2*exposure.Third, "white reference is at least 0.3 stop over its aim"),
				Turn(st.Lights[0], st.Lights[0].Power+exposure.Third, "backdrop is 0.4 stop under its aim"),
			}, Expected: expected(false)}
		a.Headline = a.Adjustments[0].Text
		return []advise.Event{{Kind: "frame", Frame: n, Text: fmt.Sprintf("Frame %d: white reference at least 0.00, backdrop −0.42.", n)}}
	})
}

// OnTarget lets a frame arrive that needs nothing.
func (s *Shoot) OnTarget() {
	s.Change(func(st *advise.State) []advise.Event {
		n := s.frame(st, true)
		st.Advice = advise.Advice{Number: st.Advice.Number + 1, Frame: n, Revision: 1, Status: advise.Hold, Headline: "Hold",
			Reason: "Backdrop and white reference are where the plan wants them.", Expected: expected(true)}
		return []advise.Event{{Kind: "frame", Frame: n, Text: fmt.Sprintf("Frame %d is on target.", n)}}
	})
}

func (s *Shoot) frame(st *advise.State, on bool) int {
	st.FrameCount++
	n := st.FrameCount
	st.Frames = append(st.Frames, advise.FrameState{Number: n, Revision: 1, File: "file", At: s.now().UTC().Format("2006-01-02T15:04:05Z"),
		Reading: s.reading(st.Reference), Expected: expected(on), OnTarget: on})
	*st = st.Remembered(n)
	if len(st.Frames) > advise.KeepFrames {
		st.Frames = st.Frames[1:]
	}
	return n
}

func expected(on bool) []advise.Expected {
	b := advise.Expected{Region: advise.BackdropFloor, Name: "backdrop", Now: -0.42, NowSigma: 0.06, Then: 0.12, ThenSigma: 0.1, Low: 0, High: 0.5,
		NowText: "−0.42", ThenText: "0.12", TargetText: "0 to +1/2"}
	w := advise.Expected{Region: advise.WhitePeak, Name: "white reference", Now: 0, AtLeast: true, Then: -0.31, ThenSigma: 0.15, Low: -0.5, High: -0.2,
		NowText: "at least 0.00", ThenText: "−0.31", TargetText: "−1/2 to −0.2"}
	h := advise.Expected{Region: advise.Crown, Name: "hair", Now: -1.6, NowSigma: 0.08, Then: -1.3, High: -0.7, UpperOnly: true, InTarget: true,
		NowText: "−1.60", ThenText: "−1.30", TargetText: "at most −0.7"}
	if on {
		b.Now, b.NowText, b.InTarget = 0.14, "0.14", true
		w.Now, w.NowText, w.NowSigma, w.AtLeast, w.InTarget = -0.33, "−0.33", 0.05, false, true
	}
	return []advise.Expected{b, w, h}
}

func (s *Shoot) size() (w, h int) {
	if s.wide {
		return 960, 640
	}
	return 640, 960
}

// what says what of the scene is seen at a place, in fractions of the frame.
func what(x, y, ratio float64) (part string, shade float64) {
	u, v := (x-0.5)*ratio/0.667, y // as wide as it is in an upright frame
	oval := func(cx, cy, rx, ry float64) float64 { return math.Hypot((u-cx)/rx, (v-cy)/ry) }
	switch {
	case oval(0, 0.34, 0.15, 0.125) < 1 && v > 0.29-0.2*math.Abs(u):
		return "face", 1 - 0.45*math.Max(0, u+0.05)/0.15 - 0.15*oval(0, 0.34, 0.15, 0.125)
	case oval(0, 0.31, 0.175, 0.145) < 1:
		return "hair", 1
	case math.Abs(u) < 0.075 && v > 0.42 && v < 0.56:
		return "neck", 0.7 - u*2
	case v > 0.53 && math.Abs(u) < 0.045+(v-0.5)*0.18 && v < 0.86:
		return "shirt", 1
	case v > 0.55 && math.Abs(u) < 0.17+math.Sqrt(math.Max(0, v-0.55))*0.5:
		return "jacket", 1 - 0.5*math.Abs(u+0.1)
	}
	return "backdrop", 1
}

// Thumbnail implements dashboard.Shoot.
func (s *Shoot) Thumbnail(_ context.Context, frame, edge int) ([]byte, error) {
	if st := &s.Snapshot().State; frame < 1 || frame > st.FrameCount {
		return nil, fmt.Errorf("%w: %d", shoot.ErrNoFrame, frame)
	}
	w, h := s.size()
	scale := math.Min(1, float64(edge)/float64(max(w, h)))
	w, h = int(float64(w)*scale), int(float64(h)*scale)
	drawn.Lock()
	defer drawn.Unlock()
	if at := [2]int{w, h}; drawn.of[at] == nil {
		text, err := draw(w, h)
		if err != nil {
			return nil, err
		}
		drawn.of[at] = text
	}
	return drawn.of[[2]int{w, h}], nil
}

// drawn are the pictures by their size: every frame shows the same scene, and drawing is what the tests would wait for.
var drawn = struct {
	sync.Mutex
	of map[[2]int][]byte
}{of: map[[2]int][]byte{}}

func draw(w, h int) ([]byte, error) {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for j := range h {
		for i := range w {
			x, y := (float64(i)+0.5)/float64(w), (float64(j)+0.5)/float64(h)
			part, shade := what(x, y, float64(w)/float64(h))
			c := func(r, g, b float64) {
				lim := func(v float64) uint8 { return uint8(math.Max(0, math.Min(255, v))) }
				img.SetRGBA(i, j, color.RGBA{lim(r), lim(g), lim(b), 255})
			}
			switch part {
			case "face", "neck":
				c(196*shade, 146*shade, 118*shade)
			case "hair":
				c(52, 38, 30)
			case "shirt":
				l := 262 - 60*math.Abs(x-0.46)/0.12 - 30*math.Max(0, y-0.7)
				c(l, l, l-4)
			case "jacket":
				c(38*shade, 54*shade, 72*shade)
			default:
				l := 258 - 30*math.Abs(x-0.35) - 24*math.Abs(y-0.3)
				c(l, l, l-2)
			}
		}
	}
	var out bytes.Buffer
	err := jpeg.Encode(&out, img, &jpeg.Options{Quality: 88})
	return out.Bytes(), err
}

func (s *Shoot) reading(declared *assess.Box) *assess.Reading {
	w, h := s.size()
	cols, rows := w/20, h/20
	mask := func(of func(part string) bool) assess.Mask {
		bits := make([]byte, (cols*rows+7)/8)
		for i := range cols * rows {
			part, _ := what((float64(i%cols)+0.5)/float64(cols), (float64(i/cols)+0.5)/float64(rows), float64(w)/float64(h))
			if of(part) {
				bits[i/8] |= 0x80 >> (i % 8)
			}
		}
		return assess.Mask{Cols: cols, Rows: rows, Bits: base64.StdEncoding.EncodeToString(bits)}
	}
	r := &assess.Reading{Version: assess.FormatVersion, Width: w * 6, Height: h * 6, Orientation: 1, Kind: assess.Full,
		ClippedShare: assess.Shares{R: 0.3, G: 0.3, B: 0.2, Any: 0.31}, Tone: assess.Tone{Source: "default", Curve: "camera-1", Sigma: 0.15}}
	r.Regions.Backdrop = &assess.Backdrop{Level: assess.Level{Value: -0.1, Sigma: 0.06}, WhiteFloor: -0.42, ClippedShare: 0.34, Share: 0.55, Confidence: 0.95,
		Box: assess.Box{X1: 1, Y1: 0.8}, Mask: mask(func(p string) bool { return p == "backdrop" })}
	r.Regions.Sitter = &assess.Sitter{Level: assess.Level{Value: -2.1, Sigma: 0.1}, ClippedShare: 0.041, Share: 0.45, Confidence: 0.95,
		Box: assess.Box{X0: 0.1, Y0: 0.15, X1: 0.9, Y1: 1}, Mask: mask(func(p string) bool { return p != "backdrop" })}
	r.Regions.Backdrop.Codes, r.Regions.Sitter.Codes = spread(250, 4), spread(90, 40)
	box := assess.Box{X0: 0.44, Y0: 0.62, X1: 0.54, Y1: 0.7}
	if declared != nil {
		box = *declared
	}
	r.Regions.WhiteReference = &assess.WhiteReference{Level: assess.Level{AtLeast: true}, Declared: declared != nil, Confidence: 0.7, Box: box}
	return r
}

// spread is a histogram of code values about a middle, in every channel.
func spread(middle, wide int) assess.Codes {
	h := make([]int32, 256)
	for c := range h {
		d := float64(c-middle) / float64(wide)
		h[c] = int32(1000 * math.Exp(-d*d/2))
	}
	return assess.Codes{R: h, G: h, B: h}
}
