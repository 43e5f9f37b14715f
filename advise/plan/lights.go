package plan

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"thirdstop/assess/exposure"
)

func (r *reader) lights(n node) ([]Light, []Reflector) {
	r.where[n.pointer] = [2]int{n.line, n.column}
	if n.kind != list || len(n.items) == 0 {
		r.add(n, "is not a list of lights; write \"- role: key\" and the other keys of each light under it")
		return nil, nil
	}
	if len(n.items) > MostLights {
		r.add(n, "holds %d lights; the most is %d", len(n.items), MostLights)
		return nil, nil
	}
	var lights []Light
	groups, single := map[string]int{}, map[Role]int{}
	var passive []reflecting
	for i, item := range n.items {
		if isReflector(item) {
			passive = append(passive, r.reflector(item, i))
			continue
		}
		l, s, ok := r.light(item)
		lights = append(lights, l)
		r.flashes = append(r.flashes, i)
		if !ok {
			continue
		}
		if g := l.Group; g != "" {
			if first, ok := groups[g]; ok {
				r.add(s.values["group"], "is %s, which lights[%d] has as well; give every light its own group", g, first)
			} else {
				groups[g] = i
			}
		}
		if l.Role != "" && l.Role != Background {
			if first, ok := single[l.Role]; ok {
				r.add(s.values["role"], "is %s, which lights[%d] is as well; only background lights may share a role", l.Role, first)
			} else {
				single[l.Role] = i
			}
		}
	}
	if len(lights) == 0 {
		r.add(n, "holds reflectors alone; write the light that they reflect as well, like \"- role: key\"")
	}
	return lights, r.reflectors(passive, lights, groups)
}

func (r *reader) light(n node) (l Light, s section, ok bool) {
	s, ok = r.section(n, lightKeys, "role, group and power of the light")
	if !ok {
		return l, s, false
	}
	if v, ok := s.required("role", "role: "+orList(texts(roles))); ok {
		l.Role, _ = words(s, v, slices.Concat(roles, []Role{Passive})) // reflectors were taken out before
	}
	if v, ok := s.required("group", "the letter of its radio group, like group: A"); ok {
		l.Group = strings.ToUpper(strings.TrimSpace(v.text))
		if !isGroup(l.Group) {
			r.add(v, "is %s; write one to three letters or digits, like A", quote(v.text))
			l.Group = ""
		}
	}
	l.Guide = value(s, "guide_number", "f-number times metres at ISO 100, like 58", exposure.ParseGuideNumber)
	l.Zoom = value(s, "zoom", "millimetres, like 50", parseZoom)
	l.Modifier = s.label("modifier", "what is on the light, like shoot-through umbrella", 80)
	l.Distance = value(s, "distance", "one like 1.2 m", exposure.ParseMetres)
	l.Direction = value(s, "direction", "degrees from the camera and the side, like 45 right", parseDirection)
	l.Height = value(s, "height", "one like 1.9 m", exposure.ParseMetres)
	l.Limit = value(s, "full_flashes_per_minute", "what the flash's manual allows, like 2", parseLimit)
	l.power(s)
	return l, s, true
}

// power reads the dial: how it is marked, where it stands, and its range.
func (l *Light) power(s section) {
	const example = "what the dial says, like 1/8 + 1/3"
	texts := map[string]node{}
	if v, ok := s.required("power", example); ok {
		texts["power"] = v
	}
	for _, key := range []string{"least", "most"} {
		if v, ok := s.scalar(key, example); ok {
			texts[key] = v
		}
	}
	scale, ok := readScale(s, texts)
	l.Scale = scale
	if !ok {
		return
	}
	dial := func(key string, into *exposure.Dial) bool {
		v, ok := texts[key]
		if !ok {
			return false
		}
		d, err := scale.Parse(v.text)
		if err != nil {
			s.r.add(v, "%s", plainReason(err))
			return false
		}
		*into = d
		return true
	}
	havePower := dial("power", &l.Power)
	l.Least, l.Most = min(defaultLeast(scale), l.Power), exposure.FullPower
	_, statedLeast := texts["least"]
	_, statedMost := texts["most"]
	okLeast := dial("least", &l.Least) || !statedLeast
	okMost := dial("most", &l.Most) || !statedMost
	if !havePower || !okLeast || !okMost {
		return
	}
	switch {
	case l.Least >= l.Most && (statedLeast || statedMost):
		at := texts["least"]
		if !statedLeast {
			at = texts["most"]
		}
		s.r.add(at, "leaves nothing to set: least is %s and most is %s; write a least that is weaker than most", scale.Format(l.Least), scale.Format(l.Most))
	case l.Power > l.Most:
		s.r.add(texts["power"], "is %s, over the most of this light, %s; write the setting of the dial, or change most", scale.Format(l.Power), scale.Format(l.Most))
	case l.Power < l.Least:
		s.r.add(texts["power"], "is %s, under the least of this light, %s; write the setting of the dial, or change least", scale.Format(l.Power), scale.Format(l.Least))
	}
}

// defaultLeast is 1/128, which hand flashes have had for long (common practice, no
// source). A number on the dial does not fall under zero.
func defaultLeast(s exposure.Scale) exposure.Dial {
	d := -7 * exposure.Stop
	if s.Marking == exposure.Numbers {
		d = max(d, -exposure.Dial(s.Top/10)*exposure.Stop)
	}
	return d
}

var clickNames = []string{"thirds", "tenths", "whole"}

func clickOf(name string) exposure.Dial {
	switch name {
	case "tenths":
		return exposure.Tenth
	case "whole":
		return exposure.Stop
	}
	return exposure.Third
}

