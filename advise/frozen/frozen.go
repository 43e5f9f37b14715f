// Package frozen writes a Go value down whole and reads it back in the same program: unexported
// fields too, so that a value whose insides belong to several rooms can be cached without any of
// them listing its fields.
//
// Fields that belong to other packages are set through their addresses, with package unsafe: the reflect package lets nobody
// set an unexported field, and listing every field by hand in each room would let one be forgotten in silence. What is
// unsafe is in codec.go alone, follows from a checked [reflect.Type], and reads no pointer out of a file.
//
// It knows Go types and bytes. It must never be used for what has to be read by a later
// version: the form follows the type, [Shape] tells one type's form from another's, and a reader
// refuses any other. It imports nothing of thirdstop.
//
// Time values lose their monotonic reading; a location other than UTC comes back as a fixed offset. Pointers
// to one value come back as pointers to equal ones, and cycles can't be written.
package frozen

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"sync"
	"time"
)

// Shape is a hash of a type's structure: names, kinds and order of all fields, all the way down.
func Shape[T any]() ([32]byte, error) {
	var b strings.Builder
	if err := shape(&b, reflect.TypeFor[T](), nil); err != nil {
		return [32]byte{}, err
	}
	return sha256.Sum256([]byte(b.String())), nil
}

func shape(b *strings.Builder, t reflect.Type, above []reflect.Type) error {
	for _, a := range above {
		if a == t {
			return fmt.Errorf("frozen: %s holds itself", t)
		}
	}
	above = append(above, t)
	fmt.Fprintf(b, "%s %s", t.String(), t.Kind())
	if t == timeType {
		return nil
	}
	switch t.Kind() {
	case reflect.Struct:
		b.WriteByte('{')
		for i := range t.NumField() {
			f := t.Field(i)
			b.WriteString(f.Name + " ")
			if err := shape(b, f.Type, above); err != nil {
				return fmt.Errorf("%w, in %s.%s", err, t, f.Name)
			}
			b.WriteByte(';')
		}
		b.WriteByte('}')
	case reflect.Array, reflect.Slice, reflect.Pointer, reflect.Map:
		if t.Kind() == reflect.Array {
			fmt.Fprint(b, t.Len())
		}
		if t.Kind() == reflect.Map {
			if err := shape(b, t.Key(), above); err != nil {
				return err
			}
		}
		return shape(b, t.Elem(), above)
	case reflect.Func, reflect.Chan, reflect.Interface, reflect.UnsafePointer, reflect.Uintptr, reflect.Complex64, reflect.Complex128:
		return fmt.Errorf("frozen: a value of type %s can't be written down", t)
	}
	return nil
}

var timeType = reflect.TypeFor[time.Time]()

// Append writes *v behind b.
func Append[T any](b []byte, v *T) ([]byte, error) {
	c, err := codecOf(reflect.TypeFor[T]())
	if err != nil {
		return b, err
	}
	return c.write(b, pointer(v)), nil
}

// ErrForm is in the error of bytes that are not a value of the type.
var ErrForm = errors.New("frozen: the bytes are not of this form")

// Read reads a value that fills text. Its strings are parts of text, which they keep in memory.
func Read[T any](text string) (v T, err error) {
	c, err := codecOf(reflect.TypeFor[T]())
	if err != nil {
		return v, err
	}
	r := reader{text: text}
	c.read(&r, pointer(&v))
	if r.bad || r.at != len(text) {
		var none T
		return none, ErrForm
	}
	return v, nil
}

var codecs sync.Map // *codec by reflect.Type

func codecOf(t reflect.Type) (*codec, error) {
	if c, ok := codecs.Load(t); ok {
		return c.(*codec), nil
	}
	var b strings.Builder
	if err := shape(&b, t, nil); err != nil { // finds what can't be written, and cycles
		return nil, err
	}
	c := build(t)
	codecs.Store(t, c)
	return c, nil
}
