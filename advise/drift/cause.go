package drift

import (
	"cmp"
	"math"
	"slices"

	"thirdstop/assess/exposure"
)

// roomSizes are what the room's light is tried to have grown by, a quarter stop apart.
var roomSizes = func() (all []exposure.Stops) {
	for v := exposure.Stops(0.25); v <= 9; v += 0.25 {
		all = append(all, v)
	}
	return all
}()

// change is how far one region lies off, with all that is unsure about it.
type change struct {
	by     exposure.Stops
	sigma  exposure.Stops
	shares []float64
	// Of each share and of the room's; empty: not known.
	shareSigmas []float64
	sitter      bool // people and clothes: where the room's light falls on them is anybody's guess
}

const (
	// Causes whose chi-square is this near the best one's can't be told apart from it
	// (the true one is that far behind in about 1 of 70 cases: chi-square with one degree of freedom).
	apart = 6.0
	// Shares of light come from a model, and are off by about this part (common practice, no source).
	shareError = 0.15
	// A light that lost so much of its output did not fire.
	goneFactor = -0.8
	// The least factor, less one: five stops down can't be told from nothing.
	leastFactor = -0.97
	// In a series of single frames, three stops down is as good as nothing: below, scatter makes any number.
	seriesFactor = -0.875
	// Nobody turns a light up by more than this without knowing; beyond it a cause gets less likely (common practice, no source).
	plausible = 2.0
	// The sun comes out, or a lamp is switched on, with so many stops more than the room had (common practice, no source).
	plausibleRoom = 4.5
	// What the sun or a lamp adds falls on the regions otherwise than what the room had before, by this part of it (common practice, no source).
	otherwise float64 = 0.3
	// A cause that lights a region by less than this share can't show there.
	leastShare = 0.01
	// The sun comes round with many times what a room had before.
	leastRoom = 0.002
)

// causes lists every single cause that could have changed the regions so, the
// best first. If one light's output changes by a factor 1+x, a region changes by
// 2^by - 1 = share x, which is linear in x: weighted least squares gives x and its chi-square.
func (s State) causes(off []bool, changes []change) []Cause {
	var known []change
	for _, c := range changes {
		if len(c.shares) == len(s.Setup.Lights) {
			known = append(known, c)
		}
	}
	blind := len(known) == 0 // no shares at all: every cause fits alike
	if blind {
		known = changes
	}
	var out []Cause
	try := func(c Cause, share func(change) float64) {
		var ww, wy, most, x float64
		weigh := func() {
			ww, wy, most = 0, 0, 0
			for _, k := range known {
				w, v := share(k), k.variance()+k.wrong(c, x)
				ww += w * w / v
				wy += w * k.linear() / v
				most = max(most, w)
			}
		}
		misfit := func() (chi float64) {
			for _, k := range known {
				v, wrong := k.variance(), k.wrong(c, x)
				e := k.linear() - share(k)*x
				chi += e * e / (v + wrong)
			}
			return chi
		}
		// How wrong a share may be counts with the size of the change, so the size is found in steps.
		for range 4 {
			weigh()
			if most < leastShare && (c.What != Room || most < leastRoom) {
				return
			}
			x = max(wy/ww, leastFactor)
		}
		if c.What == Room && x > 0 {
			// The room's share is small and often not even known to a half of itself, while its light may grow to many
			// times what it was: the size that fits best may lie far from where those steps end, so all are tried. It can't fall by more than there was.
			best, least := x, misfit()
			least += unlikely(c, math.Log2(1+x), 0)
			for _, size := range roomSizes {
				x = size.Factor() - 1
				if chi := misfit() + unlikely(c, float64(size), 0); chi < least {
					best, least = x, chi
				}
			}
			x = best
			weigh()
		}
		c.Chi = misfit()
		size := math.Log2(1 + x)
		c.Gone = c.What == OneLight && x <= goneFactor
		c.Chi += unlikely(c, size, 1/math.Sqrt(ww)/(1+x)/math.Ln2)
		c.Size = exposure.Stops(size).Round()
		c.Sigma = exposure.Stops(1 / math.Sqrt(ww) / (1 + x) / math.Ln2).Round()
		c.Chi = math.Round(c.Chi*1000) / 1000
		out = append(out, c)
	}
	for i, l := range s.Setup.Lights {
		if i < len(off) && off[i] {
			continue
		}
		try(Cause{What: OneLight, Group: l.Group, Name: l.Name, Index: i}, func(c change) float64 {
			if blind {
				return 1
			}
			return c.shares[i]
		})
	}
	try(Cause{What: Everything, Name: "aperture, ISO or lens", Index: -1}, func(change) float64 { return 1 })
	if !blind {
		try(Cause{What: Room, Name: "the room's light", Index: -1}, change.room)
	}
	// Of causes that fit alike, lights come first, and of these the one that needs to change least.
	order := func(c Cause) int { return slices.Index([]What{OneLight, Everything, Room}, c.What) }
	slices.SortStableFunc(out, func(a, b Cause) int {
		return cmp.Or(cmp.Compare(math.Round(a.Chi*10), math.Round(b.Chi*10)), cmp.Compare(order(a), order(b)),
			cmp.Compare(math.Abs(float64(a.Size)), math.Abs(float64(b.Size))))
	})
	return out
}

