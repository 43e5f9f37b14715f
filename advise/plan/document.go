package plan

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Bounds of what is given to the YAML parser, which recurses and so can't be
// given just anything: a stack that overflows ends the program.
const (
	MostBytes     = 256 << 10 // bytes of a plan file
	mostIndent    = 40        // columns before the first character of a line
	mostFlowDepth = 8         // brackets and braces inside each other
	mostPerLine   = 4         // "- " entries, or "key:" outside brackets, on one line
	mostTokens    = 20000
)

// kind is what stands at a place in the file.
type kind int

const (
	scalar kind = iota
	mapping
	list
	nothing // a key without a value
)

// node is a part of the file, with every scalar as the text that was written:
// YAML's own ideas of numbers (010 is eight) have no place in a plan.
type node struct {
	kind    kind
	text    string // scalar
	quoted  bool   // scalar that stood in quotes
	pairs   []pair // mapping
	items   []node // list
	line    int
	column  int
	pointer string
}

type pair struct {
	key          string
	line, column int
	value        node
}

// document turns text into a tree, or says why it can't.
func document(name string, text []byte) (node, Faults) {
	text, faults := plain(name, text)
	if faults != nil {
		return node{}, faults
	}
	fault := func(at *token.Token, text string) Fault {
		f := Fault{File: name, Text: text, Line: 1, Column: 1}
		if at != nil && at.Position != nil {
			f.Line, f.Column = max(at.Position.Line, 1), max(at.Position.Column, 1)
		}
		return f
	}
	tokens, faults := tokenise(name, text, fault)
	if faults != nil {
		return node{}, faults
	}
	file, err := parseTokens(tokens)
	if err != nil {
		var at interface {
			GetToken() *token.Token
			GetMessage() string
		}
		if errors.As(err, &at) {
			return node{}, Faults{fault(at.GetToken(), "is not YAML that can be read here: "+firstLine(at.GetMessage())+"; look at this line and the one above for a missing colon, quote or space")}
		}
		return node{}, Faults{fault(nil, "is not YAML that can be read here: "+firstLine(err.Error()))}
	}
	var body ast.Node
	for _, d := range file.Docs {
		if d == nil || d.Body == nil || d.Body.Type() == ast.CommentType {
			continue
		}
		if body != nil {
			return node{}, Faults{fault(d.Body.GetToken(), "a second document begins here; write one plan per file")}
		}
		body = d.Body
	}
	if body == nil {
		return node{}, Faults{{File: name, Line: 1, Column: 1, Text: "is empty; `thirdstop plan new` writes an example to begin with"}}
	}
	t := tree{name: name, fault: fault}
	n := t.convert(body, "")
	return n, t.faults
}

// plain checks what can be checked before YAML comes into it.
func plain(name string, text []byte) ([]byte, Faults) {
	if len(text) > MostBytes {
		return nil, Faults{{File: name, Line: 1, Column: 1, Text: fmt.Sprintf("is larger than %d KB, so it can't be a light plan; check the name of the file", MostBytes>>10)}}
	}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	text = bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n"))
	var faults Faults
	for i, l := range bytes.Split(text, []byte("\n")) {
		add := func(col int, format string, a ...any) {
			if len(faults) < mostFaults {
				faults = append(faults, Fault{File: name, Line: i + 1, Column: col, Text: fmt.Sprintf(format, a...)})
			}
		}
		if !utf8.Valid(l) {
			add(1, "holds bytes that are not UTF-8 text; save the file as UTF-8")
			continue
		}
		indent := len(l) - len(bytes.TrimLeft(l, " "))
		if rest := l[indent:]; len(rest) > 0 && rest[0] == '\t' {
			add(indent+1, "begins with a tab; indent with spaces")
		} else if len(rest) > 0 && indent > mostIndent {
			add(indent+1, "is indented by %d spaces; a plan needs four", indent)
		}
		for _, r := range string(l) {
			if r != '\t' && (unicode.IsControl(r) || r == '\u2028' || r == '\u2029' || r == '\ufeff') {
				add(1, "holds the control character %U; delete it", r)
				break
			}
		}
	}
	return text, faults
}

