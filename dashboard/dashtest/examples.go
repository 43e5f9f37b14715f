package dashtest

import (
	"fmt"
	"strings"
)

// Example is one fenced block of a document: a request, and an answer as far as it is shown.
type Example struct {
	Line         int // in the document
	Method, Path string
	Header       []string
	Body         string
	Status       string
	Want         string // JSON; "" nothing is shown
}

// Examples are the blocks of DEVELOPERS.md whose fence has that word.
func Examples(text, fence string) ([]Example, error) {
	var out []Example
	lines := strings.Split(text, "\n")
	for i := 0; i < len(lines); i++ {
		if lines[i] != "```"+fence {
			continue
		}
		e := Example{Line: i + 1}
		var part []string
		end := i + 1
		for ; end < len(lines) && lines[end] != "```"; end++ {
			part = append(part, lines[end])
		}
		request, answer, ok := strings.Cut(strings.Join(part, "\n"), "\nHTTP ")
		if !ok || end == len(lines) {
			return nil, fmt.Errorf("DEVELOPERS.md:%d: the example has no line \"HTTP STATUS\" or no end", e.Line)
		}
		head, body, _ := strings.Cut(request, "\n\n")
		headLines := strings.Split(strings.TrimSpace(head), "\n")
		e.Method, e.Path, ok = strings.Cut(headLines[0], " ")
		e.Header, e.Body = headLines[1:], strings.TrimSpace(body)
		e.Status, e.Want, _ = strings.Cut(answer, "\n")
		e.Want = strings.TrimSpace(e.Want)
		if !ok {
			return nil, fmt.Errorf("DEVELOPERS.md:%d: the example begins with no method and path", e.Line)
		}
		out = append(out, e)
		i = end
	}
	return out, nil
}

// Differs says where an answer is not as shown: every member that is shown must
// be there, lists in full length, and "..." stands for any text.
func Differs(at string, want, got any) string {
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			return fmt.Sprintf("%s is %v, want an object", at, got)
		}
		for k, v := range w {
			if _, there := g[k]; !there {
				return fmt.Sprintf("%s.%s is missing", at, k)
			}
			if d := Differs(at+"."+k, v, g[k]); d != "" {
				return d
			}
		}
		return ""
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			return fmt.Sprintf("%s is %v, want a list of %d", at, got, len(w))
		}
		for i := range w {
			if d := Differs(fmt.Sprintf("%s[%d]", at, i), w[i], g[i]); d != "" {
				return d
			}
		}
		return ""
	case string:
		if g, ok := got.(string); ok && w == "..." && g != "" {
			return ""
		}
	}
	if want != got {
		return fmt.Sprintf("%s is %v, want %v", at, got, want)
	}
	return ""
}
