package plan

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"thirdstop/assess/exposure"
)

// mostFaults is how many faults are listed before the reader gives up: a plan
// with more is not a plan.
const mostFaults = 50

// Parse reads a plan. The name is that of the file, for the faults. Without faults the
// plan is complete: what the text leaves out has its default. With faults it must not be used.
func Parse(name string, text []byte) (Plan, Faults) {
	p, _, faults := parse(name, text)
	return p, faults
}

// Check is Parse together with [Plan.Unusual], whose remarks then say where in the file
// they belong. There are none where there are faults.
func Check(name string, text []byte) (Plan, Faults, []Fault) {
	p, r, faults := parse(name, text)
	if faults != nil {
		return p, faults, nil
	}
	unusual := p.Unusual()
	for i := range unusual {
		unusual[i].File = name
		unusual[i].Pointer = r.inFile(unusual[i].Pointer)
		unusual[i].Line, unusual[i].Column = r.place(unusual[i].Pointer)
	}
	slices.SortStableFunc(unusual, byPlace)
	return p, nil, unusual
}

func parse(name string, text []byte) (Plan, *reader, Faults) {
	r := &reader{name: name, where: map[string][2]int{}}
	n, faults := document(name, text)
	if n.pairs == nil && faults != nil {
		return Plan{}, r, faults
	}
	r.faults = faults
	p := r.plan(n)
	if len(r.faults) == 0 {
		return p, r, nil
	}
	slices.SortStableFunc(r.faults, byPlace)
	if len(r.faults) > mostFaults {
		r.faults = append(r.faults[:mostFaults], Fault{File: name, Text: "has more faults than are listed here"})
	}
	return p, r, r.faults
}

func byPlace(a, b Fault) int {
	if a.Line != b.Line {
		return a.Line - b.Line
	}
	return a.Column - b.Column
}

// reader turns the tree of a file into a plan and collects what is wrong.
type reader struct {
	name   string
	faults Faults
	where  map[string][2]int // pointer -> line, column

	flashes []int // per light of the plan: its place in the file's list, where reflectors stand as well
}

// place is where a pointer stands in the file, or the nearest thing around it that does.
func (r *reader) place(pointer string) (line, column int) {
	for {
		if at, ok := r.where[pointer]; ok {
			return at[0], at[1]
		}
		i := strings.LastIndexAny(pointer, ".[")
		if i < 0 {
			return 1, 1
		}
		pointer = pointer[:i]
	}
}

// inFile turns the number of a light into its place in the file's list.
func (r *reader) inFile(pointer string) string {
	number, rest, ok := strings.Cut(strings.TrimPrefix(pointer, "lights["), "]")
	i, err := strconv.Atoi(number)
	if !strings.HasPrefix(pointer, "lights[") || !ok || err != nil || i >= len(r.flashes) {
		return pointer
	}
	return fmt.Sprintf("lights[%d]%s", r.flashes[i], rest)
}

func (r *reader) add(n node, format string, a ...any) {
	r.faults = append(r.faults, Fault{File: r.name, Line: n.line, Column: n.column, Pointer: n.pointer, Text: fmt.Sprintf(format, a...)})
}

// quote shows a text from the file, shortened.
func quote(s string) string {
	if runes := []rune(s); len(runes) > 40 {
		s = string(runes[:40]) + "..."
	}
	return fmt.Sprintf("%q", s)
}

// section is a mapping whose keys are known.
type section struct {
	r      *reader
	self   node
	values map[string]node
	meant  map[string]bool // keys that are there under a wrong name
}

