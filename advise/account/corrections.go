package account

import (
	"errors"
	"math"
	"strings"
	"time"

	"thirdstop/advise/plan"
	"thirdstop/assess/exposure"
)

// Correction is what brings one frame to the baseline in the raw development.
type Correction struct {
	Number, Revision int
	Record           uint64 // of the frame's revision
	Hash             string // of that record
	File, Sitter     string // "" where erased
	Content          string // hex SHA-256 of the measured file
	At               time.Time

	// Exposure is how much lighter (over 0) or darker to develop it, in stops of linear light; nil where nothing tells.
	Exposure *Region
	From     string // what tells it: "white reference" or "backdrop"

	// White is how much more red and blue against green, in stops of linear light; nil where nothing tells.
	White     *Colour
	WhiteFrom string

	Why string // why something can't be told, "" where all can
}

// ErrNoBaseline says that there is nothing to correct towards.
var ErrNoBaseline = errors.New("it has no baseline; one is a frame that was accepted as right on the page")

// Corrections are those of all standing frames, in order. They are drawn from what the sitter's light shows on: the
// declared white reference; the backdrop only where no light of its own makes it. How a sitter looks tells
// nothing, for people and clothes differ.
func (a *Account) Corrections() ([]Correction, error) {
	base := a.Baseline()
	if base == nil || base.Kind == "" {
		return nil, ErrNoBaseline
	}
	shared := a.Final.Plan == nil || !hasRole(a.Final.Plan, plan.Background)
	var out []Correction
	for _, f := range a.Standing() {
		c := Correction{Number: f.Number, Revision: f.Revision, Record: f.Record, Hash: f.Hash, File: f.File, Sitter: f.Sitter, Content: f.Content, At: f.At}
		if f.Kind == "" {
			c.Why = "the frame could not be read"
			out = append(out, c)
			continue
		}
		var why []string
		switch {
		case both(base.White, f.White):
			c.Exposure, c.From = between(*base.White, *f.White), "white reference"
		case shared && both(base.Backdrop, f.Backdrop):
			c.Exposure, c.From = between(*base.Backdrop, *f.Backdrop), "backdrop"
		default:
			why = append(why, "exposure: no white reference that is unclipped here and in the baseline")
		}
		if base.Cast != nil && f.Cast != nil && base.CastOf == f.CastOf {
			c.White = &Colour{Red: (base.Cast.Red - f.Cast.Red).Round(), Blue: (base.Cast.Blue - f.Cast.Blue).Round()}
			c.WhiteFrom = f.CastOf
		} else {
			why = append(why, "white balance: nothing neutral that is unclipped here and in the baseline")
		}
		c.Why = strings.Join(why, "; ")
		out = append(out, c)
	}
	return out, nil
}

func hasRole(p *plan.Plan, r plan.Role) bool {
	for _, l := range p.Lights {
		if l.Role == r {
			return true
		}
	}
	return false
}

func both(a, b *Region) bool { return a != nil && b != nil && !a.AtLeast && !b.AtLeast }

// between is what is missing from one level to another. Both came through one curve, whose error
// largely cancels for levels this near; what is stated is the larger bound (derived here).
func between(base, f Region) *Region {
	return &Region{Value: (base.Value - f.Value).Round(), Sigma: exposure.Stops(math.Hypot(float64(base.Sigma), float64(f.Sigma))).Round()}
}