func clickName(d exposure.Dial) string {
	switch d {
	case exposure.Tenth:
		return "tenths"
	case exposure.Stop:
		return "whole"
	}
	return "thirds"
}

// readScale finds out how the dial is marked: from the keys "clicks" and "top",
// or from what its settings look like. It asks rather than guess where ".3" could be a third
// or three tenths, and where a bare number could count from any top.
func readScale(s section, settings map[string]node) (exposure.Scale, bool) {
	scale := exposure.Scale{Marking: exposure.Fractions}
	good := true
	if _, ok := s.values["top"]; ok {
		scale.Marking = exposure.Numbers
		before := len(s.r.faults)
		scale.Top = value(s, "top", "what the dial shows at full power, like 10.0", parseTop)
		good = len(s.r.faults) == before
	}
	if v, ok := s.scalar("clicks", orList(clickNames)); ok {
		name, ok := words(s, v, clickNames)
		if !ok {
			return scale, false
		}
		scale.Click = clickOf(name)
	} else if _, stated := s.values["clicks"]; stated {
		return scale, false
	}
	order := []string{"power", "least", "most"}
	if scale.Marking == exposure.Fractions {
		for _, key := range order {
			if v, ok := settings[key]; ok && isNumber(v.text) {
				v.pointer = join(s.self.pointer, "top")
				s.r.add(v, "is missing, and the dial says %s: either it counts in numbers, then write what it shows at full power, like top: 10.0, or write a fraction, like 1/1", quote(v.text))
				return scale, false
			}
		}
	}
	if scale.Click != 0 {
		return scale, good
	}
	var unclear *node
	for _, key := range order {
		v, ok := settings[key]
		if !ok {
			continue
		}
		switch hint(v.text, scale) {
		case "thirds":
			scale.Click = exposure.Third
			return scale, good
		case "tenths":
			scale.Click = exposure.Tenth
			return scale, good
		case "either":
			if unclear == nil {
				unclear = &v
			}
		}
	}
	if unclear != nil {
		v := *unclear
		v.pointer = join(s.self.pointer, "clicks")
		s.r.add(v, "is missing, and the dial says %s: .3 and .7 are thirds on one flash and tenths on another; write clicks: thirds or clicks: tenths", quote(v.text))
		return scale, false
	}
	// Nothing between whole stops to go by. Thirds are what fractions usually have
	// between them, and a number with a decimal has tenths (common practice, no source).
	scale.Click = exposure.Third
	if scale.Marking == exposure.Numbers {
		scale.Click = exposure.Tenth
	}
	return scale, good
}

// hint says what the part of a stop in a setting tells of the clicks: "thirds",
// "tenths", "either" or nothing.
func hint(text string, scale exposure.Scale) string {
	t := strings.Join(strings.Fields(text), "")
	part := ""
	if scale.Marking == exposure.Numbers {
		if v, err := strconv.ParseFloat(t, 64); err == nil && math.Abs(v) < 1000 {
			under := ((scale.Top-int(math.Round(v*10)))%10 + 10) % 10
			part = "." + strconv.Itoa(under)
		}
	} else if i := strings.IndexAny(t, "+-"); i > 0 {
		part = t[i+1:]
		if strings.Contains(part, ".") {
			part = strings.TrimRight(strings.TrimPrefix(part, "0"), "0")
		}
	}
	switch part {
	case "1/3", "2/3", ".33", ".67":
		return "thirds"
	case ".3", ".7":
		return "either"
	case ".1", ".2", ".4", ".5", ".6", ".8", ".9", "1/2":
		return "tenths"
	}
	return ""
}

func isNumber(text string) bool {
	t := strings.TrimSpace(text)
	return t != "" && strings.Trim(t, "0123456789.") == ""
}

func isGroup(s string) bool {
	if n := len(s); n < 1 || n > 3 {
		return false
	}
	for _, c := range s {
		if c > unicode.MaxASCII || !unicode.IsLetter(c) && !unicode.IsDigit(c) {
			return false
		}
	}
	return true
}

// decimal reads plain digits with at most one point: no exponent, no leading
// zero (which YAML takes for base eight), no underscore.
func decimal(t string) (float64, error) {
	whole, frac, point := strings.Cut(t, ".")
	digits := strings.Trim(whole, "0123456789") == "" && strings.Trim(frac, "0123456789") == ""
	if !digits || whole+frac == "" || point && frac == "" || len(whole) > 1 && whole[0] == '0' || len(t) > 24 {
		return 0, strconv.ErrSyntax
	}
	return strconv.ParseFloat(t, 64)
}

func parseZoom(text string) (Millimetres, error) {
	t := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), "mm"))
	if v, err := decimal(t); err == nil && v >= 8 && v <= 400 {
		return Millimetres(v), nil
	}
	return 0, fmt.Errorf("is %s; write the zoom of the flash in millimetres, 8 to 400, like 50", quote(text))
}

func parseLimit(text string) (FlashesPerMinute, error) {
	if v, err := decimal(strings.TrimSpace(text)); err == nil && v > 0 && v <= 600 {
		return FlashesPerMinute(v), nil
	}
	return 0, fmt.Errorf("is %s; write how many flashes at full power a minute the manual allows, like 2", quote(text))
}

// parseTop reads the dial's number at full power as tenths.
func parseTop(text string) (int, error) {
	v, err := decimal(strings.TrimSpace(text))
	tenths := math.Round(v * 10)
	if err == nil && tenths >= 10 && tenths <= 990 && math.Abs(v*10-tenths) < 1e-6 {
		return int(tenths), nil
	}
	return 0, fmt.Errorf("is %s; write what the dial shows at full power, 1 to 99 with at most one decimal, like 10.0", quote(text))
}
