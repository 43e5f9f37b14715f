package plan

import (
	"fmt"
	"math"
	"strings"

	"thirdstop/assess/exposure"
)

// Reach says before the first frame which power every light will need, and whether it has that.
type Reach struct {
	Camera string `json:"camera"` // "f/8, ISO 100"; "" where the plan does not say
	Lights []Need `json:"lights"` // in the plan's order
	All    string `json:"all"`    // one change of the camera that would bring every light within reach; "" none is needed or known
}

// Verdict on one light.
const (
	Within  = "within"  // on its dial whatever the modifier takes
	Maybe   = "maybe"   // on its dial if the modifier takes no more, or no less, than usual
	TooWeak = "weak"    // over the strongest setting
	TooMuch = "strong"  // under the weakest setting
	Unsaid  = "unknown" // the plan says too little
)

// Need is what one light will need. Texts are ready to be shown.
type Need struct {
	Group     string         `json:"group"`
	Light     string         `json:"light"` // "Key (B)"
	Verdict   string         `json:"verdict"`
	Power     exposure.Dial  `json:"power"`       // the likeliest setting, kept on the dial
	PowerText string         `json:"power_text"`  // as the flash shows it; "" where nothing can be said
	RangeText string         `json:"range_text"`  // "1/16 to 1/4"
	Short     exposure.Stops `json:"short_stops"` // over 0: what lacks at the strongest setting; under 0: what is too much at the weakest
	Text      string         `json:"text"`        // one sentence
	Mends     []string       `json:"mends"`       // what would bring it within reach, the least first
	Learned   bool           `json:"learned"`     // from earlier shoots, not from guide number and modifier
}

// Effective is what earlier shoots taught of a light: its guide number with what is in front of it.
// It reports false where they taught nothing.
type Effective func(l Light) (guide exposure.GuideNumber, sigma exposure.Stops, ok bool)

const (
	// WhiteUnderClip is where a white lit as its guide number demands lies: 0.15 to 0.65 stop under
	// clipping (derived from ISO 12232's saturation speed, 141 % of which clips, and a paper of 90 %).
	WhiteUnderClip exposure.Stops = -0.4
	// guideSlack is how far a maker's guide number is off, either way (common practice, no source).
	guideSlack exposure.Stops = 1.0 / 3
	greyPaper                 = 0.18 // of a grey backdrop, where nothing else is known
)

// ReachOf reckons with guide number, modifier, distance, aperture, ISO and targets. The guide
// number's rule is ISO 1230's: its product of f-number and distance is constant for a speed. known may be nil.
func (p Plan) ReachOf(known Effective) Reach {
	out := Reach{Lights: []Need{}}
	if p.Camera.FNumber > 0 && p.Camera.ISO > 0 {
		out.Camera = fmt.Sprintf("%s, %s", p.Camera.Aperture(), p.Camera.ISO)
	}
	var demands []demand
	for i := range p.Lights {
		d := p.demand(i, known)
		demands = append(demands, d)
		out.Lights = append(out.Lights, p.need(d))
	}
	out.All = p.cameraFor(demands)
	return out
}

// demand is what a light must give above its dial: in stops from full power, the least and the most.
type demand struct {
	light      Light
	missing    string         // what the plan would have to say
	least      exposure.Stops // dial setting in stops from full if all goes well
	middle     exposure.Stops
	most       exposure.Stops
	loss       Loss
	learned    bool
	needsWords string
}

