package colour

import (
	"fmt"
	"math"
	"slices"

	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
	"thirdstop/assess/tone"
)

// DefaultHeadroom is how far a perfect white should stay under clipping: half a stop, the room that
// ISO 12232:2006 leaves in its saturation-based speed (141 % clips).
const DefaultHeadroom exposure.Stops = 0.5

// Options say how to read a chart. The zero value reads one printed in or after November 2014 from an sRGB
// file through the default tone curve.
type Options struct {
	Edition Edition
	Space   Space
	// Curve turns code values into light; nil stands for [tone.Default]. For the colours as a
	// screen shows them, choose [tone.SRGB].
	Curve *tone.Curve
	// Headroom is how far a perfect white should stay under clipping, for the exposure error. 0 stands
	// for [DefaultHeadroom].
	Headroom exposure.Stops
}

// Chart is what a chart says of a frame's light and colour. A nil field could not be
// measured; Warnings say why.
type Chart struct {
	Edition    Edition             `json:"edition"` // of the references
	Curve      string              `json:"curve"`   // what turned code values into light
	Corners    [4]Spot             `json:"corners"` // clockwise from dark skin's
	Turn       float64             `json:"turn_deg"`
	Pitch      float64             `json:"pitch_px"` // smallest distance between patches
	Confidence float64             `json:"confidence"`
	Patches    [ChartPatches]Shown `json:"patches"`
	White      *WhiteBalance       `json:"white_balance"`
	Exposure   *Exposure           `json:"exposure"`
	AsExposed  Summary             `json:"as_exposed"` // colours as they are, with the headroom asked for
	Normalised *Summary            `json:"normalised"` // after exposure and white balance are put right by the neutrals
	Evenness   *Evenness           `json:"evenness"`
	Warnings   []Warning           `json:"warnings"` // never null
}

// Shown is one patch as the frame shows it.
type Shown struct {
	Name       string      `json:"name"`
	Code       [3]float64  `json:"code"`       // mean code values, 0 to 255
	Light      [3]float64  `json:"light"`      // linear, 1 is the edge of clipping
	AsExposed  Lab         `json:"as_exposed"` // under D50
	Difference Difference  `json:"de00_as_exposed"`
	Normalised *Lab        `json:"normalised"` // under D50
	Error      *Difference `json:"de00"`       // of the normalised colour
	Reference  Lab         `json:"reference"`  // as published, under D50
	Clipped    bool        `json:"clipped"`    // over 1 % of its samples clip in some channel
	Blocks     int         `json:"blocks"`     // blocks of 8x8 pixels that were measured
	dark       bool
}

// WhiteBalance is the colour of the light as the camera rendered it. The camera's own white balance is already
// in it, and how it was set is unknown: a light that the camera was balanced for comes out as D65,
// 6500 K and a Duv of 0.003, whatever it is. So the temperature is no measurement of the lamp;
// its distance from D65 is what the frame is off by.
type WhiteBalance struct {
	Gains  [3]float64   `json:"gains"`         // factors on linear red, green and blue that make the neutrals neutral; green's is 1
	Light  *Temperature `json:"light"`         // as rendered; null where it is off any locus
	Shift  *Mired       `json:"shift_mired"`   // from D65; over 0: the frame is too warm
	Tint   *Duv         `json:"tint_duv"`      // from D65; over 0: the frame is too green
	Used   int          `json:"neutrals_used"` // neutral patches that were neither clipped nor too dark
	Spread float64      `json:"spread_stops"`  // standard deviation of the gains between neutrals; a colour cast that differs between light and dark
	rgb    RGB
}

// Exposure is where the neutrals put a perfect white.
type Exposure struct {
	White exposure.Stops `json:"white_stops"` // level of a perfect white, 0 is the edge of clipping; may be over it
	Error exposure.Stops `json:"error_stops"` // over 0: over-exposed against the headroom asked for
	Sigma exposure.Stops `json:"sigma_stops"` // one standard deviation, from the curve and the scatter between neutrals
	Used  int            `json:"neutrals_used"`
}

// Summary is CIEDE2000 over the patches that aren't clipped.
type Summary struct {
	Mean    Difference `json:"mean_de00"`
	Median  Difference `json:"median_de00"`
	Worst   Difference `json:"worst_de00"`
	Patch   string     `json:"worst_patch"`
	Patches int        `json:"patches"`
}

// Evenness is how evenly the chart is lit, from all its patches.
type Evenness struct {
	Range  exposure.Stops `json:"range_stops"` // brightest over darkest corner
	Sigma  exposure.Stops `json:"sigma_stops"` // one standard deviation of Range
	Darker string         `json:"darker"`      // which side of the chart in the frame: left, right, top or bottom
	Uneven bool           `json:"uneven"`
}

