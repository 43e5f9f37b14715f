package sheet

import (
	"fmt"
	"strings"

	"thirdstop/advise/account"
	"thirdstop/assess/colour"
)

// chart says what a colour chart showed, in words; nil where there was none.
func chart(c *colour.Chart) []row {
	if c == nil {
		return nil
	}
	out := []row{}
	add := func(name, format string, a ...any) { out = append(out, row{name, fmt.Sprintf(format, a...)}) }
	if n := c.Normalised; n != nil {
		add("colours, CIEDE2000", "median %.1f, mean %.1f, worst %.1f (%s), after exposure and white balance are put right", float64(n.Median), float64(n.Mean), float64(n.Worst), n.Patch)
	} else {
		add("colours, CIEDE2000", "median %.1f, worst %.1f (%s), as exposed", float64(c.AsExposed.Median), float64(c.AsExposed.Worst), c.AsExposed.Patch)
	}
	if w := c.White; w != nil {
		text := fmt.Sprintf("red × %.3f, blue × %.3f in linear light make the neutrals neutral", w.Gains[0], w.Gains[2])
		if w.Light != nil {
			text += fmt.Sprintf("; as rendered %.0f K, Duv %+.3f", float64(w.Light.CCT), float64(w.Light.Duv))
		}
		add("white balance", "%s", text)
	}
	if e := c.Exposure; e != nil {
		add("exposure", "%+.2f stop (give or take %.2f) against the headroom asked for", float64(e.Error), float64(e.Sigma))
	}
	if e := c.Evenness; e != nil {
		text := fmt.Sprintf("%.2f stop over the chart", float64(e.Range))
		if e.Uneven {
			text += ", darker " + e.Darker
		}
		add("evenness", "%s", text)
	}
	var warned []string
	for _, w := range c.Warnings {
		warned = append(warned, w.Text)
	}
	if len(warned) > 0 {
		add("mind", "%s", strings.Join(warned, " "))
	}
	add("references", "%s; light through %s", c.Edition, c.Curve)
	return out
}

// recordedChart says what the newest frame that was taken to show a colour chart recorded of it; nil where none did.
func recordedChart(frames []account.Frame) []row {
	for i := len(frames) - 1; i >= 0; i-- {
		c := frames[i].Chart
		if c == nil {
			continue
		}
		out := []row{{"frame", fmt.Sprint(frames[i].Number)}}
		add := func(name, format string, a ...any) { out = append(out, row{name, fmt.Sprintf(format, a...)}) }
		if c.Mean != nil && c.Worst != nil {
			add("colours, CIEDE2000", "mean %.1f, worst %.1f (%s), after exposure and white balance are put right", *c.Mean, *c.Worst, c.Patch)
		}
		if c.Shift != nil && c.Tint != nil {
			add("white balance", "off by %+.0f mired (over 0: too warm), tint %+.3f Duv (over 0: too green)", *c.Shift, *c.Tint)
		}
		if c.Error != nil {
			add("exposure", "%+.2f stop (give or take %.2f) against half a stop of room over a perfect white", float64(*c.Error), float64(c.Sigma))
		}
		if c.Shift != nil && c.Tint != nil {
			add("reference", "%s", "for colour: neutrals of later frames are held against this frame's, and what shifts is drift")
		}
		if len(c.Warnings) > 0 {
			add("mind", "%s", strings.Join(c.Warnings, " "))
		}
		return out
	}
	return nil
}
