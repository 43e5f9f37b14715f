package plan

import (
	"strings"

	"thirdstop/assess/exposure"
)

// Loss is what a modifier takes of a light, in stops under the bare head.
type Loss struct {
	Less, More exposure.Stops // the least and the most that it usually takes, 0 or more
	Known      bool           // false: nothing tells the modifier, so the range is that of them all
}

// Middle is the loss to reckon with.
func (l Loss) Middle() exposure.Stops { return (l.Less + l.More) / 2 }

// losses are ranges for modifiers, by words of their descriptions; the first that fits counts. No
// handbook or standard table was found. White umbrellas, reflecting and shoot-through, measured about 2, a
// softbox of one diffuser about 1 and a small double one about 3 (a photographer's published meter
// readings, whatdoineed2do.blogspot.com, October 2010); a diffusing panel 1 to 2 (outdoors.nordling.de). The other
// ranges are common practice, no source.
var losses = []struct {
	words      []string
	less, more exposure.Stops
}{
	{[]string{"shoot-through", "shoot through", "translucent umbrella"}, 1.5, 2.5},
	{[]string{"silver umbrella"}, 0.5, 1.5},
	{[]string{"umbrella"}, 1.5, 2.5},
	{[]string{"octa"}, 1.5, 2.5},
	{[]string{"softbox", "soft box", "strip box", "stripbox"}, 1, 3},
	{[]string{"beauty dish"}, 0, 1},
	{[]string{"dome", "diffusion cap"}, 1.5, 3},
	{[]string{"panel", "scrim", "diffuser"}, 1, 2},
	{[]string{"bounce"}, 2, 2.8},
	{[]string{"reflector", "bare", "none", "barn door", "flag"}, 0, 0},
}

// gridLoss is what a grid takes besides (common practice, no source).
var gridLoss = Loss{Less: 1, More: 2, Known: true}

// LossOf reads what a modifier takes out of how a plan describes it. Without a description there is
// none; one that is not known may take 0 to 3 stops.
func LossOf(modifier string) Loss {
	t := strings.ToLower(modifier)
	if strings.TrimSpace(t) == "" {
		return Loss{Known: true}
	}
	out := Loss{Less: 0, More: 3}
search:
	for _, l := range losses {
		for _, w := range l.words {
			if strings.Contains(t, w) {
				out = Loss{Less: l.less, More: l.more, Known: true}
				break search
			}
		}
	}
	if strings.Contains(t, "grid") || strings.Contains(t, "honeycomb") {
		if !out.Known {
			return gridLoss
		}
		out.Less, out.More = out.Less+gridLoss.Less, out.More+gridLoss.More
	}
	return out
}