// Warning is what a person should know before trusting the chart.
type Warning struct {
	Code string `json:"code"` // stable: one of the Warn... constants
	Text string `json:"text"` // a sentence
}

// The warnings.
const (
	WarnUneven   = "uneven"
	WarnClipped  = "clipped"
	WarnDark     = "dark"
	WarnNeutrals = "no_neutrals"
	WarnLight    = "off_locus"
	WarnSmall    = "few_blocks"
	WarnMixed    = "mixed_cast"
	WarnCurve    = "default_curve"
)

// How a patch is measured. Its reading part ends well inside it, and blocks count that lie in it
// wholly; of a patch too small for any, the innermost block counts if it lies within the patch, of
// which 0.8 of the pitch is the least there is (common practice, no source).
const (
	readingHalf   = 0.31
	patchHalf     = 0.40
	clippedShare  = 0.01
	mixedClipCode = 250.0 // a block's mean that is as good as clipped, where there is no cell to count in
	darkCode      = 6.0   // under this a code is as much flare and rounding as light
	unevenStops   = 0.25
	unevenSigmas  = 3
	mixedStops    = 0.15
	fewBlocks     = 4
)

// Read measures the chart in the survey it was found in.
func (f *Sighting) Read(s *photo.Survey, o Options) *Chart {
	if o.Curve == nil {
		o.Curve = tone.Default()
	}
	if o.Headroom == 0 {
		o.Headroom = DefaultHeadroom
	}
	c := &Chart{Edition: o.Edition, Curve: o.Curve.Name(), Corners: f.Corners, Turn: f.Turn, Pitch: f.Pitch, Confidence: f.Confidence}
	inverse, ok := f.plane.inverse()
	var light [ChartPatches]RGB
	least := math.MaxInt
	for i := range c.Patches {
		p := &c.Patches[i]
		p.Name, p.Reference = Patches[i].Name, Patches[i].Reference(o.Edition)
		if ok {
			f.patch(s, &inverse, i, o, p)
		}
		light[i] = RGB(p.Light)
		least = min(least, p.Blocks)
		p.AsExposed = d65ToD50.Of(scaled(o.Space.XYZ(light[i]), o.Headroom.Factor())).Lab(D50)
		p.Difference = CIEDE2000(p.AsExposed, p.Reference)
	}
	c.AsExposed = summary(&c.Patches, func(p *Shown) Difference { return p.Difference })
	c.neutrals(&light, o)
	if c.White != nil {
		scale := exposure.Stops(-c.Exposure.White).Factor()
		for i := range c.Patches {
			var rgb RGB
			for ch := range rgb {
				rgb[ch] = light[i][ch] * c.White.Gains[ch]
			}
			// The gains leave green alone, so they change the luminance of a neutral; what is over is put back.
			xyz := scaled(o.Space.XYZ(rgb), scale/c.White.luminance(o.Space))
			lab := d65ToD50.Of(xyz).Lab(D50)
			d := CIEDE2000(lab, c.Patches[i].Reference)
			c.Patches[i].Normalised, c.Patches[i].Error = &lab, &d
		}
		sum := summary(&c.Patches, func(p *Shown) Difference { return *p.Error })
		c.Normalised = &sum
	}
	c.evenness(f, &light, o)
	c.warn(least, o)
	return c
}

func scaled(c XYZ, f float64) XYZ { return XYZ{c.X * f, c.Y * f, c.Z * f} }

// luminance is what the gains make of the neutral's luminance.
func (w *WhiteBalance) luminance(space Space) float64 {
	balanced := w.rgb
	for ch := range balanced {
		balanced[ch] *= w.Gains[ch]
	}
	return space.XYZ(balanced).Y / space.XYZ(w.rgb).Y
}

