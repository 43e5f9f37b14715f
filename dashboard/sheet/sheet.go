package sheet

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/account"
	"thirdstop/advise/plan"
	"thirdstop/assess/colour"
	"thirdstop/assess/exposure"
)

//go:embed sheet.html
var page string

//go:embed sheet.css
var style string

var pageTemplate = template.Must(template.New("sheet").Parse(page))

// Pictures gives a frame's picture as JPEG, the small or the large one; nil where there is none any more.
type Pictures func(frame, revision int, large bool) []byte

// Options of a sheet.
type Options struct {
	Pictures Pictures       // nil: the sheet shows none
	Zone     *time.Location // of the times on it; nil: UTC
	Chart    *colour.Chart  // a colour chart photographed in this light; nil: what the shoot itself recorded of one, if it did
}

// mostListed is how many frames are listed by name; the others are counted, and an export has them all.
const mostListed = 60

// Policy is the Content-Security-Policy under which a sheet works: its own style, its own pictures, nothing else.
func Policy() string {
	sum := sha256.Sum256([]byte(style))
	return "default-src 'none'; img-src data:; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'"
}

// Write writes the sheet of a shoot as one HTML page that needs nothing beside it.
func Write(w io.Writer, a *account.Account, o Options) error {
	if o.Zone == nil {
		o.Zone = time.UTC
	}
	return pageTemplate.Execute(w, newSheet(a, o))
}

// sheet is what the page shows, every number in words.
type sheet struct {
	Style       template.CSS
	Policy      string
	Title, ID   string
	When        string
	Summary     string
	Rules       string
	Camera      []row
	Lights      []light
	LightsWhen  string
	Diagram     template.HTML
	Scale       string
	Notes       []string
	Baseline    *baseline
	Chart       []row
	Course      template.HTML
	Series      []legend
	Sitters     []sitter
	Thumbs      []thumb
	Runs        []run
	Off         []off
	OffMore     int
	Corrections []correction
	CorrMore    int
	NoCorr      string
	Turns       []turn
	Head        string
	Records     uint64
	Program     string
}

type row struct{ Name, Value string }

type light struct {
	Name, Power, Modifier, Distance, Direction, Height, Zoom, Guide, Limit string
}

type baseline struct {
	Title   string
	Picture template.URL
	Rows    []level
}

type level struct{ Name, Value, Target, Sigma string }

type legend struct {
	Class, Words string
	Mark         template.HTML
}

type sitter struct {
	Name, Frames string
	Count, On    int
}

// run is a run of frames that were off for one cause.
type run struct{ Frames, What string }

// thumb is one small picture: the newest of a sitter that was on target.
type thumb struct {
	Picture template.URL
	Caption string
}

type off struct{ Number, File, Sitter, What string }

type correction struct{ Number, File, Exposure, White, Why string }

type turn struct{ When, After, Text string }

