package frozen

import (
	"bytes"
	"encoding/binary"
	"math"
	"reflect"
	"slices"
	"time"
	"unsafe"
)

// codec writes and reads the value at an address. Addresses, because the reflect package does not
// let anyone set the unexported fields of another package's types.
type codec struct {
	size  uintptr
	write func(b []byte, p unsafe.Pointer) []byte
	read  func(r *reader, p unsafe.Pointer)
}

func pointer[T any](v *T) unsafe.Pointer { return unsafe.Pointer(v) }

// reader reads on until something does not fit; bad stays set then.
type reader struct {
	text string
	at   int
	bad  bool
}

func (r *reader) next(n int) string {
	if r.bad || n < 0 || n > len(r.text)-r.at {
		r.bad = true
		return ""
	}
	s := r.text[r.at : r.at+n]
	r.at += n
	return s
}

func (r *reader) uvarint() uint64 {
	var x uint64
	for shift := 0; shift < 64; shift += 7 {
		s := r.next(1)
		if r.bad {
			return 0
		}
		c := s[0]
		if shift == 63 && c > 1 {
			break
		}
		x |= uint64(c&0x7f) << shift
		if c < 0x80 {
			return x
		}
	}
	r.bad = true
	return 0
}

// count reads a length plus one, 0 for nil. Every element takes a byte at the least, so a wrong length asks
// for no more memory than the text is long, times the size of an element.
func (r *reader) count() (n int, isNil bool) {
	x := r.uvarint()
	if x == 0 || r.bad {
		return 0, true
	}
	if x-1 > uint64(len(r.text)-r.at) {
		r.bad = true
		return 0, true
	}
	return int(x - 1), false
}

func zigzag(v int64) uint64   { return uint64(v)<<1 ^ uint64(v>>63) }
func unzigzag(x uint64) int64 { return int64(x>>1) ^ -int64(x&1) }

func at[T any](p unsafe.Pointer) *T { return (*T)(p) }

func signed[T int | int8 | int16 | int32 | int64]() *codec {
	return &codec{
		write: func(b []byte, p unsafe.Pointer) []byte { return binary.AppendUvarint(b, zigzag(int64(*at[T](p)))) },
		read: func(r *reader, p unsafe.Pointer) {
			v := unzigzag(r.uvarint())
			r.bad = r.bad || int64(T(v)) != v
			*at[T](p) = T(v)
		},
	}
}

func unsigned[T uint | uint8 | uint16 | uint32 | uint64]() *codec {
	return &codec{
		write: func(b []byte, p unsafe.Pointer) []byte { return binary.AppendUvarint(b, uint64(*at[T](p))) },
		read: func(r *reader, p unsafe.Pointer) {
			v := r.uvarint()
			r.bad = r.bad || uint64(T(v)) != v
			*at[T](p) = T(v)
		},
	}
}

func build(t reflect.Type) *codec {
	c := kinds(t)
	c.size = t.Size()
	return c
}

