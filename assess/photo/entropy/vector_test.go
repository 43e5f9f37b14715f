package entropy

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"unsafe"
)

func TestTheAssemblyKnowsWhereFieldsLie(t *testing.T) {
	var r pixelRun
	for _, f := range []struct {
		name      string
		got, want uintptr
	}{
		{"n", unsafe.Offsetof(r.n), 8}, {"terms", unsafe.Offsetof(r.terms), 16}, {"step", unsafe.Offsetof(r.step), 48},
		{"second", unsafe.Offsetof(r.second), 56}, {"sum", unsafe.Offsetof(r.sum), 64}, {"square", unsafe.Offsetof(r.square), 128},
		{"clipped", unsafe.Offsetof(r.clipped), 144}, {"min", unsafe.Offsetof(r.min), 160}, {"max", unsafe.Offsetof(r.max), 168},
		{"acc", unsafe.Offsetof(r.acc), 192}, {"the end", unsafe.Sizeof(r), 544},
	} {
		if unsafe.Sizeof(uintptr(0)) == 8 && f.got != f.want {
			t.Errorf("%s lies at %d, and the assembly has it at %d", f.name, f.got, f.want)
		}
	}
}

func needVectors(t *testing.T) {
	if !vectors {
		t.Skip("no vector kernels on this processor or in this build")
	}
}

// Coefficients and divisors of any size wrap around in 32 bits; both must do it alike.
func TestVectorTransformEqualsThePlainOne(t *testing.T) {
	needVectors(t)
	const seed = 88
	rng := rand.New(rand.NewPCG(seed, 1))
	for i := range 40_000 {
		j := layJob(lays[rng.IntN(len(lays))], nothing{})
		for c := range j.comps {
			j.comps[c].quant = new([64]int32)
			divisor := int32(1) << rng.IntN(17)
			for k := range j.comps[c].quant {
				j.comps[c].quant[k] = rng.Int32N(divisor)
			}
		}
		blocks, kinds := make([]int16, 64*len(j.plan)), make([]kind, len(j.plan))
		var lacks [10]int16
		for b := range j.plan {
			span, last := int32(1)<<rng.IntN(16), rng.IntN(70)
			if rng.IntN(2) == 0 {
				last = rng.IntN(cornerEnd + 1)
			}
			kinds[b] = kindOf(uint(max(1, last)) + endOfBlock)
			for k := range min(64, max(1, last)) {
				if rng.IntN(3) > 0 {
					blocks[64*b+int(order[k])] = int16(rng.Int32N(2*span) - span)
				}
			}
			lacks[b] = int16(rng.Int32N(2*span) - span)
			if rng.IntN(4) > 0 { // most are what pictures have
				blocks[64*b] >>= 4
				lacks[b] >>= 4
			}
		}
		var ways [2]measurer
		var ok [2]bool
		for way := range ways {
			m := &ways[way]
			j.vector = way == 1
			m.begin(j)
			m.inverse.lacks = lacks
			ok[way] = m.transform(slices.Clone(blocks), kinds)
		}
		if ok[0] != ok[1] || ok[0] && ways[0].samples != ways[1].samples {
			t.Fatalf("seed %d, round %d, kinds %v: %v %v\nwant %v %v", seed, i, kinds, ok[1], ways[1].samples, ok[0], ways[0].samples)
		}
	}
}

func TestVectorMarkersEqualThePlainOnes(t *testing.T) {
	needVectors(t)
	const seed = 255
	rng := rand.New(rand.NewPCG(seed, 4))
	for i := range 50_000 {
		scan := make([]byte, rng.IntN(400))
		for k := range scan {
			scan[k] = uint8(rng.IntN(256))
			if rng.IntN(30) == 0 {
				scan[k] = 255
			}
		}
		for k := 1; k < len(scan); k++ {
			if scan[k-1] == 255 && rng.IntN(40) > 0 {
				scan[k] = 0
			}
		}
		if got, want := marked(scan, true), marked(scan, false); got != want {
			t.Fatalf("seed %d, round %d: a marker at %d, want %d: % x", seed, i, got, want, scan)
		}
	}
}

func TestVectorFoursEqualThePlainOnes(t *testing.T) {
	needVectors(t)
	const seed = 61
	rng := rand.New(rand.NewPCG(seed, 2))
	for i := range 20_000 {
		var samples [10][64]uint8
		n := 1 + rng.IntN(len(samples))
		top := 1 + rng.IntN(256)
		for k := range samples {
			for x := range samples[k] {
				samples[k][x] = uint8(255 - rng.IntN(top))
			}
		}
		var got, want [10]uint32
		foursVector(&samples[0], n, &got[0])
		for k := range n {
			want[k] = fours(&samples[k])
		}
		if got != want {
			t.Fatalf("seed %d, blocks %d: %v\nwant %v", seed, i, got, want)
		}
	}
}

