package advise

import (
	"strings"
	"testing"
	"time"

	"thirdstop/advise/plan"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// When a straight dark edge of the frame is called a shutter faster than sync, and what time is told: at once where the time
// is faster than the plan's sync; by frames before where only they can tell; never where they show it too.
func TestADarkBandIsNamedOnlyWhereItMustBeTheShutters(t *testing.T) {
	text := planOf(t, []string{"grey", "A:background:1/8", "B:key:1/32"})
	p, faults := plan.Parse("band.yaml", []byte(text))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	p.Camera.Sync = 1.0 / 160
	text = string(p.Marshal())
	type shot struct {
		time exposure.Shutter // 0: the camera records none
		band float64
	}
	for _, c := range []struct {
		name   string
		planed bool
		before []shot
		now    shot
		want   string // part of the headline, or of the warning without a plan; empty: nothing is said
	}{
		{"faster than the plan's sync", true, nil, shot{1.0 / 320, 0.5}, "1/160 s or slower"},
		{"faster than hardly a camera's sync", false, nil, shot{1.0 / 500, 0.5}, "Set 1/200 s or slower"},
		{"no faster than sync, and nothing to hold it against", true, nil, shot{1.0 / 160, 0.1}, ""},
		{"no faster than sync, after frames without at the same time", true, []shot{{1.0 / 160, 0}, {1.0 / 160, 0}, {1.0 / 160, 0}}, shot{1.0 / 160, 0.1}, ""},
		{"a late trigger", true, []shot{{1.0 / 125, 0}, {1.0 / 125, 0}, {1.0 / 125, 0}}, shot{1.0 / 160, 0.1}, "1/125 s or slower"},
		{"a wall, seen at a slow time before", true, []shot{{1.0 / 60, 0.3}}, shot{1.0 / 320, 0.31}, ""},
		{"another wall does not hide it", true, []shot{{1.0 / 60, 0.1}}, shot{1.0 / 320, 0.5}, "1/160 s or slower"},
		{"the band again", true, []shot{{1.0 / 320, 0.5}}, shot{1.0 / 320, 0.5}, "1/160 s or slower"},
		{"no time recorded, after frames without", true, []shot{{}, {}, {}}, shot{0, 0.4}, "1/160 s or slower"},
		{"no time recorded, at first", true, nil, shot{0, 0.4}, ""},
		{"no band", true, nil, shot{1.0 / 320, 0}, ""},
	} {
		s, at := State{}, time.Date(2026, 5, 9, 10, 0, 0, 0, time.UTC)
		if c.planed {
			if s, _ = Apply(s, Input{At: at, Plan: &PlanText{Name: "band.yaml", Text: text}}); s.Plan == nil {
				t.Fatal("the plan was refused")
			}
		}
		for i, x := range append(c.before, c.now) {
			r := assess.Reading{Kind: assess.Full, PartOfSet: assess.PartOfSet{Answer: assess.BelongsYes}}
			r.Regions.Backdrop = &assess.Backdrop{Level: assess.Level{Value: -2.5, Sigma: 0.1}}
			if x.time > 0 {
				r.Exif.ExposureTime = &x.time
			}
			if x.band > 0 {
				r.DarkBand = &assess.Band{Edge: assess.BottomEdge, Share: x.band, Fall: 4}
			}
			s, _ = Apply(s, Input{At: at.Add(time.Duration(i) * 10 * time.Second), Frame: &Frame{Number: i + 1, Revision: 1, Reading: &r}})
		}
		said := s.Advice.Headline
		for _, w := range s.Advice.Warnings {
			if w.Code == "dark_band" {
				said = w.Text
			}
		}
		switch named := strings.Contains(said, "aster than sync"); {
		case named != (c.want != "") || !strings.Contains(said, c.want):
			t.Errorf("%s: it says %q, want %q", c.name, said, c.want)
		case !c.planed:
		case named != (len(s.Drift.OffFrames) > 0 && s.Drift.OffFrames[len(s.Drift.OffFrames)-1].Kind == "dark_band"):
			t.Errorf("%s: the frames to take again are %+v", c.name, s.Drift.OffFrames)
		}
	}
}