func kinds(t reflect.Type) *codec {
	switch {
	case t == timeType:
		return moments()
	case t.Kind() == reflect.Slice && t.Elem().Kind() == reflect.Uint8:
		return byteSlices()
	}
	switch t.Kind() {
	case reflect.Bool:
		return &codec{
			write: func(b []byte, p unsafe.Pointer) []byte {
				if *at[bool](p) {
					return append(b, 1)
				}
				return append(b, 0)
			},
			read: func(r *reader, p unsafe.Pointer) {
				x := r.uvarint()
				r.bad = r.bad || x > 1
				*at[bool](p) = x == 1
			},
		}
	case reflect.Int:
		return signed[int]()
	case reflect.Int8:
		return signed[int8]()
	case reflect.Int16:
		return signed[int16]()
	case reflect.Int32:
		return signed[int32]()
	case reflect.Int64:
		return signed[int64]()
	case reflect.Uint:
		return unsigned[uint]()
	case reflect.Uint8:
		return unsigned[uint8]()
	case reflect.Uint16:
		return unsigned[uint16]()
	case reflect.Uint32:
		return unsigned[uint32]()
	case reflect.Uint64:
		return unsigned[uint64]()
	case reflect.Float32:
		return &codec{
			write: func(b []byte, p unsafe.Pointer) []byte {
				return binary.LittleEndian.AppendUint32(b, math.Float32bits(*at[float32](p)))
			},
			read: func(r *reader, p unsafe.Pointer) {
				if s := r.next(4); !r.bad {
					*at[float32](p) = math.Float32frombits(binary.LittleEndian.Uint32([]byte(s)))
				}
			},
		}
	case reflect.Float64:
		return &codec{
			write: func(b []byte, p unsafe.Pointer) []byte {
				return binary.LittleEndian.AppendUint64(b, math.Float64bits(*at[float64](p)))
			},
			read: func(r *reader, p unsafe.Pointer) {
				if s := r.next(8); !r.bad {
					*at[float64](p) = math.Float64frombits(binary.LittleEndian.Uint64([]byte(s)))
				}
			},
		}
	case reflect.String:
		return &codec{
			write: func(b []byte, p unsafe.Pointer) []byte {
				s := *at[string](p)
				return append(binary.AppendUvarint(b, uint64(len(s))), s...)
			},
			read: func(r *reader, p unsafe.Pointer) {
				if n := r.uvarint(); n <= uint64(len(r.text)) {
					*at[string](p) = r.next(int(n))
				} else {
					r.bad = true
				}
			},
		}
	case reflect.Struct:
		return structs(t)
	case reflect.Array:
		return arrays(t)
	case reflect.Pointer:
		return pointers(t)
	case reflect.Slice:
		return lists(t)
	case reflect.Map:
		return maps(t)
	}
	panic("frozen: a kind that the shape let through: " + t.String())
}

func moments() *codec {
	return &codec{
		write: func(b []byte, p unsafe.Pointer) []byte {
			text, err := at[time.Time](p).MarshalBinary()
			if err != nil { // an offset of more than 22 days
				panic("frozen: a time that can't be written: " + err.Error())
			}
			return append(binary.AppendUvarint(b, uint64(len(text))), text...)
		},
		read: func(r *reader, p unsafe.Pointer) {
			s := r.next(int(min(r.uvarint(), 64)))
			r.bad = r.bad || at[time.Time](p).UnmarshalBinary([]byte(s)) != nil
		},
	}
}

func byteSlices() *codec {
	return &codec{
		write: func(b []byte, p unsafe.Pointer) []byte {
			s := *at[[]byte](p)
			if s == nil {
				return append(b, 0)
			}
			return append(binary.AppendUvarint(b, uint64(len(s))+1), s...)
		},
		read: func(r *reader, p unsafe.Pointer) {
			if n, isNil := r.count(); !isNil {
				*at[[]byte](p) = append([]byte{}, r.next(n)...)
			}
		},
	}
}

func structs(t reflect.Type) *codec {
	type field struct {
		*codec
		off uintptr
	}
	var fields []field
	for i := range t.NumField() {
		f := t.Field(i)
		fields = append(fields, field{build(f.Type), f.Offset})
	}
	return &codec{
		write: func(b []byte, p unsafe.Pointer) []byte {
			if len(fields) == 0 {
				return append(b, 0) // see count
			}
			for _, f := range fields {
				b = f.write(b, unsafe.Add(p, f.off))
			}
			return b
		},
		read: func(r *reader, p unsafe.Pointer) {
			if len(fields) == 0 {
				r.next(1)
			}
			for _, f := range fields {
				if r.bad {
					return
				}
				f.read(r, unsafe.Add(p, f.off))
			}
		},
	}
}

