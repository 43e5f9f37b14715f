package faces

import (
	_ "embed"
	"encoding/binary"
	"errors"
	"math"
	"sync"
)

// The cascade was trained by Markuš et al. and is taken, with its licence, from the library
// github.com/esimov/pigo 1.4.6 (MIT), which the tests hold this package against.
//
//go:embed cascade/facefinder
var faceFile []byte

// cascade is a sequence of decision trees whose nodes compare two pixels of a window (Markuš, Frljak, Pandžić, Ahlberg,
// Forchheimer 2013, "Object detection with pixel intensity comparisons organized in decision trees").
// A window is given up at the first tree after which the sum of leaves isn't over that tree's threshold.
type cascade struct {
	depth     int
	nodes     []node    // 1<<depth a tree; the first is unused
	leaves    []float32 // 1<<depth a tree
	threshold []float32 // one a tree
}

// node is two places in a window: row and column of each, in 1/256 of its size from its middle.
type node [4]int8

var errCascade = errors.New("the cascade file is damaged")

// faceCascade is the embedded one.
var faceCascade = sync.OnceValue(func() *cascade {
	c, err := parse(faceFile)
	if err != nil {
		panic("faces: " + err.Error())
	}
	return c
})

// parse reads a cascade file: 8 bytes of no meaning here, depth and number of trees, then by tree its nodes, leaves and threshold, little-endian.
func parse(b []byte) (*cascade, error) {
	if len(b) < 16 {
		return nil, errCascade
	}
	depth, trees := int(binary.LittleEndian.Uint32(b[8:])), int(binary.LittleEndian.Uint32(b[12:]))
	if depth < 1 || depth > 10 || trees < 1 {
		return nil, errCascade
	}
	size := 1 << depth
	each := 4*(size-1) + 4*size + 4
	b = b[16:]
	if len(b)/each < trees {
		return nil, errCascade
	}
	c := &cascade{depth: depth}
	float := func(b []byte) float32 { return math.Float32frombits(binary.LittleEndian.Uint32(b)) }
	for range trees {
		c.nodes = append(c.nodes, node{})
		for range size - 1 {
			c.nodes = append(c.nodes, node{int8(b[0]), int8(b[1]), int8(b[2]), int8(b[3])})
			b = b[4:]
		}
		for range size {
			c.leaves = append(c.leaves, float(b))
			b = b[4:]
		}
		c.threshold = append(c.threshold, float(b))
		b = b[4:]
	}
	return c, nil
}

// sized is a cascade laid out for windows of one size in a picture of one width: places are offsets from the middle.
// Trees are laid out when first reached, for most windows end at the first few.
type sized struct {
	*cascade
	size, stride int
	at           [][2]int32
	ready        int // trees
}

func (c *cascade) of(size, stride int) *sized {
	at := *laidOut.Get().(*[][2]int32)
	if len(at) != len(c.nodes) {
		at = make([][2]int32, len(c.nodes))
	}
	return &sized{cascade: c, size: size, stride: stride, at: at}
}

// laidOut are lists that no search needs any more, a quarter of a megabyte each: a search takes some twenty.
var laidOut = sync.Pool{New: func() any { return new([][2]int32) }}

// done gives the list back. The cascade can't be asked afterwards.
func (z *sized) done() {
	at := z.at
	z.at, z.ready = nil, 0
	laidOut.Put(&at)
}

func (z *sized) layOut() {
	n := 1 << z.depth
	at := z.at[z.ready*n : (z.ready+1)*n]
	for i, q := range z.nodes[z.ready*n : (z.ready+1)*n] {
		place := func(row, col int8) int32 {
			return int32((int(row)*z.size>>8)*z.stride + int(col)*z.size>>8)
		}
		at[i] = [2]int32{place(q[0], q[1]), place(q[2], q[3])}
	}
	z.ready++
}

// score is by how much the window about a pixel passes, 0 where it doesn't, and how many trees it passed. The window must lie
// in the picture.
func (z *sized) score(pixels []uint8, middle int) (float32, int) {
	var sum float32
	n := 1 << z.depth
	for t, least := range z.threshold {
		if t == z.ready {
			z.layOut()
		}
		at := z.at[t*n : (t+1)*n]
		i := 1
		for range z.depth {
			q := at[i]
			i *= 2
			if pixels[middle+int(q[0])] <= pixels[middle+int(q[1])] {
				i++
			}
		}
		sum += z.leaves[t*n+i-n]
		if sum <= least {
			return 0, t
		}
	}
	return sum - z.threshold[len(z.threshold)-1], len(z.threshold)
}
