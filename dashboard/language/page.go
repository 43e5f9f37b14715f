package language

import (
	"html"
	"regexp"
	"strings"
)

var (
	attribute = regexp.MustCompile(`(aria-label|alt)="([^"]*)"`)
	own       = regexp.MustCompile(`class="(?:[^"]* )?(?:person|file)[ "]`)
)

// Page puts an HTML page into the table's language, text by text; code is that language's, as "de". What is not known
// stays, and so do styles, code, and what is marked as the name of a person or file. The page must be well formed, as
// html/template writes it.
func (t *Table) Page(page []byte, code string) []byte {
	var out strings.Builder
	out.Grow(len(page) + len(page)/8)
	text, keep := string(page), ""
	for text != "" {
		if text[0] != '<' {
			end := strings.IndexByte(text, '<')
			if end < 0 {
				end = len(text)
			}
			if keep == "" {
				out.WriteString(t.node(text[:end]))
			} else {
				out.WriteString(text[:end])
			}
			text = text[end:]
			continue
		}
		end := strings.IndexByte(text, '>') + 1
		if end == 0 {
			end = len(text)
		}
		tag := text[:end]
		text = text[end:]
		name := strings.FieldsFunc(tag, func(r rune) bool { return strings.ContainsRune("</> \n", r) })
		switch {
		case len(name) == 0:
		case keep != "":
			if strings.HasPrefix(tag, "</"+keep) {
				keep = ""
			}
		case strings.HasPrefix(tag, "</"):
		case name[0] == "html":
			tag = regexp.MustCompile(`lang="[^"]*"`).ReplaceAllString(tag, `lang="`+code+`"`)
		case name[0] == "style" || name[0] == "code" || own.MatchString(tag):
			keep = name[0]
		default:
			tag = attribute.ReplaceAllStringFunc(tag, func(a string) string {
				m := attribute.FindStringSubmatch(a)
				return m[1] + `="` + t.node(m[2]) + `"`
			})
		}
		out.WriteString(tag)
	}
	return []byte(out.String())
}

// node is a text of a page in the table's language, with the space about it as it was.
func (t *Table) node(text string) string {
	core := strings.TrimSpace(text)
	said, ok := t.Say(strings.Join(strings.Fields(html.UnescapeString(core)), " "))
	if core == "" || !ok {
		return text
	}
	at := strings.Index(text, core)
	return text[:at] + html.EscapeString(said) + text[at+len(core):]
}