// patch measures one patch.
func (f *Sighting) patch(s *photo.Survey, inverse *homography, i int, o Options, p *Shown) {
	at := chartPoint(i)
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for k := range 4 {
		q, ok := f.plane.at(at.x+patchHalf*float64(k%2*2-1), at.y+patchHalf*float64(k/2*2-1))
		if !ok {
			return
		}
		x0, y0, x1, y1 = min(x0, q.x), min(y0, q.y), max(x1, q.x), max(y1, q.y)
	}
	// depth is how far from the middle the corners of a rectangle of the frame lie, in pitches.
	depth := func(ax, ay, bx, by float64) float64 {
		worst := 0.0
		for _, c := range [4]point{{ax, ay}, {bx, ay}, {ax, by}, {bx, by}} {
			q, ok := inverse.at(c.x, c.y)
			if !ok {
				return math.Inf(1)
			}
			worst = max(worst, math.Abs(q.x-at.x), math.Abs(q.y-at.y))
		}
		return worst
	}
	edge := func(edges []int, k int) float64 { return float64(edges[k]) / photo.BlockSize }
	c0, r0 := max(int(x0)-1, 0), max(int(y0)-1, 0)
	c1, r1 := min(int(x1)+1, s.BlockCols-1), min(int(y1)+1, s.BlockRows-1)
	var sum, square [3]float64
	nearest, innermost := patchHalf, -1
	count := func(b *photo.Block) {
		code := blockCode(b)
		for ch, v := range code {
			sum[ch] += v
			square[ch] += v * v
		}
		p.Blocks++
	}
	for r := r0; r <= r1; r++ {
		for c := c0; c <= c1; c++ {
			d := depth(edge(s.BlockColEdges, c), edge(s.BlockRowEdges, r), edge(s.BlockColEdges, c+1), edge(s.BlockRowEdges, r+1))
			if d <= readingHalf {
				count(s.BlockAt(c, r))
			} else if d < nearest {
				nearest, innermost = d, r*s.BlockCols+c
			}
		}
	}
	if p.Blocks == 0 {
		if innermost < 0 {
			q, _ := f.plane.at(at.x, at.y)
			c, r := blockAt(s, q)
			if c < 0 {
				return
			}
			innermost = r*s.BlockCols + c
		}
		count(&s.Blocks[innermost])
	}
	n := float64(p.Blocks)
	var between [3]float64
	for ch := range sum {
		p.Code[ch] = sum[ch] / n
		between[ch] = max(square[ch]/n-squared(p.Code[ch]), 0)
	}

	// What lies within cells wholly inside the patch tells variance and clipping exactly.
	var clipped photo.Clipped
	var within [3]float64
	for r := max(int(y0/2)-1, 0); r <= min(int(y1/2)+1, s.Rows-1); r++ {
		for c := max(int(x0/2)-1, 0); c <= min(int(x1/2)+1, s.Cols-1); c++ {
			if depth(edge(s.ColEdges, c), edge(s.RowEdges, r), edge(s.ColEdges, c+1), edge(s.RowEdges, r+1)) > readingHalf {
				continue
			}
			cell := s.At(c, r)
			clipped.Add(cell)
			for ch := range within {
				within[ch] += float64(cell.Var[ch]) * float64(cell.Pixels)
			}
		}
	}
	variance := between
	if clipped.Pixels > 0 {
		for ch := range variance {
			variance[ch] = max(variance[ch], within[ch]/float64(clipped.Pixels))
		}
		if s.Exact {
			_, any := clipped.Shares()
			p.Clipped = any > clippedShare
		}
	}
	if clipped.Pixels == 0 || !s.Exact {
		p.Clipped = max(p.Code[0], p.Code[1], p.Code[2]) >= mixedClipCode
	}
	p.dark = min(p.Code[0], p.Code[1], p.Code[2]) < darkCode
	for ch := range p.Light {
		code := p.Code[ch]
		if o.Space == AdobeRGB && o.Curve.Source() == tone.FromDefault {
			// Curves made by formula are of sRGB codes: the same light in these. A learned one is of
			// the codes that it was learned from.
			code = SRGB.Encode(AdobeRGB.Decode(code))
		}
		p.Light[ch] = o.Curve.Mean(ch, code, variance[ch])
	}
}

func summary(all *[ChartPatches]Shown, of func(*Shown) Difference) Summary {
	var s Summary
	var d []Difference
	for i := range all {
		p := &all[i]
		if p.Clipped {
			continue
		}
		v := of(p)
		d = append(d, v)
		s.Mean += v
		if v > s.Worst || s.Patch == "" {
			s.Worst, s.Patch = v, p.Name
		}
	}
	if s.Patches = len(d); s.Patches == 0 {
		return s
	}
	s.Mean /= Difference(len(d))
	slices.Sort(d)
	s.Median = (d[(len(d)-1)/2] + d[len(d)/2]) / 2
	return s
}

