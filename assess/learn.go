package assess

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
	"thirdstop/assess/tone"
)

// smooth is the variance, in code values squared, up to which a cell counts as one
// tone: an edge in it would turn the slightest movement into a change of light.
const smooth = 16

// evenStep is by how many code values a cell may differ from its neighbours: on a slope, the
// slightest movement looks like a change of light.
const evenStep = 3

// mostPairs bounds what two frames contribute; more adds time and nothing else.
const mostPairs = 12_000

// Pairs lists the places that two frames of one unmoved camera show alike: cells that
// are smooth in both, and unclipped in the darker. The result is empty where the surveys differ in size.
func Pairs(light, dark *photo.Survey) []tone.Pair {
	if light.Cols != dark.Cols || light.Rows != dark.Rows || light.Width != dark.Width || light.Height != dark.Height {
		return nil
	}
	var out []tone.Pair
	tops := topsOf(light)
	stride := max(len(light.Cells)/mostPairs, 1)
	for i := 0; i < len(light.Cells); i += stride {
		p, q := &light.Cells[i], &dark.Cells[i]
		if max(q.Var[0], q.Var[1], q.Var[2]) > smooth || q.ClippedAny > 0 {
			continue
		}
		if !evenAt(dark, i) {
			continue
		}
		pair := tone.Pair{}
		part, over, rough := false, false, false
		even := evenAt(light, i)
		for ch := range 3 {
			pair.Light[ch], pair.Dark[ch] = float64(p.Mean[ch]), float64(q.Mean[ch])
			pair.Clipped[ch] = float64(p.Clipped[ch]) > 0.98*float64(p.Pixels)
			if p.Clipped[ch] > 0 {
				part = true
				if code, ok := tops[ch].code(p, ch); ok && even {
					pair.Light[ch], pair.Clipped[ch] = code, false
				} else {
					pair.Part[ch] = true
				}
				over = over || float64(p.Mean[ch]) > overFrom
			}
			rough = rough || p.Var[ch] > smooth
		}
		if !part && (rough || !even) {
			continue
		}
		if over { // a clipped channel bends the others' colour in some cameras
			pair.Part = [3]bool{true, true, true}
		}
		x0, y0, x1, y1 := light.CellBox(i%light.Cols, i/light.Cols)
		pair.X, pair.Y = (x0+x1)/2, (y0+y1)/2
		out = append(out, pair)
	}
	return out
}

// evenAt says whether a cell lies in the midst of others of its tone.
func evenAt(s *photo.Survey, i int) bool {
	c, r := i%s.Cols, i/s.Cols
	for _, n := range [4][2]int{{c - 1, r}, {c + 1, r}, {c, r - 1}, {c, r + 1}} {
		if n[0] < 0 || n[1] < 0 || n[0] >= s.Cols || n[1] >= s.Rows {
			continue
		}
		q := s.At(n[0], n[1])
		for ch := range 3 {
			if d := q.Mean[ch] - s.Cells[i].Mean[ch]; d > evenStep || d < -evenStep {
				return false
			}
		}
	}
	return true
}

// Shot is a frame of a bracket.
type Shot struct {
	Name   string
	Survey *photo.Survey
	Tv     exposure.Stops // of its exposure time
}

// shutterSigma is how far an exposure time is off its mark, one standard deviation of
// a step between two, by the time value of the shorter one (common practice, no source: mechanical shutters are least
// sure at their top speeds; a real bracket here has its 1/8000 s off by 0.2 stop, and what is left of a fit to its steps between
// 6 s and 1/80 s is 0.011).
func shutterSigma(tv exposure.Stops) exposure.Stops {
	switch {
	case tv > 10.5:
		return 0.12
	case tv > 9.5:
		return 0.05
	case tv > 7.2:
		return 0.03
	}
	return 0.015
}

// BracketSteps pairs the frames of a bracket: each with the next one, and, where that
// is closer than 0.7 stop, with the one nearest to a stop away, too. Frame numbers are places in the list
// as given. Frames of equal exposure are left out but the first.
func BracketSteps(shots []Shot) []tone.Step {
	order := make([]int, len(shots))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return shots[order[a]].Tv < shots[order[b]].Tv })
	var line []int
	for _, i := range order {
		if n := len(line); n == 0 || shots[i].Tv-shots[line[n-1]].Tv > 0.1 {
			line = append(line, i)
		}
	}
	var out []tone.Step
	add := func(a, b int) {
		out = append(out, tone.Step{LightFrame: a, DarkFrame: b, Ratio: shots[b].Tv - shots[a].Tv, Sigma: shutterSigma(shots[b].Tv),
			Pairs: Pairs(shots[a].Survey, shots[b].Survey)})
	}
	for k := 0; k+1 < len(line); k++ {
		add(line[k], line[k+1])
		best, far := 0, math.Inf(1)
		for j := k + 2; j < len(line); j++ {
			if d := math.Abs(float64(shots[line[j]].Tv-shots[line[k]].Tv) - 1); d < far {
				best, far = j, d
			}
		}
		if best > 0 && shots[line[k+1]].Tv-shots[line[k]].Tv < 0.7 && far < 0.5 {
			add(line[k], line[best])
		}
	}
	return out
}