func newSheet(a *account.Account, o Options) sheet {
	frames := a.Standing()
	s := sheet{Style: template.CSS(style), Policy: Policy(), ID: a.ID, Head: a.Head.String(), Records: a.Head.Seq, Program: a.Header.Program,
		Rules: strings.Join(a.Rules, ", ")}
	s.Title = "Shoot " + a.ID
	lit := a.AtBaseline // the sheet is for building the light again, so it shows how it stood when it was right
	s.LightsWhen = "as accepted with the baseline"
	if lit.Plan == nil {
		lit, s.LightsWhen = a.Final, "as they stood at the end"
	}
	p := lit.Plan
	if p != nil && p.Shoot != "" {
		s.Title = p.Shoot
	}
	s.When = a.Header.At.In(o.Zone).Format("2 January 2006, 15:04") + " to " + a.Last.In(o.Zone).Format("15:04 MST")
	s.count(frames)
	s.camera(lit, a.Baseline())
	if p != nil {
		lights := lit.Lights
		p = standing(p, lights)
		s.lights(p, lights)
		var scale float64
		s.Diagram, scale, s.Notes = diagram(p, 120, 105)
		s.Scale = fmt.Sprintf("1 : %.0f", scale)
	}
	s.baseline(a, o)
	if s.Chart = chart(o.Chart); o.Chart == nil {
		s.Chart = recordedChart(frames)
	}
	s.Course = course(a, frames, 186, 72)
	for k, g := range gather(frames) {
		var d drawing
		mark(&d, k, 2, 2, false, g.class, 0)
		s.Series = append(s.Series, legend{g.class, g.words, d.in(4, 4, g.words)})
	}
	s.thumbs(frames, o)
	for _, r := range a.Final.Drift.OffFrames {
		frames := fmt.Sprint(r.From)
		if r.To != r.From {
			frames = fmt.Sprintf("%d to %d", r.From, r.To)
		}
		what := r.Text
		if _, rest, ok := strings.Cut(what, ": "); ok && strings.HasPrefix(what, "Frame") { // they stand before it already
			what = rest
		}
		s.Runs = append(s.Runs, run{frames, what})
	}
	s.off(frames)
	s.corrections(a)
	for _, t := range a.Turns {
		s.Turns = append(s.Turns, turn{t.At.In(o.Zone).Format("15:04:05"), fmt.Sprint(t.Frame), t.Text})
	}
	if n := len(s.Turns); n > mostListed {
		s.Turns = s.Turns[n-mostListed:]
	}
	return s
}

// standing is the plan with the lights as they stood.
func standing(p *plan.Plan, lights []advise.LightState) *plan.Plan {
	q := *p
	q.Lights = slices.Clone(p.Lights)
	for i := range q.Lights {
		if i < len(lights) {
			q.Lights[i].Power, q.Lights[i].Distance = lights[i].Power, lights[i].Distance
			if b := lights[i].Bearing; b != nil {
				q.Lights[i].Direction = plan.Direction{Known: true, Degrees: float64(*b)}
			}
		}
	}
	return &q
}

// dataURL is a picture as the page holds it, "" where there is none.
func dataURL(jpeg []byte) template.URL {
	if jpeg == nil {
		return ""
	}
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(jpeg))
}

// mostThumbs is how many sitters are shown in a picture.
const mostThumbs = 24

func (s *sheet) thumbs(frames []account.Frame, o Options) {
	if o.Pictures == nil {
		return
	}
	for i, f := range frames {
		last := true // of its sitter on target
		for _, g := range frames[i+1:] {
			if g.Sitter != f.Sitter {
				break
			}
			if g.OnTarget && g.Picture > 0 {
				last = false
				break
			}
		}
		if !last || !f.OnTarget || f.Picture == 0 || len(s.Thumbs) == mostThumbs {
			continue
		}
		if url := dataURL(o.Pictures(f.Number, f.Picture, false)); url != "" {
			caption := fmt.Sprintf("frame %d", f.Number)
			if f.Sitter != "" {
				caption = f.Sitter + ", " + caption
			}
			s.Thumbs = append(s.Thumbs, thumb{url, caption})
		}
	}
}

func (s *sheet) count(frames []account.Frame) {
	on, judged := 0, 0
	for _, f := range frames {
		if len(f.Judged) > 0 {
			judged++
			if f.OnTarget {
				on++
			}
		}
		if n := len(s.Sitters); n == 0 || s.Sitters[n-1].Name != f.Sitter {
			s.Sitters = append(s.Sitters, sitter{Name: f.Sitter, Frames: fmt.Sprint(f.Number)})
		}
		last := &s.Sitters[len(s.Sitters)-1]
		first, _, _ := strings.Cut(last.Frames, " to ")
		if first != fmt.Sprint(f.Number) {
			last.Frames = fmt.Sprintf("%s to %d", first, f.Number)
		}
		last.Count++
		if f.OnTarget {
			last.On++
		}
	}
	for i := range s.Sitters {
		if s.Sitters[i].Name == "" {
			s.Sitters[i].Name = "not named"
		}
	}
	s.Summary = fmt.Sprintf("%d frames, %d of %d judged ones on target", len(frames), on, judged)
}

