//go:build (!amd64 && !arm64) || purego

package entropy

import "unsafe"

// vectors says whether the vector kernels can be used here. Without them the
// plain functions do the same.
const (
	vectors = false
	decodes = false
)

func samplesVector(r *blockRun) bool { panic("entropy: no vector kernels") }

func termsVector(cb, cr *[64]uint8, out *terms, wide int) { panic("entropy: no vector kernels") }

func pixelsVector(r *pixelRun) { panic("entropy: no vector kernels") }

func foursVector(samples *[64]uint8, n int, out *uint32) {
	in, to := unsafe.Slice(samples, n), unsafe.Slice(out, n)
	for k := range in {
		to[k] = fours(&in[k])
	}
}

func dotsVector(d *dots) { panic("entropy: no vector kernels") }

func blocksVector(s *stream, plan *planned, n int, out *int16, kinds *kind, place uint) (done int, at uint, e uint64) {
	panic("entropy: no vector kernels")
}

// markerVector has no kernel here.
func markerVector(*byte, int) int { return 0 }
