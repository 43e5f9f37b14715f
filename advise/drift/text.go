package drift

import (
	"fmt"
	"math"
	"strings"

	"thirdstop/assess/exposure"
)

// wording is what a sentence needs beside the finding itself.
type wording struct {
	light Light
	left  int     // flashes that still fit under the limit
	count int     // frames in a row
	rest  float64 // seconds
	kept  bool    // a rest did not bring it back
	back  bool
	tired bool // low frames brought it, not a slope

	neutral string // that shows a colour most
	green   bool   // by its tint
}

// The usual cautions. Each ends at the maker's manual or at a qualified person.
const (
	careFlash = "Tube, modelling lamp and fittings stay hot after use: let them cool before touching or covering them. Never open a flash or power pack, it can hold a lethal charge long after it is unplugged; repair is the maker's service's work."
	careHeat  = "Don't cool it by force (no ice, water or wet cloth) and never open it. Stop at a smell, smoke or a heat warning. Its maker's manual says how long to rest, and decides."
	careCells = "Use the cells and charger its manual names, and never mix old and new ones. Stop using cells that are hot, swollen or leaking, and handle them as the manual says."
	careStand = "Lower a stand before changing its load, put a leg under the load and weigh it down, as the makers of stand and light say."
)

// worded gives a finding its sentences.
func (x Finding) worded(s State, w wording) Finding {
	who := x.who()
	size := amount(x.Size)
	dir := "up"
	if x.Size < 0 {
		dir = "down"
	}
	x.Caution = ""
	switch x.Kind {
	case FiredEarly:
		x.Text = fmt.Sprintf("Frame %d: %s came out %s low, %.1f s after the frame before: fired before it had recycled.", x.Frame, who, size, w.rest)
		x.Remedy = fmt.Sprintf("Take the frame again, and leave at least %.0f s between frames at this power. Leave the dial as it is.", x.Wait)
	case Absent:
		x.Text = fmt.Sprintf("Frame %d: %s did not light it.", x.Frame, who)
		if w.count > 1 {
			x.Text = fmt.Sprintf("%s has not lit %d frames in a row, since frame %d.", who, w.count, x.Since)
		}
		x.Remedy = "Wake it, then check that it is on and ready, its trigger, channel and group, and the trigger's battery. Don't turn any power up for it; take the frame again."
		if x.Wait > 0 {
			x.Remedy = fmt.Sprintf("It may not have been ready: leave at least %.0f s between frames. ", x.Wait) + x.Remedy
		}
		x.Caution = careFlash
	case OddFrame:
		x.Text = fmt.Sprintf("Frame %d alone is off: %s %s %s.", x.Frame, who, dir, size)
		x.Remedy = "Take it again, and change nothing for one frame. If it comes back, look at the pause before it, at the trigger, and at what stood in the light."
	case Step:
		x.Text = fmt.Sprintf("%s went %s by %s at frame %d, and nobody recorded it.", who, dir, size, x.Since)
		x.Remedy = "Look whether its dial was turned, or its stand or head bumped; put it back or say what was changed."
		x.Caution = careStand
	case Slope:
		x.Text = fmt.Sprintf("%s has been going %s since about frame %d, %s by now (%.3f stop a frame).", who, dir, x.Since, size, math.Abs(float64(x.PerFrame)))
		x.Remedy = "Look for a sagging stand or umbrella, and whether the sitter or the light creeps nearer or away."
		if x.Size < 0 && w.kept {
			x.Remedy += " A rest did not bring it back, so it is hardly heat."
		} else if x.Size < 0 {
			x.Remedy += " If all stands as it should, let the flash rest a few minutes: output that comes back after a rest was heat, output that stays low a tired battery."
		}
		x.Caution = careStand
	case Heat:
		switch {
		case w.tired:
			x.Text = fmt.Sprintf("%s left %d frames low since frame %d after much work: it may be too hot.", who, tiredLows, x.Since)
		case w.back:
			x.Text = fmt.Sprintf("%s had sagged by %s since frame %d, and came back after a rest of %s: it gets too hot.", who, size, x.Since, seconds(w.rest))
		default:
			x.Text = fmt.Sprintf("%s sags through runs of frames and recovers with rest, %s by now: it gets too hot.", who, size)
		}
		x.Remedy = "Let it rest. Then less power and more ISO, and longer pauses; don't make up for it with more power."
		x.Caution = careHeat
	case Battery:
		if w.tired {
			x.Text = fmt.Sprintf("%s left %d frames low since frame %d: its battery tires, or the pauses are too short.", who, tiredLows, x.Since)
		} else {
			x.Text = fmt.Sprintf("%s has sagged by %s since frame %d, and a rest did not bring it back: a tired battery, or a stand or umbrella that gave way.", who, size, x.Since)
		}
		x.Remedy = "Let it recycle fully and change the battery at the next break; look at stand and umbrella as well. More power would empty it faster."
		x.Caution = careCells
	case AllLights:
		x.Text = fmt.Sprintf("Everything went %s alike by %s at about frame %d.", dir, size, x.Since)
		x.Remedy = "Look at aperture, ISO, and the lens (ring, converter, filter) before any light."
	case Ambient:
		x.Text = fmt.Sprintf("The room's own light changed at about frame %d, and the frames show it.", x.Since)
		x.Remedy = "Look at window, blinds and room lamps. A shorter exposure time, no shorter than the flashes' sync, takes room light out."
	case ColourOnly:
		x.Text = fmt.Sprintf("The %s has been %s since about frame %d, at the same level.", neutralWords[w.neutral], x.Tone.words(w.green), x.Since)
		x.Remedy = x.colourRemedy()
		x.Caution = careFlash
	case Unclear:
		x.Text = fmt.Sprintf("The light has changed since about frame %d, and no single light, camera setting or window explains it.", x.Since)
		x.Remedy = "If something was changed on purpose, say so; else look at stands, dials and crop, and take one frame with the card held in."
	case Back:
		if w.back && x.Tone != (Tone{}) && x.Size == 0 {
			x.Text = fmt.Sprintf("The colour is back where it was, in frame %d.", x.Frame)
			x.Remedy = "Nothing to do; frames since " + fmt.Sprint(x.Since) + " are marked."
			break
		}
		x.Text = fmt.Sprintf("%s: back where it was, in frame %d.", who, x.Frame)
		x.Remedy = "Nothing to do; frames since " + fmt.Sprint(x.Since) + " are marked."
	case LoadNear:
		x.Text = fmt.Sprintf("%s: %s full flashes a minute, near the %s that the plan gives from its manual. About %d more fit now.", w.light.Name, rate(x.Load), rate(w.light.Limit), w.left)
		x.Remedy = "Longer pauses now; for long, less power and more ISO."
		x.Caution = careHeat
	case LoadOver:
		x.Text = fmt.Sprintf("%s: %s full flashes a minute, over the %s that the plan gives from its manual.", w.light.Name, rate(x.Load), rate(w.light.Limit))
		x.Remedy = "Let it rest now. Then less power and more ISO, and longer pauses."
		x.Caution = careHeat
	}
	if x.Kind != ColourOnly && x.Kind != Back && (x.Tone != Tone{}) {
		green := math.Abs(x.Tone.size(true)) > math.Abs(x.Tone.size(false))
		x.Text += " With it the neutral came out " + x.Tone.words(green) + "."
		x.Remedy += " Light that changes its colour, too, may be another lamp, a gel or a modifier, or daylight."
	}
	if n := len(x.Candidates); n > 1 && x.Kind != Unclear && x.Kind != Back && x.Kind != ColourOnly {
		x.Remedy += " These frames can't tell " + andOr(x.Candidates) + " apart: " + x.test() + " would."
	}
	if x.Steady && (x.Kind == Step || x.Kind == Slope) {
		x.Text += " It has stopped changing."
	}
	if x.May == CardCheck {
		if x.Kind != OddFrame && x.Kind != FiredEarly && x.Kind != Absent && x.Kind != Back {
			way := "brighter"
			if x.Size < 0 {
				way = "darker"
			}
			x.Text = fmt.Sprintf("Face and clothes have been %s since about frame %d, by %s.", way, x.Since, size)
		}
		x.Remedy = "Seen on face and clothes alone, so it may be the sitter: hold the card in for one frame before anything is changed."
	}
	return x
}