// over is how far over the guide number's right exposure a light must be for the plan's targets,
// and how far that is known.
func (p Plan) over(l Light) (stops, slack exposure.Stops, words string) {
	white := p.Targets.WhitePeak.Middle() - WhiteUnderClip
	switch l.Role {
	case Fill:
		return white - 1, 0.5, "a stop under the key" // 3:1 of both to the fill; common practice, no source
	case Hair:
		return white - 0.5, 1, "about as much as the key; hair differs" // common practice, no source
	case Background:
		n := 0
		for _, o := range p.Lights {
			if o.Role == Background {
				n++
			}
		}
		shared := exposure.Stops(math.Log2(float64(n)))
		switch p.Backdrop.Colour {
		case White:
			return p.Targets.WhiteFloor.Middle() - WhiteUnderClip - shared, 0.25, "the white backdrop at its edge"
		case Grey:
			return p.Targets.BackdropLevel.Middle() - WhiteUnderClip - exposure.Stops(math.Log2(greyPaper/0.9)) - shared, 0.7, "the grey backdrop, if its cloth is a mid-grey"
		}
		return p.Targets.BackdropLevel.Middle() - WhiteUnderClip + 1 - shared, 1.5, "the backdrop; how much light its colour sends back is not known"
	}
	return white, 0.15, "the white reference on target"
}

func (p Plan) demand(i int, known Effective) demand {
	l := p.Lights[i]
	d := demand{light: l, loss: LossOf(l.Modifier)}
	guide, slack := l.Guide, guideSlack
	loss := d.loss
	if known != nil {
		if g, sigma, ok := known(l); ok {
			guide, slack, loss, d.learned = g, 2*sigma, Loss{Known: true}, true
			d.loss = loss
		}
	}
	if l.Role == Fill || l.Role == Hair {
		slack += 0.5 // seen at a slant; common practice, no source
	}
	var lacks []string
	if guide == 0 {
		lacks = append(lacks, "guide_number")
	}
	if !(l.Distance > 0) {
		lacks = append(lacks, "distance")
	}
	if p.Camera.FNumber == 0 {
		lacks = append(lacks, "camera.aperture")
	}
	if p.Camera.ISO == 0 {
		lacks = append(lacks, "camera.iso")
	}
	full, ok := guide.Level(l.Distance, exposure.FullPower, p.Camera.ISO, p.Camera.FNumber)
	if !ok || len(lacks) > 0 {
		d.missing = andList(lacks)
		return d
	}
	full += p.Camera.transmits()
	over, unsure, words := p.over(l)
	d.needsWords = words
	d.middle = over - (full - loss.Middle())
	d.least = over - (full - loss.Less) - slack - unsure
	d.most = over - (full - loss.More) + slack + unsure
	return d
}

// clickUp is the weakest setting that gives no less than so many stops from full.
func clickUp(l Light, s exposure.Stops) exposure.Dial {
	click := max(l.Scale.Click, 1)
	return exposure.Dial(math.Ceil(float64(s)*float64(exposure.Stop)/float64(click)-1e-6)) * click
}

func (p Plan) need(d demand) Need {
	l := d.light
	n := Need{Group: l.Group, Light: l.Name(), Mends: []string{}, Learned: d.learned}
	if d.missing != "" {
		n.Verdict = Unsaid
		n.Text = fmt.Sprintf("%s: nothing can be said before the first frame; the plan lacks %s.", n.Light, d.missing)
		return n
	}
	on := func(x exposure.Dial) exposure.Dial { return max(l.Least, min(l.Most, x)) }
	middle, least, most := exposure.Clicks(d.middle, max(l.Scale.Click, 1)), clickUp(l, d.least), clickUp(l, d.most)
	n.Power = on(middle)
	n.PowerText = l.Scale.Format(n.Power)
	n.RangeText = l.Scale.Format(on(least)) + " to " + l.Scale.Format(on(most))
	switch {
	case middle > l.Most:
		n.Verdict, n.Short = TooWeak, (d.middle - l.Most.Stops()).Round()
		n.Text = fmt.Sprintf("%s: out of reach by about %s even at %s.", n.Light, stopsText(n.Short), l.Scale.Format(l.Most))
		n.Mends = p.mends(d, n.Short)
	case middle < l.Least:
		n.Verdict, n.Short = TooMuch, (d.middle - l.Least.Stops()).Round()
		n.Text = fmt.Sprintf("%s: too strong by about %s even at %s.", n.Light, stopsText(-n.Short), l.Scale.Format(l.Least))
		n.Mends = p.mends(d, n.Short)
	case most > l.Most || least < l.Least:
		n.Verdict = Maybe
		n.Text = fmt.Sprintf("%s: about %s (%s), for %s; an end of its dial may be met.", n.Light, n.PowerText, n.RangeText, d.needsWords)
	default:
		n.Verdict = Within
		n.Text = fmt.Sprintf("%s: about %s (%s), for %s.", n.Light, n.PowerText, n.RangeText, d.needsWords)
	}
	return n
}

