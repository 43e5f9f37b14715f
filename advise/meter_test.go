package advise

import (
	"strings"
	"testing"

	"thirdstop/assess/exposure"
)

// The differences are those of whole and third-stop marks: f/8 and f/11 are a stop apart, ISO 100 and 200 are one (derived here).
func TestAHandMeterIsRecordedWithHowTheCameraStands(t *testing.T) {
	s, _ := Apply(State{}, Input{Plan: &PlanText{Text: pair(1).plan(), Name: "room.yaml"}})
	s.FNumber, s.ISO = 8, 100
	for _, tc := range []struct {
		in   Metered
		want string
	}{
		{Metered{FNumber: 8, ISO: 100}, "Hand meter, all lights: f/8 at ISO 100; the camera is set to it."},
		{Metered{Group: "B", FNumber: 11, ISO: 100}, "Key (B) alone: f/11 at ISO 100; the camera is set 1.00 stop more open."},
		{Metered{FNumber: 5.6, ISO: 100}, "1.00 stop less open"},
		{Metered{FNumber: 11, ISO: 200}, "the camera is set to it"},
		{Metered{Group: "Z", FNumber: 8, ISO: 100}, "all lights"},
	} {
		next, out := Apply(s, Input{Metered: &tc.in})
		if len(out) == 0 || out[0].Event == nil || out[0].Event.Kind != "meter" || !strings.Contains(out[0].Event.Text, tc.want) {
			t.Errorf("%+v = %+v, want %q", tc.in, out, tc.want)
		}
		if next.Advice.Headline != s.Advice.Headline || next.FNumber != exposure.FNumber(8) {
			t.Errorf("%+v changed the advice", tc.in)
		}
	}
}
