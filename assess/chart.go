package assess

import (
	"math"

	"thirdstop/assess/colour"
	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
	"thirdstop/assess/tone"
)

// Chart is what a 24-patch colour chart says of a frame, against the references printed since November 2014.
// A null field could not be measured.
type Chart struct {
	White    *exposure.Stops `json:"white_stops" unit:"stops" doc:"where the chart's neutrals put a perfect white; 0 is the edge of clipping, and it may be over it"`
	Error    *exposure.Stops `json:"exposure_error_stops" unit:"stops" doc:"over 0: over-exposed against half a stop of room over a perfect white"`
	Sigma    exposure.Stops  `json:"exposure_sigma_stops" unit:"stops" range:"0 and up" doc:"one standard deviation of the two"`
	Shift    *float64        `json:"shift_mired" unit:"mired" doc:"what the white balance is off by; over 0: the frame is too warm"`
	Tint     *float64        `json:"tint_duv" doc:"the same across the locus; over 0: too green"`
	Mean     *float64        `json:"mean_de00" range:"0 and up" doc:"CIEDE2000 over the patches that don't clip, after exposure and white balance are put right"`
	Worst    *float64        `json:"worst_de00" range:"0 and up" doc:"the largest of them"`
	Patch    string          `json:"worst_patch" doc:"and where"`
	Warnings []string        `json:"warnings" doc:"what to know before trusting it, for people"`
}

// chart reads the chart into the reading, or says why it can't.
func (r *Reading) chart(s *photo.Survey, c *tone.Curve, adobe bool) {
	found, err := colour.Find(s)
	if err != nil {
		r.Missing["chart"] = err.Error()
		return
	}
	o := colour.Options{Curve: c}
	if adobe {
		o.Space = colour.AdobeRGB
	}
	read := found.Read(s, o)
	out := &Chart{Warnings: []string{}}
	if e := read.Exposure; e != nil {
		white, by := e.White.Round(), e.Error.Round()
		out.White, out.Error, out.Sigma = &white, &by, e.Sigma.Round()
	}
	if w := read.White; w != nil && w.Shift != nil && w.Tint != nil {
		shift, tint := math.Round(float64(*w.Shift)*10)/10, math.Round(float64(*w.Tint)*1e4)/1e4
		out.Shift, out.Tint = &shift, &tint
	}
	if n := read.Normalised; n != nil {
		mean, worst := math.Round(float64(n.Mean)*100)/100, math.Round(float64(n.Worst)*100)/100
		out.Mean, out.Worst, out.Patch = &mean, &worst, n.Patch
	}
	for _, w := range read.Warnings {
		out.Warnings = append(out.Warnings, w.Text)
	}
	r.Chart = out
}
