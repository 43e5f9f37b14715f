package language

import (
	"fmt"
	"regexp"
	"strings"
	"sync"
	"unicode"
)

// Table is one language. Its methods may be called by many goroutines.
type Table struct {
	kinds map[string]kind
	exact map[string]string
	rules []*rule

	mu   sync.Mutex
	said map[string]string // guarded by mu: what was asked before; "" where it is not known
}

// kind is one sort of thing that is filled in.
type kind struct {
	form  string // of a regular expression
	words []change
}

type change struct {
	from *regexp.Regexp
	to   string
}

// rule is a sentence with things filled in.
type rule struct {
	en    string
	first string // the letters before the first thing that is filled in: nearly every sentence is told by them
	form  *regexp.Regexp
	names []string // of what the groups of form are
	to    string
}

var named = regexp.MustCompile(`<([A-Za-z]+)(\d*)>`)

// Parse reads a table. A fault is told with its line.
func Parse(text string) (*Table, error) {
	t := &Table{kinds: map[string]kind{"said": {form: ".+?"}}, exact: map[string]string{}, said: map[string]string{}}
	lines := strings.Split(text, "\n")
	at, from := "", ""
	for i, l := range lines {
		switch {
		case strings.TrimSpace(l) == "" || strings.HasPrefix(l, "#"):
		case strings.HasPrefix(l, "@"):
			name, form, ok := strings.Cut(l[1:], " ")
			if _, err := regexp.Compile(form); !ok || err != nil {
				return nil, fmt.Errorf("line %d: %q is no kind: write @name and a regular expression without groups that count", i+1, l)
			}
			t.kinds[name] = kind{form: form}
			at, from = name, ""
		case strings.HasPrefix(l, "\t") && at != "":
			a, b, ok := strings.Cut(l[1:], " = ")
			re, err := regexp.Compile(a)
			if !ok || err != nil {
				return nil, fmt.Errorf("line %d: %q is no change of words: write a regular expression, \" = \" and what it becomes", i+1, l)
			}
			k := t.kinds[at]
			k.words = append(k.words, change{re, regexp.MustCompile(`\$(\d)`).ReplaceAllString(b, "$${$1}")})
			t.kinds[at] = k
		case strings.HasPrefix(l, "\t"):
			if from == "" {
				return nil, fmt.Errorf("line %d: nothing stands before %q that it could be the words of", i+1, l)
			}
			if err := t.add(from, l[1:]); err != nil {
				return nil, fmt.Errorf("line %d: %w", i+1, err)
			}
			from = ""
		default:
			if from != "" {
				return nil, fmt.Errorf("line %d: %q has no words behind a tab in the line after it", i, from)
			}
			at, from = "", l
		}
	}
	if from != "" {
		return nil, fmt.Errorf("%q at the end has no words behind a tab in the line after it", from)
	}
	return t, nil
}

func (t *Table) add(from, to string) error {
	found := named.FindAllStringSubmatchIndex(from, -1)
	if len(found) == 0 {
		if _, ok := t.exact[from]; ok {
			return fmt.Errorf("%q stands twice", from)
		}
		t.exact[from] = to
		return nil
	}
	r := &rule{en: from, first: from[:found[0][0]], to: to}
	form, end := "^", 0
	for _, m := range found {
		name := from[m[2]:m[3]]
		k, ok := t.kinds[name]
		if !ok {
			return fmt.Errorf("there is no kind %q", name)
		}
		form += regexp.QuoteMeta(from[end:m[0]]) + "(" + k.form + ")"
		r.names = append(r.names, name+from[m[4]:m[5]])
		end = m[1]
	}
	for _, m := range named.FindAllString(to, -1) {
		if !strings.Contains(from, m) {
			return fmt.Errorf("%s is in the words and not in %q", m, from)
		}
	}
	var err error
	r.form, err = regexp.Compile(form + regexp.QuoteMeta(from[end:]) + "$")
	if err == nil && r.form.NumSubexp() != len(r.names) {
		err = fmt.Errorf("a kind in %q has groups that count; write (?: instead of (", from)
	}
	t.rules = append(t.rules, r)
	return err
}

// Say gives a text in the table's language, and false where any of it is not known.
func (t *Table) Say(text string) (string, bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.said) > mostKept {
		clear(t.said)
	}
	s := t.say(text)
	return s, s != ""
}

// mostKept bounds what is kept of what was asked before: texts have numbers in them and don't come again for ever.
const mostKept = 4000

func (t *Table) say(text string) string {
	if s, ok := t.said[text]; ok {
		return s
	}
	t.said[text] = "" // for what would come back to itself
	s := t.one(text)
	if s == "" {
		s = t.several(text)
	}
	if s == "" && text != "" && 'a' <= text[0] && text[0] <= 'z' { // a sentence that the daemon set behind a colon
		s = t.say(string(text[0]-'a'+'A') + text[1:])
	}
	t.said[text] = s
	return s
}

// one is a text that is a line of the table.
func (t *Table) one(text string) string {
	if s, ok := t.exact[text]; ok {
		return s
	}
	for _, r := range t.rules {
		if !strings.HasPrefix(text, r.first) {
			continue
		}
		m := r.form.FindStringSubmatch(text)
		if m == nil {
			continue
		}
		if s, ok := t.filled(r, m[1:]); ok {
			return s
		}
	}
	return ""
}

func (t *Table) filled(r *rule, parts []string) (string, bool) {
	out := r.to
	for i, name := range r.names {
		s := parts[i]
		base := strings.TrimRight(name, "0123456789")
		if base == "said" {
			if s = t.say(s); s == "" {
				return "", false
			}
		}
		for _, w := range t.kinds[base].words {
			s = w.from.ReplaceAllString(s, w.to)
		}
		out = strings.ReplaceAll(out, "<"+name+">", s)
	}
	return out, true
}

// several is a text of several sentences, each of which is known; of the ways to part it, that with the longest first.
func (t *Table) several(text string) string {
	for i := len(text) - 2; i > 0; i-- {
		if text[i] != ' ' || !strings.ContainsRune(".?!", rune(text[i-1])) || !unicode.IsUpper(rune(text[i+1])) && !unicode.IsDigit(rune(text[i+1])) {
			continue
		}
		if a := t.one(text[:i]); a != "" {
			if b := t.say(text[i+1:]); b != "" {
				return a + " " + b
			}
		}
	}
	return ""
}