// Nearest and farthest that a portrait light is put (common practice, no source; nearer is too hot
// and too close to eyes).
const (
	nearestStand  exposure.Metres = 0.5
	farthestStand exposure.Metres = 6
)

// mends are what would take a light back onto its dial by itself, the cheapest first. short is what lacks.
func (p Plan) mends(d demand, short exposure.Stops) []string {
	out := []string{}
	l := d.light
	to := exposure.Metres(math.Floor(float64(l.Distance)*math.Exp2(-float64(short)/2)*20) / 20) // to 5 cm, rather nearer
	if short < 0 {
		to = exposure.Metres(math.Ceil(float64(l.Distance)*math.Exp2(-float64(short)/2)*20) / 20)
	}
	if to >= nearestStand && to <= farthestStand {
		verb := "bring it nearer, from %s to %s"
		if short < 0 {
			verb = "move it back, from %s to %s"
		}
		out = append(out, fmt.Sprintf(verb, l.Distance, to))
	}
	if short > 0 && d.loss.Middle() >= short {
		out = append(out, fmt.Sprintf("take %s off, or use one that takes %s less", l.Modifier, stopsText(short)))
	}
	if t := p.cameraBy(short); t != "" {
		out = append(out, t+", which moves every light and the room's light with it")
	}
	return out
}

// cameraBy says which aperture or ISO makes up for what lacks.
func (p Plan) cameraBy(short exposure.Stops) string {
	thirds := int(math.Ceil(float64(short)*3 - 1e-6))
	if short < 0 {
		thirds = -int(math.Ceil(-float64(short)*3 - 1e-6))
	}
	var ways []string
	if n, ok := p.Camera.FNumber.Step(-thirds); ok && n >= 1 && n <= 32 {
		verb := "open from %s to %s"
		if thirds < 0 {
			verb = "close from %s to %s"
		}
		to := p.Camera
		to.FNumber = n
		ways = append(ways, fmt.Sprintf(verb, p.Camera.Aperture(), to.Aperture()))
	}
	if s, ok := p.Camera.ISO.Step(thirds); ok && s >= 50 && s <= 6400 {
		ways = append(ways, fmt.Sprintf("set %s instead of %s", s, p.Camera.ISO))
	}
	return strings.Join(ways, " or ")
}

// cameraFor is the least change of the camera after which every light is on its dial, if one is off it.
func (p Plan) cameraFor(all []demand) string {
	low, high := exposure.Stops(math.Inf(-1)), exposure.Stops(math.Inf(1)) // of what may be added to the camera's gain
	off := false
	for _, d := range all {
		if d.missing != "" {
			continue
		}
		least, most := d.middle-d.light.Most.Stops(), d.middle-d.light.Least.Stops()
		off = off || least > d.light.Scale.Click.Stops()/2 || most < -d.light.Scale.Click.Stops()/2
		low, high = max(low, least), min(high, most)
	}
	if !off {
		return ""
	}
	if low > high {
		return "No one change of the camera brings every light within reach: one is too weak where another is too strong."
	}
	by := low
	if high < 0 {
		by = high
	}
	if t := p.cameraBy(by); t != "" {
		return upper(t) + ": then every light is within reach."
	}
	return ""
}

func upper(t string) string { return strings.ToUpper(t[:1]) + t[1:] }

func stopsText(s exposure.Stops) string {
	if s < 1.05 {
		return fmt.Sprintf("%.1f stop", s)
	}
	return fmt.Sprintf("%.1f stops", s)
}
