package assess

import (
	"reflect"
	"strings"
)

// Field describes one field of a reading's JSON form.
type Field struct {
	Path  string // such as "regions.backdrop.level_stops"; "[]" stands for the items of a list
	Type  string // "number", "text", "yes or no", "group", or a list of one of them
	Unit  string // empty where there is none
	Range string // empty where there is no limit to state
	Null  bool   // it can be null, and missing then says why
	Doc   string
}

// Fields lists every field of a reading, in the order in which they are printed. It is
// made of the tags of [Reading] itself, so it can't say anything else than what is written.
func Fields() []Field {
	var out []Field
	fieldsOf(&out, "", reflect.TypeFor[Reading]())
	return out
}

func fieldsOf(out *[]Field, prefix string, t reflect.Type) {
	for i := range t.NumField() {
		f := t.Field(i)
		if f.Anonymous {
			fieldsOf(out, prefix, f.Type)
			continue
		}
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		inner := f.Type
		field := Field{
			Path: prefix + name, Unit: f.Tag.Get("unit"), Range: f.Tag.Get("range"), Doc: f.Tag.Get("doc"),
		}
		if inner.Kind() == reflect.Pointer {
			field.Null, inner = true, inner.Elem()
		}
		field.Type = typeName(inner)
		*out = append(*out, field)
		switch {
		case inner.Kind() == reflect.Struct:
			fieldsOf(out, field.Path+".", inner)
		case inner.Kind() == reflect.Slice && inner.Elem().Kind() == reflect.Struct:
			fieldsOf(out, field.Path+"[].", inner.Elem())
		}
	}
}

func typeName(t reflect.Type) string {
	switch t.Kind() {
	case reflect.String:
		return "text"
	case reflect.Bool:
		return "yes or no"
	case reflect.Struct:
		return "group"
	case reflect.Slice:
		return "list of " + typeName(t.Elem())
	case reflect.Map:
		return "texts by path"
	}
	return "number"
}