// section takes a mapping apart. Keys that it does not know are faults, with the
// nearest one that it does.
func (r *reader) section(n node, keys []string, example string) (section, bool) {
	s := section{r: r, self: n, values: map[string]node{}, meant: map[string]bool{}}
	r.where[n.pointer] = [2]int{n.line, n.column}
	switch n.kind {
	case mapping:
	case nothing:
		r.add(n, "has nothing under it; write %s", example)
		return s, false
	default:
		r.add(n, "is not a group of \"key: value\" lines; write %s", example)
		return s, false
	}
	for _, p := range n.pairs {
		v := p.value
		if !slices.Contains(keys, p.key) {
			v.line, v.column = p.line, p.column
			v.pointer = join(n.pointer, shorten(p.key))
			meant, text := unknownKey(p.key, n.pointer, keys)
			r.add(v, "%s", text)
			s.meant[meant] = true
			continue
		}
		r.where[v.pointer] = [2]int{p.line, p.column}
		s.values[p.key] = v
	}
	return s, true
}

func join(pointer, key string) string {
	if pointer == "" {
		return key
	}
	return pointer + "." + key
}

func shorten(key string) string {
	if r := []rune(key); len(r) > 40 {
		return string(r[:40]) + "..."
	}
	return key
}

// scalar is the text of a key. It reports false where the key is not there, or
// is there without a plain value, which is a fault.
func (s section) scalar(key, example string) (node, bool) {
	return s.plain(key, example+", or delete the line", example)
}

// required is scalar for a key that must be there.
func (s section) required(key, example string) (node, bool) {
	if _, ok := s.values[key]; ok {
		return s.plain(key, example, example)
	}
	missing := node{line: s.self.line, column: s.self.column, pointer: join(s.self.pointer, key)}
	if !s.meant[key] { // else the slip in its name has been told
		s.r.add(missing, "is missing; write %s", example)
	}
	return missing, false
}

func (s section) plain(key, ifEmpty, ifMany string) (node, bool) {
	n, ok := s.values[key]
	switch {
	case !ok:
		return n, false
	case n.kind == nothing || n.kind == scalar && strings.TrimSpace(n.text) == "":
		s.r.add(n, "has no value; write %s", ifEmpty)
		return n, false
	case n.kind != scalar:
		s.r.add(n, "is more than one value; write %s", ifMany)
		return n, false
	}
	return n, true
}

// value reads a scalar with a parser of the exposure package.
func value[T any](s section, key, example string, parse func(string) (T, error)) (v T) {
	n, ok := s.scalar(key, example)
	if !ok {
		return v
	}
	got, err := parse(n.text)
	if err != nil {
		s.r.add(n, "%s", plainReason(err))
		return v
	}
	return got
}

// plainReason leaves out of a refusal what its place in the plan already says.
func plainReason(err error) string {
	for _, sentinel := range []error{exposure.ErrDial, exposure.ErrDistance, exposure.ErrSetting} {
		if errors.Is(err, sentinel) {
			return strings.TrimPrefix(err.Error(), sentinel.Error()+": ")
		}
	}
	return err.Error()
}

// words reads one of a few words, in either case.
func words[T ~string](s section, n node, allowed []T) (T, bool) {
	t := strings.ToLower(strings.TrimSpace(n.text))
	if w, ok := spellings[t]; ok {
		t = w
	}
	if i := slices.Index(allowed, T(t)); i >= 0 {
		return allowed[i], true
	}
	list := make([]string, len(allowed))
	for i, a := range allowed {
		list[i] = string(a)
	}
	hint := "write " + orList(list)
	if near := nearest(t, list); near != "" {
		hint = "write " + near + "? It can be " + orList(list)
	}
	s.r.add(n, "is %s; %s", quote(n.text), hint)
	return "", false
}

// label reads a short free text.
func (s section) label(key, example string, most int) string {
	n, ok := s.scalar(key, example)
	if !ok {
		return ""
	}
	t := strings.TrimSpace(n.text)
	if count := len([]rune(t)); count > most {
		s.r.add(n, "is %d characters long; write at most %d", count, most)
		return ""
	}
	for _, c := range t {
		if !unicode.IsPrint(c) || c == unicode.ReplacementChar {
			s.r.add(n, "holds the character %U, which can't be shown; write plain text on one line", c)
			return ""
		}
	}
	return t
}

