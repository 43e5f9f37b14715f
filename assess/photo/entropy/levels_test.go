package entropy

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// How far Levels may be from looking at every pixel, where nothing clips: 99 % of
// the cells of the real photos. Means are off by the conversion's rounding, up to
// half a code value: it depends on the fractions of the chroma of single pixels.
const (
	meanWithin = 0.02 // stop, on the curve code = 255 light^(1/2.2), for cells brighter than 40
	meanDark   = 0.5  // code values, for darker cells
	// Standard deviations: where chroma is subsampled, products within blocks are left out.
	deviationWithin = 0.35 // of the true one,
	deviationFloor  = 0.60 // or this much, in code values
)

// unclipped reports whether no sample of a cell can have been cut off, in the
// conversion or before.
func unclipped(c *Cell) bool {
	for ch := range 3 {
		if c.Max[ch] >= 250 || c.Min[ch] <= 5 {
			return false
		}
	}
	return true
}

func TestLevelsAgreeWithPixelsWhereNothingClips(t *testing.T) {
	var stops, dark, deviations []float64
	files := realFiles(t)
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		exact, err := survey(data, Exact, 2, true)
		if err != nil {
			continue
		}
		var first *grid
		for _, way := range ways[:3] {
			got, err := survey(data, Levels, way.workers, way.vector)
			if err != nil {
				t.Fatalf("%s: exact can be read, levels can't: %v", filepath.Base(f), err)
			}
			if first == nil {
				first = got
			} else if d := differs(got, first); d != "" {
				t.Fatalf("%s: levels depend on goroutines or vectors: %s", filepath.Base(f), d)
			}
		}
		for i := range exact.cells {
			w, g := &exact.cells[i], &first.cells[i]
			if g.Pixels != w.Pixels || g.Any != 0 || g.Max != [3]uint8{} || g.Clipped != [3]uint16{} {
				t.Fatalf("%s: cell %d is %+v, want %d pixels and no extremes", filepath.Base(f), i, *g, w.Pixels)
			}
			if !unclipped(w) {
				continue
			}
			n := float64(w.Pixels)
			for ch := range 3 {
				wm, gm := float64(w.Sum[ch])/Unit/n, float64(g.Sum[ch])/Unit/n
				if wm > 40 {
					stops = append(stops, math.Abs(2.2*math.Log2(gm/wm)))
				} else {
					dark = append(dark, math.Abs(gm-wm))
				}
				wd, gd := math.Sqrt(w.Spread[ch])/n, math.Sqrt(g.Spread[ch])/n
				deviations = append(deviations, max(0, math.Abs(wd-gd)-deviationFloor)/max(wd, 1))
			}
		}
	}
	if len(stops) < 10_000 {
		t.Skipf("skipped the comparison of means: only %d cells to compare without the collection of camera files; goroutines and vectors agree on %d files", len(stops), len(files))
	}
	for _, c := range []struct {
		what   string
		list   []float64
		within float64
	}{{"means in stops", stops, meanWithin}, {"means of dark cells in code values", dark, meanDark}, {"deviations, relative", deviations, deviationWithin}} {
		slices.Sort(c.list)
		at := func(p float64) float64 { return c.list[int(p*float64(len(c.list)-1))] }
		t.Logf("%s: median %.4f, 95 %% %.4f, 99 %% %.4f, 99.9 %% %.4f, worst %.4f of %d", c.what, at(0.5), at(0.95), at(0.99), at(0.999), at(1), len(c.list))
		if !(at(0.99) <= c.within) {
			t.Errorf("%s: 99 %% of cells are within %.4f, want %.4f", c.what, at(0.99), c.within)
		}
	}
}

// What a file's levels come to, on whichever processor and however many goroutines.
// Derived here, on amd64 with and without vector kernels; there is no outside value.
func TestLevelsAreTheSameOnEveryProcessor(t *testing.T) {
	for _, way := range ways {
		sum := sha256.New()
		for i, lay := range append(lays[:len(lays):len(lays)], [4]int{1, 1}) {
			data := made{width: 217, height: 139, lay: lay, busy: 40, seed: uint64(70 + i), skewed: i%2 == 0, large: i%3 == 0}.encode()
			g, err := survey(data, Levels, way.workers, way.vector)
			if err != nil {
				t.Fatal(err)
			}
			for _, b := range g.blocks {
				for _, v := range b.sum {
					_ = binary.Write(sum, binary.LittleEndian, v)
				}
			}
			for _, c := range g.cells {
				_ = binary.Write(sum, binary.LittleEndian, c)
			}
		}
		const want = "cd70f16664662c9f10f843b022bbfa7f40e77f07c9c732dca0846769c7039d27"
		if got := hex.EncodeToString(sum.Sum(nil)); got != want {
			t.Errorf("on %d goroutines, vectors %v: %s, want %s", way.workers, way.vector, got, want)
		}
	}
}
