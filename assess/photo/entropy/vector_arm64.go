//go:build arm64 && !purego

package entropy

import "unsafe"

// vectors says whether the vector kernels can be used here: every processor of this
// kind has what they need. decodes says whether one of them decodes.
const (
	vectors = true
	decodes = false
)

// idctVector does what [idct] does.
//
//go:noescape
func idctVector(b *[64]int16, quant *[64]int32, out *[64]uint8)

// samplesVector turns an MCU's blocks into samples as [measurer.transform] does.
func samplesVector(r *blockRun) bool {
	blocks, kinds, samples := unsafe.Slice(r.coefs, 64*r.n), unsafe.Slice(r.kinds, r.n), unsafe.Slice(r.samples, r.n)
	all := uint16(0)
	for k := range kinds {
		b, q := (*[64]int16)(blocks[64*k:]), r.quant[k]
		b[0] += r.lacks[k]
		all |= uint16(b[0]) + mostFirst
		if kinds[k] == flat {
			level(&samples[k], sample((int32(b[0])*q[0]<<17+1<<19)>>2))
		} else {
			idctVector(b, q, &samples[k])
		}
	}
	return all < 2*mostFirst
}

// termsVector works out the terms of a block of chroma; wide is 1 where a sample
// is two pixels wide, else 0.
//
//go:noescape
func termsVector(cb, cr *[64]uint8, out *terms, wide int)

// pixelsVector adds up the pixels of whole blocks.
//
//go:noescape
func pixelsVector(r *pixelRun)

// dotsVector does what [dots.products] does, for d.blocks.
//
//go:noescape
func dotsVector(d *dots)

func blocksVector(s *stream, plan *planned, n int, out *int16, kinds *kind, place uint) (done int, at uint, e uint64) {
	panic("entropy: no vector kernel for decoding")
}

// foursVector has no kernel here.
func foursVector(samples *[64]uint8, n int, out *uint32) {
	in, to := unsafe.Slice(samples, n), unsafe.Slice(out, n)
	for k := range in {
		to[k] = fours(&in[k])
	}
}

// markerVector has no kernel here.
func markerVector(*byte, int) int { return 0 }