func (s *sheet) camera(st advise.State, b *account.Frame) {
	f, iso, t := st.FNumber, st.ISO, st.Shutter
	if b != nil && b.Kind != "" {
		f, iso, t = b.FNumber, b.ISO, b.Shutter
	}
	add := func(name string, known bool, value string) {
		if !known {
			value = "not recorded"
		}
		s.Camera = append(s.Camera, row{name, value})
	}
	add("aperture", f > 0, f.String())
	add("shutter", t > 0, t.String())
	add("speed", iso > 0, iso.String())
	if st.Plan != nil && st.Plan.Camera.Sync > 0 {
		add("sync limit", true, st.Plan.Camera.Sync.String())
	}
	if b == nil {
		return
	}
	if b.Focal > 0 {
		add("focal length", true, fmt.Sprintf("%.0f mm", b.Focal))
	}
	if b.Camera != "" {
		add("camera", true, b.Camera)
	}
	if b.Lens != "" {
		add("lens", true, b.Lens)
	}
	if b.Curve != "" {
		add("tone curve", true, b.Curve)
	}
}

func (s *sheet) lights(p *plan.Plan, lights []advise.LightState) {
	number := func(known bool, format string, a ...any) string {
		if !known {
			return ""
		}
		return fmt.Sprintf(format, a...)
	}
	for i, l := range p.Lights {
		st := lights[i]
		power := st.PowerText
		if st.Off {
			power = "off"
		}
		s.Lights = append(s.Lights, light{Name: l.Name(), Power: power, Modifier: st.Modifier, Distance: distance(st.Distance),
			Direction: number(l.Direction.Known, "%s", strings.Replace(l.Direction.String(), " ", "° ", 1)), Height: number(l.Height > 0, "%v", l.Height),
			Zoom: number(st.Zoom > 0, "%.0f mm", float64(st.Zoom)), Guide: number(l.Guide > 0, "%.0f m", float64(l.Guide)),
			Limit: number(l.Limit > 0, "%g a minute", float64(l.Limit))})
	}
}

func (s *sheet) baseline(a *account.Account, o Options) {
	b := a.Baseline()
	if b == nil {
		return
	}
	s.Baseline = &baseline{Title: fmt.Sprintf("Frame %d, %s", b.Number, b.At.In(o.Zone).Format("15:04:05"))}
	if o.Pictures != nil && b.Picture > 0 {
		s.Baseline.Picture = dataURL(o.Pictures(b.Number, b.Picture, true))
	}
	add := func(name string, r *account.Region, of advise.RegionName) {
		if r == nil {
			return
		}
		l := level{Name: name, Value: r.Value.Signed(), Sigma: fmt.Sprintf("±%.2f", float64(r.Sigma))}
		if r.AtLeast {
			l.Value = "at least " + l.Value
		}
		for _, e := range b.Judged {
			if e.Region == of {
				l.Target = e.TargetText
			}
		}
		s.Baseline.Rows = append(s.Baseline.Rows, l)
	}
	add("white floor", b.Floor, advise.BackdropFloor)
	add("backdrop, median", b.Backdrop, advise.BackdropLevel)
	add("white reference", b.White, advise.WhitePeak)
	add("hair", b.Crown, advise.Crown)
	add("sitter, median", b.Sitting, "")
	if f := b.Face; f != nil {
		add("face, median", &account.Region{Value: f.Value, Sigma: f.Sigma, AtLeast: f.AtLeast}, "")
		if k := f.KeyFill; k != nil {
			l := level{Name: "sides of the face", Value: "even", Sigma: fmt.Sprintf("±%.2f", float64(k.Sigma))}
			if k.Source != nil {
				l.Value = fmt.Sprintf("%.2f", float64(k.Difference))
				l.Target = fmt.Sprintf("%s lighter, %.1f:1 (key + fill to fill), %.1f:1 key to fill", k.Lit, k.Additive, *k.Source)
			}
			s.Baseline.Rows = append(s.Baseline.Rows, l)
		}
		s.Baseline.Rows = append(s.Baseline.Rows, level{Name: "head", Target: fmt.Sprintf("as large as %.0f %% of the frame's height, the eyes %.0f %% from the top", 100*f.Size, 100*f.EyeLine)})
	}
	if b.Backdrop != nil {
		s.Baseline.Rows = append(s.Baseline.Rows, level{Name: "backdrop, unevenness", Value: fmt.Sprintf("%.2f", float64(b.Evenness))})
	}
}

