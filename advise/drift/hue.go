package drift

import (
	"cmp"
	"math"
	"slices"
)

// Mired is a difference in colour, a million over kelvins: about 6 from 5500 K
// to 5700 K. Positive is warmer.
type Mired float64

// Duv is a difference in colour across the line of lamps and daylight: positive is greener,
// negative more magenta (ANSI C78.377 gives it the sign).
type Duv float64

// Difference is a colour difference of CIEDE2000: about 1 is just seen side by side.
type Difference float64

// Tone is how far a neutral lies from its colour in the baseline.
type Tone struct {
	Shift   Mired      `json:"shift_mired"`
	Tint    Duv        `json:"tint_duv"`
	Differs Difference `json:"differs_de00"` // of a white at equal luminance
}

// Colour is the colour of one neutral against the baseline's. The camera's white balance must be a fixed one.
type Colour struct {
	Tone
	Neutral string    `json:"neutral"`          // stable name: "white_reference", "backdrop", "witness"
	Sigma   Mired     `json:"sigma_mired"`      // over 0; of the shift, and in [worthTint] for [worthShift] of the tint
	Shares  []float64 `json:"shares,omitempty"` // as of a [Residual]
}

// Hue is what is known of one neutral's colour.
type Hue struct {
	Neutral string     `json:"neutral"`
	Warm    CusumState `json:"warm"`
	Green   CusumState `json:"green"`
	Centre  Tone       `json:"centre"` // what it is held against: none, or where it stands since the last finding
	Recent  []Tone     `json:"recent"` // newest last
	Sigma   Mired      `json:"sigma_mired"`
	Shares  []float64  `json:"shares,omitempty"`
}

// Cast is a change of colour that stands.
type Cast struct {
	Said   Finding `json:"said"`
	Green  bool    `json:"green"`  // it is the tint that tells
	Looked int     `json:"looked"` // how often its causes were looked at again
}

const (
	// A change of colour that is worth a finding: about 300 K at 5500 K, half as much again as a good flash's
	// units differ by (common practice, no source), and a tint that differs by as much in CIEDE2000 (derived here: a test).
	worthShift Mired = 10
	worthTint  Duv   = 0.003
	// A share of light is off by about this part, and lamps of one make differ by so many mired (common practice, no source).
	castError Mired = 2
	// After so many frames a cause is looked at again, for neutrals rarely signal in the same frame.
	castFrames = 3
)

// size is a tone on one of its two scales, in mired.
func (t Tone) size(green bool) float64 {
	if green {
		return float64(t.Tint) / float64(worthTint) * float64(worthShift)
	}
	return float64(t.Shift)
}

// colour watches the neutrals. A change that comes with a change of light is said with that.
func (s State) colour(f Frame) (State, []Finding) {
	if s.Held != nil && s.Held.Seen.Number == f.Number || s.Dark != nil {
		return s, nil
	}
	s.Hues = slices.Clone(s.Hues)
	count, alarm, green := 0, -1, false
	for _, c := range f.Colours {
		if !(c.Sigma > 0) || !(math.Abs(float64(c.Shift)) < 500) || !(math.Abs(float64(c.Tint)) < 0.2) {
			continue
		}
		i := slices.IndexFunc(s.Hues, func(h Hue) bool { return h.Neutral == c.Neutral })
		if i < 0 {
			i = len(s.Hues)
			s.Hues = append(s.Hues, Hue{Neutral: c.Neutral})
		}
		h := &s.Hues[i]
		h.Recent, h.Sigma, h.Shares = appendKeep(h.Recent, c.Tone, keepSeen/2), c.Sigma, slices.Clone(c.Shares)
		d := tunedFor(float64(worthShift / 2 / c.Sigma))
		for k, sum := range []*CusumState{&h.Warm, &h.Green} {
			z := (c.size(k == 1) - h.Centre.size(k == 1)) / float64(c.Sigma)
			*sum = d.Next(*sum, math.Round(max(-oddAt, min(oddAt, z))*1000)/1000)
			if side := d.Signal(*sum); side != 0 && alarm < 0 {
				alarm, green = i, k == 1
				if count = sum.UpFor; side < 0 {
					count = sum.DownFor
				}
			}
		}
	}
	if alarm < 0 {
		return s.lookAgain(f)
	}
	count = min(count, len(s.Hues[alarm].Recent))
	now := s.Hues[alarm].over(count)
	for i := range s.Hues { // all are held against where they are now
		h := &s.Hues[i]
		h.Centre, h.Warm, h.Green = h.over(min(count, len(h.Recent))), CusumState{}, CusumState{}
	}
	back := math.Abs(now.size(false)) < float64(worthShift)/2 && math.Abs(now.size(true)) < float64(worthShift)/2
	switch open := s.Open; {
	case s.Cast == nil && back:
		return s, nil
	case back:
		x := s.Cast.Said
		x.Frame, x.Kind, x.Revision, x.Tone = f.Number, Back, x.Revision+1, now
		s.Cast = nil
		for i := range s.Hues {
			s.Hues[i].Centre = Tone{}
		}
		return s, []Finding{x.worded(s, wording{back: true})}
	case s.Cast == nil && open != nil && open.Said.Since > f.Number-count-5 && open.Said.Kind != Back:
		x := *open
		x.Said.Tone, x.Said.Frame, x.Said.Revision = now, f.Number, x.Said.Revision+1
		x.Said = x.Said.worded(s, wording{kept: open.Kept, rest: s.RestFor})
		s.Open = &x
		return s, []Finding{x.Said}
	}
	var cast Cast
	if s.Cast == nil {
		s.NextID++
		cast.Said = Finding{ID: s.NextID, Since: f.Number - count + 1, Kind: ColourOnly, Witnessed: true, May: OnlyTell}
	} else {
		cast.Said = s.Cast.Said
	}
	cast.Green = green
	s.Cast = &cast
	return s.sayColour(f.Number)
}