var (
	planKeys      = []string{"version", "shoot", "camera", "backdrop", "lights", "targets"}
	cameraKeys    = []string{"aperture", "shutter", "iso", "sync"}
	backdropKeys  = []string{"colour", "distance"}
	lightKeys     = []string{"role", "group", "power", "clicks", "top", "least", "most", "guide_number", "zoom", "modifier", "distance", "direction", "height", "full_flashes_per_minute"}
	reflectorKeys = []string{"role", "group", "of", "distance", "direction", "height"}
	targetKeys    = []string{"white_floor", "most_clipped", "backdrop_level", "white_peak", "hair_most"}
)

func (r *reader) plan(n node) Plan {
	p := Plan{Version: FormatVersion}
	s, ok := r.section(n, planKeys, "the plan as `thirdstop plan new -` shows it")
	if !ok {
		return p
	}
	if v, ok := s.required("version", "version: 1"); ok && strings.TrimSpace(v.text) != "1" {
		r.add(v, "is %s, which this program does not know; write 1, or use a newer thirdstop", quote(v.text))
	}
	p.Shoot = s.label("shoot", "what the shoot is called", 120)
	if c, ok := s.values["camera"]; ok {
		p.Camera = r.camera(c)
	}
	if b, ok := s.values["backdrop"]; ok {
		p.Backdrop = r.backdrop(b)
	} else {
		s.required("backdrop", "backdrop: with colour: white, grey, black or coloured under it")
	}
	if l, ok := s.values["lights"]; ok {
		p.Lights, p.Reflectors = r.lights(l)
	} else {
		s.required("lights", "lights: with one \"- role: ...\" for each light under it")
	}
	p.Targets = DefaultTargets(p.Backdrop.Colour)
	if t, ok := s.values["targets"]; ok {
		r.targets(t, &p.Targets)
	}
	return p
}

func (r *reader) camera(n node) (c Camera) {
	s, ok := r.section(n, cameraKeys, "aperture: f/8, shutter: 1/125 and iso: 100 under it")
	if !ok {
		return c
	}
	c.FNumber = value(s, "aperture", "one like f/8, or T8 on a lens marked in T-stops", func(text string) (exposure.FNumber, error) {
		if t, err := exposure.ParseTStop(text); err == nil {
			c.TStops = true
			return exposure.FNumber(t), nil
		}
		return exposure.ParseFNumber(text)
	})
	c.Shutter = value(s, "shutter", "one like 1/125", exposure.ParseShutter)
	c.ISO = value(s, "iso", "one like 100", exposure.ParseISO)
	c.Sync = value(s, "sync", "one like 1/200", exposure.ParseShutter)
	return c
}

func (r *reader) backdrop(n node) (b Backdrop) {
	s, ok := r.section(n, backdropKeys, "colour: white, grey, black or coloured under it")
	if !ok {
		return b
	}
	if c, ok := s.required("colour", "white, grey, black or coloured"); ok {
		b.Colour, _ = words(s, c, colours)
	}
	b.Distance = value(s, "distance", "one like 2.4 m", exposure.ParseMetres)
	return b
}

func (r *reader) targets(n node, t *Targets) {
	s, ok := r.section(n, targetKeys, "white_peak: -0.4 to -0.05 or another target under it")
	if !ok {
		return
	}
	for _, b := range []struct {
		key  string
		into *Band
	}{{"white_floor", &t.WhiteFloor}, {"backdrop_level", &t.BackdropLevel}, {"white_peak", &t.WhitePeak}} {
		if _, ok := s.values[b.key]; ok {
			if v := value(s, b.key, "a range of stops to clipping, like -0.4 to -0.05", parseBand); !v.IsZero() {
				*b.into = v
			}
		}
	}
	if _, ok := s.values["hair_most"]; ok {
		t.HairMost = value(s, "hair_most", "stops to clipping, like -1/3", parseStops)
	}
	if _, ok := s.values["most_clipped"]; ok {
		t.MostClipped = value(s, "most_clipped", "a share like 2 %", parseShare)
	}
}