// FewestShots make a bracket: fewer can't tell a bent curve from a wrong time.
const FewestShots = 4

// Learned is a curve that a bracket gave, with what shows how good it is.
type Learned struct {
	Entry  tone.Entry
	Fitted *tone.Fitted
	Steps  []tone.Step
	Misses []tone.Miss // each frame read with a curve that never saw it
}

const (
	// oneSitting is how long ago a bracket can have been taken that a new one is learned together with: on another day the camera's picture style, which
	// its standard Exif doesn't tell, may be another.
	oneSitting = 12 * time.Hour
	// mostBrackets are learned from together, the newest.
	mostBrackets = 3
)

// LearnBracket learns a camera's curve from a bracket, together with those that its curve was learned from earlier in the same
// sitting (12 hours), as far as they don't contradict it. Refusals wrap [tone.ErrTooLittle] or
// [tone.ErrNotFixed], and nothing is learned then.
func LearnBracket(shots []Shot, key tone.Key, at time.Time, earlier ...tone.Bracket) (*Learned, error) {
	steps := BracketSteps(shots)
	if len(shots) < FewestShots || len(steps) < FewestShots-1 {
		return nil, fmt.Errorf("%w: these %d frames hold %d steps of exposure; take five to nine frames, each with another shutter time", tone.ErrTooLittle, len(shots), len(steps))
	}
	newest, err := tone.Gathered(steps)
	if err != nil {
		return nil, err
	}
	newest.Taken = at.UTC().Truncate(time.Second)
	var recent []tone.Bracket
	for _, b := range earlier {
		if d := at.Sub(b.Taken); d > -oneSitting && d < oneSitting && len(recent) < mostBrackets-1 {
			recent = append(recent, b)
		}
	}
	fitted, used, err := tone.FitTogether(newest, recent...)
	if err != nil {
		return nil, err
	}
	l := &Learned{Fitted: fitted, Steps: steps, Misses: tone.LeaveOneOut(steps, nil, used...)}
	median, most := tone.Spread(l.Misses, 20, 245)
	l.Entry = tone.Entry{Version: tone.EntryVersion, Key: key, Curve: fitted.Curve, Learned: newest.Taken, Brackets: append([]tone.Bracket{newest}, used...),
		From: fitted.From, To: fitted.To, Edge: fitted.Edge, Median: median.Round(), Most: most.Round()}
	for _, b := range l.Entry.Brackets {
		l.Entry.Frames += b.Frames()
	}
	return l, nil
}

// CurveKey is by what a picture's tone curve is kept: the camera, and what standard
// Exif says of its rendering. It reports false for pictures whose curve is not a
// camera's: edited ones, other programs' exports, those of phones, and those without camera or Exif.
func CurveKey(p *photo.Picture) (tone.Key, bool) {
	e := &p.Exif
	k := tone.Key{Make: e.Make, Model: e.Model, Serial: e.Serial, ColorSpace: e.ColorSpace, CustomRendered: e.CustomRendered,
		Contrast: e.Contrast, Saturation: e.Saturation}
	if p.Labelled(photo.LabelAdobeRGB) {
		k.ColorSpace = 2
	}
	for _, no := range notAsWritten {
		if p.Labelled(no) {
			return k, false
		}
	}
	return k, e.Model != ""
}

// notAsWritten are the labels of pictures whose tone curve is not a camera's.
var notAsWritten = []string{photo.LabelEdited, photo.LabelExport, photo.LabelNoExif, photo.LabelProfile, photo.LabelOwnTones}

// AsWritten tells that a reading was taken from a file as a camera wrote it: one that was edited, exported or taken by a phone
// has no curve of a camera's own.
func (r *Reading) AsWritten() bool {
	return !slices.ContainsFunc(r.Labels, func(l Label) bool { return slices.Contains(notAsWritten, l.Code) })
}

// OwnTones tells that a reading was taken from a picture whose tones may have been set for it alone, as by a phone.
func (r *Reading) OwnTones() bool { return labelled(r.Labels, photo.LabelOwnTones) }

// BracketShot makes a frame of a bracket of a picture, or says why it can't be one.
func BracketShot(p *photo.Picture) (Shot, error) {
	tv, ok := p.Exif.ExposureTime.Tv()
	if !ok {
		return Shot{}, fmt.Errorf("%s: its exposure time was not recorded, so the step to other frames is unknown", p.Name)
	}
	if p.Exif.HasFlash && p.Exif.Flash&1 != 0 {
		return Shot{}, fmt.Errorf("%s: the flash fired; a flash doesn't follow the shutter, so switch it off for the bracket", p.Name)
	}
	return Shot{Name: p.Name, Survey: p.Survey, Tv: tv}, nil
}
