// Package sheettest makes up a shoot for the tests of the sheet: the committee portraits of the Alder
// Quay Rowing Club, as an account that nobody recorded.
package sheettest

import (
	"fmt"
	"math"
	"strings"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/account"
	"thirdstop/advise/plan"
	"thirdstop/advise/trail"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// Shoot is a shoot of n frames with three sitters, a light that was turned twice, one that did not fire, and a window.
func Shoot(n int) *account.Account {
	p, faults := plan.Parse("boathouse.yaml", plan.Annotated())
	if faults != nil {
		panic(faults)
	}
	var lights []advise.LightState
	for _, l := range p.Lights {
		lights = append(lights, advise.LightState{Group: l.Group, Role: string(l.Role), Name: l.Name(), Power: l.Power, PowerText: l.Setting(),
			Distance: l.Distance, Modifier: l.Modifier, Zoom: l.Zoom, Click: l.Scale.Click})
	}
	began := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	a := &account.Account{ID: "20261125-090000-ALDERQ", Header: trail.Header{At: began, Rules: advise.Rules, Program: "test"},
		Head: trail.Head{Seq: uint64(2*n + 12), Hash: strings.Repeat("5f8a", 16)}, Rules: []string{advise.Rules}}
	a.Final = advise.State{Plan: &p, Lights: lights, FNumber: 8, ISO: 100, Shutter: 1.0 / 125, Baseline: min(12, n), FrameCount: n}
	a.AtBaseline = a.Final
	sitters := []string{"treasurer", "coxswain <of the \"Quay\">", "boatman"}
	for i := 1; i <= n; i++ {
		at := began.Add(time.Duration(i) * 7 * time.Second)
		white := -0.95
		if i > 4 {
			white = -0.45
		}
		if i > 8 {
			white = -0.21
		}
		floor := 0.0
		white += 0.03*math.Sin(float64(i)*1.7) - 0.25*max(0, float64(i-n*3/4))/float64(max(n/4, 1))
		f := account.Frame{Record: uint64(2 * i), Hash: strings.Repeat("0", 64), At: at, Number: i, Revision: 1, Stands: true, Picture: 1,
			File: fmt.Sprintf("committee/AQ_%04d.jpg", i), Sitter: sitters[min(i*3/(n+1), 2)], Kind: assess.Full, FNumber: 8, ISO: 100, Shutter: 1.0 / 125,
			Focal: 85, Curve: "default-1", Lights: lights, Content: strings.Repeat("c", 64),
			Floor: &account.Region{Value: exposure.Stops(floor), Sigma: 0.05, AtLeast: true}, Backdrop: &account.Region{Value: 0, Sigma: 0.05, AtLeast: true},
			Evenness: 0.18, White: &account.Region{Value: exposure.Stops(white).Round(), Sigma: 0.05}, Sitting: &account.Region{Value: -2.1, Sigma: 0.2},
			Cast: &account.Colour{Red: exposure.Stops(0.02 * math.Sin(float64(i))).Round(), Blue: exposure.Stops(-0.09 * float64(i) / float64(n)).Round()}, CastOf: "white reference"}
		f.Judged = []advise.Expected{
			{Region: advise.BackdropFloor, Name: "backdrop", Now: f.Floor.Value, AtLeast: true, Low: 0, High: 0.5, InTarget: true, NowText: "at least 0.00", TargetText: "0 to +1/2 stop"},
			{Region: advise.WhitePeak, Name: "white reference", Now: f.White.Value, Low: -0.4, High: -0.05, InTarget: white >= -0.4 && white <= -0.05,
				NowText: f.White.Value.Signed(), TargetText: "-0.4 to -0.05 stop"}}
		f.OnTarget = f.Judged[1].InTarget
		if i == n/2 {
			f.Judged[0].Now, f.Judged[0].AtLeast, f.Judged[0].InTarget, f.Judged[0].NowText, f.OnTarget = -1.9, false, false, "-1.90", false
			f.Marks = []string{"absent"}
		}
		a.Frames = append(a.Frames, f)
	}
	a.Log = []account.Line{{Kind: "absent", Frame: n / 2, Group: "A", Text: "Background (A) did not light the frame."}}
	a.Final.Drift.OffFrames = []advise.OffFrames{{From: n / 2, To: n / 2, Kind: "light_absent", Group: "A", Text: "Background (A) did not fire."}}
	a.Last = began.Add(time.Duration(n) * 7 * time.Second)
	a.Sitters = []account.Break{{Frame: 0, Name: sitters[0]}, {Frame: n / 3, Name: sitters[1]}, {Frame: n * 2 / 3, Name: sitters[2]}}
	a.Turns = []account.Turn{{At: began.Add(30 * time.Second), Frame: 4, Group: "B", From: -110, To: -90, Text: "Key (B): 1/16 + 1/3 to 1/8"},
		{At: began.Add(60 * time.Second), Frame: 8, Group: "B", From: -90, To: -80, Text: "Key (B): 1/8 to 1/8 + 1/3"}}
	return a
}
