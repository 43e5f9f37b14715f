package account

import (
	"fmt"
	"slices"

	"thirdstop/advise"
)

// Rebuild is what a new shoot needs to build this one's light again: how it stood when the newest baseline was
// accepted, and a light plan drawn from it.
func (a *Account) Rebuild() (advise.Earlier, advise.PlanText, error) {
	st := a.AtBaseline
	i := slices.IndexFunc(st.Frames, func(f advise.FrameState) bool { return f.Number == st.Baseline && f.Reading != nil })
	if st.Plan == nil || i < 0 {
		return advise.Earlier{}, advise.PlanText{}, fmt.Errorf("the light of %s can't be built again: %w", a.ID, ErrNoBaseline)
	}
	e := st.EarlierOf(a.ID, a.Head.String(), st.Frames[i])
	return e, advise.PlanText{Name: "as in " + a.ID, Text: string(e.RebuildPlan(*st.Plan).Marshal())}, nil
}