// lookAgain marks the frame while a change of colour stands, and names its causes once more when all neutrals have shown it.
func (s State) lookAgain(f Frame) (State, []Finding) {
	if s.Cast == nil {
		return s, nil
	}
	s.markAll([]int{f.Number}, ColourOnly, s.Cast.Said.Group, 0)
	if s.Cast.Looked > 0 || f.Number < s.Cast.Said.Frame+castFrames {
		return s, nil
	}
	for i := range s.Hues {
		h := &s.Hues[i]
		h.Centre = h.over(min(castFrames+1, len(h.Recent)))
	}
	cast := *s.Cast
	cast.Looked++
	s.Cast = &cast
	was := cast.Said
	next, out := s.sayColour(f.Number)
	if now := out[0]; now.Group == was.Group && len(now.Candidates) == len(was.Candidates) {
		return next, nil
	}
	return next, out
}

// sayColour names the standing change of colour.
func (s State) sayColour(frame int) (State, []Finding) {
	cast := *s.Cast
	x := cast.Said
	most := 0
	for i, h := range s.Hues {
		if math.Abs(h.Centre.size(cast.Green)) > math.Abs(s.Hues[most].Centre.size(cast.Green)) {
			most = i
		}
	}
	x.Frame, x.Revision, x.Tone = frame, x.Revision+1, s.Hues[most].Centre
	x.Candidates, x.Group = s.castCauses(cast.Green), ""
	if len(x.Candidates) > 0 {
		x.Group = x.Candidates[0].Group
	}
	x.Sure = len(x.Candidates) == 1
	x = x.worded(s, wording{neutral: s.Hues[most].Neutral, green: cast.Green})
	cast.Said = x
	s.Cast = &cast
	var numbers []int
	for _, f := range s.Seen {
		if f.Number >= x.Since {
			numbers = append(numbers, f.Number)
		}
	}
	s.markAll(append(numbers, frame), ColourOnly, x.Group, 0)
	return s, []Finding{x}
}

// over is the median tone of the newest n frames.
func (h Hue) over(n int) Tone {
	var shift, tint, differs []float64
	for _, t := range h.Recent[len(h.Recent)-n:] {
		shift, tint, differs = append(shift, float64(t.Shift)), append(tint, float64(t.Tint)), append(differs, float64(t.Differs))
	}
	return Tone{Mired(math.Round(median(shift)*10) / 10), Duv(math.Round(median(tint)*1e5) / 1e5), Difference(math.Round(median(differs)*100) / 100)}
}

// castCauses lists what would explain the neutrals' colours, likeliest first: the colour of one light moves a neutral
// by its share of the light there, the camera's white balance moves all alike, the room's light by the room's share.
func (s State) castCauses(green bool) []Cause {
	var out []Cause
	try := func(c Cause, share func(h Hue) float64) {
		var ww, wy, most float64
		for _, h := range s.Hues {
			if len(h.Shares) != len(s.Setup.Lights) {
				continue
			}
			v := h.variance(green)
			w := share(h)
			ww, wy, most = ww+w*w/v, wy+w*h.Centre.size(green)/v, max(most, w)
		}
		if most < castShare {
			return
		}
		by := wy / ww
		for _, h := range s.Hues {
			if len(h.Shares) == len(s.Setup.Lights) {
				c.Chi += math.Pow(h.Centre.size(green)-share(h)*by, 2) / h.variance(green)
			}
		}
		c.Chi = math.Round((c.Chi+math.Abs(by)/50)*1000) / 1000 // lamps change by tens of mired, not by hundreds
		out = append(out, c)
	}
	for i, l := range s.Setup.Lights {
		try(Cause{What: OneLight, Group: l.Group, Name: l.Name, Index: i}, func(h Hue) float64 { return h.Shares[i] })
	}
	try(Cause{What: Everything, Name: "the camera's white balance", Index: -1}, func(Hue) float64 { return 1 })
	try(Cause{What: Room, Name: "daylight or a room lamp", Index: -1}, func(h Hue) float64 {
		rest := 1.0
		for _, w := range h.Shares {
			rest -= w
		}
		return max(rest, 0)
	})
	slices.SortStableFunc(out, func(a, b Cause) int { return cmp.Compare(a.Chi, b.Chi) })
	return alike(out)
}

// castShare is the least share of a neutral's light by which its colour can tell of a lamp.
const castShare = 0.05

func (h Hue) variance(green bool) float64 {
	return math.Pow(float64(h.Sigma), 2)/castFrames + math.Pow(float64(castError), 2) + math.Pow(shareError*h.Centre.size(green), 2)
}
