package plan

import (
	"slices"
	"strings"

	"thirdstop/assess/exposure"
)

// reflecting is a reflector as it stands in the file.
type reflecting struct {
	Reflector
	s  section
	at int // in the list of lights
}

// isReflector tells whether an entry of the list of lights is one.
func isReflector(n node) bool {
	return slices.ContainsFunc(n.pairs, func(p pair) bool {
		w := strings.ToLower(strings.TrimSpace(p.value.text))
		if other, ok := spellings[w]; ok {
			w = other
		}
		return p.key == "role" && p.value.kind == scalar && w == string(Passive)
	})
}

func (r *reader) reflector(n node, at int) reflecting {
	out := reflecting{at: at}
	var ok bool
	if out.s, ok = r.section(n, reflectorKeys, "role, group and of"); !ok {
		return out
	}
	s := out.s
	if v, ok := s.required("group", "a letter of its own, like group: R"); ok {
		out.Group = strings.ToUpper(strings.TrimSpace(v.text))
		if !isGroup(out.Group) {
			r.add(v, "is %s; write one to three letters or digits, like R", quote(v.text))
			out.Group = ""
		}
	}
	if v, ok := s.scalar("of", "the group of the light that it reflects, like of: B"); ok {
		out.Of = strings.ToUpper(strings.TrimSpace(v.text))
	}
	out.Distance = value(s, "distance", "one like 0.9 m", exposure.ParseMetres)
	out.Direction = value(s, "direction", "degrees from the camera and the side, like 60 left", parseDirection)
	out.Height = value(s, "height", "one like 1.2 m", exposure.ParseMetres)
	return out
}

// reflectors holds them against the lights: each has a group of its own and a light to reflect, the key unless told.
func (r *reader) reflectors(all []reflecting, lights []Light, groups map[string]int) []Reflector {
	var out []Reflector
	for _, m := range all {
		if g := m.Group; g != "" {
			if first, ok := groups[g]; ok {
				r.add(m.s.values["group"], "is %s, which lights[%d] has as well; give every light its own group", g, first)
			} else {
				groups[g] = m.at
			}
		}
		lit := slices.IndexFunc(lights, func(l Light) bool { return l.Group == m.Of && m.Of != "" })
		key := slices.IndexFunc(lights, func(l Light) bool { return l.Role == Key })
		_, told := m.s.values["of"]
		switch {
		case lit >= 0:
		case told && m.Of != "":
			r.add(m.s.values["of"], "is %s, and no light has that group; write the group of the light that it reflects", quote(m.Of))
		case !told && key >= 0:
			m.Of = lights[key].Group
		case !told && m.s.r != nil:
			m.s.required("of", "the group of the light that it reflects, like of: B")
		}
		out = append(out, m.Reflector)
	}
	return out
}