// tokenise runs the lexer and refuses the parts of YAML that a plan has no use for.
func tokenise(name string, text []byte, fault func(*token.Token, string) Fault) (toks token.Tokens, faults Faults) {
	defer func() {
		if r := recover(); r != nil { // foreign bytes may find a bug of the library
			toks, faults = nil, Faults{{File: name, Line: 1, Column: 1, Text: "can't be read as YAML; compare it with what `thirdstop plan new -` writes"}}
		}
	}()
	toks = lexer.Tokenize(string(text))
	if len(toks) > mostTokens {
		return nil, Faults{fault(toks[mostTokens], "holds far more than a light plan can; check the name of the file")}
	}
	depth, line, entries, values := 0, 0, 0, 0
	for _, t := range toks {
		if len(faults) >= mostFaults {
			break
		}
		if t.Position != nil && t.Position.Line != line {
			line, entries, values = t.Position.Line, 0, 0
		}
		switch t.Type {
		case token.AnchorType, token.AliasType, token.MergeKeyType:
			faults = append(faults, fault(t, fmt.Sprintf("has the YAML anchor, alias or merge sign %q; write the value out instead, or put the text in quotes", t.Value)))
		case token.TagType:
			faults = append(faults, fault(t, fmt.Sprintf("has the YAML tag %q; leave it out, or put the text in quotes", t.Value)))
		case token.DirectiveType:
			faults = append(faults, fault(t, "has a YAML directive (%); leave it out"))
		case token.MappingKeyType:
			faults = append(faults, fault(t, "begins with a question mark; write \"key: value\""))
		case token.LiteralType, token.FoldedType:
			faults = append(faults, fault(t, fmt.Sprintf("has a block of text (%s); write the value on one line, in quotes", t.Value)))
		case token.MappingStartType, token.SequenceStartType:
			if depth++; depth > mostFlowDepth {
				return nil, append(faults, fault(t, "has too many brackets inside each other; write one key per line"))
			}
		case token.MappingEndType, token.SequenceEndType:
			depth--
		case token.SequenceEntryType:
			if entries++; entries > mostPerLine {
				return nil, append(faults, fault(t, "has too many dashes on one line; write one light per dash"))
			}
		case token.MappingValueType:
			if values++; depth <= 0 && values > mostPerLine {
				return nil, append(faults, fault(t, "has too many colons on one line; write one key per line, and texts with colons in quotes"))
			}
		}
	}
	return toks, faults
}

func parseTokens(toks token.Tokens) (file *ast.File, err error) {
	defer func() {
		if r := recover(); r != nil { // as in tokenise
			file, err = nil, errors.New("the parser gave up; compare the file with what `thirdstop plan new -` writes")
		}
	}()
	return parser.Parse(toks, 0, parser.AllowDuplicateMapKey())
}

// tree collects the faults of turning YAML's nodes into ours.
type tree struct {
	name   string
	fault  func(*token.Token, string) Fault
	faults Faults
}

func (t *tree) add(at *token.Token, pointer, text string) {
	f := t.fault(at, text)
	f.Pointer = pointer
	t.faults = append(t.faults, f)
}

func (t *tree) convert(n ast.Node, pointer string) node {
	out := node{pointer: pointer}
	tok := n.GetToken()
	if tok != nil && tok.Position != nil {
		out.line, out.column = tok.Position.Line, tok.Position.Column
	}
	switch v := n.(type) {
	case *ast.MappingNode:
		out.kind = mapping
		if !v.IsFlowStyle && len(v.Values) > 0 { // its own token is the first colon
			out.place(v.Values[0].Key.GetToken())
		}
		for _, p := range v.Values {
			t.pair(&out, p)
		}
	case *ast.MappingValueNode:
		out.kind = mapping
		out.place(v.Key.GetToken())
		t.pair(&out, v)
	case *ast.SequenceNode:
		out.kind = list
		for i, item := range v.Values {
			p := fmt.Sprintf("%s[%d]", pointer, i)
			if item == nil {
				out.items = append(out.items, node{kind: nothing, line: out.line, column: out.column, pointer: p})
				continue
			}
			out.items = append(out.items, t.convert(item, p))
		}
	case *ast.NullNode:
		out.kind = nothing
	case *ast.StringNode:
		out.text = v.Value
		out.quoted = tok.Type == token.SingleQuoteType || tok.Type == token.DoubleQuoteType
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		out.text = tok.Value
	default:
		t.add(tok, pointer, "can't be used in a plan; write a plain value")
		out.kind = nothing
	}
	return out
}

func (n *node) place(t *token.Token) {
	if t != nil && t.Position != nil {
		n.line, n.column = t.Position.Line, t.Position.Column
	}
}

func (t *tree) pair(out *node, p *ast.MappingValueNode) {
	tok := p.Key.GetToken()
	key := strings.TrimSpace(tok.Value)
	pointer := key
	if out.pointer != "" {
		pointer = out.pointer + "." + key
	}
	if i := slices.IndexFunc(out.pairs, func(q pair) bool { return q.key == key }); i >= 0 {
		t.add(tok, pointer, fmt.Sprintf("stands twice, on line %d as well; keep one", out.pairs[i].line))
		return
	}
	q := pair{key: key}
	if tok.Position != nil {
		q.line, q.column = tok.Position.Line, tok.Position.Column
	}
	if p.Value == nil {
		q.value = node{kind: nothing, line: q.line, column: q.column, pointer: pointer}
	} else {
		q.value = t.convert(p.Value, pointer)
	}
	if q.value.kind == nothing { // YAML places a missing value anywhere
		q.value.line, q.value.column = q.line, q.column
	}
	out.pairs = append(out.pairs, q)
}

func firstLine(s string) string {
	s, _, _ = strings.Cut(s, "\n")
	return strings.TrimSpace(s)
}
