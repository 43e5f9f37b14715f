//go:build !amd64 || purego

package entropy

// vectors says whether the vector kernels can be used here. Without them the
// plain functions do the same.
const vectors = false

func idctVector(b *[64]int16, quant *[64]int32, out *[64]uint8) { idct(b, quant, out) }

func termsVector(cb, cr *[64]uint8, out *terms, wide int) { panic("entropy: no vector kernels") }

func pixelsVector(r *pixelRun) { panic("entropy: no vector kernels") }

func dotVector(a, qa, b, qb *[64]int16) int32 { return dot(a, qa, b, qb) }
