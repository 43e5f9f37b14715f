package dashboard

import (
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"reflect"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// The largest bodies that are read, in bytes.
const (
	mostBody     = 16 << 10
	mostPlanBody = 600 << 10 // a plan of 256 KB may double in size as a JSON string
)

// readBody reads the JSON object of a request strictly: its type is checked, unknown, repeated and
// mistyped members are refused by name.
func readBody(w http.ResponseWriter, r *http.Request, most int64, into any) error {
	text, err := bodyOf(w, r, most)
	if err != nil {
		return err
	}
	return parseBody(text, into)
}

// bodyOf is the text of a request's JSON body, unread.
func bodyOf(w http.ResponseWriter, r *http.Request, most int64) ([]byte, error) {
	kind, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if charset := params["charset"]; err != nil || kind != "application/json" || charset != "" && !strings.EqualFold(charset, "utf-8") {
		return nil, &problem{status: http.StatusUnsupportedMediaType, Code: "not_json", Text: "send a JSON object with Content-Type: application/json"}
	}
	text, err := io.ReadAll(http.MaxBytesReader(w, r.Body, most))
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return nil, &problem{status: http.StatusRequestEntityTooLarge, Code: "too_large", Text: fmt.Sprintf("the body is over %d KB, the most that is read here", large.Limit>>10)}
	case err != nil:
		return nil, bad("body", "the body broke off before its end; send it again")
	}
	return text, nil
}

func parseBody(text []byte, into any) error {
	if jsontext.Value(text).Kind() != '{' {
		return bad("body", "send one JSON object")
	}
	err := json.Unmarshal(text, into, json.RejectUnknownMembers(true))
	if err == nil {
		return nil
	}
	var sem *json.SemanticError
	if errors.As(err, &sem) {
		where := field(sem.JSONPointer)
		if errors.Is(sem.Err, json.ErrUnknownName) {
			return bad("unknown_field", fmt.Sprintf("there is no field %q in this call; it knows %s", where, strings.Join(members(reflect.TypeOf(into).Elem()), ", ")))
		}
		if where == "" {
			return bad("body", "send one JSON object")
		}
		return bad("field", fmt.Sprintf("%q must be %s", where, inWords(sem.GoType)))
	}
	var syn *jsontext.SyntacticError
	if errors.As(err, &syn) {
		if errors.Is(syn.Err, jsontext.ErrDuplicateName) {
			return bad("field", fmt.Sprintf("the field %q stands twice", field(syn.JSONPointer)))
		}
		return bad("body", fmt.Sprintf("not JSON that can be read: a fault at byte %d", syn.ByteOffset))
	}
	return bad("body", "not JSON that can be read")
}

// field writes a JSON pointer as people write it: lights[0].power.
func field(p jsontext.Pointer) string {
	var b strings.Builder
	for t := range p.Tokens() {
		switch {
		case t != "" && strings.Trim(t, "0123456789") == "":
			b.WriteString("[" + t + "]")
		case b.Len() > 0:
			b.WriteString("." + t)
		default:
			b.WriteString(t)
		}
	}
	return b.String()
}

// members lists the fields that a body of the type may have.
func members(t reflect.Type) []string {
	var out []string
	for i := range t.NumField() {
		f := t.Field(i)
		if f.Anonymous {
			out = append(out, members(f.Type)...)
			continue
		}
		if !f.IsExported() {
			continue
		}
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		out = append(out, name)
		if e := f.Type; e.Kind() == reflect.Slice && e.Elem().Kind() == reflect.Struct {
			for _, m := range members(e.Elem()) {
				out = append(out, name+"[]."+m)
			}
		}
	}
	return out
}

// inWords says what a Go type is for people who write JSON.
func inWords(t reflect.Type) string {
	if t == nil {
		return "something else"
	}
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch t.Kind() {
	case reflect.String:
		return "a text"
	case reflect.Bool:
		return "true or false"
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		return "a whole number"
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return "a whole number, 0 or more"
	case reflect.Float32, reflect.Float64:
		return "a number"
	case reflect.Slice, reflect.Array:
		return "a list"
	}
	return "an object"
}

// missing is the refusal of a body that lacks a field.
func missing(name, what string) *problem {
	return bad("field", fmt.Sprintf("%q is missing: %s", name, what))
}

// optional is a member that may be null and must be told from one that is missing.
type optional[T any] struct {
	given bool
	value *T // nil: null
}

// UnmarshalJSONFrom is called only where the member is there.
func (o *optional[T]) UnmarshalJSONFrom(d *jsontext.Decoder) error {
	o.given = true
	return json.UnmarshalDecode(d, &o.value)
}
