package frozen

import (
	"bytes"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"testing/quick"
	"time"
)

type inner struct {
	name  string
	level float64
	at    time.Time
}

type everything struct {
	A int
	b int8
	C uint64
	d bool
	E float32
	F string
	g []inner
	H map[string][]int
	i *inner
	J [3]int16
	k [4]byte
	L []byte
	m struct{}
	N map[[2]byte]bool
	o *string
}

func sample() everything {
	word := "stroke"
	return everything{A: -7, b: -128, C: math.MaxUint64, d: true, E: -0.5, F: "é\x00", g: []inner{{"a", math.Copysign(0, -1), time.Date(2026, 11, 25, 9, 0, 0, 5000, time.UTC)}, {}},
		H: map[string][]int{"x": nil, "y": {}, "z": {1, -1}}, i: &inner{level: math.Inf(1)}, J: [3]int16{1, -2, 3}, k: [4]byte{1, 2}, L: []byte{},
		N: map[[2]byte]bool{{1, 2}: true, {2, 1}: false}, o: &word}
}

func TestAValueComesBackWhole(t *testing.T) {
	for _, v := range []everything{{}, sample()} {
		b, err := Append(nil, &v)
		if err != nil {
			t.Fatal(err)
		}
		got, err := Read[everything](string(b))
		if err != nil || !reflect.DeepEqual(got, v) {
			t.Errorf("%+v came back as %+v, %v", v, got, err)
		}
		again, _ := Append(nil, &got)
		if !bytes.Equal(again, b) {
			t.Errorf("%+v has two forms", v)
		}
		for n := range b {
			if _, err := Read[everything](string(b[:n])); err == nil {
				t.Fatalf("%d of %d bytes were read as a whole value", n, len(b))
			}
		}
		if _, err := Read[everything](string(b) + "x"); err == nil {
			t.Error("a byte too many was passed over")
		}
	}
}

func TestNumbersOfEverySizeComeBack(t *testing.T) {
	type numbers struct {
		A int64
		B uint32
		C float64
		D string
		E []int32
		F map[int]string
		G *bool
	}
	if err := quick.Check(func(v numbers) bool {
		b, err := Append(nil, &v)
		got, err2 := Read[numbers](string(b))
		return err == nil && err2 == nil && reflect.DeepEqual(got, v)
	}, nil); err != nil {
		t.Error(err)
	}
}

func TestAnotherTypeHasAnotherShape(t *testing.T) {
	type a struct{ X, Y int }
	type b struct{ Y, X int }
	x, _ := Shape[a]()
	y, _ := Shape[b]()
	again, _ := Shape[a]()
	if x == y || x != again {
		t.Error("shapes don't tell types apart")
	}
	if _, err := Shape[struct{ F func() }](); err == nil || !strings.Contains(err.Error(), "F") {
		t.Errorf("a function can be written down: %v", err)
	}
	type list struct{ next *list }
	if _, err := Shape[list](); err == nil {
		t.Error("a type that holds itself can be written down")
	}
}

func TestFlippedBytesNeverBringTheReaderDown(t *testing.T) {
	v := sample()
	b, err := Append(nil, &v)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(1, 2))
	for range 20_000 {
		c := bytes.Clone(b)
		c[r.IntN(len(c))] ^= byte(1 << r.IntN(8))
		Read[everything](string(c))
	}
}

func FuzzRead(f *testing.F) {
	v := sample()
	b, err := Append(nil, &v)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Fuzz(func(t *testing.T, b []byte) {
		v, err := Read[everything](string(b))
		if err != nil {
			return
		}
		once, err := Append(nil, &v)
		if err != nil {
			t.Fatal(err)
		}
		got, err := Read[everything](string(once))
		if err != nil {
			t.Fatalf("what was written is not read: %v", err)
		}
		if twice, _ := Append(nil, &got); !bytes.Equal(once, twice) {
			t.Error("a value changed on its way")
		}
	})
}