func TestVectorProductsEqualThePlainOnes(t *testing.T) {
	needVectors(t)
	const seed = 5
	rng := rand.New(rand.NewPCG(seed, 3))
	for _, lay := range lays {
		for round := range 4000 {
			var m measurer
			j := layJob(lay, nothing{})
			j.want = Levels
			wild := func() int16 {
				v := int16(rng.Int32N(65536) - 32768)
				if round%2 == 0 {
					v >>= rng.IntN(16)
				}
				return v
			}
			for i := range j.comps {
				j.comps[i].quant = new([64]int32)
				for k := range j.comps[i].quant {
					j.comps[i].quant[k] = int32(wild())
				}
			}
			m.begin(j)
			blocks := make([]int16, 64*len(j.plan))
			for i := range blocks {
				blocks[i] = wild()
			}
			// Sums of two products of -32768 don't fit in 32 bits, and wrap to the same.
			m.dots.products(blocks)
			want := m.dots.product
			m.dots.product, m.dots.blocks = [len(want)]int32{}, &blocks[0]
			dotsVector(&m.dots)
			if m.dots.product != want {
				t.Fatalf("layout %v, seed %d, round %d: %v, want %v", lay, seed, round, m.dots.product, want)
			}
		}
	}
}

// Every colour there is, 256 x 256 x 256: the formula of JFIF 1.02 (ITU-T T.871, 7), whose factors have three or four digits after the point,
// to the nearest code value.
func TestConversionRoundsTheStandardsFormula(t *testing.T) {
	if raceDetector {
		t.Skip("sixteen million colours take too long, and race with nothing")
	}
	const most = 0.5 + 128*0.00001*2 // what six digits after the point of libjpeg's factors leave
	for y := range 256 {
		for cb := range 256 {
			for cr := range 256 {
				r, g, b := rgb(uint8(y), uint8(cb), uint8(cr))
				luma, b1, r1 := float64(y), float64(cb-128), float64(cr-128)
				for ch, want := range [3]float64{luma + 1.402*r1, luma - 0.344136*b1 - 0.714136*r1, luma + 1.772*b1} {
					if got := float64([3]uint32{r, g, b}[ch]); math.Abs(got-min(max(want, 0), 255)) > most {
						t.Fatalf("Y %d, Cb %d, Cr %d: channel %d is %v, want %.4f", y, cb, cr, ch, got, want)
					}
				}
			}
		}
	}
}

// lays is how luma and chroma come to lie in an MCU: factors of luma, of chroma.
var lays = [][4]int{{1, 1, 1, 1}, {2, 1, 1, 1}, {1, 2, 1, 1}, {2, 2, 1, 1}, {2, 2, 2, 1}, {2, 2, 1, 2}, {2, 1, 2, 1}, {1, 2, 1, 2}}

// layJob is a frame of one MCU of a layout.
func layJob(lay [4]int, sink Sink) *job {
	j := &job{width: 8 * lay[0], height: 8 * lay[1], mw: 8 * lay[0], mh: 8 * lay[1], mxx: 1, myy: 1, sink: sink}
	for i := range 3 {
		h, v := lay[2], lay[3]
		if i == 0 {
			h, v = lay[0], lay[1]
		}
		j.comps = append(j.comps, component{h: h, v: v, blocks: h * v})
		for range h * v {
			j.plan = append(j.plan, planned{comp: i})
		}
	}
	j.bandMCUs = CellSize / j.mh
	return j
}

func TestVectorPixelsEqualThePlainOnes(t *testing.T) {
	needVectors(t)
	const seed = 16
	rng := rand.New(rand.NewPCG(seed, 2))
	for _, lay := range lays {
		for round := range 3000 {
			var results [2]*grid
			var samples [10][64]uint8
			low, span := rng.IntN(256), 1+rng.IntN(256)
			for k := range samples {
				for i := range samples[k] {
					samples[k][i] = uint8(min(255, low+rng.IntN(span)))
				}
			}
			for way := range results {
				g := newGrid(Frame{8 * lay[0], 8 * lay[1], false})
				j := layJob(lay, g)
				j.vector = way == 1
				m := new(measurer)
				m.begin(j)
				m.samples = samples
				m.band = m.fresh(0)
				m.band.mcus = 1
				if j.vector {
					m.whole(&m.band.cells[0], 0, 0)
				} else {
					m.pixels(&m.band.cells[0], 0, 0)
				}
				m.flush()
				results[way] = g
			}
			if d := differs(results[1], results[0]); d != "" {
				t.Fatalf("layout %v, seed %d, round %d: %s", lay, seed, round, d)
			}
		}
	}
}
