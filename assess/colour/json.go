package colour

import (
	"encoding/json"
	"math"

	"thirdstop/assess/exposure"
)

// MarshalJSON writes the chart for readings and trails: stops to 0.001, like all levels, the rest to what
// can be meant by it, and no warnings as an empty list.
func (c Chart) MarshalJSON() ([]byte, error) {
	type plain Chart // without this method
	out := plain(c)
	if out.Warnings == nil {
		out.Warnings = []Warning{}
	}
	for i := range out.Corners {
		to(1e4, &out.Corners[i].X, &out.Corners[i].Y)
	}
	to(10, &out.Turn, &out.Pitch)
	to(1000, &out.Confidence)
	for i := range out.Patches {
		p := &out.Patches[i]
		for ch := range p.Code {
			to(100, &p.Code[ch])
			to(1e6, &p.Light[ch])
		}
		p.AsExposed = p.AsExposed.rounded()
		to(1000, (*float64)(&p.Difference))
		if p.Normalised != nil {
			lab, e := p.Normalised.rounded(), *p.Error
			to(1000, (*float64)(&e))
			p.Normalised, p.Error = &lab, &e
		}
	}
	if c.White != nil {
		w := *c.White
		to(1e4, &w.Gains[0], &w.Gains[1], &w.Gains[2], &w.Spread)
		if w.Light != nil {
			light, shift, tint := *w.Light, *w.Shift, *w.Tint
			to(1, (*float64)(&light.CCT))
			to(10, (*float64)(&shift))
			to(1e5, (*float64)(&light.Duv), (*float64)(&light.DaylightDuv), (*float64)(&tint))
			w.Light, w.Shift, w.Tint = &light, &shift, &tint
		}
		out.White = &w
	}
	if c.Exposure != nil {
		e := *c.Exposure
		rounded(&e.White, &e.Error, &e.Sigma)
		out.Exposure = &e
	}
	if c.Evenness != nil {
		e := *c.Evenness
		rounded(&e.Range, &e.Sigma)
		out.Evenness = &e
	}
	out.AsExposed = c.AsExposed.rounded()
	if c.Normalised != nil {
		s := c.Normalised.rounded()
		out.Normalised = &s
	}
	return json.Marshal(out)
}

// to rounds to parts of one; minus zero becomes zero.
func to(parts float64, all ...*float64) {
	for _, v := range all {
		*v = math.Round(*v*parts)/parts + 0
	}
}

func rounded(all ...*exposure.Stops) {
	for _, s := range all {
		*s = s.Round()
	}
}

func (c Lab) rounded() Lab {
	to(1000, &c.L, &c.A, &c.B)
	return c
}

func (s Summary) rounded() Summary {
	to(1000, (*float64)(&s.Mean), (*float64)(&s.Median), (*float64)(&s.Worst))
	return s
}