func arrays(t reflect.Type) *codec {
	n := t.Len()
	if t.Elem().Kind() == reflect.Uint8 && n > 0 {
		return &codec{
			write: func(b []byte, p unsafe.Pointer) []byte { return append(b, unsafe.Slice((*byte)(p), n)...) },
			read:  func(r *reader, p unsafe.Pointer) { copy(unsafe.Slice((*byte)(p), n), r.next(n)) },
		}
	}
	e := build(t.Elem())
	return &codec{
		write: func(b []byte, p unsafe.Pointer) []byte {
			if n == 0 {
				return append(b, 0)
			}
			for i := range n {
				b = e.write(b, unsafe.Add(p, uintptr(i)*e.size))
			}
			return b
		},
		read: func(r *reader, p unsafe.Pointer) {
			if n == 0 {
				r.next(1)
			}
			for i := range n {
				e.read(r, unsafe.Add(p, uintptr(i)*e.size))
			}
		},
	}
}

func pointers(t reflect.Type) *codec {
	e := build(t.Elem())
	return &codec{
		write: func(b []byte, p unsafe.Pointer) []byte {
			to := *at[unsafe.Pointer](p)
			if to == nil {
				return append(b, 0)
			}
			return e.write(append(b, 1), to)
		},
		read: func(r *reader, p unsafe.Pointer) {
			switch x := r.uvarint(); {
			case x > 1:
				r.bad = true
			case x == 1 && !r.bad:
				v := reflect.New(t.Elem())
				e.read(r, v.UnsafePointer())
				reflect.NewAt(t, p).Elem().Set(v.Convert(t))
			}
		},
	}
}

func lists(t reflect.Type) *codec {
	e := build(t.Elem())
	return &codec{
		write: func(b []byte, p unsafe.Pointer) []byte {
			s := reflect.NewAt(t, p).Elem()
			if s.IsNil() {
				return append(b, 0)
			}
			n := s.Len()
			b = binary.AppendUvarint(b, uint64(n)+1)
			for i, base := 0, s.UnsafePointer(); i < n; i++ {
				b = e.write(b, unsafe.Add(base, uintptr(i)*e.size))
			}
			return b
		},
		read: func(r *reader, p unsafe.Pointer) {
			n, isNil := r.count()
			if isNil {
				return
			}
			s := reflect.MakeSlice(t, n, n)
			for i, base := 0, s.UnsafePointer(); i < n && !r.bad; i++ {
				e.read(r, unsafe.Add(base, uintptr(i)*e.size))
			}
			reflect.NewAt(t, p).Elem().Set(s)
		},
	}
}

func maps(t reflect.Type) *codec {
	k, e := build(t.Key()), build(t.Elem())
	return &codec{
		write: func(b []byte, p unsafe.Pointer) []byte {
			m := reflect.NewAt(t, p).Elem()
			if m.IsNil() {
				return append(b, 0)
			}
			b = binary.AppendUvarint(b, uint64(m.Len())+1)
			entries := make([][]byte, 0, m.Len())
			for it := m.MapRange(); it.Next(); {
				kv, ev := reflect.New(t.Key()), reflect.New(t.Elem()) // what is in a map has no address
				kv.Elem().SetIterKey(it)
				ev.Elem().SetIterValue(it)
				entries = append(entries, e.write(k.write(nil, kv.UnsafePointer()), ev.UnsafePointer()))
			}
			slices.SortFunc(entries, bytes.Compare) // equal maps are equal bytes
			for _, x := range entries {
				b = append(b, x...)
			}
			return b
		},
		read: func(r *reader, p unsafe.Pointer) {
			n, isNil := r.count()
			if isNil {
				return
			}
			m := reflect.MakeMapWithSize(t, n)
			for range n {
				kv, ev := reflect.New(t.Key()), reflect.New(t.Elem())
				k.read(r, kv.UnsafePointer())
				e.read(r, ev.UnsafePointer())
				if r.bad {
					return
				}
				m.SetMapIndex(kv.Elem(), ev.Elem())
			}
			reflect.NewAt(t, p).Elem().Set(m)
		},
	}
}