// who is the light, or what else it is, at the head of a sentence.
func (x Finding) who() string {
	if len(x.Candidates) == 0 {
		return "The picture"
	}
	switch c := x.Candidates[0]; c.What {
	case Everything:
		return "The whole frame"
	case Room:
		return "The room's light"
	default:
		if len(x.Candidates) > 1 {
			return andOr(x.Candidates)
		}
		return c.Name
	}
}

// test is the one frame that would separate the candidates.
func (x Finding) test() string {
	for _, c := range x.Candidates {
		if c.What == OneLight {
			return "one frame of the card with " + c.Name + " alone"
		}
	}
	return "one frame of the card with every flash off"
}

func andOr(list []Cause) string {
	var names []string
	for _, c := range list {
		names = append(names, c.Name)
	}
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " or " + names[n-1]
	}
	return strings.Join(names, "")
}

// amount is a difference without its sign: "0.42 stop".
func amount(v exposure.Stops) string {
	if v < 0 {
		v = -v
	}
	return strings.TrimPrefix(v.String(), "+")
}

func rate(v FlashesPerMinute) string {
	return strings.TrimSuffix(fmt.Sprintf("%.1f", float64(v)), ".0")
}

func seconds(v float64) string {
	if v >= 120 {
		return fmt.Sprintf("%.0f minutes", v/60)
	}
	return fmt.Sprintf("%.0f s", v)
}

// neutralWords are the neutrals for people.
var neutralWords = map[string]string{"white_reference": "white reference", "backdrop": "backdrop", "witness": "grey strip"}

// words says a change of colour: "14 mired warmer (a colour difference of 3.1)".
func (t Tone) words(green bool) string {
	by := fmt.Sprintf("%.0f mired warmer", math.Abs(float64(t.Shift)))
	switch {
	case green && t.Tint > 0:
		by = fmt.Sprintf("greener by %.3f Duv", math.Abs(float64(t.Tint)))
	case green:
		by = fmt.Sprintf("more magenta by %.3f Duv", math.Abs(float64(t.Tint)))
	case t.Shift < 0:
		by = fmt.Sprintf("%.0f mired cooler", math.Abs(float64(t.Shift)))
	}
	return fmt.Sprintf("%s (CIEDE2000 %.1f; about 1 is just seen)", by, float64(t.Differs))
}

// colourRemedy says where to look for a change of colour. No dial mends one.
func (x Finding) colourRemedy() string {
	var say []string
	for _, c := range x.Candidates {
		switch c.What {
		case OneLight:
			say = append(say, "at "+c.Name+": a gel that slipped or faded, another modifier, another or a hot tube")
		case Everything:
			say = append(say, "at the camera's white balance, set anew or automatic")
		case Room:
			say = append(say, "for daylight or a room lamp that mixes in")
		}
	}
	if len(say) == 0 {
		say = []string{"at gels and modifiers, for another lamp or daylight that mixes in, and at the camera's white balance"}
	}
	return "Look " + strings.Join(say, "; or ") + ". No power changes for it: put it right there, or take a card or chart frame for the raw development."
}
