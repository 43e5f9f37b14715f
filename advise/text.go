package advise

import (
	"fmt"
	"math"
	"strings"

	"thirdstop/advise/rig"
	"thirdstop/assess/exposure"
)

// powerWords says a change of a dial: "power down 2/3 stop". Assistants raise
// and lower stands, so power goes up and down.
func powerWords(scale exposure.Scale, change exposure.Dial) string {
	if change < 0 {
		return "power down " + scale.FormatChange(change)
	}
	return "power up " + scale.FormatChange(change)
}

// levelText writes a level as people read it: "-0.42", "at least 0.00".
func levelText(v exposure.Stops, atLeast bool) string {
	if atLeast {
		return "at least " + v.Signed()
	}
	return v.Signed()
}

// stopsWords writes how far something lies off: "0.42 stop", "1.30 stops".
func stopsWords(d exposure.Stops) string {
	v := math.Abs(float64(d))
	if v < 1.005 {
		return fmt.Sprintf("%.2f stop", v)
	}
	return fmt.Sprintf("%.2f stops", v)
}

// expected judges one region as it was seen.
func (s State) expected(j judged, seen rig.Measured) Expected {
	e := Expected{Region: j.name, Name: j.words, Now: seen.Value.Round(), NowSigma: seen.Sigma.Round(), AtLeast: seen.AtLeast,
		Low: j.band.Low.Round(), High: j.band.High.Round(), UpperOnly: j.upperOnly,
		NowText: levelText(seen.Value, seen.AtLeast), TargetText: j.wanted()}
	// A clipped white backdrop is what was asked for, unless it is too strong, which only the model
	// can know (see known). Elsewhere clipping is over every target under 0.
	e.InTarget = j.target.Miss(seen.Value) == 0
	return e
}

// known says of a region that clips whether it is on target as far as the light model knows how far over it lies.
func (s State) known(e Expected, region int, seen rig.Measured, now rig.Level) Expected {
	if !seen.AtLeast || e.Region != BackdropFloor || !e.InTarget {
		return e
	}
	e.Unknown = now.Sigma > s.blindness(region)
	t := judgedRegions(s.Plan, s.Reference != nil)[region].target
	e.InTarget = !e.Unknown && now.Value-now.Sigma <= t.High+t.SlackHigh
	return e
}

// textsOf are adjustments in one sentence's worth of words.
func textsOf(all []Adjustment) string {
	out := make([]string, len(all))
	for i, a := range all {
		out[i] = a.Text
	}
	return strings.Join(out, "; ")
}

// joinAnd joins clauses: "a", "a and b", "a, b and c".
func joinAnd(parts []string) string {
	if n := len(parts); n > 1 {
		return strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
	}
	return strings.Join(parts, "")
}
