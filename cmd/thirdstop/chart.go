package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"thirdstop/assess/colour"
	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
	"thirdstop/assess/tone"
)

const chartHelp = `Read a 24-patch colour chart in camera files.

    thirdstop chart [flags] FILE...

The chart may be turned any way and tilted a little; all of it must be in the frame,
and its patches at least 28 pixels apart. Light it as the sitter will be lit, square
to the key, without a shine on it. Colours are held against the published values
of the chart's edition, as CIEDE2000: about 1 is just seen side by side.

    --edition after-2014|before-2014
                         when the chart was printed: the formulation changed in
                         November 2014; the date is on the chart (after-2014)
    --curve camera|default|srgb
                         how code values become light: the curve learned for the
                         file's camera if there is one, else the default; the
                         default; or plain sRGB, for colours as a screen shows
                         them (camera)
    --headroom STOPS     how far under clipping a perfect white belongs, over 0
                         to 4; the exposure error is counted from there (0.5)
    --data FOLDER        where learned curves are kept
    --json               one JSON object per line per file, in the order given:
                         "file", then "chart", or "error" where there is none
    --                   what follows are files, even if it begins with a dash

The colour temperature is that of the light as the camera rendered it: 6500 K with a
Duv of +0.003 where the camera's white balance fits the light, whatever light it is.

Exit code: 0 all read, 1 some not (or no chart found), 2 wrong use.
`

// runChart reads charts.
func runChart(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("chart", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	asJSON := flags.Bool("json", false, "")
	edition := flags.String("edition", "after-2014", "")
	curve := flags.String("curve", "camera", "")
	headroom := flags.Float64("headroom", float64(colour.DefaultHeadroom), "")
	data := flags.String("data", "", "")
	if len(args) == 1 && args[0] == "help" {
		args = []string{"--help"}
	}
	if code, done := parse(flags, args, chartHelp, stdout, stderr); done {
		return code
	}
	wrong := func(format string, a ...any) int {
		fmt.Fprintf(stderr, "thirdstop chart: "+format+"\n\n%s", append(a, chartHelp)...)
		return 2
	}
	o := colour.Options{Headroom: exposure.Stops(*headroom)}
	switch *edition {
	case "after-2014":
	case "before-2014":
		o.Edition = colour.Before2014
	default:
		return wrong("--edition is after-2014 or before-2014, not %q", *edition)
	}
	m := measurer{&tone.Store{}}
	switch *curve {
	case "camera":
		if *data == "" {
			var err error
			if *data, err = dataFolder(); err != nil {
				fmt.Fprintln(stderr, "thirdstop chart:", err)
				return 1
			}
		}
		store, err := tone.OpenStore(curvesPath(*data))
		if err != nil {
			// What could be read of the store serves all the same.
			fmt.Fprintln(stderr, "thirdstop chart:", err)
		}
		if store != nil {
			m.curves = store
		}
	case "default":
		o.Curve = tone.Default()
	case "srgb":
		o.Curve = tone.SRGB()
	default:
		return wrong("--curve is camera, default or srgb, not %q", *curve)
	}
	if !(*headroom > 0 && *headroom <= 4) {
		return wrong("--headroom is over 0 and at most 4 stops, not %v", *headroom)
	}
	if flags.NArg() == 0 {
		return wrong("name at least one file")
	}

	failed := false
	for n, name := range flags.Args() {
		if ctx.Err() != nil {
			fmt.Fprintf(stderr, "thirdstop chart: stopped before %s\n", name)
			return 1
		}
		c, labels, err := chartIn(name, m, o)
		if err != nil {
			failed = true
			fmt.Fprintf(stderr, "thirdstop chart: %v\n", err)
		}
		switch {
		case *asJSON:
			err = chartJSON(stdout, name, c, labels, err)
		case err == nil:
			err = printChart(stdout, n > 0, name, c, labels)
		default:
			err = nil
		}
		if err != nil {
			fmt.Fprintf(stderr, "thirdstop chart: can't write what %s shows: %v\n", name, err)
			return 1
		}
	}
	if failed {
		return 1
	}
	return 0
}

// chartIn reads the chart in one file, and what the file says of its own colours.
func chartIn(name string, m measurer, o colour.Options) (*colour.Chart, []photo.Label, error) {
	data, err := readWhole(name)
	if err != nil {
		return nil, nil, err
	}
	p, err := photo.Read(name, data)
	if err != nil {
		return nil, nil, err
	}
	p.Release()
	if o.Curve == nil {
		o.Curve = m.curveFor(p)
	}
	var labels []photo.Label
	for _, l := range p.Labels {
		switch l.Code {
		case photo.LabelAdobeRGB:
			o.Space = colour.AdobeRGB // its codes are taken as such here, so there is nothing to remark
		case photo.LabelEdited, photo.LabelProfile, photo.LabelPreview, photo.LabelExport:
			labels = append(labels, l)
		}
	}
	found, err := colour.Find(p.Survey)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", name, err)
	}
	return found.Read(p.Survey, o), labels, nil
}