// off lists the frames to look at again.
func (s *sheet) off(frames []account.Frame) {
	for _, f := range frames {
		if !f.Off() {
			continue
		}
		var what []string
		if f.Damaged != "" {
			what = append(what, "could not be read: "+f.Damaged)
		}
		for _, e := range f.Judged {
			if !e.InTarget {
				what = append(what, fmt.Sprintf("%s %s (target %s)", e.Name, e.NowText, e.TargetText))
			}
		}
		if len(what) == 0 && len(f.Judged) > 0 && !f.OnTarget { // every region is in its target, and still it is off
			what = append(what, "more of the sitter clips than the plan allows")
		}
		for _, m := range f.Marks {
			if m != "damaged" && m != "baseline" {
				what = append(what, markWords(m))
			}
		}
		if len(what) == 0 {
			continue
		}
		if len(s.Off) == mostListed {
			s.OffMore++
			continue
		}
		s.Off = append(s.Off, off{fmt.Sprint(f.Number), f.File, f.Sitter, strings.Join(what, "; ")})
	}
}

// markWords says what a mark means; one that is not known here stands for itself.
func markWords(kind string) string {
	if w, ok := map[string]string{"absent": "a light did not fire", "unexplained": "a change that nobody recorded", "late": "arrived late",
		"question": "a change that was asked about", "drift": "the light drifted"}[kind]; ok {
		return w
	}
	return strings.ReplaceAll(kind, "_", " ")
}

// corrections lists those that a developer would see: at least half a tenth of a stop.
func (s *sheet) corrections(a *account.Account) {
	all, err := a.Corrections()
	if err != nil {
		s.NoCorr = "No baseline was accepted in this shoot, so there is nothing to correct towards."
		return
	}
	told := 0
	for _, c := range all {
		if c.Exposure != nil || c.White != nil {
			told++
		}
		big := c.Exposure != nil && math.Abs(float64(c.Exposure.Value)) >= 0.05 ||
			c.White != nil && (math.Abs(float64(c.White.Red)) >= 0.05 || math.Abs(float64(c.White.Blue)) >= 0.05)
		if !big {
			continue
		}
		if len(s.Corrections) == mostListed {
			s.CorrMore++
			continue
		}
		x := correction{Number: fmt.Sprint(c.Number), File: c.File, Why: c.Why}
		if c.Exposure != nil {
			x.Exposure = signed(c.Exposure.Value) + fmt.Sprintf(" (±%.2f)", float64(c.Exposure.Sigma))
		}
		if c.White != nil {
			x.White = "red " + signed(c.White.Red) + ", blue " + signed(c.White.Blue)
		}
		s.Corrections = append(s.Corrections, x)
	}
	switch {
	case told == 0:
		s.NoCorr = "No frame shows what could be compared with the baseline: a white reference that does not clip, in both."
	case len(s.Corrections) == 0:
		s.NoCorr = fmt.Sprintf("None: all %d frames that can be compared lie within half a tenth of a stop of the baseline.", told)
	}
}

// signed is a difference to a hundredth; what rounds to nothing has no sign.
func signed(v exposure.Stops) string {
	if math.Abs(float64(v)) < 0.005 {
		return "0.00"
	}
	return fmt.Sprintf("%+.2f", float64(v))
}