// neutrals takes white balance and exposure from the last row, against the light its patches reflect.
// The weights follow from how well the curve knows the level; the black patch is left out, for
// flare lifts it by more than everything else changes it.
func (c *Chart) neutrals(light *[ChartPatches]RGB, o Options) {
	var logs [3][]float64 // stops over the reference, per channel
	var lum, weight, curve []float64
	for i := FirstNeutral; i < ChartPatches-1; i++ {
		p := &c.Patches[i]
		if p.Clipped || p.dark || min(light[i][0], light[i][1], light[i][2]) <= 0 {
			continue
		}
		ref := o.Space.RGB(Patches[i].d65(o.Edition))
		for ch := range logs {
			logs[ch] = append(logs[ch], math.Log2(light[i][ch]/ref[ch]))
		}
		lum = append(lum, math.Log2(o.Space.XYZ(light[i]).Y/o.Space.XYZ(ref).Y))
		sigma := float64(o.Curve.Sigma(1, p.Code[1]))
		curve = append(curve, sigma)
		weight = append(weight, 1/(sigma*sigma+squared(0.05)))
	}
	if len(lum) == 0 {
		return
	}
	mean := func(v []float64) (m, spread float64) {
		var w float64
		for i := range v {
			m += weight[i] * v[i]
			w += weight[i]
		}
		m /= w
		for i := range v {
			spread += weight[i] * squared(v[i]-m) / w
		}
		return m, math.Sqrt(spread)
	}
	white := WhiteBalance{Used: len(lum)}
	g, _ := mean(logs[1])
	for ch := range logs {
		m, _ := mean(logs[ch])
		white.rgb[ch] = math.Exp2(m)
		white.Gains[ch] = math.Exp2(g - m)
		ratio := make([]float64, len(lum))
		for i := range ratio {
			ratio[i] = logs[ch][i] - logs[1][i]
		}
		_, spread := mean(ratio)
		white.Spread = max(white.Spread, spread)
	}
	if t, err := TemperatureOf(o.Space.XYZ(white.rgb)); err == nil {
		white.Light = &t
		shift, tint := t.CCT.Mired()-d65Temperature().CCT.Mired(), t.Duv-d65Temperature().Duv
		white.Shift, white.Tint = &shift, &tint
	}
	c.White = &white

	m, spread := mean(lum)
	sigma, _ := mean(curve)
	e := Exposure{White: exposure.Stops(m), Error: exposure.Stops(m) + o.Headroom, Used: len(lum)}
	e.Sigma = exposure.Stops(math.Hypot(sigma, spread/math.Sqrt(float64(len(lum)))))
	c.Exposure = &e
}

// d65Temperature is what a light that the camera is balanced for comes out as.
func d65Temperature() Temperature {
	t, _ := TemperatureOf(D65) // on the locus of daylight, so there is no error
	return t
}

func (c *Chart) say(code, format string, args ...any) {
	c.Warnings = append(c.Warnings, Warning{code, fmt.Sprintf(format, args...)})
}

// warn says what spoils the reading.
func (c *Chart) warn(least int, o Options) {
	var clipped, dark []string
	for i := range c.Patches {
		p := &c.Patches[i]
		if p.Clipped {
			clipped = append(clipped, p.Name)
		} else if p.dark && i >= FirstNeutral && i < ChartPatches-1 {
			dark = append(dark, p.Name)
		}
	}
	if len(clipped) > 0 {
		c.say(WarnClipped, "clipped: %s; these patches say nothing, and exposure and white balance rest on the others; power down and take the chart again", list(clipped))
	}
	if len(dark) > 0 {
		c.say(WarnDark, "too dark to measure: %s", list(dark))
	}
	if c.White == nil {
		c.say(WarnNeutrals, "no neutral patch can be measured, so there is no white balance, no exposure and no corrected colour")
	} else {
		if c.White.Light == nil || !c.White.Light.Meaningful {
			c.say(WarnLight, "the neutrals are so far from white that a colour temperature means nothing")
		}
		if c.White.Spread > mixedStops {
			c.say(WarnMixed, "light and dark neutrals differ in colour by %.2f stop: the camera's rendering, flare or a second light tints one end", c.White.Spread)
		}
	}
	if e := c.Evenness; e != nil && e.Uneven {
		c.say(WarnUneven, "lit unevenly: %.2f stop from corner to corner, darker to the %s; turn the chart square to the light or move it further from it", e.Range, e.Darker)
	}
	if least < fewBlocks {
		c.say(WarnSmall, "the chart is small in the frame: some patches rest on fewer than %d blocks of 8 by 8 pixels", fewBlocks)
	}
	if o.Curve.Source() == tone.FromDefault && o.Curve == tone.Default() {
		c.say(WarnCurve, "no curve of this camera is known: the colours went through a default, which alone makes a difference of several units")
	}
}

// list joins names as a sentence does.
func list(names []string) string {
	out := names[0]
	for i, n := range names[1:] {
		if i == len(names)-2 {
			out += " and " + n
		} else {
			out += ", " + n
		}
	}
	return out
}