func chartJSON(w io.Writer, name string, c *colour.Chart, labels []photo.Label, failed error) error {
	type label struct {
		Code string `json:"code"`
		Text string `json:"text"`
	}
	line := struct {
		File   string        `json:"file"`
		Error  string        `json:"error,omitempty"`
		Chart  *colour.Chart `json:"chart,omitempty"`
		Labels []label       `json:"labels,omitempty"`
	}{File: name, Chart: c}
	if failed != nil {
		line.Error = beside(name, failed)
	}
	for _, l := range labels {
		line.Labels = append(line.Labels, label{l.Code, l.Text})
	}
	return jsonLine(w, line)
}

// printChart writes a chart for people.
func printChart(w io.Writer, gap bool, name string, c *colour.Chart, labels []photo.Label) error {
	var b strings.Builder
	line := func(what, format string, args ...any) {
		fmt.Fprintf(&b, "    %-16s "+format+"\n", append([]any{what}, args...)...)
	}
	if gap {
		b.WriteString("\n")
	}
	fmt.Fprintf(&b, "%s\n", filepath.Base(name))
	line("chart", "found, confidence %.0f %%; turned by %.0f degrees, patches %.0f pixels apart", 100*c.Confidence, c.Turn, c.Pitch)
	line("references", "edition %s, through the curve %s", c.Edition, c.Curve)
	if e := c.Exposure; e != nil {
		line("exposure", "%s ± %.2f against the headroom asked for; a perfect white lies %s", e.Error, float64(e.Sigma), whiteText(e.White))
	} else {
		line("exposure", "not measured")
	}
	if v := c.White; v != nil {
		line("white balance", "gains red %.3f, green %.3f, blue %.3f", v.Gains[0], v.Gains[1], v.Gains[2])
		if v.Light != nil {
			line("light", "%s as rendered, Duv %+.4f (%+.4f from daylight): %s", v.Light.CCT, float64(v.Light.Duv), float64(v.Light.DaylightDuv), offText(v))
		}
	} else {
		line("white balance", "not measured")
	}
	if e := c.Evenness; e != nil {
		line("evenness", "%.2f ± %.2f stop from corner to corner%s", float64(e.Range), float64(e.Sigma), map[bool]string{true: ", darker to the " + e.Darker}[e.Uneven])
	}
	sum := func(what string, s *colour.Summary) {
		if s == nil || s.Patches == 0 {
			line(what, "not measured")
			return
		}
		line(what, "CIEDE2000 mean %.1f, median %.1f, worst %.1f (%s), over %d patches", s.Mean, s.Median, s.Worst, s.Patch, s.Patches)
	}
	sum("as exposed", &c.AsExposed)
	sum("put right", c.Normalised)
	fmt.Fprintf(&b, "\n      %-15s %15s %9s %9s  %s\n", "patch", "code", "exposed", "put right", "L*, a*, b* put right (published)")
	for i := range c.Patches {
		p := &c.Patches[i]
		right, lab := "-", "-"
		if p.Error != nil && !p.Clipped {
			right = fmt.Sprintf("%.1f", *p.Error)
			lab = fmt.Sprintf("%5.1f %+6.1f %+6.1f", p.Normalised.L, p.Normalised.A, p.Normalised.B)
		}
		exposed := fmt.Sprintf("%.1f", p.Difference)
		if p.Clipped {
			exposed, lab = "clipped", fmt.Sprintf("%20s", "-")
		}
		fmt.Fprintf(&b, "      %-15s %15s %9s %9s  %s (%.1f %+.1f %+.1f)\n", p.Name,
			fmt.Sprintf("%.0f %.0f %.0f", p.Code[0], p.Code[1], p.Code[2]), exposed, right, lab, p.Reference.L, p.Reference.A, p.Reference.B)
	}
	for _, v := range c.Warnings {
		line("note", "%s", v.Text)
	}
	for _, l := range labels {
		line("note", "%s", l.Text)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// whiteText says where a perfect white lies.
func whiteText(level exposure.Stops) string {
	if level > 0.005 {
		return fmt.Sprintf("%.2f stops over clipping", float64(level))
	}
	return fmt.Sprintf("%.2f stops under clipping", depth(level))
}

// offText says in words how the light differs from what the camera was balanced for. Five mired are
// about the least that is seen in a picture, and 0.003 of Duv (both common practice, no source).
func offText(v *colour.WhiteBalance) string {
	var parts []string
	switch m := float64(*v.Shift); {
	case m > 5:
		parts = append(parts, fmt.Sprintf("too warm by %.0f mired", m))
	case m < -5:
		parts = append(parts, fmt.Sprintf("too cool by %.0f mired", -m))
	}
	switch d := float64(*v.Tint); {
	case d > 0.003:
		parts = append(parts, "too green")
	case d < -0.003:
		parts = append(parts, "too magenta")
	}
	if len(parts) == 0 {
		return "the camera's white balance fits"
	}
	return strings.Join(parts, " and ")
}