// unlikely is what speaks against a cause before any frame, as chi-square (common practice, no source).
func unlikely(c Cause, size, sigma float64) float64 {
	chi := 2 * min(math.Abs(size), 1.5) // small changes are commoner than large ones, and a flash that sleeps is as common as a stop
	if size > plausible && c.What != Room {
		chi += 4 * (size - plausible) * (size - plausible)
	}
	if size > plausibleRoom && c.What == Room {
		chi += (size - plausibleRoom) * (size - plausibleRoom)
	}
	if c.What == Everything {
		chi += offClick(math.Abs(size), sigma)
	}
	return chi
}

const (
	// Apertures and ISO click by a third of a stop; so many of their slips are clicks (common practice, no source).
	clicked = 0.9
	// The least standard deviation of a size that is believed: an aperture's blades do not close alike each time (common practice, no source).
	leastSize = 0.02
)

// offClick is what speaks against a slip of aperture or ISO by such a size, known to sigma, as chi-square: much where it lies between
// two clicks or under the first, and less than nothing where it lies at one, against a cause that may have any size.
func offClick(size, sigma float64) float64 {
	sigma = max(sigma, leastSize)
	off := (size - max(1, math.Round(3*size))/3) / sigma
	at := math.Exp(-off*off/2) / (math.Sqrt(2*math.Pi) * sigma) / 3 // against one part in a third of a stop
	return -2 * math.Log(clicked*at+1-clicked)
}

// alike is the causes that can't be told apart from the first.
func alike(all []Cause) []Cause {
	for i, c := range all {
		if c.Chi > all[0].Chi+apart {
			return all[:i:i]
		}
	}
	return all
}

// unexplained tells that even the best cause is a bad one: four standard deviations of
// chi-square with one degree of freedom less than there are regions.
func unexplained(all []Cause, regions int) bool {
	free := float64(regions - 1)
	return len(all) == 0 || all[0].Chi > free+4*math.Sqrt(2*free)+2
}

func (c change) linear() float64 { return c.by.Factor() - 1 }

// wrong is what a wrong share adds to the variance of a region's change, if a cause changed by
// the factor 1+x.
func (c change) wrong(cause Cause, x float64) float64 {
	if len(c.shareSigmas) == 0 || cause.What == Everything {
		return 0
	}
	if cause.What == Room {
		part := otherwise
		if c.sitter {
			part = 1
		}
		off := math.Hypot(c.shareSigmas[len(c.shareSigmas)-1], part*c.room())
		return math.Pow(off*x, 2)
	}
	return math.Pow(c.shareSigmas[cause.Index]*x, 2)
}

// room is the room's share, what the lights leave.
func (c change) room() float64 {
	rest := 1.0
	for _, w := range c.shares {
		rest -= w
	}
	return max(rest, 0)
}

func (c change) variance() float64 {
	f := c.by.Factor()
	return math.Pow(math.Ln2*f*float64(c.sigma), 2) + math.Pow(shareError*(f-1), 2)
}

// projected is how much a cause changed, in stops, if it alone made these
// changes, and one standard deviation of that. It reports false where no region could show it.
func projected(c Cause, changes []change) (float64, float64, bool) {
	var ww, wy float64
	blind := !slices.ContainsFunc(changes, func(k change) bool { return len(k.shares) > 0 })
	for _, k := range changes {
		w := 1.0
		if len(k.shares) == 0 && !blind {
			continue // whose light it is isn't known, and of others it is
		}
		if len(k.shares) > 0 {
			switch c.What {
			case OneLight:
				w = k.shares[c.Index]
			case Room:
				w = k.room()
			}
		}
		// Without the shares' own error, which is the same in every frame of a series.
		f := k.by.Factor()
		v := math.Pow(math.Ln2*f*float64(k.sigma), 2)
		ww += w * w / v
		wy += w * (f - 1) / v
	}
	if ww == 0 {
		return 0, 0, false
	}
	x := max(wy/ww, seriesFactor)
	return math.Log2(1 + x), 1 / math.Sqrt(ww) / (1 + x) / math.Ln2, true
}
